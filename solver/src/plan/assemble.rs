//! From what the search found to the plan that goes out: curves, order, reasons, limits.

use super::compare::Show;
use super::hinges::hinges;
use super::improve::Found;
use super::make::PlanError;
use super::near::NearInMould;
use super::reasons::{reason, stretches};
use super::setup::Setup;
use super::sheets::PlannedSheets;
use super::surface::Outward;
use super::{
    Cut, CutKind, Limit, NearBridge, Plan, PlanRequest, PlannedBridge, Reason, StopReason,
    TrialVerdict,
};
use crate::bridges::{BridgeKind, Confirmation, DiscState};
use crate::control::Control;
use crate::curves::{CutCurves, Finished};
use crate::mesh::{Model, Point, polyline_length};
use crate::optimise::cut_set::CutSet;
use crate::optimise::one_piece::{is_forest, necks};
use crate::optimise::rows::RowPool;
use crate::optimise::separation::Separator;
use crate::sheets::Sheet;

/// The results of every stage, which meet here.
pub(super) struct Parts<'a, 'g> {
    pub setup: &'a Setup,
    /// What was asked for tight rings.
    pub separator: &'a Separator<'g>,
    /// The rings and rows that it found.
    pub pool: &'a RowPool,
    pub found: &'a Found,
    pub sheets: Option<PlannedSheets>,
    pub trial: TrialVerdict,
}

/// Put the plan together.
pub(super) fn assemble(
    parts: Parts<'_, '_>,
    model: &Model,
    request: &PlanRequest,
    laps: Vec<(String, f64)>,
    control: &Control<'_>,
) -> Result<Plan, PlanError> {
    let Parts { setup, separator, pool, found, sheets, trial } = parts;
    let finished = &found.curves;
    let graph = &setup.graph;
    let outward = Outward::new(model, &setup.gate)?;
    let components = found.cut.components(graph);
    let (curves, rims) = (&finished.cuts, &finished.rims);

    let fixed = setup.fixed();
    let mut cuts: Vec<(f64, Source, Cut)> = Vec::new();
    for (index, (curve, own)) in curves.iter().zip(&components).enumerate() {
        let others: Vec<u32> = components
            .iter()
            .enumerate()
            .filter(|&(k, _)| k != index)
            .flat_map(|(_, c)| c.iter().copied())
            .chain(fixed.iter().copied())
            .collect();
        let reason = reason(graph, pool, own, &others, &|p| outward.point(p))
            .unwrap_or_else(|| opening_reason(setup, curve));
        let sheets = sheets.as_ref().map_or_else(Vec::new, |s| s.of_cut(index, &setup.gate));
        cuts.push((order_key(curve), Source::Exterior(index), {
            exterior_cut(curve, &outward, reason, sheets)
        }));
    }
    let exterior = cuts.len();
    let mut openings = Openings(finished.openings.iter());
    let mut planned = Vec::new();
    for (index, bridge) in setup.bridges.bridges.iter().enumerate() {
        let rim = outward.curve(&rim_points(setup, index, &rims[index]));
        let opening = openings.next_for(setup, index);
        planned.push(PlannedBridge {
            kind: bridge.kind,
            rim_length: polyline_length(&rim),
            closed: bridge.closed,
            neck_area: bridge.neck_area,
            neck_width: bridge.neck_width,
            depth: bridge.depth,
            centre: outward.point(bridge.centre),
            disc: bridge.disc.clone(),
            opening,
            opening_needed: setup.openings[index],
            confirmed: bridge
                .confirmed
                .map(|c| Confirmation { place: outward.point(c.place), ..c }),
            rim: rim.clone(),
        });
        if setup.crossed[index] {
            let own = sheets.as_ref().map_or_else(Vec::new, |s| s.of_bridge(index, &setup.gate));
            let cut = bridge_cut(setup, index, rim, own);
            cuts.push((bridge_key(setup, index, curves), Source::Bridge, cut));
        }
    }
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut order_of = vec![0; exterior];
    let cuts: Vec<Cut> = cuts
        .into_iter()
        .zip(1..)
        .map(|((_, source, cut), order)| {
            if let Source::Exterior(index) = source {
                order_of[index] = order;
            }
            Cut { order, ..cut }
        })
        .collect();
    let report = sheets.map(|s| s.report(&order_of, &setup.gate, &setup.body, &request.sheets));

    let volume = setup.body.rubber_volume();
    let cost = finished.cost(request.knife.entry_price);
    let gap = if cost > 0.0 { ((cost - found.bound) / cost).max(0.0) } else { 0.0 };
    let mut figures = setup.figures.clone();
    figures.seconds.extend(laps);
    figures.rounds = found.rounds;
    figures.rows = pool.rows.len() as u32;
    let all = CutSet::new(found.cut.edges().iter().chain(&fixed).copied().collect());
    let slack = separator.holding_rings(&all.indicator(graph), control);
    let no_sheets = report.is_none().then(|| {
        "the work was stopped before the sheets were made: rulings, wedges and the test of the \
         whole rubber are missing"
            .to_owned()
    });
    let mut plan = Plan {
        // A sum over nothing is -0.0.
        total_length: 0.0 + cuts.iter().map(|c| c.length).sum::<f64>(),
        bridges: planned,
        near_bridges: setup.near.iter().map(|near| near_bridge(near, &outward)).collect(),
        sheets: report,
        trial,
        misses: Vec::new(),
        seam_on_show: Show::new(&model.working)?.of_cuts(&cuts),
        hinges: hinges(graph, &found.cut, &fixed, |p| outward.point(p)),
        stretches: stretches(graph, &slack, &|p| outward.point(p)),
        gate_outline: outward.gate_outline(graph),
        up: outward.up(),
        cost,
        lower_bound: found.bound.min(cost),
        gap,
        stopped_by: found.stopped_by,
        rubber_volume: volume,
        rubber_mass: volume * request.rubber.density,
        limits: Vec::new(),
        warnings: model
            .warnings
            .iter()
            .cloned()
            .chain(setup.bridges.warnings.iter().map(|w| w.at(|p| outward.point(p)).to_string()))
            .chain(setup.warnings.iter().cloned())
            .chain(no_sheets)
            .collect(),
        figures,
        cuts,
    };
    plan.limits = limits(setup, found, pool, request, &plan, exterior, &fixed);
    Ok(plan)
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

/// What a cut was made from.
enum Source {
    /// The exterior cut with this index.
    Exterior(usize),
    /// A bridge.
    Bridge,
}

/// The line where the knife meets the model across a bridge: that of the filled hole, or the straightened
/// loop of the graph, or, for a hole that is not cut, the line found with the hole.
fn rim_points(setup: &Setup, index: usize, curves: &CutCurves) -> Vec<Point> {
    let (own, bridge) = (&setup.rims[index], &setup.bridges.bridges[index]);
    match curves.chains.as_slice() {
        _ if !own.is_empty() => own.clone(),
        [chain] => chain.points.iter().map(|p| p.point).collect(),
        _ => {
            bridge.rim.iter().chain(bridge.rim.first().filter(|_| bridge.closed)).copied().collect()
        }
    }
}

/// From the gate first, long before short; then by height above the board.
fn order_key(curve: &CutCurves) -> f64 {
    if curve.from_gate {
        return -curve.length() * 1e-6;
    }
    1.0 + lowest(curve)
}

fn lowest(curve: &CutCurves) -> f64 {
    curve
        .chains
        .iter()
        .flat_map(|c| &c.points)
        .map(|p| p.point.z)
        .fold(f64::INFINITY, f64::min)
        .max(0.0)
}

/// A bridge against the board comes first, any other right after the cut that opens the way.
fn bridge_key(setup: &Setup, index: usize, curves: &[CutCurves]) -> f64 {
    let bridge = &setup.bridges.bridges[index];
    if bridge.kind == BridgeKind::Arch {
        return -1.0;
    }
    curves
        .iter()
        .map(|c| (distance_between(c, &bridge.rim), order_key(c)))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(0.0, |(_, key)| key + 1e-9 * (1.0 + index as f64))
}

fn distance_between(curve: &CutCurves, rim: &[Point]) -> f64 {
    curve
        .chains
        .iter()
        .flat_map(|c| &c.points)
        .flat_map(|p| rim.iter().map(move |q| (p.point - q).norm()))
        .fold(f64::INFINITY, f64::min)
}

fn exterior_cut(curve: &CutCurves, outward: &Outward, reason: Reason, sheets: Vec<Sheet>) -> Cut {
    let branches: Vec<Vec<Point>> = curve
        .chains
        .iter()
        .map(|chain| {
            let points: Vec<Point> = chain.points.iter().map(|p| p.point).collect();
            let points =
                if chain.starts_at_gate { outward.gate().clipped(&points) } else { points };
            outward.curve(&points)
        })
        .collect();
    Cut {
        order: 0,
        kind: if curve.from_gate { CutKind::FromGate } else { CutKind::Separate },
        length: branches.iter().map(|b| polyline_length(b)).sum(),
        branches,
        reason,
        sheets,
    }
}

fn bridge_cut(setup: &Setup, index: usize, rim: Vec<Point>, sheets: Vec<Sheet>) -> Cut {
    let bridge = &setup.bridges.bridges[index];
    let through = match bridge.kind {
        BridgeKind::Handle => "a hole of the model",
        BridgeKind::Arch => "the gap between model and board",
    };
    Cut {
        order: 0,
        kind: CutKind::Bridge,
        length: polyline_length(&rim),
        branches: vec![rim],
        reason: Reason::CutsBridge {
            bridge: index as u32,
            text: format!(
                "rubber runs through {through}; its neck is {:.0} mm wide ({:.0} mm^2)",
                bridge.neck_width, bridge.neck_area
            ),
        },
        sheets,
    }
}

/// A cut that no ring asks for opens the way to a bridge.
fn opening_reason(setup: &Setup, curve: &CutCurves) -> Reason {
    let nearest = (0..setup.bridges.bridges.len())
        .min_by(|&a, &b| {
            let d = |k: usize| distance_between(curve, &setup.bridges.bridges[k].rim);
            d(a).total_cmp(&d(b))
        })
        .unwrap_or(0);
    Reason::CutsBridge {
        bridge: nearest as u32,
        text: "opens the way for the blade to the bridge".to_owned(),
    }
}

/// Openings come in the order of the bridges that need one.
struct Openings<'a>(std::slice::Iter<'a, f64>);

impl Openings<'_> {
    fn next_for(&mut self, setup: &Setup, bridge: usize) -> f64 {
        let asked = setup.openings[bridge] > 0.0 && !setup.loops[bridge].is_empty();
        if asked { self.0.next().copied().unwrap_or(0.0) } else { 0.0 }
    }
}

/// The release limit in words.
fn release_limit(curves: &Finished, rings: usize) -> (bool, String) {
    if curves.missed > 0 {
        let text = format!(
            "{} rows are missed once the cuts are straightened: lengthen the cuts there",
            curves.missed
        );
        return (false, text);
    }
    if let Some(ring) = curves.tight.first() {
        let text = format!(
            "a ring that may be stretched to {:.0} mm still has to let a girth of {:.0} mm pass: \
             lengthen the cuts there",
            ring.reach, ring.width
        );
        return (false, text);
    }
    if !curves.looked && !curves.cuts.is_empty() {
        let text = "the curves meet every row, but could not be looked at again as they run";
        return (false, text.to_owned());
    }
    let again = if curves.cuts.is_empty() {
        String::new()
    } else {
        format!(
            ": {rings} rings found too tight are each crossed by enough cut, and a fresh look round \
             the straightened curves found no other"
        )
    };
    (true, format!("the model comes out by the girth model{again}"))
}

/// Step along a cut between the points at which it is looked at, mm.
const LOOK: f64 = 0.25;

/// Whether every cut, the rims of bridges with them, keeps off the areas.
fn areas_limit(plan: &Plan, request: &PlanRequest) -> Limit {
    let held = |p: &Point| request.areas.keep_off.iter().any(|area| area.holds(p));
    let over = |branch: &Vec<Point>| {
        branch.windows(2).any(|pair| {
            let steps = ((pair[1] - pair[0]).norm() / LOOK).ceil().max(1.0) as u32;
            (0..=steps)
                .any(|k| held(&(pair[0] + (pair[1] - pair[0]) * (f64::from(k) / f64::from(steps)))))
        })
    };
    let crossing = plan.cuts.iter().find(|cut| cut.branches.iter().any(over));
    let text = match crossing {
        None => "no cut runs over an area that is kept off".to_owned(),
        Some(cut) => format!(
            "cut {} runs over an area that is kept off: a bridge has to be cut across somewhere; \
             make the area smaller",
            cut.order
        ),
    };
    Limit { name: "areas kept free".to_owned(), met: crossing.is_none(), text }
}

fn limits(
    setup: &Setup,
    found: &Found,
    pool: &RowPool,
    request: &PlanRequest,
    plan: &Plan,
    exterior: usize,
    fixed: &[u32],
) -> Vec<Limit> {
    let limit = |name: &str, met: bool, text: String| Limit { name: name.to_owned(), met, text };
    let graph = &setup.graph;
    let (released, text) = release_limit(&found.curves, pool.rings.len());
    let mut list = vec![limit("release", released, text)];
    let is_one = is_forest(graph, &found.cut, fixed);
    list.push(limit(
        "one piece",
        is_one,
        if is_one {
            "no cuts close a ring: the mould stays one piece".to_owned()
        } else {
            "cuts close a ring, by themselves or with the gate".to_owned()
        },
    ));
    let narrow = necks(graph, &found.cut, fixed, request.knife.hinge_width);
    let text = match narrow.first() {
        None => format!("every hinge is at least {:.0} mm wide", request.knife.hinge_width),
        Some(neck) => format!(
            "a hinge is only {:.1} mm wide where {:.0} mm is asked",
            neck.width, request.knife.hinge_width
        ),
    };
    list.push(limit("hinge width", narrow.is_empty(), text));
    let short = plan.cuts.iter().filter(|c| c.length < request.knife.least_cut - 0.5).count();
    if exterior > 0 {
        list.push(limit(
            "least cut",
            short == 0,
            match short {
                0 => format!("no cut is shorter than {:.0} mm", request.knife.least_cut),
                1 => format!("1 cut is shorter than {:.0} mm", request.knife.least_cut),
                more => format!("{more} cuts are shorter than {:.0} mm", request.knife.least_cut),
            },
        ));
    }
    if !request.areas.keep_off.is_empty() {
        list.push(areas_limit(plan, request));
    }
    for (k, bridge) in plan.bridges.iter().enumerate() {
        let letter = super::bridge_letter(k);
        match &bridge.disc {
            DiscState::Plain if !setup.crossed[k] => {
                let text = "not cut across: the rubber in this hole holds the model";
                list.push(limit(&format!("bridge {letter}"), false, text.to_owned()));
            }
            DiscState::Plain => list.push(limit(
                &format!("bridge {letter}"),
                bridge.is_open_enough(),
                format!(
                    "a plain cut crosses it; opening beside it {:.0} mm, needed {:.0} mm",
                    bridge.opening, bridge.opening_needed
                ),
            )),
            DiscState::Knotted { explanation, .. } => {
                list.push(limit(&format!("bridge {letter}"), false, explanation.clone()));
            }
        }
    }
    if setup.bridges.bridges.len() < setup.bridges.holes as usize {
        list.push(limit(
            "bridges found",
            false,
            format!("{} of {} holes have a cut", setup.bridges.bridges.len(), setup.bridges.holes),
        ));
    }
    if let Some(report) = &plan.sheets {
        list.extend(super::sheets::limits(report, request));
    }
    list.extend(super::trial::limits(&plan.trial));
    if found.stopped_by == StopReason::Judged {
        return list;
    }
    list.push(limit(
        "gap",
        plan.gap <= request.budget.target_gap || found.stopped_by == StopReason::Optimal,
        format!(
            "cost {:.1} mm, a lower bound of the girth model on this planning mesh {:.1} mm: gap {:.1} %, \
             asked {:.1} %",
            plan.cost,
            plan.lower_bound,
            100.0 * plan.gap,
            100.0 * request.budget.target_gap
        ),
    ));
    list
}
