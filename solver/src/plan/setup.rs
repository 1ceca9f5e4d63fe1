//! From a model and a request to a planning graph with its bridges: the first half of the
//! pipeline.

use std::sync::Arc;

use super::answer::Figures;
use super::clock::StageClock;
use super::error::PlanError;
use super::near::NearInMould;
use super::potential::look_at_field;
use super::request::PlanRequest;
use super::skin::{Holes, Skin, loop_edges};
use super::strain::allowed_strain;
use crate::body::{Gate, MouldBody};
use crate::bridges::fill::Filled;
use crate::bridges::{Bridge, BridgeKind, BridgeReport, DiscState, find_bridges_with};
use crate::control::{Control, Stage};
use crate::girth::PlanningGraph;
use crate::mesh::{
    DecimateError, Decimated, LARGE_FACES, MOST_WITH_TRIAL, Model, Paint, Point, SurfaceLocator,
    Topology, TriangleMesh, Vector, WholeMesh, canonical_until, decimate_until, default_deviation,
    planning_mesh,
};
use crate::nalgebra::Isometry3;
use crate::sheets::{CostWeights, CutSite, RubberCells, cost_weights, cut_sites};
use crate::trial::FilledRubber;

/// Vertices of the planning mesh unless an edge length is asked for.
const PLANNING_VERTICES: f64 = 1000.0;

/// Everything the search works on, in the mould frame.
pub(super) struct Setup {
    pub gate: Gate,
    pub body: MouldBody,
    /// The working mesh that the body was built round.
    pub working: TriangleMesh,
    /// Colours of the model's file, if it has any.
    pub paint: Option<Arc<Paint>>,
    pub graph: PlanningGraph,
    pub bridges: BridgeReport,
    /// Rings of the model that all but close.
    pub near: Vec<NearInMould>,
    /// What the potential in the rubber has the person know, a sentence each.
    pub warnings: Vec<String>,
    /// Planning-graph edges of all bridge loops, those of both lips where the hole was filled.
    pub loops: Vec<Vec<u32>>,
    /// The loops of holes that were not filled: no ring of rubber is led over their cuts.
    pub open_loops: Vec<Vec<u32>>,
    /// Where the cuts of filled holes meet the model, drawn straight; none for other holes.
    pub rims: Vec<Vec<Point>>,
    /// Whether each bridge is cut across; a hole without a plain disc is not.
    pub crossed: Vec<bool>,
    /// Opening asked for beside each bridge, mm.
    pub openings: Vec<f64>,
    pub figures: Figures,
    /// The rubber in cells, in which is counted how it hangs together once it is cut.
    pub cells: RubberCells,
    /// The rubber with its elements, as trials have filled it.
    pub filled: FilledRubber,
    /// What a cut costs where.
    weights: Weights,
}

/// What a millimetre of cut costs, at the vertices of the planning mesh.
struct Weights {
    surface: SurfaceLocator,
    weight: Vec<f64>,
}

impl Setup {
    /// Whether the blade needs an opening beside a bridge.
    pub fn needs_opening(&self, bridge: usize) -> bool {
        self.openings[bridge] > 0.0 && !self.loops[bridge].is_empty()
    }

    /// What a millimetre of cut costs at the point of the model nearest to `p`; infinite where none may run.
    pub fn weight_at(&self, p: &Point) -> f64 {
        let Weights { surface, weight } = &self.weights;
        let hit = surface.closest(p);
        let shares = surface.weights(hit.face, &hit.point);
        let corners = surface.face(hit.face).map(|v| weight[v as usize]);
        // An infinite weight times a share of nothing is no number.
        if corners.iter().any(|w| w.is_infinite()) {
            return f64::INFINITY;
        }
        (0..3).map(|k| shares[k].clamp(0.0, 1.0) * corners[k]).sum()
    }

    /// Edges that are cut in any case and that no ring is led over.
    pub fn fixed(&self) -> Vec<u32> {
        self.open_loops.iter().flatten().copied().collect()
    }
}

/// The mesh to work on, in whole coordinates of the mould frame, so that a turned model is worked on as finely as one that was
/// not. Large models were decimated when they were read, which takes longer than all that follows up to the first cuts: they
/// are taken as they came out, if that is fine enough.
fn working_mesh(
    model: &Model,
    request: &PlanRequest,
    to_mould: &Isometry3<f64>,
    control: &Control<'_>,
) -> Result<(WholeMesh, Decimated), PlanError> {
    let asked = request.resolution.deviation;
    if model.original.faces.len() > LARGE_FACES
        && asked.is_none_or(|deviation| deviation >= model.allowed_deviation)
    {
        let whole = canonical_until(&model.working, to_mould, control.cancel())?;
        let deviation = model.working_deviation / whole.step;
        let working = Decimated { mesh: whole.mesh.clone(), deviation, detours: Vec::new() };
        return Ok((whole, working));
    }
    let whole = canonical_until(&model.original, to_mould, control.cancel())?;
    let crossings = model.report.crossings.as_ref().map_or(0, |c| c.pairs);
    let deviation = asked.unwrap_or_else(|| default_deviation(&whole.to_mm(whole.mesh.clone())));
    let within = deviation / whole.step;
    match decimate_until(&whole.mesh, within, crossings, control.cancel()) {
        Err(DecimateError::Cancelled(cancelled)) => Err(cancelled.into()),
        other => Ok((whole, other?)),
    }
}

/// Run the stages up to the planning graph. `edge_share` makes the planning mesh finer than usual
/// where the request leaves its edge open.
pub(super) fn set_up(
    model: &Model,
    request: &PlanRequest,
    edge_share: f64,
    holes: Holes,
    control: &Control<'_>,
) -> Result<Setup, PlanError> {
    request.rubber.check().map_err(PlanError::Rubber)?;
    let mut clock = StageClock::new(control);
    let gate = Gate::find(&model.original, &request.gate)?;
    control.stage(Stage::Mesh, 0.01, "the model is stood in its mould");
    let (whole, working) = working_mesh(model, request, &gate.to_mould, control)?;
    control.check()?;
    let edge = planning_edge(&working.mesh, whole.step, edge_share, request)?;
    control.check()?;
    let planning = whole.to_mm(planning_mesh(&working.mesh, edge)?);
    let deviation = working.deviation * whole.step;
    let working = whole.to_mm(working.mesh);
    clock.lap("mesh");
    control.check()?;

    control.stage(Stage::Body, 0.05, "the rubber's outside");
    let body = MouldBody::new(&working, &request.mould)?;
    let topology = Topology::new(&planning)?;
    let cells = RubberCells::new(&body, request.knife.hinge_width, control)?;
    clock.lap("body");

    control.stage(Stage::Bridges, 0.055, "holes are checked a second time");
    let field = look_at_field(&body, &working, control)?;
    clock.lap("field");

    control.stage(Stage::Bridges, 0.07, "bridges");
    let is_gate: Vec<bool> = planning.positions.iter().map(|p| gate.holds(p)).collect();
    let gate_vertices: Vec<u32> =
        (0..is_gate.len() as u32).filter(|&v| is_gate[v as usize]).collect();
    let board = (Point::origin(), Vector::z());
    let shown = field.as_ref().ok().map(|f| f.holes());
    let bridges = find_bridges_with(&planning, &topology, &gate_vertices, board, shown, control)?;
    let (near, mut warnings) = match field {
        Ok(found) => {
            let warnings = found.disagreement(&bridges, &body).into_iter().collect();
            (found.near, warnings)
        }
        Err(fault) => (Vec::new(), vec![without_field(&fault)]),
    };
    clock.lap("bridges");

    control.stage(Stage::Girth, 0.08, "girths all over the model");
    // A hole without a plain disc is not cut, so its loop opens nothing.
    let crossed: Vec<bool> = bridges.bridges.iter().map(|b| b.disc == DiscState::Plain).collect();
    let skin = Skin::new(planning, &is_gate, &bridges.bridges, &crossed, holes)?;
    warnings.extend(skin.warnings);
    let is_gate = skin.filled.gate(&is_gate);
    let Filled { mesh, model_faces, origins, rims: lips, .. } = skin.filled;
    let weight = weights(&skin.surface, &working, &gate, &body, request, control)?;
    let weights = Weights { surface: SurfaceLocator::new(&skin.surface)?, weight };
    let weight: Vec<f64> =
        origins.iter().map(|v| v.map_or(f64::INFINITY, |v| weights.weight[v as usize])).collect();
    let allowed_strain = allowed_strain(&mesh, &Topology::new(&mesh)?, &body, request);
    let graph = PlanningGraph::new(mesh, is_gate, allowed_strain, &weight)?.with_discs(model_faces);
    let is_filled = |k: usize| !lips[k].is_empty();
    let loops: Vec<Vec<u32>> = (0..crossed.len())
        .map(|k| match crossed[k] {
            false => Vec::new(),
            true if is_filled(k) => {
                lips[k].iter().filter_map(|&[a, b]| graph.edge_along(a, b)).collect()
            }
            true => loop_edges(&graph, &bridges.bridges[k]),
        })
        .collect();
    let open_loops = (0..loops.len())
        .map(|k| if is_filled(k) { Vec::new() } else { loops[k].clone() })
        .collect();
    let openings = bridges.bridges.iter().map(|b| opening_needed(b, request)).collect();
    clock.lap("girth");
    let figures = Figures {
        model_triangles: model.original.faces.len() as u64,
        working_triangles: working.faces.len() as u64,
        working_deviation: deviation,
        planning_vertices: graph.vertex_count() as u64,
        planning_edge: graph.mean_edge(),
        genus: bridges.genus,
        holes: bridges.holes,
        repairs: model.repairs.clone(),
        seconds: clock.laps,
        ..Figures::default()
    };
    let paint = model.paint.as_ref();
    let paint = paint.map(|own| Arc::new(own.moved(&gate.to_mould, MOST_WITH_TRIAL)));
    Ok(Setup {
        paint,
        gate,
        body,
        working,
        graph,
        bridges,
        near,
        warnings,
        loops,
        open_loops,
        rims: skin.rims,
        crossed,
        openings,
        figures,
        cells,
        filled: FilledRubber::default(),
        weights,
    })
}

/// What a plan lacks that was made without the potential.
fn without_field(fault: &crate::field::FieldError) -> String {
    format!(
        "the second check of the holes, by the rubber in them, could not be made ({fault}): bridges rest on the first, and \
         thin rubber in gaps of the model was not looked for"
    )
}

/// Edge of the planning mesh in steps; `step` is one of them, mm.
fn planning_edge(
    working: &TriangleMesh,
    step: f64,
    edge_share: f64,
    request: &PlanRequest,
) -> Result<f64, PlanError> {
    let longest = step * working.longest_side();
    match request.resolution.planning_edge {
        None => Ok(edge_share * (working.area() / (PLANNING_VERTICES * 0.75f64.sqrt())).sqrt()),
        Some(edge) if edge.is_finite() && edge >= 0.004 * longest && edge <= 0.2 * longest => {
            Ok(edge / step)
        }
        Some(edge) => {
            Err(PlanError::PlanningEdge { edge, low: 0.004 * longest, high: 0.2 * longest })
        }
    }
}

/// What a cut costs at each vertex, for its length. Nothing is looked at that does not weigh.
fn weights(
    planning: &TriangleMesh,
    working: &TriangleMesh,
    gate: &Gate,
    body: &MouldBody,
    request: &PlanRequest,
    control: &Control<'_>,
) -> Result<Vec<f64>, PlanError> {
    let (weights, settings) = (&request.weights, &request.sheets);
    let sites = if *weights == CostWeights::NONE {
        vec![CutSite::PLAIN; planning.positions.len()]
    } else {
        cut_sites(body, working, planning, settings, control)?
    };
    let areas = request.areas.moved(&gate.to_mould);
    Ok(cost_weights(planning, &sites, &areas, weights, settings)?)
}

/// Opening that the blade needs beside a bridge, mm: as long as the bridge is wide, so that one
/// stroke crosses it. A bridge against the board needs none: its foot lies open once the mould is
/// off the board.
fn opening_needed(bridge: &Bridge, request: &PlanRequest) -> f64 {
    match bridge.kind {
        BridgeKind::Handle => bridge.neck_width.max(request.knife.least_cut),
        BridgeKind::Arch => 0.0,
    }
}
