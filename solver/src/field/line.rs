//! Field lines: curves along the slope of the potential, from the model to the outside or back.
//!
//! P. Bogacki, L. F. Shampine, A 3(2) pair of Runge-Kutta formulas, Appl. Math. Lett. 2 (1989), on
//! the unit slope, so that the parameter is arc length. The slope between nodes is continuous but
//! no more, so that formulas of higher order gain nothing.

use super::{Domain, FieldError, Potential, Skin};
use crate::mesh::{Point, Vector};

/// Error allowed in a step, as a share of the spacing.
const STEP_ERROR: f64 = 1e-3;
/// Longest step, as a share of the spacing: long enough for points of a smooth polyline.
const LONGEST_STEP: f64 = 1.0;
/// Shortest step, as a share of the spacing: shorter ones mean that the line is stuck.
const SHORTEST_STEP: f64 = 1e-4;
/// Longest line, in grid diagonals.
const LONGEST_LINE: f64 = 3.0;
/// Halvings of the last step: its end is known to a millionth of it.
const HALVINGS: usize = 20;

/// Which way a field line is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// Up the potential, to the outside.
    Outward,
    /// Down the potential, to the model.
    Inward,
}

/// A field line.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldLine {
    /// Points from the start to the skin where it ends, at most a grid spacing apart, mm.
    pub points: Vec<Point>,
    /// Length, mm.
    pub length: f64,
}

impl Potential {
    /// The field line from `start` to the skin that `course` leads to. `start` lies in the rubber
    /// or on a skin, up to half a spacing beyond it. With a `domain` the end is put on its exact skin.
    pub fn field_line(
        &self,
        start: &Point,
        course: Course,
        domain: Option<&dyn Domain>,
    ) -> Result<FieldLine, FieldError> {
        let (sign, goal, skin) = match course {
            Course::Outward => (1.0, 1.0, Skin::Outside),
            Course::Inward => (-1.0, 0.0, Skin::Model),
        };
        let spacing = self.grid.spacing;
        let arrived = |value: f64| sign * (value - goal) >= 0.0;
        let (value, slope) = self.sample(start)?;
        let mut points = vec![*start];
        if arrived(value) {
            return Ok(FieldLine { points, length: 0.0 });
        }
        let unit = |slope: Vector| slope.try_normalize(1e-12).map(|u| u * sign);
        let counts = self.grid.counts.map(|n| n as f64 * spacing);
        let longest = LONGEST_LINE * Vector::from(counts).norm();
        let lost = |at: Point, length: f64| FieldError::LineLost { at, length };
        let (mut at, mut length) = (*start, 0.0);
        let mut here = unit(slope).ok_or(lost(at, length))?;
        let mut step = 0.5 * spacing;
        loop {
            if step < SHORTEST_STEP * spacing || length > longest {
                return Err(lost(at, length));
            }
            let Some((next, value, there, error)) = self.step(at, here, step, &unit) else {
                // The step led out of what is known: a shorter one will end at the skin.
                step *= 0.5;
                continue;
            };
            let factor = 0.9 * (STEP_ERROR * spacing / error.max(1e-12 * spacing)).cbrt();
            if factor < 0.9 {
                step *= factor.max(0.2);
                continue;
            }
            if arrived(value) {
                let end = self.land(at, here, step, &unit, &arrived);
                let end = domain.and_then(|d| d.nearest(&end, skin)).unwrap_or(end);
                length += (end - at).norm();
                points.push(end);
                return Ok(FieldLine { points, length });
            }
            length += (next - at).norm();
            (at, here) = (next, there);
            points.push(at);
            step = (step * factor.min(3.0)).min(LONGEST_STEP * spacing);
        }
    }

    /// One step: where it ends, the potential and direction there, and its error, mm.
    fn step(
        &self,
        at: Point,
        here: Vector,
        step: f64,
        unit: &impl Fn(Vector) -> Option<Vector>,
    ) -> Option<(Point, f64, Vector, f64)> {
        let slope = |p: Point| self.try_sample(&p).and_then(|(_, s)| unit(s));
        let second = slope(at + here * (0.5 * step))?;
        let third = slope(at + second * (0.75 * step))?;
        let move_by = (here * 2.0 + second * 3.0 + third * 4.0) * (step / 9.0);
        let next = at + move_by;
        let (value, slope) = self.try_sample(&next)?;
        let fourth = unit(slope)?;
        let lower = (here * 7.0 + second * 6.0 + third * 8.0 + fourth * 3.0) * (step / 24.0);
        Some((next, value, fourth, (move_by - lower).norm()))
    }

    /// Where a step crosses the skin.
    fn land(
        &self,
        at: Point,
        here: Vector,
        step: f64,
        unit: &impl Fn(Vector) -> Option<Vector>,
        arrived: &impl Fn(f64) -> bool,
    ) -> Point {
        let (mut low, mut high, mut end) = (0.0, step, at);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            match self.step(at, here, middle, unit) {
                Some((next, value, _, _)) if arrived(value) => {
                    high = middle;
                    end = next;
                }
                Some((next, ..)) => {
                    low = middle;
                    end = next;
                }
                None => high = middle,
            }
        }
        end
    }
}
