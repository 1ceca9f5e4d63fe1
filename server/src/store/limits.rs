//! How much is kept.

use std::time::Duration;

/// Limits of what is kept, counted on the disk.
#[derive(Clone, Copy, Debug)]
pub struct StoreLimits {
    /// Most models.
    pub models: usize,
    /// Most bytes of model files together; a file that several models share counts once.
    pub model_bytes: u64,
    /// Most jobs that wait.
    pub waiting_jobs: usize,
    /// Most jobs that have ended; those that ended longest ago are forgotten first.
    pub ended_jobs: usize,
    /// Jobs that ended longer ago are forgotten.
    pub ended_age: Duration,
    /// Most bytes of an SQLite database: requests, plans, checkpoints.
    pub database_bytes: u64,
    /// Times that the process may fall which works on a job, before the job gets any further. It ends
    /// as failed then: what takes a process down would take down the next one too.
    pub lost_runs: u32,
    /// Most bytes of models that are held in memory although nobody works on them.
    pub idle_model_bytes: usize,
}

impl Default for StoreLimits {
    fn default() -> Self {
        Self {
            models: 10_000,
            model_bytes: 4 << 30,
            waiting_jobs: 1000,
            ended_jobs: 1000,
            ended_age: Duration::from_secs(90 * 86_400),
            database_bytes: 16 << 30,
            lost_runs: 3,
            idle_model_bytes: 64 << 20,
        }
    }
}
