//! Plans and drawn schemes side by side.

use super::{Cut, CutKind, Plan, TrialVerdict};
use crate::mesh::{Point, SurfaceLocator, TriangleMesh};
use crate::sheets::{SheetError, SheetSettings, seam_visibility};
use crate::trial::Outcome;

/// A plan to compare.
#[derive(Clone, Copy, Debug)]
pub struct Candidate<'a> {
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
pub fn compare(candidates: &[Candidate<'_>]) -> Comparison {
    Comparison::new(candidates.iter().map(compared).collect())
}

/// Whether the model comes out by the girth model and the mould stays one piece: no limit without which
/// a plan does not work is among those missed, and of all bridges each is cut.
pub fn keeps_and_releases(missed: &[String], (crossed, bridges): (usize, usize)) -> bool {
    crossed >= bridges && missed.iter().all(|name| !VITAL.contains(&name.as_str()))
}

fn compared(candidate: &Candidate<'_>) -> Compared {
    let plan = candidate.plan;
    let missed: Vec<String> =
        plan.limits.iter().filter(|limit| !limit.met).map(|limit| limit.name.clone()).collect();
    let crossed = plan.cuts.iter().filter(|cut| cut.kind == CutKind::Bridge).count();
    let sheets = plan.sheets.as_ref();
    let bridges = (crossed, plan.bridges.len());
    Compared {
        name: candidate.name.to_owned(),
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

/// Whether a plan misses fewer limits, the release before all others, or costs less.
pub(super) fn is_better(plan: &Plan, than: &Plan) -> bool {
    let rank = |plan: &Plan| {
        let missed = || plan.limits.iter().filter(|l| !l.met && l.name != "gap");
        (missed().filter(|l| l.name == "release").count(), missed().count())
    };
    rank(plan).cmp(&rank(than)).then(plan.cost.total_cmp(&than.cost)).is_lt()
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

/// How much a seam shows anywhere on a model.
pub(super) struct Show {
    surface: SurfaceLocator,
    visibility: Vec<f64>,
}

impl Show {
    pub(super) fn new(mesh: &TriangleMesh) -> Result<Self, SheetError> {
        // The reach over which ridges are looked at when cuts are weighed.
        let reach = SheetSettings::default().wedge_reach;
        Ok(Self { surface: SurfaceLocator::new(mesh)?, visibility: seam_visibility(mesh, reach)? })
    }

    /// Length of cuts times how much they show, mm.
    pub(super) fn of_cuts(&self, cuts: &[Cut]) -> f64 {
        // A sum over nothing is -0.0.
        0.0 + cuts.iter().flat_map(|cut| &cut.branches).map(|b| self.along(b)).sum::<f64>()
    }

    /// Length of a line times how much it shows, mm.
    fn along(&self, line: &[Point]) -> f64 {
        let piece = |pair: &[Point]| {
            let hit = self.surface.closest(&nalgebra::center(&pair[0], &pair[1]));
            let weights = self.surface.weights(hit.face, &hit.point);
            let corners = self.surface.face(hit.face);
            let seen: f64 =
                corners.iter().zip(weights).map(|(&v, w)| w * self.visibility[v as usize]).sum();
            (pair[1] - pair[0]).norm() * seen
        };
        line.windows(2).map(piece).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{cuboid, divided};

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

    /// On the flat of a box a seam shows all along, on its edge not at all: the edge is a square ridge.
    #[test]
    fn seams_show_on_flats_and_hide_on_edges() {
        let mesh = divided(&divided(&divided(&cuboid([40.0, 40.0, 40.0]))));
        let show = Show::new(&mesh).expect("a plain mesh");
        let (low, high) = mesh.bounds().expect("not empty");
        let middle = nalgebra::center(&low, &high);
        let at = |x: f64, y: f64| Point::new(middle.x + x, middle.y + y, high.z);
        let line =
            |y: f64| -> Vec<Point> { (0..=20).map(|k| at(-8.0 + 0.8 * f64::from(k), y)).collect() };
        let (flat, ridge) = (show.along(&line(0.0)), show.along(&line(20.0)));
        assert!((flat - 16.0).abs() < 0.5, "{flat}");
        assert!(ridge < 0.35 * flat, "{ridge}");
    }
}
