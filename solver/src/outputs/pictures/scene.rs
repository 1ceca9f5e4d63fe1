//! A plan brought on to the model: what is the same whichever side it is looked at from.

use super::PictureError;
use super::hatch;
use super::sections::{self, Chosen};
use super::surface::{Foot, Surface};
use crate::mesh::{Point, Vector};
use crate::outputs::stretches::{Side, Stretch, Weakness, flagged, weak_stretches};
use crate::outputs::words::is_left_uncut;
use crate::plan::{Cut, CutKind, Plan, bridge_letter};

/// Lines of a plan may lie this far off the model, as a part of its longest side: planning and
/// smoothing leave a line well within it, a plan for another model does not.
const FURTHEST: f64 = 0.05;

/// A plan ready to be drawn.
pub(super) struct Scene {
    pub cuts: Vec<SceneCut>,
    pub bridges: Vec<SceneBridge>,
    pub hinges: Vec<SceneHinge>,
    pub sections: Vec<SceneSection>,
    pub gate: Gate,
}

/// A cut: its branches on the model, and where its end marks go.
pub(super) struct SceneCut {
    pub order: u32,
    pub kind: CutKind,
    pub branches: Vec<Vec<Foot>>,
    /// Where the knife starts: the number goes there.
    pub start: Foot,
    /// Ends that leave the gate.
    pub gate_ends: Vec<End>,
    /// Ends that stand free.
    pub free_ends: Vec<End>,
    /// Weak stretches of its sheets.
    pub weak: Vec<SceneStretch>,
    /// Where stations are flagged.
    pub warnings: Vec<Foot>,
}

/// A weak stretch of a cut: its line, and towards the thin lip at each point.
pub(super) struct SceneStretch {
    pub weakness: Weakness,
    pub feet: Vec<Foot>,
    pub sides: Vec<Vector>,
}

/// Where a section is taken, and its name.
pub(super) struct SceneSection {
    pub name: String,
    pub at: Foot,
    /// Unit direction across the cut.
    pub across: Vector,
}

/// An end of a branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct End {
    pub branch: usize,
    /// Whether it is the branch's first point rather than its last.
    pub first: bool,
}

impl End {
    pub fn foot<'a>(&self, branches: &'a [Vec<Foot>]) -> &'a Foot {
        let branch = &branches[self.branch];
        if self.first { &branch[0] } else { &branch[branch.len() - 1] }
    }
}

/// A bridge: its letter, the middle of its neck, and its rim where no cut of the plan runs.
pub(super) struct SceneBridge {
    pub letter: String,
    pub centre: Point,
    pub uncut_rim: Vec<Foot>,
}

/// A hinge as a line on the model.
pub(super) struct SceneHinge {
    pub feet: Vec<Foot>,
    pub width: f64,
}

/// The gate: outlines, hatching, and the direction out of the model through it.
pub(super) struct Gate {
    pub outlines: Vec<Vec<Foot>>,
    pub hatch: Vec<Vec<Foot>>,
    pub out: Vector,
}

impl Scene {
    /// Brings `plan` on to `surface`. Lines are sampled every `step` mm, hatching is `spacing` mm
    /// apart, and `size` is the model's longest side, mm.
    pub fn new(
        plan: &Plan,
        surface: &Surface,
        size: f64,
        step: f64,
        spacing: f64,
        chosen: &[Chosen],
    ) -> Result<Self, PictureError> {
        let layer = Layer { surface, step, limit: FURTHEST * size };
        let mut outlines = Vec::new();
        for (index, outline) in plan.gate_outline.iter().enumerate() {
            let what = || format!("gate_outline[{index}]");
            // An outline comes closed or as its corners alone; it is drawn closed.
            let mut line = outline.clone();
            if let (Some(first), Some(last)) = (outline.first(), outline.last())
                && first != last
            {
                line.push(*first);
            }
            outlines.push(layer.lay(&line, what)?);
        }
        let out = hatch::outward(&plan.gate_outline, surface, plan.up);
        let hatch = hatch::lines(&plan.gate_outline, out, spacing)
            .into_iter()
            .flat_map(|line| hatch::on_model(line, out, surface, step))
            .collect();
        let gate = Gate { outlines, hatch, out };
        let tolerance = (0.012 * size).max(2.0 * step);
        let cuts = plan
            .cuts
            .iter()
            .enumerate()
            .map(|(index, cut)| {
                let mut scene = scene_cut(index, cut, &layer, &gate, tolerance)?;
                if let Some(report) = &plan.sheets {
                    for sheet in &cut.sheets {
                        let weak = weak_stretches(sheet, &report.settings);
                        scene.weak.extend(weak.iter().map(|weak| layer.stretch(weak)));
                        let flags = flagged(sheet);
                        scene.warnings.extend(flags.iter().map(|(_, at)| surface.foot(*at)));
                    }
                }
                Ok::<_, PictureError>(scene)
            })
            .collect::<Result<_, _>>()?;
        let mut bridges = Vec::new();
        for (index, bridge) in plan.bridges.iter().enumerate() {
            let mut rim = if is_left_uncut(plan, index) { bridge.rim.clone() } else { Vec::new() };
            if bridge.closed
                && let (Some(first), Some(last)) = (rim.first().copied(), rim.last())
                && first != *last
            {
                rim.push(first);
            }
            let uncut_rim = layer.lay(&rim, || format!("bridges[{index}].rim"))?;
            finite(&[bridge.centre], || format!("bridges[{index}].centre"))?;
            let letter = bridge_letter(index);
            bridges.push(SceneBridge { letter, centre: bridge.centre, uncut_rim });
        }
        let mut hinges = Vec::new();
        for (index, hinge) in plan.hinges.iter().enumerate() {
            finite(&[hinge.from, hinge.to], || format!("hinges[{index}]"))?;
            let feet = across(surface, hinge.from, hinge.to, step);
            hinges.push(SceneHinge { feet, width: hinge.width });
        }
        let sections = chosen.iter().enumerate().map(|(index, chosen)| SceneSection {
            name: sections::name(index),
            at: surface.foot(chosen.station.on_model),
            across: chosen.station.ahead.cross(&chosen.station.normal),
        });
        Ok(Self { cuts, bridges, hinges, sections: sections.collect(), gate })
    }
}

/// A line on the model from one point to another: a straight one, a few points of which are brought
/// on to the model before the rest. More points would show the unrest of nearest points that are
/// far away.
fn across(surface: &Surface, from: Point, to: Point, step: f64) -> Vec<Foot> {
    const PIECES: u32 = 8;
    let coarse: Vec<Point> = (0..=PIECES)
        .map(|n| surface.foot(from + (to - from) * f64::from(n) / f64::from(PIECES)).point)
        .collect();
    surface.lay(&coarse, step).0
}

/// Brings lines that belong on the model there, and refuses those that do not.
struct Layer<'s, 'm> {
    surface: &'s Surface<'m>,
    step: f64,
    limit: f64,
}

impl Layer<'_, '_> {
    fn stretch(&self, stretch: &Stretch) -> SceneStretch {
        let feet = self.surface.lay(&stretch.line, self.step).0;
        let last = feet.len().saturating_sub(1);
        let side = |index: usize| {
            // Over a few points, as neighbours may coincide.
            let ahead = feet[(index + 3).min(last)].point - feet[index.saturating_sub(3)].point;
            let left = feet[index].normal.cross(&ahead).try_normalize(1e-12).unwrap_or_default();
            if stretch.side == Side::Left { left } else { -left }
        };
        let sides = (0..feet.len()).map(side).collect();
        SceneStretch { weakness: stretch.weakness, feet, sides }
    }

    fn lay(&self, line: &[Point], what: impl Fn() -> String) -> Result<Vec<Foot>, PictureError> {
        finite(line, &what)?;
        // Only the given points are held against the limit: between two of them a straight piece
        // may leave a curved model by more.
        let furthest = line.iter().map(|point| (self.surface.foot(*point).point - point).norm());
        let distance = furthest.fold(0.0, f64::max);
        if distance > self.limit {
            return Err(PictureError::OffModel { what: what(), distance, limit: self.limit });
        }
        Ok(self.surface.lay(line, self.step).0)
    }
}

fn finite(points: &[Point], what: impl Fn() -> String) -> Result<(), PictureError> {
    if points.iter().all(|point| point.iter().all(|x| x.is_finite())) {
        Ok(())
    } else {
        Err(PictureError::NotFinite { what: what() })
    }
}

fn scene_cut(
    index: usize,
    cut: &Cut,
    layer: &Layer,
    gate: &Gate,
    tolerance: f64,
) -> Result<SceneCut, PictureError> {
    let mut branches = Vec::new();
    for (number, branch) in cut.branches.iter().enumerate() {
        let feet = layer.lay(branch, || format!("cuts[{index}].branches[{number}]"))?;
        if !feet.is_empty() {
            branches.push(feet);
        }
    }
    let Some(first) = branches.first().and_then(|branch| branch.first()).copied() else {
        return Err(PictureError::NoLine { what: format!("cuts[{index}]") });
    };
    let to_gate = |foot: &Foot| {
        let rim = gate.outlines.iter().flatten();
        rim.map(|rim| (rim.point - foot.point).norm()).fold(f64::INFINITY, f64::min)
    };
    let ends: Vec<End> = open_ends(&branches, tolerance);
    let mut start = first;
    let (mut gate_ends, mut free_ends) = (Vec::new(), Vec::new());
    match cut.kind {
        CutKind::FromGate => {
            let near = |end: &End| to_gate(end.foot(&branches));
            if let Some(nearest) = ends.iter().min_by(|a, b| near(a).total_cmp(&near(b))) {
                start = *nearest.foot(&branches);
                let mark = |end: &&End| *end == nearest || near(end) <= tolerance;
                gate_ends = ends.iter().filter(mark).copied().collect();
            }
        }
        CutKind::Separate => free_ends = ends,
        CutKind::Bridge | CutKind::BehindHinge => {}
    }
    Ok(SceneCut {
        order: cut.order,
        kind: cut.kind,
        branches,
        start,
        gate_ends,
        free_ends,
        weak: Vec::new(),
        warnings: Vec::new(),
    })
}

/// Ends of branches that meet neither another branch nor their own other end.
fn open_ends(branches: &[Vec<Foot>], tolerance: f64) -> Vec<End> {
    let mut ends = Vec::new();
    for (branch, feet) in branches.iter().enumerate() {
        let (from, to) = (feet[0].point, feet[feet.len() - 1].point);
        if feet.len() > 2 && (from - to).norm() < 1e-6 + 0.1 * tolerance {
            continue;
        }
        for first in [true, false] {
            let end = End { branch, first };
            let place = end.foot(branches).point;
            let mut others = branches.iter().enumerate().filter(|(other, _)| *other != branch);
            let joined = others.any(|(_, other)| {
                other.iter().any(|foot| (foot.point - place).norm() < 0.5 * tolerance)
            });
            if !joined {
                ends.push(end);
            }
        }
    }
    ends
}
