//! Exact shapes that the tests run on, as closed oriented triangle meshes in millimetres.
//!
//! Each shape has a closed form for its volume, its girths or its topology, so that a test can
//! compare a computed value with mathematics instead of with another program. Shapes that take an
//! `edge` argument have triangles close to equilateral with sides of about that length; refine by
//! making it smaller. Unless said otherwise a shape stands on the plane z = 0, which is where the
//! gate is.
//!
//! - [`revolution`]: surfaces of revolution: cone, cylinder, ball on a rod, sphere on a gate
//! - [`sphere`]: spheres and ellipsoids
//! - [`blocks`]: boxes, plates with holes, arches, stools
//! - [`tubes`]: torus, knots and other closed tubes
//! - [`subdivide`]: the same surface with more triangles
//! - [`motion`]: rigid motions, scalings, mirror images and shuffled numbering
//!
//! And shapes that have none: [`open`], meshes of real things, and the random limbs of [`calibration`].
//! [`files`] writes any of them down. [`process`] is how benches begin, end and run their cases apart. [`database`] makes PostgreSQL databases for the tests of the service.

pub mod blocks;
pub mod calibration;
pub mod database;
pub mod files;
pub mod memory;
pub mod motion;
pub mod open;
pub mod process;
pub mod revolution;
pub mod sphere;
pub mod subdivide;
pub mod tubes;

#[cfg(test)]
mod measure;

pub use blocks::{blocks_mesh, box_mesh, handles_plate, stool, two_footed_arch};
pub use database::TestDatabase;
pub use files::{off, ply};
pub use memory::peak_memory;
pub use motion::{mirrored, moved, random_motion, scaled, shuffled, standing, stretched};
pub use open::{open_gate, open_mesh, open_mesh_sized, outside_out, sunk};
pub use process::{bench_words, ended, in_a_process};
pub use revolution::{
    Profile, ball_on_rod, cone, cylinder, frustum, revolve, sphere_on_gate, surface_of_revolution,
};
pub use sphere::{ellipsoid, icosphere, uv_sphere};
pub use subdivide::with_edges_halved;
pub use tubes::{figure_eight_tube, torus, torus_with_edge, trefoil_tube, tube_along};
