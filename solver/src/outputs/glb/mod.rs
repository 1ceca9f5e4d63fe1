//! Binary glTF files for viewers: the way out of a trial as an animation, and a plan in space.
//!
//! By the glTF 2.0 specification of the Khronos Group: the binary container is section 4.4, accessors
//! and their bounds 3.6.2, morph targets 3.7.2.2, animations 3.11. glTF has metres and y up (section
//! 3.4); our points stay in mm and one node above all others turns and scales them.

mod document;
mod plan;
#[cfg(test)]
mod tests;
mod trial;

pub use plan::plan_glb;
pub use trial::{TrialGlb, trial_glb};

/// Most bytes of a file, unless told otherwise: what viewers in a browser open without trouble (common
/// practice, no source).
pub const MOST_BYTES: usize = 64 << 20;

/// A file that cannot be written.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GlbError {
    /// A mesh or line has no points, or names one that does not exist.
    #[error("{what} cannot be written: {fault}")]
    Broken {
        /// Which part.
        what: String,
        /// What is wrong with it.
        fault: &'static str,
    },
    /// The file would be too large.
    #[error(
        "the file would have {bytes} bytes, more than {limit}: give a coarser mesh or a higher limit"
    )]
    TooLarge {
        /// Bytes needed at the least.
        bytes: usize,
        /// Bytes allowed.
        limit: usize,
    },
    /// The document cannot be written.
    #[error("the document of the file cannot be written: {fault}")]
    Document {
        /// What its writer says.
        fault: String,
    },
}
