//! The trial itself: lips aside, then step by step along a direction.

use rayon::prelude::*;

use super::contact::RigidModel;
use super::course::Course;
use super::directions;
use super::elastic::Elastic;
use super::hands::{Grip, Hands};
use super::material::Material;
use super::parting::{Parted, part};
use super::pull::{Grasp, Pull};
use super::region::mesh_rubber;
use super::relax::Relaxation;
use super::report::*;
use super::solid::{Skin, longest_edge};
use super::{Obstacle, TrialError};
use crate::body::Outside;
use crate::control::Control;
use crate::mesh::{Point, TriangleMesh, Vector};

/// Steps in which lips and flaps are drawn aside.
const OPENING_STEPS: usize = 10;
/// Hands that give this share of their force draw lips and flaps no farther.
const SPENT: f64 = 0.95;
/// Steps of the relaxation for one step of the hands, for one with a pull that counts, and for one that decides: what
/// has not come to rest by then does not.
const MOST_STEPS: (usize, usize, usize) = (600, 2600, 8000);
/// A pull counts from this share of the hands' greatest force on: rubber that still swings may pull as much for a moment.
const FELT: f64 = 0.4;
/// Steps of the relaxation between two looks at whether the pull is below what hands have.
const AT_ONCE: usize = 1000;
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
/// How far each lip and flap goes aside, over the model's width: where the whole outside is drawn, and where a
/// rim is peeled, which lips held far apart would only hinder.
const OPENING: (f64, f64) = (0.5, 0.25);
/// Hands go this many lengths of the model before they give up, with the outside and with the rim.
const FARTHEST: (f64, f64) = (1.1, 2.2);
/// Rubber tears where its stretch, averaged over a ball of this diameter, mm, passes the elongation at break. Stretch
/// at the end of a cut has no greatest value: it grows with finer elements, so it only means something over a
/// length. Common practice, no source.
const TEAR_LENGTH: f64 = 10.0;
/// Rubber that comes with less than this share of the hands' greatest force is drawn in steps so many times as long.
const LIGHT: f64 = 0.1;
const LONG_STRIDE: f64 = 2.0;
/// A node is clear of the model's wall by this share of the spacing when its way out is looked at.
const CLEARANCE: f64 = 0.05;

/// One trial with about `elements` elements, along `first` first if there is one.
pub(super) fn trial(
    setup: &TrialSetup<'_>,
    elements: usize,
    first: Option<Vector>,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    let model = RigidModel::new(setup.model, setup.body.board())?;
    let (solid, spacing) = mesh_rubber(setup, &model, elements, control)?;
    let body = part(&solid, setup.sheets, Some(&model))?;
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
    trial.run(first, mesh)
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

/// The rubber with lips and flaps drawn aside: the start of every draw.
struct Opened {
    x: Vec<Point>,
    /// How far the hands have gone, mm.
    aside: f64,
    /// Pulls that keep it open.
    pulls: Vec<Pull>,
    course: Course,
}

impl Trial<'_> {
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

    /// The rubber's nodes that lay on the model, where they are now, with their weights.
    fn points(&self, x: &[Point]) -> Vec<(Point, f64)> {
        let on_model = |&n: &usize| self.body.solid.skins[n] == Skin::Model;
        (0..x.len()).filter(on_model).map(|n| (x[n], self.elastic.node_volume(n))).collect()
    }

    /// The share of them that the model is in the way of.
    fn blocked(&self, points: &[(Point, f64)], direction: &Vector) -> f64 {
        directions::blocked(points, &self.model, direction, CLEARANCE * self.spacing)
    }

    fn hold(&self) -> Hold {
        let is_blanket = matches!(self.setup.body.outside(), Outside::Offset { .. });
        let is_peeled = is_blanket && self.model.has_board();
        let usual = if is_peeled { Hold::Rim } else { Hold::Outside };
        self.setup.settings.hold.unwrap_or(usual)
    }

    fn hands(&self) -> Result<(Hands, f64), TrialError> {
        let settings = self.setup.settings;
        let width = self.extent(&Vector::x()).max(self.extent(&Vector::y()));
        let length = self.extent(&Vector::z());
        let hold = self.hold();
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
            force: settings.hand_force,
            reach: (REACH * length).max(1.5 * self.spacing),
            opening,
            rim,
            hold,
        };
        let weights: Vec<f64> =
            (0..self.body.solid.nodes.len()).map(|n| self.elastic.node_volume(n)).collect();
        let sheets: Vec<&TriangleMesh> =
            self.setup.sheets.iter().filter(|sheet| self.reaches_outside(sheet)).collect();
        Ok((Hands::hold(&self.body, &weights, &sheets, &grip)?, opening))
    }

    /// Whether a sheet opens the outside: a disc across a bridge does not, and no hand gets hold of its lips.
    fn reaches_outside(&self, sheet: &TriangleMesh) -> bool {
        let body = self.setup.body;
        let lowest = body.board().unwrap_or(f64::NEG_INFINITY);
        sheet.positions.iter().any(|p| {
            let p = Point::new(p.x, p.y, p.z.max(lowest + 1e-3));
            !body.holds(&p) && self.model.distance(&p) > 0.0
        })
    }

    /// Rubber at rest at `x`, which comes to rest again once it is in balance along a direction.
    fn rubber(&self, x: Vec<Point>, direction: Vector, held: usize) -> Relaxation<'_> {
        let force = self.setup.settings.hand_force;
        let mut rubber = Relaxation::new(&self.elastic, x, &self.skin, self.spacing);
        rubber.guard(&self.surface, &self.model);
        rubber.balance = Some((direction, LEAST_BALANCE * force));
        rubber.least_load = LEAST_LOAD * force / (held.max(1) as f64).sqrt();
        rubber
    }

    /// A pull that draws the rubber off from where it is at `x`, along a direction.
    fn along(&self, hands: &Hands, x: &[Point], direction: Vector, target: f64) -> Pull {
        let stiffness = self.setup.settings.hand_force / (SLACK * self.extent(&direction));
        let grasps = Grasp::all(&hands.along, x, direction);
        Pull::new(grasps, stiffness, target, f64::INFINITY).level(&direction)
    }

    /// Draw lips and flaps aside, over the board, until they are as far as is wanted or as hands and rubber let
    /// them, or nothing stands in the way along one of the directions any longer.
    fn open(&self, hands: &Hands, wanted: f64) -> Result<Opened, TrialError> {
        let rest = &self.body.solid.nodes;
        let mut opened = Opened {
            x: rest.clone(),
            aside: 0.0,
            pulls: Vec::new(),
            course: Course {
                outcome: Outcome::OutOfTime,
                pull: Vec::new(),
                frames: vec![Frame { opening: 0.0, travel: 0.0, positions: rest.clone() }],
                bridges: Vec::new(),
                greatest: (0.0, rest.first().copied().unwrap_or(Point::origin())),
                stretch_99: 0.0,
                overlap: 0.0,
                relaxation_steps: 0,
                progress: 0.0,
            },
        };
        if hands.open_nothing() {
            return Ok(opened);
        }
        let mut rubber = self.rubber(rest.clone(), Vector::z(), hands.along.len());
        let step = wanted / OPENING_STEPS as f64;
        let mut lags = vec![0.0; hands.flaps.len()];
        for _ in 0..OPENING_STEPS {
            if self.is_late() {
                break;
            }
            let target = opened.aside + step;
            let mut pulls: Vec<(Pull, f64)> =
                hands.aside.iter().map(|p| (p.at(target), opened.aside)).collect();
            for (flap, lag) in hands.flaps.iter().zip(&lags) {
                pulls.push((flap.pull(rest, &rubber.x, lag + step), *lag));
            }
            let keep: Vec<Pull> = pulls.iter().map(|(p, _)| p.clone()).collect();
            pulls.push((self.along(hands, rest, Vector::z(), 0.0), 0.0));
            rubber.set_pulls_from(pulls);
            self.settle(&mut rubber, MOST_STEPS.0, &mut opened.course)?;
            let stretches = self.elastic.stretches(&rubber.x);
            if self.overstretched(&stretches)
                || self.hundredth(&stretches) > self.setup.rubber.working_stretch
            {
                // Who feels the rubber give draws no farther.
                break;
            }
            let forces: Vec<f64> = keep.iter().map(|p| p.force(&rubber.x)).collect();
            let limits: f64 = keep.iter().map(|p| p.limit).sum();
            let given: f64 = forces.iter().sum();
            for (flap, (lag, force)) in
                hands.flaps.iter().zip(lags.iter_mut().zip(&forces[hands.aside.len()..]))
            {
                *lag = flap.lag(*force);
            }
            (opened.x, opened.aside, opened.pulls) = (rubber.x.clone(), target, keep);
            if given >= SPENT * limits || self.is_open(&rubber.x) {
                break;
            }
        }
        let positions = opened.x.clone();
        let frame = Frame { opening: opened.aside, travel: 0.0, positions };
        opened.course.frames.push(frame);
        self.measure(&opened.x, &mut opened.course);
        Ok(opened)
    }

    /// Whether nothing stands in the way along one of the directions.
    fn is_open(&self, x: &[Point]) -> bool {
        let settings = self.setup.settings;
        let points = self.points(x);
        let given = settings.directions.iter().map(|d| d.normalize());
        let all = settings.attempts.map_or(Vec::new(), |_| directions::all_round());
        given.chain(all).any(|d| self.blocked(&points, &d) == 0.0)
    }

    fn draw(
        &self,
        opened: &Opened,
        hands: &Hands,
        direction: Vector,
    ) -> Result<Course, TrialError> {
        let settings = self.setup.settings;
        let length = self.extent(&direction);
        let mut rubber = self.rubber(opened.x.clone(), direction, hands.along.len());
        let mut course = opened.course.clone();
        course.bridges = self.bridges(&rubber);
        let lengths = if self.hold() == Hold::Rim { FARTHEST.1 } else { FARTHEST.0 };
        let (farthest, unit) = (lengths * length, length / settings.steps as f64);
        let (mut gone, mut stride) = (0.0, 1.0);
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
            let mut settled = self.settle(&mut rubber, MOST_STEPS.0, &mut course)?;
            let mut stretches = self.elastic.stretches(&rubber.x);
            let mut used = MOST_STEPS.0;
            // What decides must have come to rest.
            let mut is_clear = self.is_clear(&rubber, &direction);
            let enough = |rubber: &Relaxation<'_>, stretches: &[f64], is_clear: bool| {
                let force = drawn(rubber, &direction);
                if is_clear || force >= settings.hand_force || self.overstretched(stretches) {
                    MOST_STEPS.2
                } else if force >= FELT * settings.hand_force {
                    MOST_STEPS.1
                } else {
                    MOST_STEPS.0
                }
            };
            while !settled && !self.is_late() && used < enough(&rubber, &stretches, is_clear) {
                settled = self.settle(&mut rubber, AT_ONCE, &mut course)?;
                stretches = self.elastic.stretches(&rubber.x);
                used += AT_ONCE;
                // Rubber that stays clear of the model swings in the air: that takes long to rest and decides nothing.
                let was_clear = is_clear;
                is_clear = self.is_clear(&rubber, &direction);
                settled |= was_clear && is_clear;
            }
            let force = drawn(&rubber, &direction);
            let torn = self.measure(&rubber.x, &mut course);
            let travel = self.travel(&rubber, &direction);
            course.note(PullPoint { travel, force, settled }, settings.hand_force, length);
            course.frames.push(Frame {
                opening: opened.aside,
                travel: gone,
                positions: rubber.x.clone(),
            });
            let decides = torn || force >= settings.hand_force;
            let clear = !decides && is_clear;
            if (decides || clear) && !settled {
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
            if clear {
                course.outcome = Outcome::Released;
                course.progress = 1.0;
                return Ok(course);
            }
            course.outcome =
                if gone >= farthest { stuck(Hindrance::Caught) } else { Outcome::OutOfTime };
            // What is next to free is drawn in longer steps.
            let is_light = force.abs() < LIGHT * settings.hand_force;
            stride = if is_light { LONG_STRIDE } else { 1.0 };
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
    fn measure(&self, x: &[Point], course: &mut Course) -> bool {
        let stretches = self.elastic.stretches(x);
        let greatest = stretches.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((e, stretch)) = greatest.filter(|(_, l)| **l - 1.0 > course.greatest.0) {
            course.greatest = (stretch - 1.0, self.body.solid.middle(e));
        }
        course.stretch_99 = course.stretch_99.max(self.hundredth(&stretches));
        course.overlap = course.overlap.max(self.overlap(x));
        self.overstretched(&stretches)
    }

    /// The strain that all but a hundredth of the rubber stays below.
    fn hundredth(&self, stretches: &[f64]) -> f64 {
        let solid = &self.body.solid;
        let volumes = (0..solid.elements.len()).map(|e| solid.volume(e));
        all_but_a_hundredth(stretches.iter().copied().zip(volumes)) - 1.0
    }

    /// Whether rubber tears at these stretches: averaged over a ball of [`TEAR_LENGTH`].
    fn overstretched(&self, stretches: &[f64]) -> bool {
        let limit = 1.0 + self.setup.rubber.elongation_at_break;
        let solid = &self.body.solid;
        let beyond = stretches.iter().enumerate().filter(|(_, l)| **l > limit);
        beyond.map(|(e, _)| solid.middle(e)).any(|middle| {
            let near = (0..stretches.len())
                .filter(|&k| (solid.middle(k) - middle).norm() <= 0.5 * TEAR_LENGTH);
            let (sum, volume) = near.fold((0.0, 0.0), |(sum, volume), k| {
                let own = solid.volume(k);
                (sum + own * stretches[k], volume + own)
            });
            sum > limit * volume
        })
    }

    /// How deep the middle of an element lies in the model, though its nodes don't, over the element's
    /// longest edge.
    fn overlap(&self, x: &[Point]) -> f64 {
        self.body
            .solid
            .elements
            .par_iter()
            .filter(|nodes| nodes.iter().any(|n| self.skin.binary_search(n).is_ok()))
            .map(|nodes| {
                let corners = nodes.map(|n| x[n as usize]);
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
        let clearance = CLEARANCE * self.spacing;
        let is_blocked = |&n: &u32| {
            directions::is_blocked(&rubber.x[n as usize], &self.model, direction, clearance)
        };
        !self.skin.iter().any(is_blocked)
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
    rubber.pulls().iter().map(|p| p.force(&rubber.x) * p.part_along(direction)).sum()
}

/// The node that the model holds back most.
fn holding(rubber: &Relaxation<'_>, direction: &Vector) -> Point {
    let back = |n: &usize| -rubber.reactions[*n].dot(direction);
    (0..rubber.x.len())
        .max_by(|a, b| back(a).total_cmp(&back(b)))
        .map_or(Point::origin(), |n| rubber.x[n])
}
