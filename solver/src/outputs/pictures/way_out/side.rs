//! From which sides a trial is looked at.

use super::super::view::View;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::trial::TrialReport;

/// Sides tried round the direction of the pull.
const SIDES: usize = 16;
/// How far the second view looks down, degrees.
const TILT: f64 = 24.0;
/// How far the second view is turned to where the lips open, degrees, so that model and lips are
/// both seen aslant.
const TURN: f64 = 20.0;

/// The two sides: across the pull, for the opened rubber; from behind that and above, for the whole.
pub(super) fn choose(report: &TrialReport, model: &TriangleMesh) -> [View; 2] {
    let direction = report.direction.normalize();
    let along = if direction.z.abs() > 0.9 { Vector::x() } else { Vector::z() };
    let first = (along - direction * along.dot(&direction)).normalize();
    let second = direction.cross(&first);
    let around = |angle: f64| first * angle.cos() + second * angle.sin();
    let middle = middle(model);
    let scored = (0..SIDES).map(|k| {
        // The first one tried is the front.
        let toward =
            around(std::f64::consts::TAU * k as f64 / SIDES as f64 - 0.5 * std::f64::consts::PI);
        (score(report, model, &direction, &toward, middle), toward)
    });
    let best = scored.reduce(|best, next| if next.0 > best.0 * (1.0 + 1e-6) { next } else { best });
    let toward = best.map_or(first, |(_, toward)| toward);
    let up = picture_up(&toward, &direction);
    let opened = View {
        name: "opened",
        title: "Front half of the rubber taken away",
        right: up.cross(&toward),
        up,
        toward,
    };
    let (sine, cosine) = TURN.to_radians().sin_cos();
    let behind = -toward * cosine + opened.right * sine;
    let (sine, cosine) = TILT.to_radians().sin_cos();
    let raised = behind * cosine + up * sine;
    let up = up * cosine - behind * sine;
    let whole = View {
        name: "whole",
        title: "Whole, from the other side and above",
        right: up.cross(&raised),
        up,
        toward: raised,
    };
    [opened, whole]
}

/// Up on the picture: away from the board, unless that points at whoever looks.
fn picture_up(toward: &Vector, direction: &Vector) -> Vector {
    let up = Vector::z() - toward * toward.z;
    if up.norm() > 0.5 { up.normalize() } else { *direction }
}

/// Middle of the model.
pub(super) fn middle(model: &TriangleMesh) -> Point {
    model.bounds().map_or(Point::origin(), |(low, high)| crate::nalgebra::center(&low, &high))
}

/// How much a side shows: how far rubber of the half that is kept goes across the pull on the picture,
/// on average, mm; and, where nothing does, how wide the model is.
fn score(
    report: &TrialReport,
    model: &TriangleMesh,
    direction: &Vector,
    toward: &Vector,
    middle: Point,
) -> f64 {
    let across = direction.cross(toward);
    let aside = report.frames.get(1).unwrap_or(&report.frames[0]);
    let (mut gone, mut count) = (0.0, 0usize);
    for (rest, now) in report.frames[0].positions.iter().zip(&aside.positions) {
        if (rest - middle).dot(toward) <= 0.0 {
            gone += (now - rest).dot(&across).abs();
            count += 1;
        }
    }
    let width = model.positions.iter().map(|p| (p - middle).dot(&across).abs()).fold(0.0, f64::max);
    gone / count.max(1) as f64 + 0.01 * width
}
