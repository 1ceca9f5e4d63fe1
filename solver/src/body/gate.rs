//! The gate: where the model meets the board or the sprue, and the frame it gives the mould.

use nalgebra::Isometry3;

use super::foot::FlatArea;
use super::frame::mould_frame;
use super::{GateChoice, poses};
use crate::mesh::{FaceId, Point, TriangleMesh, Vector};

/// A gate cannot be found.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GateError {
    /// A vector or number of the request cannot be used.
    #[error("gate.{field}: {fault}")]
    BadField {
        /// Field of the request.
        field: &'static str,
        /// What is wrong and what to do.
        fault: &'static str,
    },
    /// The model does not stand on a flat face.
    #[error(
        "gate.lowest_flat: the model has no flat face at its lowest point along up ({area:.1} mm^2 within {tolerance:.2} mm of it): {}",
        advice(.stands.as_deref())
    )]
    NoFlatFace {
        /// Flat area found, mm^2.
        area: f64,
        /// Height looked at, mm.
        tolerance: f64,
        /// An up along which it rests by itself on a flat face, if there is one.
        stands: Option<Box<Vector>>,
    },
    /// The patch or plane touches nothing.
    #[error(
        "gate.{field}: no part of the model lies there (nearest point {distance:.2} mm away): move it or enlarge it"
    )]
    Misses {
        /// Field of the request.
        field: &'static str,
        /// Distance to the nearest point of the model, mm.
        distance: f64,
    },
}

/// What to do about a model that has no flat face along the up that was asked for.
fn advice(stands: Option<&Vector>) -> String {
    match stands {
        Some(up) => {
            // Four digits, and no minus before nothing.
            let [x, y, z] = [up.x, up.y, up.z].map(|x| (x * 1e4).round() / 1e4 + 0.0);
            format!(
                "it stands on a flat face with up {x},{y},{z}: give that, or gate.patch or gate.plane"
            )
        }
        None => "give gate.patch or gate.plane, or another up".to_owned(),
    }
}

/// Which points of the surface are gate, in the mould frame.
#[derive(Clone, Debug, PartialEq)]
enum Region {
    /// At or below this height, mm.
    Below(f64),
    /// Within a ball.
    Ball(Point, f64),
}

/// The gate and the mould frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Gate {
    /// Takes model coordinates to the mould frame.
    pub to_mould: Isometry3<f64>,
    region: Region,
}

impl Gate {
    /// Find the gate of a model.
    pub fn find(model: &TriangleMesh, choice: &GateChoice) -> Result<Self, GateError> {
        let size = model.span();
        let (up, on_board, below) = match *choice {
            GateChoice::LowestFlat { up } => {
                let up = direction("lowest_flat.up", up)?;
                let flat = FlatArea::new(model, &up, size);
                let FlatArea { lowest, tolerance, .. } = flat;
                if !flat.is_stand {
                    let stands = poses::advised_up(model, &up).map(Box::new);
                    return Err(GateError::NoFlatFace { area: flat.level, tolerance, stands });
                }
                (up, Point::from(up * lowest), Some(tolerance))
            }
            GateChoice::Plane { point, normal } => {
                let up = -direction("plane.normal", normal)?;
                finite("plane.point", point)?;
                let above = |p: &Point| (p - point).dot(&up);
                let nearest = model.positions.iter().map(above).fold(f64::INFINITY, f64::min);
                let tolerance = (0.002 * size).max(0.05);
                if nearest > tolerance {
                    return Err(GateError::Misses { field: "plane", distance: nearest });
                }
                (up, point, Some(tolerance))
            }
            GateChoice::Patch { centre, radius } => {
                (patch_up(model, centre, radius)?, centre, None)
            }
        };
        let to_mould = mould_frame(model, &up, &on_board);
        let region = match (below, choice) {
            (None, GateChoice::Patch { centre, radius }) => {
                Region::Ball(to_mould * centre, *radius)
            }
            (limit, _) => Region::Below(limit.unwrap_or(0.0)),
        };
        Ok(Self { to_mould, region })
    }

    /// Whether a point of the surface, in the mould frame, belongs to the gate.
    pub fn holds(&self, point: &Point) -> bool {
        match self.region {
            Region::Below(limit) => point.z <= limit,
            Region::Ball(centre, radius) => (point - centre).norm() <= radius,
        }
    }

    /// How far a point, in the mould frame, lies outside of the gate's region, mm; 0 within.
    pub fn distance(&self, point: &Point) -> f64 {
        match self.region {
            Region::Below(limit) => (point.z - limit).max(0.0),
            Region::Ball(centre, radius) => ((point - centre).norm() - radius).max(0.0),
        }
    }

    /// A curve that starts inside the gate, from where it leaves it.
    pub fn clipped(&self, points: &[Point]) -> Vec<Point> {
        let inside = |p: &Point| self.holds(p);
        let Some(out) = points.iter().position(|p| !inside(p)).filter(|&k| k > 0) else {
            return points.to_vec();
        };
        let (mut low, mut high) = (points[out - 1], points[out]);
        for _ in 0..40 {
            let middle = nalgebra::center(&low, &high);
            if inside(&middle) { low = middle } else { high = middle }
        }
        let mut rest = vec![high];
        rest.extend_from_slice(&points[out..]);
        rest
    }
}

/// Direction away from the sprue at a patch: against the mean normal of the faces inside it.
fn patch_up(model: &TriangleMesh, centre: Point, radius: f64) -> Result<Vector, GateError> {
    finite("patch.centre", centre)?;
    if !(radius.is_finite() && radius > 0.0) {
        let fault = "must be a positive number of mm";
        return Err(GateError::BadField { field: "patch.radius", fault });
    }
    let distance = |p: &Point| (p - centre).norm();
    let nearest = model.positions.iter().map(distance).fold(f64::INFINITY, f64::min);
    if nearest > radius {
        return Err(GateError::Misses { field: "patch", distance: nearest });
    }
    let outward: Vector = (0..model.faces.len() as u32)
        .map(FaceId)
        .filter(|&f| model.corners(f).iter().all(|p| distance(p) <= radius))
        .map(|f| model.area_vector(f))
        .sum();
    let fault = "holds no whole face of the model: enlarge the radius";
    let outward =
        outward.try_normalize(1e-9).ok_or(GateError::BadField { field: "patch", fault })?;
    Ok(-outward)
}

fn direction(field: &'static str, v: Vector) -> Result<Vector, GateError> {
    let fault = "must be a direction: three finite numbers, not all zero";
    if !v.iter().all(|x| x.is_finite()) {
        return Err(GateError::BadField { field, fault });
    }
    v.try_normalize(1e-12).ok_or(GateError::BadField { field, fault })
}

fn finite(field: &'static str, p: Point) -> Result<(), GateError> {
    if p.iter().all(|x| x.is_finite()) {
        Ok(())
    } else {
        Err(GateError::BadField { field, fault: "must be three finite numbers, mm" })
    }
}

#[cfg(test)]
mod tests;
