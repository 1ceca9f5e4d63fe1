//! What is wrong with a scheme as it was given.

use crate::bridges::bridge_letter;

/// What is wrong with a scheme as it was given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SchemeFault {
    /// The tolerance makes no sense.
    #[error("scheme.tolerance is {value}: it must be a positive number of mm")]
    Tolerance {
        /// Value given, mm.
        value: f64,
    },
    /// A line has fewer than two points, or no length.
    #[error("cut {cut}: a line needs at least two points that differ")]
    TooFewPoints {
        /// Name of the cut.
        cut: String,
    },
    /// A coordinate is not a finite number.
    #[error("cut {cut}, point {point}: its coordinates must be three finite numbers, mm")]
    NotFinite {
        /// Name of the cut.
        cut: String,
        /// Index of the point.
        point: usize,
    },
    /// A point lies off the model.
    #[error(
        "cut {cut}, point {point}: it lies {distance:.2} mm off the model, more than {limit:.2} mm: \
         move it on to the model, or give it in the model's own coordinates and unit"
    )]
    OffModel {
        /// Name of the cut.
        cut: String,
        /// Index of the point.
        point: usize,
        /// Distance from the model, mm.
        distance: f64,
        /// Distance allowed, mm.
        limit: f64,
    },
    /// Between two points the line cannot be laid on the model.
    #[error(
        "cut {cut}: after point {point} the line jumps from one part of the model to another: give \
         points closer together there"
    )]
    Jumps {
        /// Name of the cut.
        cut: String,
        /// Index of the point before.
        point: usize,
    },
    /// A cut is shorter than the planning mesh can tell.
    #[error(
        "cut {cut} is shorter than an edge of the planning mesh ({edge:.2} mm): draw it longer or ask \
         for a finer resolution.planning_edge"
    )]
    TooShort {
        /// Name of the cut.
        cut: String,
        /// Edge of the planning mesh, mm.
        edge: f64,
    },
    /// A bridge does not exist.
    #[error("cut {cut}: bridge {} does not exist, the model has {count}", bridge_letter(*bridge))]
    NoSuchBridge {
        /// Name of the cut.
        cut: String,
        /// Index given.
        bridge: usize,
        /// Bridges that there are.
        count: usize,
    },
    /// A bridge has no plain disc.
    #[error("cut {cut}: bridge {} has no plain cut across it", bridge_letter(*bridge))]
    KnottedBridge {
        /// Name of the cut.
        cut: String,
        /// Index of the bridge.
        bridge: usize,
    },
    /// Two cuts cross one bridge.
    #[error("cut {cut}: bridge {} is cut across already: leave one of the two out", bridge_letter(*bridge))]
    BridgeTwice {
        /// Name of the cut.
        cut: String,
        /// Index of the bridge.
        bridge: usize,
    },
    /// Lines cannot be followed along the mesh.
    #[error(
        "the lines of the scheme cannot be followed along the planning mesh: where many of them come \
         together ask for a finer resolution.planning_edge"
    )]
    NotFollowed,
}
