//! How the blade stands where it enters: what can be seen and set at the bench, where the model is out of sight.

use crate::body::Outside;
use crate::mesh::{Point, Vector};
use crate::outputs::whereabouts::Frame;
use crate::plan::RubberSkin;
use crate::sheets::Station;

/// Off square by less than this counts as square, degrees: nobody holds a knife closer.
const SQUARE: f64 = 2.0;
/// A face that leans less than this from level is a top or an underside: the cosine of 45 degrees.
const LEVEL: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// The outside of the rubber, as one looks at it.
pub(super) struct View<'a> {
    skin: &'a RubberSkin,
    frame: Frame,
}

impl<'a> View<'a> {
    /// `None` where the mould frame has no up.
    pub fn new(skin: &'a RubberSkin) -> Option<Self> {
        Some(Self { skin, frame: Frame::of_mould(&skin.to_mould)? })
    }

    /// What the lean is measured from.
    pub fn reference(&self) -> &'static str {
        match self.skin.outside {
            Outside::Box { .. } | Outside::Cylinder { .. } => "outside",
            // A blanket is as bumpy as the model beneath.
            Outside::Offset { .. } => "model",
        }
    }

    /// Outward unit normal at a station, in the model's coordinates.
    fn normal(&self, station: &Station) -> Vector {
        let p = self.skin.to_mould * station.on_outside;
        let own = match self.skin.outside {
            Outside::Box { low, high } => {
                let faces = (0..3).flat_map(|k| [(k, low[k], -1.0), (k, high[k], 1.0)]);
                let nearest =
                    faces.min_by(|a, b| (p[a.0] - a.1).abs().total_cmp(&(p[b.0] - b.1).abs()));
                nearest.map(|(axis, _, sign)| {
                    let mut normal = Vector::zeros();
                    normal[axis] = sign;
                    normal
                })
            }
            Outside::Cylinder { axis, radius, bottom, top } => {
                let out = Vector::new(p.x - axis.0, p.y - axis.1, 0.0);
                let ends = (p.z - bottom).abs().min((top - p.z).abs());
                if ends < (radius - out.norm()).abs() {
                    Some(if p.z - bottom < top - p.z { -Vector::z() } else { Vector::z() })
                } else {
                    out.try_normalize(1e-9)
                }
            }
            Outside::Offset { .. } => None,
        };
        own.map_or(station.normal, |own| self.skin.to_mould.inverse_transform_vector(&own))
    }

    /// How far the blade stands off square, degrees, and to where its point goes, as one looks at the place from
    /// outside. `None` for a blade that has no length.
    pub fn lean(&self, station: &Station) -> Option<(f64, String)> {
        let inner: Point = station.turn.unwrap_or(station.on_model);
        let way = (inner - station.on_outside).try_normalize(1e-9)?;
        let normal = self.normal(station);
        let straight = -way.dot(&normal);
        let angle = straight.clamp(-1.0, 1.0).acos().to_degrees();
        if angle < SQUARE {
            return Some((angle, "square".to_owned()));
        }
        let slant = way + normal * straight;
        let up = self.frame.up;
        let level = normal.dot(&up).abs() > LEVEL;
        let towards = match up.cross(&normal).try_normalize(1e-9) {
            Some(right) if !level => {
                let above = normal.cross(&right);
                let eighths =
                    slant.dot(&above).atan2(slant.dot(&right)) / std::f64::consts::FRAC_PI_4;
                SIDES[(eighths.round() as i64).rem_euclid(8) as usize].to_owned()
            }
            _ => format!("to the {}", self.frame.side(&slant)),
        };
        Some((angle, towards))
    }
}

const SIDES: [&str; 8] = [
    "right",
    "up and right",
    "up",
    "up and left",
    "left",
    "down and left",
    "down",
    "down and right",
];
