//! From meshes to plans by the solver alone: exact cases, properties, references, open meshes. One program, so that it is linked
//! once and its longest tests run beside each other.

mod areas;
mod bad_input;
mod bounds;
mod corrected_plans;
mod exact_cases;
mod going_on;
mod job;
mod open_mesh_bridges;
mod open_mesh_potential;
mod open_meshes;
mod potential_in_plans;
mod potential_reference;
mod properties;
mod references;
mod release_calibration;
mod same_plans;
mod schemes;
mod shortening;
mod two_sides;
