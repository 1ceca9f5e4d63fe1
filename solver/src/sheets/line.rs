//! A cut on the model as evenly spaced stations, each with its axes and its profile.

use super::section::{Ground, Profile};
use super::wedge::{Frame, flanks};
use super::{SheetError, SheetSettings};
use crate::mesh::{Point, Vector, point_along, polyline_length, square_to};

/// One line of a cut, in the mould frame.
#[derive(Clone, Debug, PartialEq)]
pub struct CutLine {
    /// Points on the model in order; a closed line repeats its first point at the end.
    pub points: Vec<Point>,
    /// Whether the line is part of a cut that ends in the gate. The rulings of such a cut may
    /// leave through the face on the board.
    pub from_gate: bool,
    /// Whether the first point lies on the gate.
    pub starts_at_gate: bool,
    /// Whether the last point lies on the gate.
    pub ends_at_gate: bool,
}

impl CutLine {
    /// Whether the line closes on itself.
    pub fn is_closed(&self) -> bool {
        let count = self.points.len();
        count > 3 && (self.points[0] - self.points[count - 1]).norm() < 1e-9
    }
}

/// A place on the line where a ruling starts.
#[derive(Clone, Debug)]
pub(super) struct Place {
    /// Distance along the line, mm.
    pub along: f64,
    pub frame: Frame,
    pub flanks: [f64; 2],
}

/// The line's stations. A closed line's last one is its first again.
pub(super) struct Places {
    pub places: Vec<Place>,
    pub closed: bool,
    /// Every so many places is listed.
    pub each: usize,
}

/// How far from an end of the cut its profile is taken, mm.
const END_STEP: f64 = 0.1;

/// Set stations out along a line.
pub(super) fn set_out(
    ground: &Ground<'_>,
    line: &CutLine,
    index: usize,
    settings: &SheetSettings,
) -> Result<Places, SheetError> {
    let closed = line.is_closed();
    let points: Vec<Point> = line.points.iter().map(|p| ground.locator.closest(p).point).collect();
    let length = polyline_length(&points);
    if length.is_nan() || length < 1e-6 {
        return Err(SheetError::NoLength { index });
    }
    let listed = (length / settings.station_spacing).ceil().max(1.0) as usize;
    let listed = if closed { listed.max(3) } else { listed };
    let each = (length / listed as f64 / settings.ruling_spacing).ceil().max(1.0) as usize;
    let count = listed * each;
    let spacing = length / count as f64;
    let mut at: Vec<Point> = (0..=count)
        .map(|k| ground.locator.closest(&point_along(&points, spacing * k as f64)).point)
        .collect();
    if closed {
        at[count] = at[0];
    }
    let tangent = |k: usize| -> Vector {
        // Over two spacings either way, so that a kink of the curve is led round.
        let (before, after) = if closed {
            (at[(k + count - 2) % count], at[(k + 2) % count])
        } else {
            (at[k.saturating_sub(2)], at[(k + 2).min(count)])
        };
        (after - before).try_normalize(1e-12).unwrap_or_else(Vector::x)
    };
    let profiles: Vec<(Vector, [Profile; 2])> = (0..=count)
        .map(|k| {
            let ahead = tangent(k);
            // An end may lie on the model's edge on the board: from a hair inside the cut.
            let inward = match k {
                0 if !closed => ahead * END_STEP,
                k if k == count && !closed => -ahead * END_STEP,
                _ => Vector::zeros(),
            };
            let profiles = ground.profiles(&(at[k] + inward), &ahead, settings.wedge_reach);
            (ahead, profiles)
        })
        .collect();
    let normals: Vec<Vector> = profiles
        .iter()
        .zip(&at)
        .map(|((_, sides), p)| {
            let sum = sides[0].normal_sum() + sides[1].normal_sum();
            sum.try_normalize(1e-9).unwrap_or_else(|| ground.locator.closest(p).normal)
        })
        .collect();
    let places = (0..=count)
        .map(|k| {
            let mean = if closed {
                normals[(k + count - 1) % count] + normals[k] * 2.0 + normals[(k + 1) % count]
            } else if k == 0 || k == count {
                normals[k]
            } else {
                normals[k - 1] + normals[k] * 2.0 + normals[k + 1]
            };
            // The surface is known better than the curve's direction at its ends.
            let normal = mean.try_normalize(1e-9).unwrap_or(normals[k]);
            let ahead = profiles[k].0;
            let ahead = ahead - normal * ahead.dot(&normal);
            let ahead = ahead.try_normalize(1e-9).unwrap_or_else(|| square_to(&normal));
            let frame = Frame { at: at[k], ahead, normal, left: normal.cross(&ahead) };
            let flanks = flanks(&frame, &profiles[k].1, settings.wedge_reach);
            Place { along: spacing * k as f64, frame, flanks }
        })
        .collect();
    Ok(Places { places, closed, each })
}
