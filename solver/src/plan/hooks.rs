//! What whoever runs a long plan gets to see of it, and gives back to go on from.

use super::answer::Plan;

/// Gets a checkpoint's bytes.
pub type KeepCheckpoint<'a> = &'a (dyn Fn(&[u8]) + Sync);
/// Gets a plan.
pub type ShowPlan<'a> = &'a (dyn Fn(&Plan) + Sync);

/// Called along the way. Calls come from the thread that plans and hold it up.
#[derive(Clone, Copy)]
pub struct Hooks<'a> {
    /// A checkpoint of an earlier run of the same model and request, to go on from.
    pub resume: Option<&'a [u8]>,
    /// Gets a checkpoint from time to time, and another one when the search stops. A checkpoint holds
    /// rows, bound and best cuts; it means nothing to another version of the program, which refuses
    /// it with [`crate::plan::PlanError::Checkpoint`].
    pub checkpoint: Option<KeepCheckpoint<'a>>,
    /// Gets each plan that is better than those before it, as [`crate::plan::Standing`] has it, while the
    /// work goes on: with its sheets, and with its trial once it was tried.
    pub better: Option<ShowPlan<'a>>,
}

impl Hooks<'static> {
    /// Nobody looks.
    pub const NONE: Self = Self { resume: None, checkpoint: None, better: None };
}
