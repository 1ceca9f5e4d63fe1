//! Wedges of rubber either side of a ruling, and the risk of a weak lip.
//!
//! In the plane across the cut the rubber next to a ruling fills the angle between the ruling and
//! the model's surface. It is measured from the ruling to chords from the station to points of the
//! surface at a fifth, two fifths ... of the reach, and the least of them counts: so a rounding at
//! the very edge doesn't hide a thin lip, nor a thin one at the edge alone a strong one. On flat
//! ground both wedges of a square ruling are 90 degrees, on a ridge of 90 degrees 135 each, in a
//! valley of 90 degrees 45 each. A ruling that leans along the cut leaves its wedges as they are.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::SheetSettings;
use super::section::Profile;
use crate::mesh::{Point, Vector};

/// Chords to each side.
const CHORDS: u32 = 5;

/// A station's axes: ahead along the cut, outward, and to the left seen from outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    pub at: Point,
    pub ahead: Vector,
    pub normal: Vector,
    pub left: Vector,
}

impl Frame {
    /// Components of a direction: ahead, left, outward.
    pub fn local(&self, d: &Vector) -> Vector {
        Vector::new(d.dot(&self.ahead), d.dot(&self.left), d.dot(&self.normal))
    }

    /// The direction that leans by `lean` (radians ahead, radians left) from the normal.
    pub fn leaning(&self, lean: [f64; 2]) -> Vector {
        let angle = lean[0].hypot(lean[1]);
        if angle < 1e-12 {
            return self.normal;
        }
        let side = (self.ahead * lean[0] + self.left * lean[1]) / angle;
        self.normal * angle.cos() + side * angle.sin()
    }

    /// Inverse of [`Frame::leaning`] for a unit direction.
    pub fn lean_of(&self, d: &Vector) -> [f64; 2] {
        let local = self.local(d);
        let side = local.x.hypot(local.y);
        if side < 1e-12 {
            return [0.0, 0.0];
        }
        let angle = side.atan2(local.z);
        [angle * local.x / side, angle * local.y / side]
    }
}

/// How far the surface lies from the normal to the left and to the right, radians: the least over
/// the chords of each side. 90 degrees on flat ground.
pub(super) fn flanks(frame: &Frame, profiles: &[Profile; 2], reach: f64) -> [f64; 2] {
    let flank = |profile: &Profile, left: &Vector| {
        (1..=CHORDS)
            .map(|k| profile.at(reach * f64::from(k) / f64::from(CHORDS)) - frame.at)
            .map(|chord| {
                let angle = chord.dot(left).atan2(chord.dot(&frame.normal));
                // Round the back of a thin edge angles go on beyond half a turn.
                if angle < -FRAC_PI_2 { angle + TAU } else { angle }
            })
            .fold(f64::INFINITY, f64::min)
    };
    [flank(&profiles[0], &frame.left), flank(&profiles[1], &-frame.left)]
}

/// Wedges left and right of a ruling, degrees.
pub(super) fn wedges(frame: &Frame, flanks: [f64; 2], direction: &Vector) -> [f64; 2] {
    let lean = direction.dot(&frame.left).atan2(direction.dot(&frame.normal));
    [(flanks[0] - lean).to_degrees(), (flanks[1] + lean).to_degrees()]
}

/// Risk of a weak lip by its lesser wedge (degrees): 0 at or above the good angle, 1 at or below
/// the refused one, u^2 (3 - 2u) between, u running from 0 to 1 (Hermite's cubic).
pub fn lip_risk(wedge: f64, settings: &SheetSettings) -> f64 {
    let span = settings.good_angle - settings.refused_angle;
    let u = ((settings.good_angle - wedge) / span).clamp(0.0, 1.0);
    u * u * (3.0 - 2.0 * u)
}
