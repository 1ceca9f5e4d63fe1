//! What a trial is made with, whatever the direction: rubber, model, hands' springs.

use super::TrialError;
use super::contact::{Obstacle, RigidModel};
use super::cores::Core;
use super::course::Course;
use super::directions;
use super::elastic::Elastic;
use super::hands::Hands;
use super::parting::Parted;
use super::pull::{Grasp, Pull};
use super::relax::Relaxation;
use super::report::TrialSetup;
use super::solid::Skin;
use crate::control::Control;
use crate::mesh::{Point, Vector};

/// The hands' springs reach the greatest force after this share of the model's length. Soft hands would
/// let the rubber as a whole swing slowly, long after everything else has come to rest.
const SLACK: f64 = 0.01;
/// Share of the hands' greatest force that is too little to matter: steps with less load need not come
/// to rest any better.
const LEAST_LOAD: f64 = 0.02;
/// Share of the hands' greatest force that may be missing from the balance along the direction.
const LEAST_BALANCE: f64 = 0.005;
/// A node is clear of the model's wall by this share of the spacing when its way out is looked at.
pub(super) const CLEARANCE: f64 = 0.05;

/// All that does not depend on the direction.
pub(super) struct Rig<'a> {
    pub setup: &'a TrialSetup<'a>,
    pub control: &'a Control<'a>,
    pub model: RigidModel,
    pub body: Parted,
    pub elastic: Elastic,
    pub skin: Vec<u32>,
    pub surface: Vec<[u32; 3]>,
    pub spacing: f64,
    /// Where in the model rubber must never be.
    pub cores: Vec<Core>,
}

impl Rig<'_> {
    pub fn is_late(&self) -> bool {
        self.setup.settings.seconds.is_some_and(|end| self.control.is_past(end))
    }

    /// The model's extent along a direction, mm.
    pub fn extent(&self, along: &Vector) -> f64 {
        let heights = self.setup.model.positions.iter().map(|p| p.coords.dot(along));
        let (low, high) =
            heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
        high - low
    }

    /// The rubber's nodes that lay on the model, where they are now, with their weights.
    pub fn points(&self, x: &[Point]) -> Vec<(Point, f64)> {
        let on_model = |&n: &usize| self.body.solid.skins[n] == Skin::Model;
        (0..x.len()).filter(on_model).map(|n| (x[n], self.elastic.node_volume(n))).collect()
    }

    /// The share of them that the model is in the way of.
    pub fn blocked(&self, points: &[(Point, f64)], direction: &Vector) -> f64 {
        directions::blocked(points, &self.model, direction, CLEARANCE * self.spacing)
    }

    /// Rubber at rest at `x`, which comes to rest again once it is in balance along a direction.
    pub fn rubber(&self, x: Vec<Point>, direction: Vector, held: usize) -> Relaxation<'_> {
        let force = self.setup.settings.hand_force;
        let mut rubber = Relaxation::new(&self.elastic, x, &self.skin, self.spacing);
        rubber.guard(&self.surface, &self.model, &self.cores);
        rubber.balance = Some((direction, LEAST_BALANCE * force));
        rubber.least_load = LEAST_LOAD * force / (held.max(1) as f64).sqrt();
        rubber
    }

    /// A pull that draws the rubber off from where it is at `x`, along a direction.
    pub fn along(&self, hands: &Hands, x: &[Point], direction: Vector, target: f64) -> Pull {
        let stiffness = self.setup.settings.hand_force / (SLACK * self.extent(&direction));
        let grasps = Grasp::all(&hands.along, x, direction);
        Pull::new(grasps, stiffness, target, f64::INFINITY).level(&direction)
    }

    pub fn settle(
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
}
