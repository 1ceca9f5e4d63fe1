//! What knife and hand allow of a sheet.

use crate::body::MouldError;
use crate::control::Cancelled;
use crate::mesh::{LocatorError, TopologyError};
use serde::{Deserialize, Serialize};

/// Sheets cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SheetError {
    /// A number of the request cannot be used.
    #[error("sheets.{field} is {value}: {advice}")]
    BadNumber {
        /// Field of the settings.
        field: &'static str,
        /// Value given.
        value: f64,
        /// What it must be.
        advice: &'static str,
    },
    /// A cut has no length.
    #[error("cut {index} has no length: give it two points at least that differ")]
    NoLength {
        /// Index of the cut line.
        index: usize,
    },
    /// The model's surface cannot be walked on.
    #[error(transparent)]
    Topology(#[from] TopologyError),
    /// The model's surface cannot be searched.
    #[error(transparent)]
    Locator(#[from] LocatorError),
    /// The body cannot be built.
    #[error(transparent)]
    Mould(#[from] MouldError),
    /// The caller cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Rules for rulings and lips. Defaults are common practice, no source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SheetSettings {
    /// Greatest distance between two listed stations, mm.
    pub station_spacing: f64,
    /// Greatest distance between two computed rulings, mm.
    pub ruling_spacing: f64,
    /// Wedge of rubber that is as strong as need be, degrees.
    pub good_angle: f64,
    /// Least wedge, and with it greatest angle from the normal, that a mould maker accepts,
    /// degrees: a wedge of at least this, an angle from the normal of at most 90 less this.
    pub acceptable_angle: f64,
    /// Wedge at or below which the lip is a feather edge, degrees.
    pub refused_angle: f64,
    /// Length along the surface over which a wedge is measured, mm.
    pub wedge_reach: f64,
    /// Length of the blade beyond the hand, mm.
    pub blade_length: f64,
    /// Least radius that the blade can be bent round as it is led along the cut, mm.
    pub bend_radius: f64,
    /// Least distance of a ruling from the model once it is clear of the lip, mm.
    pub clearance: f64,
    /// Length of the first piece of a ruling that has a turn, mm.
    pub turn_length: f64,
}

impl Default for SheetSettings {
    fn default() -> Self {
        Self {
            station_spacing: 10.0,
            ruling_spacing: 2.5,
            good_angle: 90.0,
            acceptable_angle: 45.0,
            refused_angle: 30.0,
            wedge_reach: 5.0,
            blade_length: 120.0,
            bend_radius: 10.0,
            clearance: 2.0,
            turn_length: 5.0,
        }
    }
}

impl SheetSettings {
    /// Tell every number that cannot be used.
    pub fn faults(&self) -> Vec<SheetError> {
        let positive = "must be a positive number of mm";
        let checks = [
            ("station_spacing", self.station_spacing, self.station_spacing > 0.0, positive),
            ("ruling_spacing", self.ruling_spacing, self.ruling_spacing > 0.0, positive),
            (
                "good_angle",
                self.good_angle,
                self.good_angle > self.acceptable_angle && self.good_angle <= 120.0,
                "must be greater than the acceptable angle and at most 120 degrees",
            ),
            (
                "acceptable_angle",
                self.acceptable_angle,
                self.acceptable_angle > self.refused_angle && self.acceptable_angle < 90.0,
                "must be greater than the refused angle and less than 90 degrees",
            ),
            (
                "refused_angle",
                self.refused_angle,
                self.refused_angle > 0.0,
                "must be a positive number of degrees",
            ),
            ("wedge_reach", self.wedge_reach, self.wedge_reach > 0.0, positive),
            ("blade_length", self.blade_length, self.blade_length > 0.0, positive),
            ("bend_radius", self.bend_radius, self.bend_radius > 0.0, positive),
            (
                "clearance",
                self.clearance,
                self.clearance >= 0.0,
                "must be zero or a positive number of mm",
            ),
            ("turn_length", self.turn_length, self.turn_length > 0.0, positive),
        ];
        checks
            .into_iter()
            .filter(|&(_, value, good, _)| !(good && value.is_finite()))
            .map(|(field, value, _, advice)| SheetError::BadNumber { field, value, advice })
            .collect()
    }

    /// The first fault, if any.
    pub fn check(&self) -> Result<(), SheetError> {
        self.faults().into_iter().next().map_or(Ok(()), Err)
    }

    /// Greatest angle of a ruling from the normal that is acceptable, degrees.
    pub fn acceptable_lean(&self) -> f64 {
        90.0 - self.acceptable_angle
    }
}
