//! Which ways out are worth trying.

use rayon::prelude::*;

use super::contact::{Obstacle, RigidModel};
use crate::mesh::{Point, Vector};

/// Angles from upright, degrees, at which directions are looked at all round, and how many at each.
const TILTS: [f64; 4] = [20.0, 45.0, 65.0, 85.0];
const AROUND: usize = 12;
/// Directions that are nearer to each other than this angle, degrees, are not both tried.
const APART: f64 = 24.0;
/// Shares that differ by less are as good as each other: the earlier direction goes first.
const ALIKE: f64 = 0.02;

/// Straight up, and a ring of directions at each of some tilts.
pub(super) fn all_round() -> Vec<Vector> {
    let ring = |tilt: f64| {
        let (sin, cos) = tilt.to_radians().sin_cos();
        (0..AROUND).map(move |k| {
            let azimuth = std::f64::consts::TAU * k as f64 / AROUND as f64;
            Vector::new(sin * azimuth.cos(), sin * azimuth.sin(), cos)
        })
    };
    std::iter::once(Vector::z()).chain(TILTS.into_iter().flat_map(ring)).collect()
}

/// Share of rubber points, given with their weights, that meet the model when they are moved straight on. Points
/// that touch it are lifted off by `clearance` mm first.
pub(super) fn blocked(
    points: &[(Point, f64)],
    model: &RigidModel,
    direction: &Vector,
    clearance: f64,
) -> f64 {
    let hits = points
        .par_iter()
        .map(|(x, weight)| if is_blocked(x, model, direction, clearance) { *weight } else { 0.0 });
    let hit: f64 = hits.collect::<Vec<_>>().into_iter().sum();
    hit / points.iter().map(|(_, weight)| weight).sum::<f64>().max(1e-300)
}

/// Whether a point of the rubber meets the model when it is moved straight on.
pub(super) fn is_blocked(
    x: &Point,
    model: &RigidModel,
    direction: &Vector,
    clearance: f64,
) -> bool {
    let touch = model.touch(x);
    let off = (clearance - touch.distance).max(0.0);
    model.is_hit(&(x + touch.normal * off), direction)
}

/// The `most` directions along which the least is blocked, best first, none of them close to a better one.
pub(super) fn best(scored: Vec<(Vector, f64)>, most: usize) -> Vec<Vector> {
    let mut order: Vec<usize> = (0..scored.len()).collect();
    let rank = |k: usize| (scored[k].1 / ALIKE).floor();
    order.sort_by(|&a, &b| rank(a).total_cmp(&rank(b)).then(a.cmp(&b)));
    let mut chosen: Vec<Vector> = Vec::new();
    for k in order {
        let direction = scored[k].0;
        let near = APART.to_radians().cos();
        if chosen.len() < most && chosen.iter().all(|c| c.dot(&direction) < near) {
            chosen.push(direction);
        }
    }
    chosen
}
