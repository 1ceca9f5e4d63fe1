//! Triangle meshes: reading, units, checks, repairs, rebuilding, the working and the planning mesh.
//!
//! [`prepare`] is the way in: it reads a file, repairs what is safe, mends the rest as far as it is allowed to, checks
//! everything and makes the working mesh. [`planning_mesh`] makes even triangles for the graph; [`SurfaceLocator`]
//! carries results back to the original.

mod canonical;
mod check;
mod chosen;
mod copied;
mod cut_out;
mod decimate;
#[cfg(test)]
pub(crate) mod fixtures;
mod holes;
mod hull;
mod io;
mod mend;
mod mended;
mod orient;
mod outline;
mod paint;
mod patches;
pub(crate) mod polygon;
mod polyline;
mod prepare;
mod project;
mod rebuild;
mod remesh;
mod repair;
mod self_crossing;
mod shells;
mod strip;
mod surface;
mod thin_parts;
mod thinned;
mod topology;

pub use canonical::{WholeMesh, canonical, canonical_until};
pub use check::{Body, CheckOptions, CheckReport, Fault, FaultKind, check, genus};
pub use decimate::{
    DecimateError, Decimated, LARGE_FACES, WORKING_FACES, decimate, decimate_until,
    default_deviation,
};
pub use hull::{HullError, convex_hull};
pub use io::{Alone, Beside, LengthUnit, MeshFormat, ReadError, ReadLimits, read};
pub use mended::{Corners, Mend, MendKind};
pub(crate) use outline::convex_half;
pub use paint::{Colour, MOST_POINTS, MOST_WITH_TRIAL, Paint, PaintIndex};
pub use patches::patches;
pub use polyline::{nearest_on_polyline, point_along, polyline_length};
pub use prepare::{
    HOLE_SHARE, Model, PrepareError, PrepareOptions, prepare, prepare_beside, prepare_mesh,
    prepare_with,
};
pub use project::{LocatorError, SurfaceHit, SurfaceLocator};
pub(crate) use project::{to_glam, to_point};
pub(crate) use rebuild::solid_angle_share;
pub use rebuild::{Deviation, REBUILD_SHARE, RebuildError, Rebuilt, WindingNumbers, rebuild};
pub use remesh::{RemeshError, planning_mesh};
pub use repair::{Repaired, repair};
pub use self_crossing::{SelfCrossings, self_crossings};
pub(crate) use strip::turn;
pub use strip::{CurvePoint, Strip, barycentric, curve_length, faces_round};
pub use surface::{FaceId, Point, TriangleMesh, Vector, VertexId, square_to};
pub use thin_parts::{ThinParts, thin_parts};
pub use thinned::thinned;
pub use topology::{EdgeId, Topology, TopologyError};
