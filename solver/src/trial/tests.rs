mod closed_forms;
mod forces;
mod shapes;
