//! The trial itself: lips aside, then step by step along a direction.

use std::sync::Arc;

use super::TrialError;
use super::contact::RigidModel;
use super::cores::free_of;
use super::course::Course;
use super::directions;
use super::elastic::Elastic;
use super::filled::FilledRubber;
use super::hands::Hands;
use super::material::Material;
use super::opening::Opened;
use super::parting::{Parted, part};
use super::region::Filled;
use super::relax::Relaxation;
use super::report::*;
use super::rig::{CLEARANCE, Rig};
use crate::control::Control;
use crate::mesh::{Point, Vector};

/// Steps of the relaxation for one step of the hands, for one with a pull that counts, and for one that decides: what
/// has not come to rest by then does not.
const MOST_STEPS: (usize, usize, usize) = (600, 2600, 8000);
/// A pull counts from this share of the hands' greatest force on: rubber that still swings may pull as much for a moment.
const FELT: f64 = 0.4;
/// Steps of the relaxation between two looks at whether the pull is below what hands have, and at whether rubber stays clear of the
/// model.
const AT_ONCE: (usize, usize) = (1000, 250);
/// Rubber that is jammed does not come to rest: it pulls more than so many times the hands' greatest force, and no less than this share
/// of what it did one look before. No source.
const JAMMED: (f64, f64) = (2.0, 0.9);
/// Hands go this many lengths of the model before they give up, with the outside and with the rim.
const FARTHEST: (f64, f64) = (1.1, 2.2);
/// Rubber that comes with less than this share of the hands' greatest force is drawn in steps twice as long each time, up to so many times
/// as long. A long step that meets more is taken back, and made in short ones: long ones make pulls of their own.
const LIGHT: f64 = 0.1;
const LONGEST_STRIDE: f64 = 8.0;

/// One trial with about `elements` elements, along `first` first if there is one.
pub(super) fn trial(
    setup: &TrialSetup<'_>,
    filled: &FilledRubber,
    elements: usize,
    first: Option<Vector>,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    let (model, body, filled) = cut_rubber(setup, filled, elements, control)?;
    let spacing = filled.spacing;
    let elastic = Elastic::new(&body.solid, Material::of(setup.rubber));
    let cores = free_of(&filled.cores, &body.solid);
    let surface = body.solid.surface();
    let mut skin: Vec<u32> = surface.iter().flatten().copied().collect();
    skin.sort_unstable();
    skin.dedup();
    let mesh = MeshReport {
        elements: body.solid.elements.len(),
        nodes: body.solid.nodes.len(),
        spacing,
        angles: body.solid.dihedral_range(),
        volume: body.solid.total_volume() / 1000.0,
        pieces: body.pieces,
    };
    let rig = Rig { setup, control, model, body, elastic, skin, surface, spacing, cores };
    rig.run(first, mesh)
}

/// Separate pieces of rubber that the cuts leave among about `elements` elements.
pub(super) fn pieces_left(
    setup: &TrialSetup<'_>,
    filled: &FilledRubber,
    elements: usize,
    control: &Control<'_>,
) -> Result<usize, TrialError> {
    Ok(cut_rubber(setup, filled, elements, control)?.1.pieces)
}

/// The model, and the rubber in about `elements` elements, parted along the cuts, and before.
fn cut_rubber(
    setup: &TrialSetup<'_>,
    filled: &FilledRubber,
    elements: usize,
    control: &Control<'_>,
) -> Result<(RigidModel, Parted, Arc<Filled>), TrialError> {
    let model = RigidModel::new(setup.model, setup.body.board())?;
    let rubber = filled.with(setup, &model, elements, control)?;
    let body = part(&rubber.solid, setup.sheets.iter().chain(setup.across), Some(&model))?;
    Ok((model, body, rubber))
}

impl Rig<'_> {
    /// Open once, then draw along one direction after the other until one releases.
    fn run(&self, first: Option<Vector>, mesh: MeshReport) -> Result<TrialReport, TrialError> {
        let (hands, wanted) = self.hands()?;
        let opened = self.open(&hands, wanted)?;
        let mut steps = opened.course.relaxation_steps;
        let mut best: Option<(Course, Vector)> = None;
        for direction in self.directions(first, &opened) {
            let course = if self.is_late() && best.is_none() {
                opened.course.clone()
            } else if self.is_late() {
                break;
            } else {
                self.draw(&opened, &hands, direction)?
            };
            steps += course.relaxation_steps - opened.course.relaxation_steps;
            let released = course.outcome == Outcome::Released;
            if released || best.as_ref().is_none_or(|(b, _)| course.is_nearer(b)) {
                best = Some((course, direction));
            }
            if released {
                break;
            }
        }
        let (course, direction) = best.ok_or(TrialError::NoDirection)?;
        let elements = &self.body.solid.elements;
        let mut report = course.report(direction, elements, &self.surface, mesh);
        report.relaxation_steps = steps;
        Ok(report)
    }

    /// The directions to try, in order.
    fn directions(&self, first: Option<Vector>, opened: &Opened) -> Vec<Vector> {
        let settings = self.setup.settings;
        let given = settings.directions.iter().map(|d| d.normalize());
        let mut chosen: Vec<Vector> = match settings.attempts {
            None => given.collect(),
            Some(most) => {
                let points = self.points(&opened.x);
                let score = |d: Vector| (d, self.blocked(&points, &d));
                directions::best(given.chain(directions::all_round()).map(score).collect(), most)
            }
        };
        if let Some(first) = first {
            chosen.retain(|d| (d - first).norm() > 1e-9);
            chosen.insert(0, first);
        }
        chosen
    }

    fn draw(
        &self,
        opened: &Opened,
        hands: &Hands,
        direction: Vector,
    ) -> Result<Course, TrialError> {
        let settings = self.setup.settings;
        let length = self.extent(&direction);
        let most = settings.give_up.map_or(settings.hand_force, |f| f.min(settings.hand_force));
        let mut rubber = self.rubber(opened.x.clone(), direction, hands.along.len());
        let mut course = opened.course.clone();
        course.bridges = self.bridges(&rubber);
        let lengths = if hands.hold == Hold::Rim { FARTHEST.1 } else { FARTHEST.0 };
        let (farthest, unit) = (lengths * length, length / settings.steps as f64);
        let (mut gone, mut stride) = (0.0, 1.0);
        // The ways of the last step, a millimetre of the hands' way.
        let mut ways: Vec<Vector> = Vec::new();
        while gone < farthest {
            if self.is_late() {
                return Ok(course);
            }
            let before = gone;
            gone = (before + stride * unit).min(farthest);
            // The hands that keep it open go along.
            let kept = opened.pulls.iter().map(|p| {
                let along = p.part_along(&direction);
                (p.at(p.target + gone * along), p.target + before * along)
            });
            let along = self.along(hands, &opened.x, direction, gone);
            rubber.set_pulls_from(kept.chain([(along, before)]).collect());
            let from = rubber.x.clone();
            let step = gone - before;
            if !ways.is_empty() {
                rubber.carry(ways.iter().map(|way| way * step).collect());
            }
            let mut settled = self.settle(&mut rubber, MOST_STEPS.0, &mut course)?;
            let mut stretches = self.elastic.stretches(&rubber.x);
            let mut used = MOST_STEPS.0;
            let is_heavy = drawn(&rubber, &direction) >= LIGHT * settings.hand_force;
            if stride > 1.0 && (is_heavy || self.overstretched(&stretches)) {
                rubber.x = from;
                (gone, stride) = (before, 1.0);
                continue;
            }
            // What decides must have come to rest: rubber that lags behind the hands is not caught yet.
            let is_last = gone >= farthest;
            let mut is_clear = self.is_clear(&rubber, &direction);
            let enough = |rubber: &Relaxation<'_>, stretches: &[f64], is_clear: bool| {
                let force = drawn(rubber, &direction);
                if is_clear || is_last || force >= most || self.overstretched(stretches) {
                    MOST_STEPS.2
                } else if force >= FELT * settings.hand_force {
                    MOST_STEPS.1
                } else {
                    MOST_STEPS.0
                }
            };
            while !settled && !self.is_late() && used < enough(&rubber, &stretches, is_clear) {
                let some = if is_clear { AT_ONCE.1 } else { AT_ONCE.0 };
                let pulled = drawn(&rubber, &direction);
                settled = self.settle(&mut rubber, some, &mut course)?;
                stretches = self.elastic.stretches(&rubber.x);
                used += some;
                // Rubber that stays clear of the model swings in the air: that takes long to rest and decides nothing.
                let was_clear = is_clear;
                is_clear = self.is_clear(&rubber, &direction);
                settled |= was_clear && is_clear;
                if drawn(&rubber, &direction) >= (JAMMED.0 * most).max(JAMMED.1 * pulled) {
                    break;
                }
            }
            ways = rubber.x.iter().zip(&from).map(|(x, from)| (x - from) / step).collect();
            let force = drawn(&rubber, &direction);
            let torn = self.measure(&rubber.x, &mut course);
            let travel = self.travel(&rubber, &direction);
            course.note(PullPoint { travel, force, settled }, settings.hand_force, length);
            course.frames.push(Frame {
                opening: opened.aside,
                travel: gone,
                positions: rubber.x.clone(),
            });
            let decides = torn || force >= most;
            let clear = !decides && is_clear;
            if (decides || clear || is_last) && !settled {
                let why = Doubt::Unsettled;
                course.outcome =
                    if self.is_late() { Outcome::OutOfTime } else { Outcome::NoVerdict { why } };
                return Ok(course);
            }
            let stuck =
                |hindrance| Outcome::Stuck { hindrance, place: holding(&rubber, &direction) };
            if decides {
                course.outcome = stuck(if torn { Hindrance::Tear } else { Hindrance::Pull });
                return Ok(course);
            }
            if clear && course.pierced > 0 {
                course.outcome = Outcome::NoVerdict { why: Doubt::Pierced };
                return Ok(course);
            }
            if clear {
                course.outcome = Outcome::Released;
                course.progress = 1.0;
                return Ok(course);
            }
            course.outcome = if is_last { stuck(Hindrance::Caught) } else { Outcome::OutOfTime };
            // What is next to free is drawn in longer steps.
            let is_light = force.abs() < LIGHT * settings.hand_force;
            stride = if is_light { (2.0 * stride).min(LONGEST_STRIDE) } else { 1.0 };
        }
        Ok(course)
    }

    /// Whether all the rubber could be moved on straight out without meeting the model.
    fn is_clear(&self, rubber: &Relaxation<'_>, direction: &Vector) -> bool {
        let clearance = CLEARANCE * self.spacing;
        let is_blocked = |&n: &u32| {
            directions::is_blocked(&rubber.x[n as usize], &self.model, direction, clearance)
        };
        !self.skin.iter().any(is_blocked)
    }
}

/// Force of the hands along the direction, N.
fn drawn(rubber: &Relaxation<'_>, direction: &Vector) -> f64 {
    rubber.pulls().iter().map(|p| p.force(&rubber.x) * p.part_along(direction)).sum()
}

/// The node that the model holds back most.
fn holding(rubber: &Relaxation<'_>, direction: &Vector) -> Point {
    let back = |n: &usize| -rubber.reactions[*n].dot(direction);
    (0..rubber.x.len())
        .max_by(|a, b| back(a).total_cmp(&back(b)))
        .map_or(Point::origin(), |n| rubber.x[n])
}
