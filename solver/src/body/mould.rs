//! Rubber round the model: how thick it is, how much of it, how far it may be stretched.
//!
//! Everything here is in the mould frame (see [`super::Gate`]).

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::{MouldShape, Rubber};
use crate::mesh::{LocatorError, Point, SurfaceLocator, TriangleMesh, Vector};

/// A mould body cannot be built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MouldError {
    /// A length of the request cannot be used.
    #[error("mould.{field} is {value} mm: it must lie between {low} and {high} mm")]
    OutOfRange {
        /// Field of the request.
        field: &'static str,
        /// Value given, mm.
        value: f64,
        /// Least allowed, mm.
        low: f64,
        /// Greatest allowed, mm.
        high: f64,
    },
    /// The model has no surface to build round.
    #[error(transparent)]
    Locator(#[from] LocatorError),
}

/// Outer skin of the rubber, mm. A bottom at 0 stands on the board.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Outside {
    /// A box between two corners.
    Box {
        /// Least corner.
        low: Point,
        /// Greatest corner.
        high: Point,
    },
    /// A cylinder along z.
    Cylinder {
        /// x and y of the axis.
        axis: (f64, f64),
        /// Radius.
        radius: f64,
        /// z of the lower end.
        bottom: f64,
        /// z of the upper end.
        top: f64,
    },
    /// All that is nearer to the model than `thickness` and above `bottom`.
    Offset {
        /// Thickness of the blanket.
        thickness: f64,
        /// z of the lower end.
        bottom: f64,
    },
}

/// The rubber body round one model.
pub struct MouldBody {
    outside: Outside,
    model: SurfaceLocator,
    volume: f64,
    /// Corners of the box round the outer skin.
    bounds: (Point, Point),
}

/// Which part of the outer skin a line leaves through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExitSide {
    /// Walls and top, or any part of a blanket.
    Free,
    /// The face that lies on the board.
    Board,
}

/// Where a line leaves the body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exit {
    /// Distance along the line, mm.
    pub distance: f64,
    /// The part of the skin.
    pub side: ExitSide,
}

/// Walls thinner or thicker than this cannot be asked for, mm.
const WALL_RANGE: (f64, f64) = (1.0, 500.0);
/// Cells along the longest side of the grid that measures a blanket's volume.
const VOLUME_CELLS: f64 = 96.0;

impl MouldBody {
    /// Build the body round a closed model given in the mould frame.
    pub fn new(model: &TriangleMesh, shape: &MouldShape) -> Result<Self, MouldError> {
        let locator = SurfaceLocator::new(model)?;
        let Some((low, high)) = model.bounds() else {
            return Err(MouldError::Locator(LocatorError::Empty));
        };
        let check = |field, value: f64| {
            let (least, most) = WALL_RANGE;
            if (least..=most).contains(&value) {
                Ok(value)
            } else {
                Err(MouldError::OutOfRange { field, value, low: least, high: most })
            }
        };
        let floor = |side: f64| floor(low.z, high.z, side);
        let (outside, volume) = match *shape {
            MouldShape::Box { side_clearance, top_clearance } => {
                let side = check("box.side_clearance", side_clearance)?;
                let top = check("box.top_clearance", top_clearance)?;
                let low = Point::new(low.x - side, low.y - side, floor(side));
                let high = Point::new(high.x + side, high.y + side, high.z + top);
                let size = high - low;
                (Outside::Box { low, high }, size.x * size.y * size.z - model.signed_volume())
            }
            MouldShape::Cylinder { side_clearance, top_clearance } => {
                let side = check("cylinder.side_clearance", side_clearance)?;
                let top = check("cylinder.top_clearance", top_clearance)?;
                let axis = ((low.x + high.x) / 2.0, (low.y + high.y) / 2.0);
                let reach = model
                    .positions
                    .iter()
                    .map(|p| (p.x - axis.0).hypot(p.y - axis.1))
                    .fold(0.0, f64::max);
                let (radius, bottom, top) = (reach + side, floor(side), high.z + top);
                let full = std::f64::consts::PI * radius * radius * (top - bottom);
                (Outside::Cylinder { axis, radius, bottom, top }, full - model.signed_volume())
            }
            MouldShape::Blanket { thickness } => {
                let thickness = check("blanket.thickness", thickness)?;
                let bottom = floor(thickness);
                let volume = blanket_volume(&locator, thickness, bottom, low, high);
                (Outside::Offset { thickness, bottom }, volume)
            }
        };
        let bounds = match outside {
            Outside::Box { low, high } => (low, high),
            Outside::Cylinder { axis: (x, y), radius, bottom, top } => (
                Point::new(x - radius, y - radius, bottom),
                Point::new(x + radius, y + radius, top),
            ),
            Outside::Offset { thickness, bottom } => {
                let round = Vector::repeat(thickness);
                let low = low - round;
                (Point::new(low.x, low.y, bottom), high + round)
            }
        };
        Ok(Self { outside, model: locator, volume, bounds })
    }

    /// The model's surface that the body was built round.
    pub fn model(&self) -> &SurfaceLocator {
        &self.model
    }

    /// Corners of the axis-aligned box round the outer skin.
    pub fn bounds(&self) -> (Point, Point) {
        self.bounds
    }

    /// Height of the board, mm, where the mould stands on it; `None` where rubber goes all round a
    /// model that hangs on its sprue.
    pub fn board(&self) -> Option<f64> {
        let bottom = self.bounds.0.z;
        (bottom >= 0.0).then_some(bottom)
    }

    /// Where the line from a point inside the outer skin along a unit direction leaves it. The
    /// model is not looked at. A point outside leaves at once.
    pub fn exit(&self, from: &Point, direction: &Vector) -> Exit {
        let (walls, bottom) = match self.outside {
            Outside::Box { low, high } => (
                (0..3)
                    .map(|k| {
                        let floor = if k == 2 { f64::NEG_INFINITY } else { low[k] };
                        exit_slab(from[k], direction[k], floor, high[k])
                    })
                    .fold(f64::INFINITY, f64::min),
                low.z,
            ),
            Outside::Cylinder { axis, radius, bottom, top } => (
                exit_cylinder(from, direction, axis, radius).max(0.0).min(exit_slab(
                    from.z,
                    direction.z,
                    f64::NEG_INFINITY,
                    top,
                )),
                bottom,
            ),
            Outside::Offset { thickness, bottom } => {
                (self.exit_blanket(from, direction, thickness), bottom)
            }
        };
        let below = exit_slab(from.z, direction.z, bottom, f64::INFINITY);
        if below < walls && self.board().is_some() {
            Exit { distance: below, side: ExitSide::Board }
        } else {
            Exit { distance: walls.min(below), side: ExitSide::Free }
        }
    }

    /// First point of a line that is as far from the model as the blanket is thick. Distance from
    /// the model changes by at most 1 mm a mm, so what is left of the thickness may be stepped over
    /// each time (sphere tracing: Hart, J. C. (1996), The Visual Computer 12:527).
    fn exit_blanket(&self, from: &Point, direction: &Vector, thickness: f64) -> f64 {
        let longest = (self.bounds.1 - self.bounds.0).norm();
        let mut along = 0.0;
        for _ in 0..256 {
            let left = thickness - self.model.closest(&(from + direction * along)).distance;
            if left <= 1e-6 * thickness || along > longest {
                break;
            }
            along += left;
        }
        along
    }

    /// Whether a point lies within the outer skin. The model is not looked at.
    pub fn holds(&self, point: &Point) -> bool {
        match self.outside {
            Outside::Box { low, high } => (0..3).all(|k| point[k] >= low[k] && point[k] <= high[k]),
            Outside::Cylinder { axis, radius, bottom, top } => {
                (point.x - axis.0).hypot(point.y - axis.1) <= radius
                    && point.z >= bottom
                    && point.z <= top
            }
            Outside::Offset { thickness, bottom } => {
                point.z >= bottom && self.model.is_within(point, thickness)
            }
        }
    }

    /// How deep a point lies below the outer skin, mm: the distance to walls and top, and to the bottom where the mould
    /// does not stand on it. Negative outside.
    pub fn depth_below_outside(&self, point: &Point) -> f64 {
        let (walls, bottom) = match self.outside {
            Outside::Box { low, high } => {
                let sides = (0..2).map(|k| (point[k] - low[k]).min(high[k] - point[k]));
                (sides.fold(high.z - point.z, f64::min), low.z)
            }
            Outside::Cylinder { axis, radius, bottom, top } => {
                let from_axis = (point.x - axis.0).hypot(point.y - axis.1);
                ((radius - from_axis).min(top - point.z), bottom)
            }
            Outside::Offset { thickness, bottom } => {
                (thickness - self.model.closest(point).distance, bottom)
            }
        };
        if self.board().is_some() { walls } else { walls.min(point.z - bottom) }
    }

    /// The outer skin of the rubber.
    pub fn outside(&self) -> Outside {
        self.outside
    }

    /// Rubber volume, cm^3.
    pub fn rubber_volume(&self) -> f64 {
        self.volume / 1000.0
    }

    /// Rubber thickness (mm) outward from a point of the model along a unit normal: to the outside,
    /// or to the next part of the model if that is nearer.
    pub fn wall_thickness(&self, point: &Point, normal: &Vector) -> f64 {
        let (out, hit) = self.way_out(point, normal);
        hit.map_or(out, |hit| out.min(hit))
    }

    /// Whether nothing of the model stands between a point of it and the outside along a unit normal.
    pub fn is_open(&self, point: &Point, normal: &Vector) -> bool {
        self.way_out(point, normal).1.is_none()
    }

    /// How far it is to the outside, mm, and to the next part of the model, if that is nearer.
    fn way_out(&self, point: &Point, normal: &Vector) -> (f64, Option<f64>) {
        let out = match self.outside {
            Outside::Box { low, high } => exit_box(point, normal, &low, &high),
            Outside::Cylinder { axis, radius, bottom, top } => {
                exit_cylinder(point, normal, axis, radius)
                    .min(exit_slab(point.z, normal.z, bottom, top))
            }
            Outside::Offset { thickness, bottom } => {
                thickness.min(exit_slab(point.z, normal.z, bottom, f64::INFINITY))
            }
        };
        // Start a little off the surface so that the ray does not meet the face it leaves.
        let start = 0.05;
        let hit = self.model.ray(&(point + normal * start), normal, out.max(start));
        (out, hit.map(|hit| hit.distance + start))
    }

    /// Width (mm) of the zone of rubber that opens at once where a section of the model has so much `girth`
    /// (mm): its diameter, were it round. By Saint-Venant's principle what is forced on a body dies away within
    /// about its own width (Timoshenko & Goodier, Theory of Elasticity, from memory). Release trials of limbs
    /// ask for less cut than that gives, those of larger pieces for more: `benches/release_calibration`.
    pub fn opening_zone(girth: f64) -> f64 {
        girth / std::f64::consts::PI
    }

    /// Engineering strain that two hands reach at a ring whose rubber is `thickness` mm thick:
    /// the pull is shared by the two sides of the ring, each a strip as wide as the zone that has
    /// to open at once, under uniaxial tension; never above the rubber's working stretch.
    pub fn allowed_strain(rubber: &Rubber, hand_force: f64, zone: f64, thickness: f64) -> f64 {
        let section = 2.0 * zone * thickness;
        rubber.working_stretch.min(rubber.strain_at(hand_force / section.max(1e-9)))
    }
}

/// The lower end of a mould with so much rubber beside a model between two heights, mm: on the board, or, where the model
/// reaches below the board's plane, beneath it. Such a model hangs on a sprue: rubber goes all round.
pub(super) fn floor(low: f64, high: f64, side: f64) -> f64 {
    if low < -0.02 * (high - low) { low - side } else { 0.0 }
}

fn exit_slab(at: f64, step: f64, low: f64, high: f64) -> f64 {
    if step > 1e-12 {
        ((high - at) / step).max(0.0)
    } else if step < -1e-12 {
        ((low - at) / step).max(0.0)
    } else {
        f64::INFINITY
    }
}

fn exit_box(point: &Point, normal: &Vector, low: &Point, high: &Point) -> f64 {
    (0..3).map(|k| exit_slab(point[k], normal[k], low[k], high[k])).fold(f64::INFINITY, f64::min)
}

fn exit_cylinder(point: &Point, normal: &Vector, axis: (f64, f64), radius: f64) -> f64 {
    let (x, y) = (point.x - axis.0, point.y - axis.1);
    let a = normal.x * normal.x + normal.y * normal.y;
    if a < 1e-12 {
        return f64::INFINITY;
    }
    let b = x * normal.x + y * normal.y;
    let c = x * x + y * y - radius * radius;
    (-b + (b * b - a * c).max(0.0).sqrt()) / a
}

/// Volume (mm^3) within `thickness` outside the model and above `bottom`, by counting the cells
/// of a grid; each cell counts with the share that its signed distance gives it.
fn blanket_volume(
    locator: &SurfaceLocator,
    thickness: f64,
    bottom: f64,
    low: Point,
    high: Point,
) -> f64 {
    let low = Point::new(low.x - thickness, low.y - thickness, bottom);
    let size = Point::new(high.x + thickness, high.y + thickness, high.z + thickness) - low;
    let cell = size.max() / VOLUME_CELLS;
    let counts = size.map(|s| (s / cell).ceil().max(1.0) as usize);
    let cells = size.zip_map(&counts, |s, n| s / n as f64);
    let mean_cell = (cells.x * cells.y * cells.z).cbrt();
    // Share of a cell inside a skin at signed distance d from its middle.
    let share = |d: f64| (0.5 - d / mean_cell).clamp(0.0, 1.0);
    let layers: Vec<f64> = (0..counts.z)
        .into_par_iter()
        .map(|k| {
            let mut layer = 0.0;
            for j in 0..counts.y {
                for i in 0..counts.x {
                    let cell = Vector::new(i as f64 + 0.5, j as f64 + 0.5, k as f64 + 0.5);
                    let middle = low + cells.component_mul(&cell);
                    let signed = locator.signed_distance(&middle);
                    layer += share(signed - thickness) - share(signed);
                }
            }
            layer
        })
        .collect();
    // Summed in order: the result must not depend on the number of threads.
    layers.into_iter().sum::<f64>() * cells.x * cells.y * cells.z
}

#[cfg(test)]
mod tests;
