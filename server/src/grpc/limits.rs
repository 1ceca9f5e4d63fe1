//! How much a call may ask for, whatever the server is given.

/// Most bytes of a request: it comes back with its job and the plan, and clients take 4 MiB in all unless
/// told otherwise.
pub const REQUEST: usize = 1 << 20;
/// Most seconds that a job may have in all, as for a request.
pub const MOST_SECONDS: f64 = 86_400.0;
/// Plans compared in one call, at most.
pub const COMPARED: usize = 50;
/// Files of plans that are drawn or sent at a time.
pub const FILES: usize = 8;
