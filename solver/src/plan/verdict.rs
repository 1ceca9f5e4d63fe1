//! What the release trial says of a plan.

use serde::{Deserialize, Serialize};
use std::sync::Arc;

use crate::mesh::{Paint, Point, TriangleMesh};
use crate::nalgebra::Isometry3;
use crate::trial::{Hindrance, TrialReport};

/// What the trials of a plan came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum TrialVerdict {
    /// None was made.
    NotRun(NotTried),
    /// One was made of the plan as it is.
    Ran(Arc<PlanTrial>),
}

/// Why there was no trial.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum NotTried {
    /// The request asked for none.
    NotAsked,
    /// The search still goes on.
    NotYet,
    /// The work was stopped, or time was up, before it could begin.
    Stopped,
    /// It could not be made.
    Failed {
        /// Why.
        message: String,
    },
}

/// A trial, and those of plans before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlanTrial {
    /// What came out, in the mould frame.
    pub report: TrialReport,
    /// The mesh that was tried, in the mould frame.
    pub model: TriangleMesh,
    /// Colours of the model, if its file has any, in the mould frame.
    #[serde(default)]
    pub paint: Option<Arc<Paint>>,
    /// Pull of two hands that was asked for, N.
    pub hand_force: f64,
    /// From the model's own coordinates to the mould frame.
    pub to_mould: Isometry3<f64>,
    /// What earlier trials that failed asked of the cuts, in order.
    pub demands: Vec<Demand>,
}

/// Share of the hands' pull up to which a release is believed. Elements of 10 mm and more lose undercuts: for three plans
/// an independent simulation with 39,000 to 84,000 elements finds up to 1.8 times the pull that a trial with 4,000
/// to 8,000 finds (own runs, libuipc by pyuipc 0.0.29).
const BELIEVED: f64 = 0.5;

/// The most that can be believed of hands with `hand_force` N.
pub(super) fn believed(hand_force: f64) -> f64 {
    BELIEVED * hand_force
}

/// Whether a release took no more pull than can be believed of hands with `hand_force` N.
pub(super) fn is_easy(report: &TrialReport, hand_force: f64) -> bool {
    report.greatest_pull() <= believed(hand_force)
}

impl PlanTrial {
    /// Whether what it took is well below what hands have.
    pub(super) fn is_easy(&self) -> bool {
        is_easy(&self.report, self.hand_force)
    }
}

/// What a failed trial asks of the cuts, at a ring of rubber that was overstretched.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Demand {
    /// What kept the model in.
    pub hindrance: Hindrance,
    /// Middle of the ring, in the mould frame, mm.
    pub place: Point,
    /// Relaxed length of the ring, mm.
    pub ring_length: f64,
    /// Girth that it has to let pass by the girth model, mm.
    pub girth: f64,
    /// What is asked now, mm: more only where no cut is asked for.
    pub asked: f64,
    /// Length of cut that is asked for across the rubber that was stretched round the hindrance, mm: as
    /// long as that where it relieves most, else longer. 0 if no rubber was stretched there.
    pub cut: f64,
}
