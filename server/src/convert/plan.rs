//! A plan, from the solver to the protocol.

use slitwright_proto::v1;
use slitwright_solver::bridges::{BridgeKind, Confirmation, DiscState};
use slitwright_solver::outputs::cautions::CAUTIONS;
use slitwright_solver::plan::{
    BoundFor, Cut, CutKind, Ending, Figures, Hinge, Limit, NearBridge, Plan, PlannedBridge, Reason,
    RegionStretch, Standing, StopReason,
};

use super::geometry::{direction, point, polyline};
use super::standing::standing_to_proto;
use super::{advice, scheme, sheet, trial};

/// A plan for the protocol, with the words of caution that belong to every plan.
pub fn plan_to_proto(plan: &Plan) -> v1::Plan {
    v1::Plan {
        cuts: plan.cuts.iter().map(cut).collect(),
        bridges: plan.bridges.iter().map(bridge).collect(),
        hinges: plan.hinges.iter().map(hinge).collect(),
        stretches: plan.stretches.iter().map(stretch).collect(),
        gate_outline: plan.gate_outline.iter().map(|line| polyline(line)).collect(),
        up: Some(direction(&plan.up)),
        total_length_mm: plan.total_length,
        cost_mm: plan.cost,
        lower_bound_mm: plan.ending.lower_bound,
        gap: plan.ending.gap,
        stopped_by: stop_reason(plan.ending.stopped_by).into(),
        rubber_volume_cm3: plan.rubber_volume,
        rubber_mass_g: plan.rubber_mass,
        limits: plan.limits.iter().map(limit).collect(),
        warnings: plan.warnings.clone(),
        figures: Some(figures(&plan.figures)),
        trial: Some(trial::trial(&plan.trial)),
        misses: plan.misses.iter().map(scheme::miss).collect(),
        seam_on_show_mm: plan.seam_on_show,
        two_sides: plan.two_sides.as_ref().map(|sides| v1::TwoSides {
            direction: Some(direction(&sides.direction)),
            border_mm: sides.border,
            cut_mm: sides.cut,
            undercut_share: sides.undercut,
        }),
        sheet_report: plan.sheets.as_ref().map(sheet::report),
        near_bridges: plan.near_bridges.iter().map(near_bridge).collect(),
        standing: Some(standing_to_proto(&Standing::of(plan))),
        bound_for: match plan.ending.bound_for {
            BoundFor::Nothing => v1::BoundFor::Nothing,
            BoundFor::GirthModel { .. } => v1::BoundFor::GirthModel,
        }
        .into(),
        advice: plan.advice.as_ref().map(advice::advice),
        cautions: CAUTIONS.iter().map(|c| format!("{}: {}", c.about, c.text)).collect(),
    }
}

fn cut(cut: &Cut) -> v1::Cut {
    v1::Cut {
        order: cut.order,
        kind: match cut.kind {
            CutKind::FromGate => v1::CutKind::FromGate,
            CutKind::Separate => v1::CutKind::Separate,
            CutKind::Bridge => v1::CutKind::Bridge,
            CutKind::BehindHinge => v1::CutKind::BehindHinge,
        }
        .into(),
        branches: cut.branches.iter().map(|line| polyline(line)).collect(),
        length_mm: cut.length,
        reason: cut.reason.text().to_owned(),
        sheets: cut.sheets.iter().map(sheet::sheet).collect(),
        why: Some(match &cut.reason {
            Reason::FreesRing { ring_length, girth, beyond, text: _ } => {
                v1::cut::Why::FreesRing(v1::FreesRing {
                    ring_length_mm: *ring_length,
                    girth_mm: *girth,
                    beyond: Some(point(beyond)),
                })
            }
            Reason::CutsBridge { bridge, text: _ } => {
                v1::cut::Why::CutsBridge(v1::CutsBridge { bridge: *bridge })
            }
            Reason::CutsNearBridge { near, text: _ } => {
                v1::cut::Why::CutsNearBridge(v1::CutsNearBridge { near_bridge: *near })
            }
            Reason::PartsSides { text: _ } => v1::cut::Why::PartsSides(v1::PartsSides {}),
            Reason::FoldsHinge { skin, text: _ } => {
                v1::cut::Why::FoldsHinge(v1::FoldsHinge { skin_mm: *skin })
            }
        }),
    }
}

fn bridge(bridge: &PlannedBridge) -> v1::Bridge {
    let (disc, crossings, determinant, explanation) = match &bridge.disc {
        DiscState::Plain => (v1::DiscState::Plain, 0, None, String::new()),
        DiscState::Knotted { crossings, determinant, explanation } => {
            (v1::DiscState::Knotted, *crossings, *determinant, explanation.clone())
        }
    };
    v1::Bridge {
        kind: match bridge.kind {
            BridgeKind::Handle => v1::BridgeKind::Handle,
            BridgeKind::Arch => v1::BridgeKind::Arch,
        }
        .into(),
        rim: Some(polyline(&bridge.rim)),
        closed: bridge.closed,
        rim_length_mm: bridge.rim_length,
        neck_area_mm2: bridge.neck_area,
        neck_width_mm: bridge.neck_width,
        depth_mm: bridge.depth,
        centre: Some(point(&bridge.centre)),
        disc: disc.into(),
        crossings,
        determinant,
        explanation,
        opening_mm: bridge.opening,
        opening_needed_mm: bridge.opening_needed,
        saddle: bridge.confirmed.as_ref().map(saddle),
        lined: bridge.lined,
    }
}

fn saddle(confirmed: &Confirmation) -> v1::BridgeSaddle {
    v1::BridgeSaddle {
        place: Some(point(&confirmed.place)),
        level: confirmed.level,
        rim_length_mm: confirmed.rim_length,
        cut_follows_rim: confirmed.loop_taken,
    }
}

fn near_bridge(near: &NearBridge) -> v1::NearBridge {
    v1::NearBridge {
        place: Some(point(&near.place)),
        from: Some(point(&near.ends[0])),
        to: Some(point(&near.ends[1])),
        gap_mm: near.gap,
        against_board: near.against_board,
        ring: Some(point(&near.ring)),
        level: near.level,
        persistence: near.persistence,
    }
}

fn hinge(hinge: &Hinge) -> v1::Hinge {
    v1::Hinge {
        from: Some(point(&hinge.from)),
        to: Some(point(&hinge.to)),
        width_mm: hinge.width,
        skin_mm: hinge.skin,
    }
}

fn stretch(stretch: &RegionStretch) -> v1::RegionStretch {
    v1::RegionStretch {
        place: Some(point(&stretch.place)),
        ring_length_mm: stretch.ring_length,
        girth_mm: stretch.girth,
        strain: stretch.strain,
        allowed_strain: stretch.allowed,
    }
}

fn stop_reason(reason: StopReason) -> v1::StopReason {
    match reason {
        StopReason::NotYet => v1::StopReason::NotYet,
        StopReason::Corrected => v1::StopReason::Corrected,
        StopReason::Rounds => v1::StopReason::Rounds,
        StopReason::Fault => v1::StopReason::Fault,
        StopReason::GapReached => v1::StopReason::GapReached,
        StopReason::Optimal => v1::StopReason::Optimal,
        StopReason::TimeBudget => v1::StopReason::TimeLimit,
        StopReason::Stalled => v1::StopReason::Stalled,
        StopReason::Cancelled => v1::StopReason::Cancelled,
        StopReason::Judged => v1::StopReason::Judged,
    }
}

/// What a plan's message knows by now of how the work ended and of the bound: more than the plan in full,
/// which is as the run that found it left it.
pub fn ending_from_proto(message: &v1::Plan, ending: &mut Ending) {
    (ending.lower_bound, ending.gap) = (message.lower_bound_mm, message.gap);
    ending.stopped_by = match message.stopped_by() {
        v1::StopReason::Unspecified => ending.stopped_by,
        v1::StopReason::NotYet => StopReason::NotYet,
        v1::StopReason::Corrected => StopReason::Corrected,
        v1::StopReason::Rounds => StopReason::Rounds,
        v1::StopReason::Fault => StopReason::Fault,
        v1::StopReason::GapReached => StopReason::GapReached,
        v1::StopReason::Optimal => StopReason::Optimal,
        v1::StopReason::TimeLimit => StopReason::TimeBudget,
        v1::StopReason::Stalled => StopReason::Stalled,
        v1::StopReason::Cancelled => StopReason::Cancelled,
        v1::StopReason::Judged => StopReason::Judged,
    };
}

fn limit(limit: &Limit) -> v1::Limit {
    v1::Limit { name: limit.name.clone(), met: limit.met, text: limit.text.clone() }
}

fn figures(figures: &Figures) -> v1::Figures {
    v1::Figures {
        model_triangles: figures.model_triangles,
        working_triangles: figures.working_triangles,
        working_deviation_mm: figures.working_deviation,
        planning_vertices: figures.planning_vertices,
        planning_edge_mm: figures.planning_edge,
        genus: figures.genus,
        holes: figures.holes,
        rounds: figures.rounds,
        rows: figures.rows,
        stage_times: figures
            .seconds
            .iter()
            .map(|(stage, seconds)| v1::StageTime { stage: stage.clone(), seconds: *seconds })
            .collect(),
        repairs: figures.repairs.clone(),
    }
}
