//! The trial itself: lips aside, then step by step along a direction.

use rayon::prelude::*;

use super::contact::RigidModel;
use super::elastic::{Elastic, Material};
use super::hands::{Grip, Hands};
use super::parting::{Parted, part};
use super::region::mesh_rubber;
use super::relax::{Pull, Relaxation};
use super::report::*;
use super::solid::{Skin, longest_edge};
use super::{Obstacle, TrialError};
use crate::body::Outside;
use crate::control::Control;
use crate::mesh::{Point, Vector};

/// Steps in which lips are drawn aside.
const OPENING_STEPS: usize = 12;
/// Hands that give this share of their force draw lips no farther.
const SPENT: f64 = 0.95;
/// Steps of the relaxation for one step of the hands, and for a step that decides.
const MOST_STEPS: (usize, usize) = (600, 2000);
/// The hands' springs reach the greatest force after this share of the model's length. Soft hands would
/// let the rubber as a whole swing slowly, long after everything else has come to rest.
const SLACK: f64 = 0.01;
/// Lips are held over this share of the model's length.
const REACH: f64 = 0.1;
/// Share of the hands' greatest force that is too little to matter: steps with less load need not come
/// to rest any better.
const LEAST_LOAD: f64 = 0.02;
/// Share of the hands' greatest force that may be missing from the balance along the direction.
const LEAST_BALANCE: f64 = 0.005;
/// A tear needs this many cubes of the lattice beyond the elongation at break: less at the end of a cut is
/// the mesh's doing.
const TORN: f64 = 1.0;
/// How far each lip goes aside, over the model's width: where the whole outside is drawn, and where a rim is
/// peeled, which lips held far apart would only hinder.
const OPENING: (f64, f64) = (0.5, 0.25);
/// Hands go this many lengths of the model before they give up, with the outside and with the rim.
const FARTHEST: (f64, f64) = (1.1, 2.2);
/// A node is clear of the model's wall by this share of the spacing when its way out is looked at.
const CLEARANCE: f64 = 0.05;

/// One trial with about `elements` elements.
pub(super) fn trial(
    setup: &TrialSetup<'_>,
    elements: usize,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    let settings = setup.settings;
    let model = RigidModel::new(setup.model, setup.body.board())?;
    let (solid, spacing) = mesh_rubber(setup, &model, elements, control)?;
    let body = part(&solid, setup.sheets)?;
    let elastic = Elastic::new(&body.solid, Material::of(setup.rubber));
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
    let trial = Trial { setup, control, model, body, elastic, skin, surface, spacing };
    let mut best: Option<(f64, TrialReport)> = None;
    let mut steps = 0;
    for direction in &settings.directions {
        let course = trial.draw(direction.normalize())?;
        steps += course.relaxation_steps;
        let travel = course.pull.last().map_or(0.0, |p| p.travel);
        let released = course.outcome == Outcome::Released;
        if released || best.as_ref().is_none_or(|(far, _)| travel > *far) {
            let elements = &trial.body.solid.elements;
            let report = course.report(direction.normalize(), elements, &trial.surface, mesh);
            best = Some((travel, report));
        }
        if released || trial.is_late() {
            break;
        }
    }
    let (_, mut report) = best.ok_or(TrialError::NoDirection)?;
    report.relaxation_steps = steps;
    Ok(report)
}

/// All that does not depend on the direction.
struct Trial<'a> {
    setup: &'a TrialSetup<'a>,
    control: &'a Control<'a>,
    model: RigidModel,
    body: Parted,
    elastic: Elastic,
    skin: Vec<u32>,
    surface: Vec<[u32; 3]>,
    spacing: f64,
}

/// What has been seen along one direction.
struct Course {
    outcome: Outcome,
    pull: Vec<PullPoint>,
    frames: Vec<Frame>,
    bridges: Vec<BridgeReport>,
    greatest: (f64, Point),
    stretch_99: f64,
    overlap: f64,
    relaxation_steps: usize,
}

impl Course {
    fn report(
        self,
        direction: Vector,
        elements: &[[u32; 4]],
        surface: &[[u32; 3]],
        mesh: MeshReport,
    ) -> TrialReport {
        TrialReport {
            outcome: self.outcome,
            direction,
            greatest_stretch: self.greatest.0,
            stretched_at: self.greatest.1,
            stretch_99: self.stretch_99,
            overlap: self.overlap,
            pull: self.pull,
            bridges: self.bridges,
            frames: self.frames,
            elements: elements.to_vec(),
            surface: surface.to_vec(),
            mesh,
            relaxation_steps: self.relaxation_steps,
            coarser: Vec::new(),
        }
    }
}

impl Trial<'_> {
    fn is_late(&self) -> bool {
        let over = |s| self.control.elapsed().as_secs_f64() >= self.control.with_extra_time(s);
        self.setup.settings.seconds.is_some_and(over)
    }

    /// The model's extent along a direction, mm.
    fn extent(&self, along: &Vector) -> f64 {
        let heights = self.setup.model.positions.iter().map(|p| p.coords.dot(along));
        let (low, high) =
            heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
        high - low
    }

    fn draw(&self, direction: Vector) -> Result<Course, TrialError> {
        let settings = self.setup.settings;
        let length = self.extent(&direction);
        let first = if direction.x.abs() < 0.8 { Vector::x() } else { Vector::y() };
        let across = direction.cross(&first).normalize();
        let width = self.extent(&across).max(self.extent(&direction.cross(&across)));
        let slack = SLACK * length;
        let is_peeled =
            matches!(self.setup.body.outside(), Outside::Offset { .. }) && self.model.has_board();
        let hold = settings.hold.unwrap_or(if is_peeled { Hold::Rim } else { Hold::Outside });
        let share = if hold == Hold::Rim { OPENING.1 } else { OPENING.0 };
        let opening = settings.opening.unwrap_or(share * width);
        let rim = match self.setup.body.outside() {
            Outside::Offset { thickness, bottom } => {
                let (low, high) =
                    self.setup.model.bounds().unwrap_or((Point::origin(), Point::origin()));
                Some((bottom + thickness, nalgebra::center(&low, &high)))
            }
            _ => None,
        };
        let grip = Grip {
            direction,
            force: settings.hand_force,
            reach: (REACH * length).max(1.5 * self.spacing),
            slack,
            opening,
            rim,
            hold,
        };
        let nodes = &self.body.solid.nodes;
        let weights: Vec<f64> = (0..nodes.len()).map(|n| self.elastic.node_volume(n)).collect();
        let hands = Hands::hold(&self.body, &weights, self.setup.sheets, &grip)?;
        let mut rubber = Relaxation::new(&self.elastic, nodes.clone(), &self.skin, self.spacing);
        rubber.guard(&self.surface, &self.model);
        let held = hands.along.len().max(1) as f64;
        rubber.balance = Some((direction, LEAST_BALANCE * settings.hand_force));
        rubber.least_load = LEAST_LOAD * settings.hand_force / held.sqrt();
        let mut course = Course {
            outcome: Outcome::OutOfTime,
            pull: Vec::new(),
            frames: vec![Frame { opening: 0.0, travel: 0.0, positions: nodes.clone() }],
            bridges: Vec::new(),
            greatest: (0.0, nodes.first().copied().unwrap_or(Point::origin())),
            stretch_99: 0.0,
            overlap: 0.0,
            relaxation_steps: 0,
        };
        let aim_at = |rubber: &mut Relaxation<'_>, opened: f64, gone: f64| {
            let aim = |pulls: &[Pull], target: f64| -> Vec<Pull> {
                pulls.iter().map(|p| Pull { target, ..*p }).collect()
            };
            rubber.set_pulls([aim(&hands.aside, opened), aim(&hands.along, gone)].concat());
        };
        let mut opened = 0.0;
        if !hands.aside.is_empty() {
            for step in 1..=OPENING_STEPS {
                if self.is_late() {
                    return Ok(course);
                }
                let (before, rest) = (opened, rubber.x.clone());
                opened = opening * step as f64 / OPENING_STEPS as f64;
                aim_at(&mut rubber, opened, 0.0);
                self.settle(&mut rubber, MOST_STEPS.0, &mut course)?;
                if self.overstretched(&self.elastic.stretches(&rubber.x)) {
                    // Who feels the lips give draws no farther.
                    (opened, rubber.x) = (before, rest);
                    break;
                }
                if hands.effort(opened, &rubber.x) >= SPENT {
                    break;
                }
            }
            let positions = rubber.x.clone();
            course.frames.push(Frame { opening: opened, travel: 0.0, positions });
            self.measure(&rubber, &mut course);
        }
        course.bridges = self.bridges(&rubber);
        let lengths = if hold == Hold::Rim { FARTHEST.1 } else { FARTHEST.0 };
        let last = (lengths * settings.steps as f64).ceil() as usize;
        for step in 1..=last {
            if self.is_late() {
                return Ok(course);
            }
            let gone = length * step as f64 / settings.steps as f64;
            aim_at(&mut rubber, opened, gone);
            let mut settled = self.settle(&mut rubber, MOST_STEPS.0, &mut course)?;
            let mut force = drawn(&rubber, &direction);
            if force >= settings.hand_force && !settled {
                // Too much to be believed before it has come to rest.
                settled = self.settle(&mut rubber, MOST_STEPS.1, &mut course)?;
                force = drawn(&rubber, &direction);
            }
            let torn = self.measure(&rubber, &mut course);
            let travel = self.travel(&rubber, &direction);
            course.pull.push(PullPoint { travel, force, settled });
            course.frames.push(Frame {
                opening: opened,
                travel: gone,
                positions: rubber.x.clone(),
            });
            let stuck =
                |hindrance| Outcome::Stuck { hindrance, place: holding(&rubber, &direction) };
            if torn {
                course.outcome = stuck(Hindrance::Tear);
                return Ok(course);
            }
            if force >= settings.hand_force {
                course.outcome = stuck(Hindrance::Pull);
                return Ok(course);
            }
            if self.is_clear(&rubber, &direction) {
                course.outcome = Outcome::Released;
                return Ok(course);
            }
            course.outcome =
                if step == last { stuck(Hindrance::Caught) } else { Outcome::OutOfTime };
        }
        Ok(course)
    }

    fn settle(
        &self,
        rubber: &mut Relaxation<'_>,
        most: usize,
        course: &mut Course,
    ) -> Result<bool, TrialError> {
        let settings = self.setup.settings;
        let obstacle: &dyn Obstacle = &self.model;
        let settled = rubber.settle(
            Some(obstacle),
            settings.friction,
            settings.tolerance,
            most,
            self.control,
        )?;
        course.relaxation_steps += settled.steps;
        Ok(settled.residual < settings.tolerance && settled.balanced)
    }

    /// Note the stretch; tells whether the rubber has torn.
    fn measure(&self, rubber: &Relaxation<'_>, course: &mut Course) -> bool {
        let stretches = self.elastic.stretches(&rubber.x);
        let solid = &self.body.solid;
        let greatest = stretches.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((e, stretch)) = greatest.filter(|(_, l)| **l - 1.0 > course.greatest.0) {
            course.greatest = (stretch - 1.0, solid.middle(e));
        }
        let volumes = (0..solid.elements.len()).map(|e| solid.volume(e));
        let hundredth = all_but_a_hundredth(stretches.iter().copied().zip(volumes));
        course.stretch_99 = course.stretch_99.max(hundredth - 1.0);
        course.overlap = course.overlap.max(self.overlap(rubber));
        self.overstretched(&stretches)
    }

    /// Whether rubber tears at these stretches.
    fn overstretched(&self, stretches: &[f64]) -> bool {
        let limit = 1.0 + self.setup.rubber.elongation_at_break;
        let beyond = stretches.iter().enumerate().filter(|(_, l)| **l > limit);
        let volume: f64 = beyond.map(|(e, _)| self.body.solid.volume(e)).sum();
        volume > TORN * self.spacing.powi(3)
    }

    /// How deep the middle of an element lies in the model, though its nodes don't, over the element's
    /// longest edge.
    fn overlap(&self, rubber: &Relaxation<'_>) -> f64 {
        self.body
            .solid
            .elements
            .par_iter()
            .filter(|nodes| nodes.iter().any(|n| self.skin.binary_search(n).is_ok()))
            .map(|nodes| {
                let corners = nodes.map(|n| rubber.x[n as usize]);
                let sum: Vector = corners.iter().map(|p| p.coords).sum();
                -self.model.distance(&Point::from(sum / 4.0)) / longest_edge(&corners).max(1e-9)
            })
            .reduce(|| 0.0, f64::max)
    }

    /// How far the outside has come on average, mm.
    fn travel(&self, rubber: &Relaxation<'_>, direction: &Vector) -> f64 {
        let solid = &self.body.solid;
        let (mut sum, mut weight) = (0.0, 0.0);
        for n in (0..solid.nodes.len()).filter(|&n| solid.skins[n] == Skin::Outside) {
            let w = self.elastic.node_volume(n);
            sum += w * (rubber.x[n] - solid.nodes[n]).dot(direction);
            weight += w;
        }
        if weight > 0.0 { sum / weight } else { 0.0 }
    }

    /// Whether all the rubber could be moved on straight out without meeting the model.
    fn is_clear(&self, rubber: &Relaxation<'_>, direction: &Vector) -> bool {
        self.skin.iter().all(|&n| {
            let x = rubber.x[n as usize];
            let touch = self.model.touch(&x);
            let off = (CLEARANCE * self.spacing - touch.distance).max(0.0);
            !self.model.is_hit(&(x + touch.normal * off), direction)
        })
    }

    fn bridges(&self, rubber: &Relaxation<'_>) -> Vec<BridgeReport> {
        let strains = self.elastic.stretches(&rubber.x);
        let solid = &self.body.solid;
        let one = |bridge: &BridgePlace| {
            let near = |p: &Point| (p - bridge.centre).norm() <= bridge.radius;
            let stretch = (0..solid.elements.len())
                .filter(|&e| near(&solid.middle(e)))
                .map(|e| strains[e] - 1.0)
                .fold(0.0, f64::max);
            let gap = (0..solid.nodes.len())
                .filter(|&n| solid.skins[n] == Skin::Model && near(&solid.nodes[n]))
                .map(|n| self.model.distance(&rubber.x[n]))
                .fold(0.0, f64::max);
            BridgeReport { stretch, gap }
        };
        self.setup.bridges.iter().map(one).collect()
    }
}

/// Force of the hands along the direction, N.
fn drawn(rubber: &Relaxation<'_>, direction: &Vector) -> f64 {
    let pulls = rubber.pulls().iter();
    pulls.map(|p| p.force(&rubber.x[p.node as usize]) * p.direction.dot(direction)).sum()
}

/// The node that the model holds back most.
fn holding(rubber: &Relaxation<'_>, direction: &Vector) -> Point {
    let back = |n: &usize| -rubber.reactions[*n].dot(direction);
    (0..rubber.x.len())
        .max_by(|a, b| back(a).total_cmp(&back(b)))
        .map_or(Point::origin(), |n| rubber.x[n])
}
