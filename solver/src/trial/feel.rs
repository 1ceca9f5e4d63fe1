//! What a point knows of the obstacle, and how the obstacle answers a stride.

use super::contact::Obstacle;
use crate::mesh::{Point, Vector};

/// A plane found for a node stands for the obstacle while the node stays within this share of the
/// spacing.
pub(super) const PLANE_REACH: f64 = 0.03;
/// What is known of the obstacle near a point.
#[derive(Clone, Copy, Debug)]
pub(super) struct Feel {
    pub at: Point,
    pub distance: f64,
    pub normal: Vector,
}

impl Feel {
    pub fn unknown() -> Self {
        Self { at: Point::new(f64::INFINITY, 0.0, 0.0), distance: 0.0, normal: Vector::z() }
    }

    pub fn look(&mut self, obstacle: &dyn Obstacle, at: &Point) {
        // The obstacle is no farther than it was, and the way from there: a little more, for what rounding takes.
        let reach = self.distance.abs() + (at - self.at).norm();
        let touch = obstacle.touch_within(at, (reach * (1.0 + 1e-9) + 1e-9).min(f64::MAX));
        *self = Self { at: *at, distance: touch.distance, normal: touch.normal };
    }

    /// Signed distance of a point near by, mm.
    pub fn distance_of(&self, at: &Point) -> f64 {
        self.distance + self.normal.dot(&(at - self.at))
    }
}

/// What has to be added to a node's stride so that it does not enter the obstacle and slides against
/// friction, mm.
pub(super) fn put_back(
    feel: &mut Feel,
    obstacle: &dyn Obstacle,
    at: &Point,
    stride: &Vector,
    friction: f64,
    spacing: f64,
) -> Vector {
    let next = at + stride;
    let moved = (next - feel.at).norm();
    // Distance changes no faster than the node moves, so far nodes need not ask.
    if moved.is_finite() && feel.distance > moved {
        return Vector::zeros();
    }
    if moved > PLANE_REACH * spacing {
        feel.look(obstacle, &next);
    }
    let depth = -feel.distance_of(&next);
    if depth <= 0.0 {
        return Vector::zeros();
    }
    rubbed(feel.normal * depth, stride, friction)
}

/// A push out of the obstacle, less what friction takes off the sliding part of the stride.
pub(super) fn rubbed(push: Vector, stride: &Vector, friction: f64) -> Vector {
    let depth = push.norm();
    let normal = push / depth;
    let sliding = stride - normal * normal.dot(stride);
    let length = sliding.norm();
    if length <= 0.0 {
        return push;
    }
    push - sliding * (friction * depth / length).min(1.0)
}
