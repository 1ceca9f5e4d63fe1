mod closed_forms;
mod forces;
mod meshes;
mod release;
mod shapes;
