//! Triangle meshes: reading, units, checks, safe repairs, the working and the planning mesh.

mod surface;
mod topology;

pub use surface::{FaceId, Point, TriangleMesh, Vector, VertexId};
pub use topology::{EdgeId, Topology, TopologyError};
