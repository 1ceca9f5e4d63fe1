//! Plans and drawn schemes side by side.

use super::answer::{Cut, CutKind, Plan, Reason};
use super::verdict::TrialVerdict;
use crate::trial::Outcome;

/// A plan to compare, by name.
#[derive(Clone, Copy, Debug)]
pub struct NamedPlan<'a> {
    /// What the person calls it.
    pub name: &'a str,
    /// The plan, or a judged scheme as a plan; all of one model.
    pub plan: &'a Plan,
}

/// What a plan comes to. Figures of sheets are `None` where none were made.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// What the person calls it.
    pub name: String,
    /// Whether the model comes out by the girth model and the mould stays one piece.
    pub works: bool,
    /// Names of the limits missed.
    pub missed: Vec<String>,
    /// Knife length over all cuts, mm.
    pub total_length: f64,
    /// Number of cuts.
    pub cuts: usize,
    /// What the exterior cuts cost, mm.
    pub cost: f64,
    /// Length of exterior cut beside weak rubber, mm.
    pub weak_length: Option<f64>,
    /// Mean risk of a weak lip along the exterior cuts, 0 to 1.
    pub risk: Option<f64>,
    /// Greatest angle of the knife from square to the model, degrees.
    pub worst_angle: Option<f64>,
    /// Greatest depth of cut, mm.
    pub greatest_depth: Option<f64>,
    /// Area of all sheets, mm^2.
    pub area: Option<f64>,
    /// Bridges that are cut, of how many.
    pub bridges: (usize, usize),
    /// Width of the narrowest hinge, mm; `None` where cuts make none.
    pub narrowest_hinge: Option<f64>,
    /// Greatest strain of the rubber as the model comes out, by the girth model.
    pub greatest_strain: f64,
    /// Length of cut weighed by how much its seam shows: 0 on a sharp ridge, 1 on open ground, mm.
    pub seam_on_show: f64,
    /// How the trial ended, and the greatest pull, N; `None` where there was none.
    pub trial: Option<(Outcome, f64)>,
    /// Whether no other plan that works is shorter and has no more risk of weak rubber.
    pub on_front: bool,
}

/// Plans side by side, in the order given.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// One a plan.
    pub rows: Vec<Compared>,
}

impl Comparison {
    /// Rows side by side: tells which are on the front.
    pub fn new(mut rows: Vec<Compared>) -> Self {
        let points: Vec<Option<[f64; 2]>> = rows
            .iter()
            .map(|row| row.risk.filter(|_| row.works).map(|risk| [row.total_length, risk]))
            .collect();
        for (row, on_front) in rows.iter_mut().zip(front(&points)) {
            row.on_front = on_front;
        }
        Self { rows }
    }

    /// Those on the Pareto front of length against risk of weak rubber, shortest first.
    pub fn front(&self) -> Vec<&Compared> {
        let mut front: Vec<&Compared> = self.rows.iter().filter(|row| row.on_front).collect();
        front.sort_by(|a, b| a.total_length.total_cmp(&b.total_length));
        front
    }
}

/// Limits without which a plan does not work.
const VITAL: [&str; 3] = ["release", "one piece", "one piece of rubber"];

/// Compare plans of one model.
pub fn compare(plans: &[NamedPlan<'_>]) -> Comparison {
    Comparison::new(plans.iter().map(compared).collect())
}

/// Whether the model comes out by the girth model and the mould stays one piece: no limit without which
/// a plan does not work is among those missed, and of all bridges each is cut.
pub fn keeps_and_releases(missed: &[String], (crossed, bridges): (usize, usize)) -> bool {
    crossed >= bridges && missed.iter().all(|name| !VITAL.contains(&name.as_str()))
}

fn compared(named: &NamedPlan<'_>) -> Compared {
    let plan = named.plan;
    let missed: Vec<String> =
        plan.limits.iter().filter(|limit| !limit.met).map(|limit| limit.name.clone()).collect();
    // Near-bridges are no bridges that have to be cut, and what opens the way to one does not cut it.
    let is_bridge =
        |cut: &&Cut| cut.kind == CutKind::Bridge && matches!(cut.reason, Reason::CutsBridge { .. });
    let crossed = plan.cuts.iter().filter(is_bridge).count();
    let sheets = plan.sheets.as_ref();
    let lined = plan.bridges.iter().filter(|bridge| bridge.lined).count();
    let bridges = (crossed + lined, plan.bridges.len());
    Compared {
        name: named.name.to_owned(),
        works: keeps_and_releases(&missed, bridges),
        missed,
        total_length: plan.total_length,
        cuts: plan.cuts.len(),
        cost: plan.cost,
        weak_length: sheets.map(|s| s.figures.weak_length),
        risk: sheets.map(|s| s.figures.risk),
        worst_angle: sheets.map(|s| s.figures.worst_angle),
        greatest_depth: sheets.map(|s| s.figures.greatest_depth),
        area: sheets.map(|s| s.area),
        bridges,
        narrowest_hinge: plan.hinges.iter().map(|h| h.width).min_by(f64::total_cmp),
        greatest_strain: plan.stretches.iter().map(|s| s.strain).fold(0.0, f64::max),
        seam_on_show: plan.seam_on_show,
        trial: match &plan.trial {
            TrialVerdict::Ran(trial) => Some((trial.report.outcome, trial.report.greatest_pull())),
            TrialVerdict::NotRun(_) => None,
        },
        on_front: false,
    }
}

/// Which points no other point beats: none is as small in both and smaller in one. Points that are
/// missing are not on the front and beat none.
fn front(points: &[Option<[f64; 2]>]) -> Vec<bool> {
    let beats =
        |a: &[f64; 2], b: &[f64; 2]| a[0] <= b[0] && a[1] <= b[1] && (a[0] < b[0] || a[1] < b[1]);
    points
        .iter()
        .map(|own| own.is_some_and(|own| !points.iter().flatten().any(|other| beats(other, &own))))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_front_holds_what_nothing_beats() {
        let points = [
            Some([100.0, 0.3]),
            Some([120.0, 0.1]),
            Some([130.0, 0.2]),
            Some([120.0, 0.1]),
            None,
            Some([90.0, 0.9]),
        ];
        assert_eq!(front(&points), [true, true, false, true, false, true]);
        assert!(front(&[]).is_empty());
    }
}
