//! From lines in the model's coordinates to lines on the planning mesh.

use super::super::error::PlanError;
use super::super::request::PlanRequest;
use super::super::setup::Setup;
use super::super::strain::allowed_strain;
use super::fault::SchemeFault;
use super::given::{Scheme, SchemeLine};
use super::sides;
use crate::bridges::{BridgeKind, DiscState};
use crate::curves::{Drawn, DrawnError, DrawnLine};
use crate::girth::PlanningGraph;
use crate::mesh::{
    CurvePoint, Model, Point, SurfaceLocator, Topology, TriangleMesh, nearest_on_polyline,
    polyline_length,
};

/// Longest piece of a line that is laid on the mesh by its ends, in edges of the planning mesh.
const PIECE: f64 = 0.25;
/// A piece of a line may be this many times as long once it is laid on the mesh; more is a jump.
const STRETCH: f64 = 6.0;
/// Points nearer than this are one, mm.
const SAME: f64 = 1e-6;

/// Faults that can be seen before the model is planned.
pub(super) fn check(model: &Model, scheme: &Scheme) -> Result<(), PlanError> {
    let limit = scheme.tolerance;
    if !(limit.is_finite() && limit > 0.0) {
        return Err(PlanError::Scheme(vec![SchemeFault::Tolerance { value: limit }]));
    }
    let surface = SurfaceLocator::new(&model.original)?;
    let mut faults = Vec::new();
    for own in &scheme.cuts {
        let SchemeLine::Points(points) = &own.line else { continue };
        let cut = || own.name.clone();
        let mut sound = true;
        for (point, place) in points.iter().enumerate() {
            if !place.iter().all(|x| x.is_finite()) {
                faults.push(SchemeFault::NotFinite { cut: cut(), point });
                sound = false;
                continue;
            }
            let distance = surface.closest(place).distance;
            if distance > limit {
                faults.push(SchemeFault::OffModel { cut: cut(), point, distance, limit });
                sound = false;
            }
        }
        if points.len() < 2 || (sound && polyline_length(points) < SAME) {
            faults.push(SchemeFault::TooFewPoints { cut: cut() });
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(PlanError::Scheme(faults)) }
}

/// A line of a scheme in the mould frame.
struct Line {
    /// The scheme's cut that it comes from.
    cut: usize,
    points: Vec<Point>,
    closed: bool,
}

/// Carry a scheme; the setup's bridges are cut as the scheme says.
pub(super) fn carry(
    setup: &mut Setup,
    scheme: &Scheme,
    request: &PlanRequest,
) -> Result<Drawn, PlanError> {
    let whole = |fault| PlanError::Scheme(vec![fault]);
    let mut crossing: Vec<Option<Crossing>> = setup.crossed.iter().map(|_| None).collect();
    let mut faults = Vec::new();
    let mut lines = Vec::new();
    for (index, cut) in scheme.cuts.iter().enumerate() {
        match &cut.line {
            SchemeLine::Bridge(bridge) => {
                if let Err(fault) = take(setup, &mut crossing, scheme, index, *bridge, None) {
                    faults.push(fault);
                }
            }
            SchemeLine::Points(points) => {
                let mut points: Vec<Point> =
                    points.iter().map(|p| setup.gate.to_mould * p).collect();
                points.dedup_by(|a, b| (*a - *b).norm() < SAME);
                let closed = points.len() > 3
                    && (points[0] - points[points.len() - 1]).norm() < scheme.tolerance;
                if closed {
                    let last = points.len() - 1;
                    points[last] = points[0];
                }
                lines.push(Line { cut: index, points, closed });
            }
        }
    }
    join(&mut lines, scheme.tolerance);
    let surface = SurfaceLocator::new(&setup.graph.mesh)?;
    let bench = Bench { setup, surface, tolerance: scheme.tolerance };
    let mut laid = Vec::new();
    for line in &lines {
        match bench.lay(line, &lines) {
            Ok(drawn) => laid.push(drawn),
            Err(point) => {
                faults.push(SchemeFault::Jumps { cut: scheme.cuts[line.cut].name.clone(), point });
            }
        }
    }
    if !faults.is_empty() {
        return Err(PlanError::Scheme(faults));
    }
    // What goes round a hole belongs to the bridge in it.
    let edge = setup.graph.mean_edge();
    let drawn = |lines: &[DrawnLine], owners: &[usize], rims: &[Option<DrawnLine>]| {
        let strain = |mesh: &TriangleMesh| {
            let topology = Topology::new(mesh).ok()?;
            Some(allowed_strain(mesh, &topology, &setup.body, request))
        };
        Drawn::new(&setup.graph, lines, rims, &strain).map_err(|error| {
            whole(match error {
                DrawnError::NotFollowed => SchemeFault::NotFollowed,
                DrawnError::TooShort(line) => match owners.get(line) {
                    Some(&cut) => {
                        SchemeFault::TooShort { cut: scheme.cuts[cut].name.clone(), edge }
                    }
                    None => SchemeFault::NotFollowed,
                },
            })
        })
    };
    let mut exterior = Vec::new();
    let mut exterior_owners = Vec::new();
    for (line, own) in lines.iter().zip(laid) {
        let rim = if line.closed || is_from_gate_to_gate(&setup.graph, &own) {
            let alone = drawn(std::slice::from_ref(&own), &[line.cut], &[])?;
            bridge_of(setup, alone.cut.edges(), line.closed)
        } else {
            None
        };
        match rim {
            Some(bridge) => {
                if let Err(fault) = take(setup, &mut crossing, scheme, line.cut, bridge, Some(own))
                {
                    return Err(whole(fault));
                }
            }
            None => {
                exterior.push(own);
                exterior_owners.push(line.cut);
            }
        }
    }
    let mut rims = Vec::new();
    for (index, crossing) in crossing.iter().enumerate() {
        rims.push(match crossing {
            None => None,
            Some(Crossing { drawn: Some(line) }) => Some(line.clone()),
            Some(Crossing { drawn: None }) => {
                Some(bench.own_rim(index).ok_or_else(|| whole(SchemeFault::NotFollowed))?)
            }
        });
    }
    let result = drawn(&exterior, &exterior_owners, &rims)?;
    setup.crossed = crossing.iter().map(Option::is_some).collect();
    setup.loops.clone_from(&result.loops);
    setup.open_loops.clone_from(&result.loops);
    Ok(result)
}

/// How a scheme cuts a bridge across.
struct Crossing {
    /// The line drawn for it; none for the program's own.
    drawn: Option<DrawnLine>,
}

/// Note that a cut crosses a bridge.
fn take(
    setup: &Setup,
    crossing: &mut [Option<Crossing>],
    scheme: &Scheme,
    index: usize,
    bridge: usize,
    drawn: Option<DrawnLine>,
) -> Result<(), SchemeFault> {
    let cut = scheme.cuts[index].name.clone();
    let Some(slot) = crossing.get_mut(bridge) else {
        return Err(SchemeFault::NoSuchBridge { cut, bridge, count: setup.crossed.len() });
    };
    if setup.bridges.bridges[bridge].disc != DiscState::Plain {
        return Err(SchemeFault::KnottedBridge { cut, bridge });
    }
    if slot.is_some() {
        return Err(SchemeFault::BridgeTwice { cut, bridge });
    }
    *slot = Some(Crossing { drawn });
    Ok(())
}

fn is_from_gate_to_gate(graph: &PlanningGraph, line: &DrawnLine) -> bool {
    let gate = |point: Option<&CurvePoint>| {
        point.and_then(|p| p.vertex).is_some_and(|v| graph.is_gate[v as usize])
    };
    gate(line.points.first()) && gate(line.points.last())
}

/// The bridge whose rim a line can be moved to on the surface: both together bound, the line alone
/// does not.
fn bridge_of(setup: &Setup, edges: &[u32], closed: bool) -> Option<usize> {
    if sides::bounds(&setup.graph, edges) {
        return None;
    }
    let kind = if closed { BridgeKind::Handle } else { BridgeKind::Arch };
    let both = |rim: &[u32]| [edges, rim].concat();
    (0..setup.loops.len()).find(|&k| {
        setup.bridges.bridges[k].kind == kind
            && !setup.loops[k].is_empty()
            && sides::bounds(&setup.graph, &both(&setup.loops[k]))
    })
}

/// Ends that come near another line are moved on to it, and that line is parted there.
fn join(lines: &mut Vec<Line>, tolerance: f64) {
    let mut partings: Vec<Vec<Point>> = lines.iter().map(|_| Vec::new()).collect();
    for k in 0..lines.len() {
        if lines[k].closed {
            continue;
        }
        for last in [false, true] {
            let at = if last { lines[k].points.len() - 1 } else { 0 };
            let end = lines[k].points[at];
            let near = (0..lines.len())
                .filter(|&other| other != k)
                .map(|other| {
                    let (distance, foot) = nearest_on_polyline(&lines[other].points, &end);
                    (distance, foot, other)
                })
                .filter(|(distance, ..)| *distance <= tolerance)
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let Some((_, foot, other)) = near else { continue };
            let ends =
                [&lines[other].points[0], &lines[other].points[lines[other].points.len() - 1]];
            let at_end = ends.into_iter().find(|p| (*p - foot).norm() <= tolerance).copied();
            lines[k].points[at] = at_end.unwrap_or(foot);
            // A ring stays whole: it may go round a bridge.
            if at_end.is_none() && !lines[other].closed {
                partings[other].push(foot);
            }
        }
    }
    let whole = std::mem::take(lines);
    for (line, partings) in whole.into_iter().zip(partings) {
        let mut pieces = vec![line];
        for place in partings {
            pieces = pieces.into_iter().flat_map(|piece| part(piece, &place)).collect();
        }
        lines.extend(pieces);
    }
}

/// A line in two at a place on it, or as it is if the place is not on it.
fn part(line: Line, place: &Point) -> Vec<Line> {
    let pieces = line.points.windows(2);
    let nearest = pieces
        .map(|pair| nearest_on_polyline(pair, place).0)
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1));
    let Some((piece, distance)) = nearest else { return vec![line] };
    if distance > SAME {
        return vec![line];
    }
    let Line { cut, points, .. } = line;
    let before = points[..=piece].iter().copied().chain([*place]).collect();
    let after = [*place].into_iter().chain(points[piece + 1..].iter().copied()).collect();
    [before, after].map(|points| Line { cut, points, closed: false }).into()
}

/// What lines are laid on.
struct Bench<'a> {
    setup: &'a Setup,
    surface: SurfaceLocator,
    tolerance: f64,
}

impl Bench<'_> {
    /// A line laid on the planning mesh; the index of the point after which it jumps if it cannot be.
    fn lay(&self, line: &Line, lines: &[Line]) -> Result<DrawnLine, usize> {
        let mut points = line.points.clone();
        let at_gate = |p: &Point| self.setup.gate.distance(p) <= self.tolerance;
        let ends = |points: &[Point]| [points[0], points[points.len() - 1]].map(|p| at_gate(&p));
        let mut at = if line.closed { [false; 2] } else { ends(&points) };
        let mut reversed = false;
        if at[1] && !at[0] {
            points.reverse();
            at.reverse();
            reversed = true;
        }
        let mut laid = self
            .laid(&points)
            .map_err(|point| if reversed { line.points.len() - 2 - point } else { point })?;
        if at[0] {
            // What runs inside the gate is open already.
            let out = laid.iter().position(|p| !self.setup.gate.holds(&p.point));
            let first = out.map_or(0, |out| out.saturating_sub(1));
            laid.drain(..first);
            let gate = self.gate_vertex(&laid[0].point);
            laid.splice(..0, gate);
        }
        if at[1] {
            let last = laid[laid.len() - 1].point;
            laid.extend(self.gate_vertex(&last));
        }
        let others = || lines.iter().filter(|other| !std::ptr::eq(*other, line));
        let joined =
            |p: &Point| others().any(|other| nearest_on_polyline(&other.points, p).0 <= SAME);
        Ok(DrawnLine {
            starts_at_gate: at[0],
            free_start: !line.closed && !at[0] && !joined(&points[0]),
            free_end: !line.closed && !at[1] && !joined(&points[points.len() - 1]),
            points: laid,
        })
    }

    /// Points laid on the planning mesh, close together.
    fn laid(&self, points: &[Point]) -> Result<Vec<CurvePoint>, usize> {
        let piece = PIECE * self.setup.graph.mean_edge();
        let on = |p: &Point| {
            let hit = self.surface.closest(p);
            CurvePoint { point: hit.point, face: hit.face.0, vertex: None }
        };
        let mut laid = vec![on(&points[0])];
        for (index, pair) in points.windows(2).enumerate() {
            let count = ((pair[1] - pair[0]).norm() / piece).ceil().max(1.0) as usize;
            let step = (pair[1] - pair[0]).norm() / count as f64;
            for k in 1..=count {
                let next = on(&(pair[0] + (pair[1] - pair[0]) * (k as f64 / count as f64)));
                let gone = (next.point - laid[laid.len() - 1].point).norm();
                if gone > STRETCH * step + 2.0 * piece {
                    return Err(index);
                }
                if gone > SAME || k == count {
                    laid.push(next);
                }
            }
        }
        Ok(laid)
    }

    /// The vertex of the gate nearest to a point.
    fn gate_vertex(&self, point: &Point) -> Option<CurvePoint> {
        let graph = &self.setup.graph;
        let away = |v: &u32| (graph.mesh.positions[*v as usize] - point).norm();
        let nearest = (0..graph.vertex_count() as u32)
            .filter(|&v| graph.is_gate[v as usize])
            .min_by(|a, b| away(a).total_cmp(&away(b)))?;
        self.at_vertex(nearest)
    }

    fn at_vertex(&self, vertex: u32) -> Option<CurvePoint> {
        let graph = &self.setup.graph;
        let face = graph.mesh.faces.iter().position(|face| face.contains(&vertex))?;
        let point = graph.mesh.positions[vertex as usize];
        Some(CurvePoint { point, face: face as u32, vertex: Some(vertex) })
    }

    /// The program's own line across a bridge.
    fn own_rim(&self, index: usize) -> Option<DrawnLine> {
        let bridge = &self.setup.bridges.bridges[index];
        let mut laid = self.laid(&bridge.rim_line()).ok()?;
        if bridge.closed {
            let last = laid.len() - 1;
            laid[last] = laid[0];
        } else {
            let ends = [*bridge.path.first()?, *bridge.path.last()?];
            laid.insert(0, self.at_vertex(ends[0])?);
            laid.push(self.at_vertex(ends[1])?);
        }
        Some(DrawnLine {
            points: laid,
            starts_at_gate: !bridge.closed,
            free_start: false,
            free_end: false,
        })
    }
}
