//! Triangle meshes: reading, units, checks, safe repairs, the working and the planning mesh.

#[cfg(test)]
pub(crate) mod fixtures;
pub mod io;
mod polygon;
mod project;
mod remesh;
mod surface;
mod topology;

pub use project::{LocatorError, SurfaceHit, SurfaceLocator};
pub use remesh::{RemeshError, planning_mesh};
pub use surface::{FaceId, Point, TriangleMesh, Vector, VertexId};
pub use topology::{EdgeId, Topology, TopologyError};
