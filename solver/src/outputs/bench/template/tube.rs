//! The net of a cylinder: the wall rolled off from back to back, top and underside touching it at the front.

use std::f64::consts::{PI, TAU};

use super::flat::{Border, Flat, ON, shorter};
use crate::mesh::{Point, Vector};

/// Corners of a circle as it is drawn: within 0.02 mm of it at 200 mm.
const CORNERS: u32 = 240;

/// A cylinder laid flat.
pub(super) struct Tube {
    axis: (f64, f64),
    radius: f64,
    bottom: f64,
    top: f64,
    /// Angle of the front about the axis, radians.
    front: f64,
    underside: bool,
}

/// A part of the outside.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Wall,
    Top,
    Underside,
}

/// A point in the cylinder's own terms: angle counter-clockwise from the seam at the back, distance from the axis,
/// height above the bottom.
#[derive(Clone, Copy)]
struct Round {
    angle: f64,
    out: f64,
    up: f64,
}

impl Tube {
    pub fn new(
        axis: (f64, f64),
        radius: f64,
        [bottom, top]: [f64; 2],
        front: &Vector,
        underside: bool,
    ) -> Self {
        Self { axis, radius, bottom, top, front: front.y.atan2(front.x), underside }
    }

    fn height(&self) -> f64 {
        self.top - self.bottom
    }

    fn round(&self, p: &Point) -> Round {
        let (x, y) = (p.x - self.axis.0, p.y - self.axis.1);
        let angle = (y.atan2(x) - self.front + PI).rem_euclid(TAU);
        Round { angle, out: x.hypot(y), up: p.z - self.bottom }
    }

    fn parts(&self, p: &Round) -> impl Iterator<Item = Part> {
        let inside = (-ON..=self.height() + ON).contains(&p.up) && p.out <= self.radius + ON;
        let on = [
            (Part::Wall, (p.out - self.radius).abs() <= ON),
            (Part::Top, (p.up - self.height()).abs() <= ON),
            (Part::Underside, self.underside && p.up.abs() <= ON),
        ];
        on.into_iter().filter(move |(_, on)| *on && inside).map(|(part, _)| part)
    }

    fn flat(&self, part: Part, p: &Round) -> Flat {
        let middle = PI * self.radius;
        // From the front: seen from above the front is below the middle, seen from below above it.
        let (sin, cos) = (p.angle - PI).sin_cos();
        match part {
            Part::Wall => [self.radius * p.angle, p.up],
            Part::Top => [middle + p.out * sin, self.height() + self.radius - p.out * cos],
            Part::Underside => [middle + p.out * sin, -self.radius + p.out * cos],
        }
    }

    pub fn at(&self, p: &Point) -> Option<Flat> {
        let p = self.round(p);
        self.parts(&p).next().map(|part| self.flat(part, &p))
    }

    pub fn way(&self, a: &Point, b: &Point) -> Option<Vec<[Flat; 2]>> {
        let (a, b) = (self.round(a), self.round(b));
        let mut best = None;
        for from in self.parts(&a) {
            for to in self.parts(&b) {
                let own = match (from, to) {
                    (Part::Wall, Part::Wall) => Some(self.over_wall(&a, &b)),
                    (from, to) if from == to => {
                        Some(vec![[self.flat(from, &a), self.flat(to, &b)]])
                    }
                    (Part::Wall, end) => Some(self.over_rim(&a, end, &b)),
                    (end, Part::Wall) => {
                        let back = self.over_rim(&b, end, &a);
                        Some(back.into_iter().rev().map(|[p, q]| [q, p]).collect())
                    }
                    _ => None,
                };
                best = shorter(best, own);
            }
        }
        best
    }

    /// The lesser turn from one angle to another.
    fn turn(from: f64, to: f64) -> f64 {
        let turn = (to - from).rem_euclid(TAU);
        if turn > PI { turn - TAU } else { turn }
    }

    /// A helix: straight once it is rolled off.
    fn over_wall(&self, a: &Round, b: &Round) -> Vec<[Flat; 2]> {
        let turn = Self::turn(a.angle, b.angle);
        let end = a.angle + turn;
        let (start, finish) = (self.flat(Part::Wall, a), self.flat(Part::Wall, b));
        let seam = if end > TAU {
            TAU
        } else if end < 0.0 {
            0.0
        } else {
            return vec![[start, [self.radius * end, finish[1]]]];
        };
        let up = start[1] + (finish[1] - start[1]) * (seam - a.angle) / turn;
        let other = TAU - seam;
        vec![[start, [self.radius * seam, up]], [[self.radius * other, up], finish]]
    }

    /// From the wall over the rim of an end to a place within it: where the way is shortest.
    fn over_rim(&self, a: &Round, end: Part, b: &Round) -> Vec<[Flat; 2]> {
        let turn = Self::turn(a.angle, b.angle);
        let up = if end == Part::Top { self.height() } else { 0.0 };
        let rim = |share: f64| {
            let angle = (a.angle + turn * share).rem_euclid(TAU);
            Round { angle, out: self.radius, up }
        };
        let far = |share: f64| {
            let (p, q) = (self.flat(end, &rim(share)), self.flat(end, b));
            (self.radius * turn * share).hypot(up - a.up) + (q[0] - p[0]).hypot(q[1] - p[1])
        };
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..80 {
            let (left, right) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if far(left) < far(right) { high = right } else { low = left }
        }
        let crossing = rim(0.5 * (low + high));
        let mut way = self.over_wall(a, &crossing);
        way.push([self.flat(end, &crossing), self.flat(end, b)]);
        way
    }

    pub fn borders(&self) -> Vec<Border> {
        let ([base, height], r) = (self.walls(), self.radius);
        let line = |points: Vec<Flat>| Border { points, fold: false };
        let circle = |y: f64| {
            let at = |k: u32| {
                let (sin, cos) = (TAU * f64::from(k) / f64::from(CORNERS)).sin_cos();
                [PI * r + r * sin, y + r * cos]
            };
            line((0..=CORNERS).map(at).collect())
        };
        let wall = vec![[0.0, 0.0], [base, 0.0], [base, height], [0.0, height], [0.0, 0.0]];
        let mut borders = vec![line(wall), circle(height + r)];
        if self.underside {
            borders.push(circle(-r));
        }
        borders
    }

    pub fn walls(&self) -> [f64; 2] {
        [TAU * self.radius, self.height()]
    }

    pub fn names(&self) -> Vec<(Flat, Vector)> {
        let eighth = |k: u32| {
            let angle = TAU * f64::from(k) / 8.0;
            let (sin, cos) = (angle + self.front - PI).sin_cos();
            ([self.radius * angle, self.height()], Vector::new(cos, sin, 0.0))
        };
        let mut names: Vec<_> = (0..8).map(eighth).collect();
        let r = self.radius;
        names.push(([PI * r - 0.5 * r, self.height() + 1.6 * r], Vector::z()));
        if self.underside {
            names.push(([PI * r - 0.5 * r, -0.4 * r], -Vector::z()));
        }
        names
    }
}
