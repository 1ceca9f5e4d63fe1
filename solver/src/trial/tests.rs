mod closed_forms;
mod forces;
mod meshes;
mod release;
pub mod shapes;
