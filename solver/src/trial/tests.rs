mod bending;
mod closed_forms;
mod forces;
mod meshes;
mod references;
mod release;
pub mod shapes;
mod two_sides;
mod work;
