//! The mould body: rubber, its shape round the model, the gate, and how the model stands.

mod blanket;
mod foot;
mod frame;
mod gate;
mod mould;
mod poses;
mod rubber;
mod shape;
mod whereabouts;

pub use blanket::{BlanketOutside, blanket_outside};
pub use foot::{Foot, FootKind};
pub use gate::{Gate, GateError};
pub use mould::{Exit, ExitSide, MouldBody, MouldError, Outside};
pub use poses::{
    Advised, LEAST_FOOT_SHARE, LEAST_TIPPING_DEGREES, ONE_POSE_DEGREES, PoseError, PoseShare,
    Poses, RestingPose, Stance, WantsBase, poses, resting_poses,
};
pub use rubber::{Rubber, RubberClass, RubberError};
pub use shape::{GateChoice, MouldShape};
pub(crate) use whereabouts::{Frame, Whereabouts};
