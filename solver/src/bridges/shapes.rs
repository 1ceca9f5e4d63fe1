//! Closed meshes for the tests of this module.
