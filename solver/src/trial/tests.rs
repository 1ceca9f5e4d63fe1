mod closed_forms;
mod forces;
mod meshes;
mod references;
mod release;
mod shapes;
mod work;
