//! What the rubber fills, and where the model is open to the outside.

use serde::{Deserialize, Serialize};

use crate::mesh::{Point, Vector};

/// Shape of the rubber round the model. All lengths in mm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum MouldShape {
    /// A rectangular block on the board.
    Box {
        /// Least rubber between the model and each of the four walls.
        side_clearance: f64,
        /// Rubber above the model's highest point.
        top_clearance: f64,
    },
    /// A round block on the board.
    Cylinder {
        /// Least rubber between the model and the wall.
        side_clearance: f64,
        /// Rubber above the model's highest point.
        top_clearance: f64,
    },
    /// A blanket of even thickness inside a rigid shell.
    Blanket {
        /// Thickness of the blanket.
        thickness: f64,
    },
}

/// Where the model meets the board or the sprue.
#[derive(Clone, Debug, PartialEq)]
pub enum GateChoice {
    /// The flat lowest face, seen along `up`.
    LowestFlat {
        /// Direction away from the board, in the model's coordinates.
        up: Vector,
    },
    /// The part of the surface within `radius` of `centre`.
    Patch {
        /// A point on or near the surface.
        centre: Point,
        /// Radius, mm.
        radius: f64,
    },
    /// The part of the surface on or beyond a plane.
    Plane {
        /// A point on the plane.
        point: Point,
        /// Normal that points away from the model, towards the board.
        normal: Vector,
    },
}
