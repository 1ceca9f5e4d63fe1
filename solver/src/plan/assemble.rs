//! A candidate put together as the plan that goes out: curves, order, reasons, limits.

use super::answer::{Cut, CutKind, Hinge, NearBridge, Plan, PlannedBridge, Reason, TwoSides};
use super::candidate::{self, Candidate};
use super::closing::close;
use super::cuts::{bridge_cut, exterior_cut, opening_reason, rim_points};
use super::ending::Ending;
use super::error::PlanError;
use super::hinges::hinges;
use super::knife_order::{bridge_key, order_key};
use super::limits::limits;
use super::near::NearInMould;
use super::reasons::{reason, stretches};
use super::request::PlanRequest;
use super::setup::Setup;
use super::show::Show;
use super::surface::Outward;
use crate::body::Whereabouts;
use crate::bridges::Confirmation;
use crate::control::Control;
use crate::curves::CutCurves;
use crate::mesh::{Model, Point, polyline_length};
use crate::optimise::cut_set::CutSet;
use crate::optimise::pool::RowPool;
use crate::optimise::separation::Separator;

/// What candidates are put together with.
pub(super) struct Assembly<'a, 'g> {
    pub model: &'a Model,
    pub request: &'a PlanRequest,
    pub setup: &'a Setup,
    /// What was asked for tight rings.
    pub separator: &'a Separator<'g>,
    /// The rows that every plan must meet, and the rings that they come from.
    pub pool: &'a RowPool,
    /// Rounds of the search.
    pub rounds: u32,
}

impl Assembly<'_, '_> {
    /// Put a candidate together, with what is known of its ending.
    pub(super) fn plan(
        &self,
        candidate: &Candidate,
        ending: Ending,
        control: &Control<'_>,
    ) -> Result<Plan, PlanError> {
        let Self { model, request, setup, separator, pool, rounds } = *self;
        let outward = Outward::new(model, &setup.gate)?;
        let board = outward.point(Point::origin());
        let places = Whereabouts::of(outward.up(), Some(&board), &model.working);
        let side = |p: &Point| places.side(&outward.point(*p)).unwrap_or_default().to_owned();
        let bridges = planned_bridges(setup, candidate, &outward);
        let mut cuts = self.exterior_cuts(candidate, &outward);
        let exterior = cuts.len();
        cuts.extend(bridge_cuts(setup, candidate, &bridges));
        let (cuts, order_of) = numbered(cuts, exterior);
        let sheets = candidate
            .sheets()
            .map(|s| s.report(&order_of, &setup.gate, &setup.body, &request.sheets));
        let volume = setup.body.rubber_volume();
        let mut figures = setup.figures.clone();
        figures.rounds = rounds;
        figures.rows = pool.rows.len() as u32;
        let (graph, fixed) = (&setup.graph, setup.fixed());
        let (mut hinges_left, mut stretched) = (Vec::new(), Vec::new());
        if let Some(edges) = candidate.edges() {
            let all = CutSet::new(edges.edges().iter().chain(&fixed).copied().collect());
            let slack = separator.holding_rings(&all.indicator(graph), control);
            stretched = stretches(graph, &slack, &|p| outward.point(p));
            hinges_left = hinges(graph, edges, &fixed, |p| outward.point(p));
        }
        if let Some(sides) = candidate.two_sides() {
            let hinge = |own: &Hinge| Hinge {
                from: outward.point(own.from),
                to: outward.point(own.to),
                ..own.clone()
            };
            hinges_left = sides.hinges.iter().map(hinge).collect();
        }
        let no_sheets = sheets.is_none().then(|| {
            "the work was stopped before the sheets were made: rulings, wedges and the test of the \
             whole rubber are missing"
                .to_owned()
        });
        let mut plan = Plan {
            // A sum over nothing is -0.0.
            total_length: 0.0 + cuts.iter().map(|c| c.length).sum::<f64>(),
            bridges,
            near_bridges: setup.near.iter().map(|near| near_bridge(near, &outward)).collect(),
            sheets,
            trial: candidate.trial().clone(),
            misses: Vec::new(),
            seam_on_show: Show::new(&model.working)?.of_cuts(&cuts),
            two_sides: candidate.two_sides().map(|sides| TwoSides {
                direction: outward.direction(&sides.direction),
                border: sides.border,
                // A sum over nothing is -0.0.
                cut: 0.0 + candidate.curves().cuts.iter().map(CutCurves::length).sum::<f64>(),
                undercut: sides.undercut,
            }),
            hinges: hinges_left,
            stretches: stretched,
            gate_outline: outward.gate_outline(graph),
            up: outward.up(),
            cost: candidate.cost(),
            shortfall: candidate.curves().worst_fault(),
            ending,
            rubber_volume: volume,
            rubber_mass: volume * request.rubber.density,
            limits: Vec::new(),
            warnings: model
                .warnings_placed(|p| places.end(p))
                .into_iter()
                .chain(setup.bridges.warnings.iter().map(|warning| warning.text(side)))
                .chain(setup.warnings.iter().cloned())
                .chain(no_sheets)
                .collect(),
            figures,
            cuts,
            advice: None,
        };
        plan.limits = limits(setup, candidate, pool, request, (&plan, &places));
        close(&mut plan, ending, request);
        Ok(plan)
    }

    /// The exterior cuts, in the order of the curves, each with its place in knife order.
    fn exterior_cuts(&self, candidate: &Candidate, outward: &Outward<'_>) -> Vec<Placed> {
        let Self { setup, pool, .. } = *self;
        let (graph, fixed) = (&setup.graph, setup.fixed());
        let components = candidate.edges().map_or_else(Vec::new, |edges| edges.components(graph));
        let why = |index: usize| {
            let own = components.get(index)?;
            let others: Vec<u32> = components
                .iter()
                .enumerate()
                .filter(|&(k, _)| k != index)
                .flat_map(|(_, c)| c.iter().copied())
                .chain(fixed.iter().copied())
                .collect();
            reason(graph, pool, own, &others, &|p| outward.point(p))
        };
        let curves = candidate.curves().cuts.iter().enumerate();
        curves
            .map(|(index, curve)| {
                let reason = match candidate.two_sides() {
                    Some(sides) => parting_reason(setup, sides, index),
                    None => why(index).unwrap_or_else(|| opening_reason(setup, curve)),
                };
                let sheets =
                    candidate.sheets().map_or_else(Vec::new, |s| s.of_cut(index, &setup.gate));
                let mut cut = exterior_cut(curve, outward, reason, sheets);
                let mut key = order_key(curve);
                if let Some(sides) = candidate.two_sides() {
                    if sides.across(index).is_some() {
                        cut.kind = CutKind::Bridge;
                    } else if sides.skin_of(index).is_some() {
                        // It is led from within: all else is open by then.
                        (cut.kind, key) = (CutKind::BehindHinge, f64::INFINITY);
                    }
                }
                Placed { key, exterior: Some(index), cut }
            })
            .collect()
    }
}

/// A cut with its place in knife order.
struct Placed {
    key: f64,
    /// The exterior cut that it is, unless it cuts a bridge.
    exterior: Option<usize>,
    cut: Cut,
}

/// Cuts in knife order, and the number of each exterior one.
fn numbered(mut cuts: Vec<Placed>, exterior: usize) -> (Vec<Cut>, Vec<u32>) {
    cuts.sort_by(|a, b| a.key.total_cmp(&b.key));
    let mut order_of = vec![0; exterior];
    let cuts = cuts
        .into_iter()
        .zip(1..)
        .map(|(placed, order)| {
            if let Some(index) = placed.exterior {
                order_of[index] = order;
            }
            Cut { order, ..placed.cut }
        })
        .collect();
    (cuts, order_of)
}

fn planned_bridges(
    setup: &Setup,
    candidate: &Candidate,
    outward: &Outward<'_>,
) -> Vec<PlannedBridge> {
    let mut openings = Openings(candidate.curves().openings.iter());
    let bridges = setup.bridges.bridges.iter().enumerate();
    bridges
        .map(|(index, bridge)| {
            let rim = outward.curve(&rim_points(setup, candidate, index));
            let lined = candidate.is_lined(index);
            PlannedBridge {
                kind: bridge.kind,
                rim_length: polyline_length(&rim),
                closed: bridge.closed,
                neck_area: bridge.neck_area,
                neck_width: bridge.neck_width,
                depth: bridge.depth,
                centre: outward.point(bridge.centre),
                disc: bridge.disc.clone(),
                opening: openings.next_for(setup, index),
                opening_needed: if lined { 0.0 } else { setup.openings[index] },
                confirmed: bridge
                    .confirmed
                    .map(|c| Confirmation { place: outward.point(c.place), ..c }),
                rim,
                lined,
            }
        })
        .collect()
}

/// The cuts across bridges, each with its place in knife order.
fn bridge_cuts<'a>(
    setup: &'a Setup,
    candidate: &'a Candidate,
    bridges: &'a [PlannedBridge],
) -> impl Iterator<Item = Placed> + 'a {
    let crossed =
        bridges.iter().enumerate().filter(|(index, bridge)| setup.crossed[*index] && !bridge.lined);
    crossed.map(|(index, bridge)| {
        let sheets = candidate.sheets().map_or_else(Vec::new, |s| s.of_bridge(index, &setup.gate));
        let cut = bridge_cut(setup, index, bridge.rim.clone(), sheets);
        let key = bridge_key(setup, index, &candidate.curves().cuts);
        Placed { key, exterior: None, cut }
    })
}

/// Why a cut between two sides, or one that goes with them, is made.
fn parting_reason(setup: &Setup, sides: &candidate::TwoSides, cut: usize) -> Reason {
    if let Some(skin) = sides.skin_of(cut) {
        return Reason::FoldsHinge {
            skin,
            text: format!(
                "lets the hinge fold like a spine: cut it from within, through the open cut, and leave the outermost {skin:.0} mm"
            ),
        };
    }
    match sides.across(cut).flatten() {
        Some(near) => Reason::CutsNearBridge {
            near: near as u32,
            text: format!(
                "parts the plug of rubber in a ring of the model that all but closes: it would have to come out \
                 through a gap of {:.1} mm",
                setup.near[near].gap
            ),
        },
        None => Reason::PartsSides {
            text: "lets the rubber open between two sides of the model".to_owned(),
        },
    }
}

fn near_bridge(near: &NearInMould, outward: &Outward<'_>) -> NearBridge {
    let ends = near.ends.map(|p| outward.point(p));
    NearBridge {
        place: nalgebra::center(&ends[0], &ends[1]),
        ends,
        gap: near.gap,
        against_board: near.against_board,
        ring: outward.point(near.ring),
        level: near.level,
        persistence: near.persistence,
    }
}

/// Openings come in the order of the bridges that need one.
struct Openings<'a>(std::slice::Iter<'a, f64>);

impl Openings<'_> {
    fn next_for(&mut self, setup: &Setup, bridge: usize) -> f64 {
        if setup.needs_opening(bridge) { self.0.next().copied().unwrap_or(0.0) } else { 0.0 }
    }
}
