//! Bearer tokens: who may call, and how much.

mod accounts;
mod book;
mod file;
mod secret;

pub use accounts::{ModelRoom, PlanPlace, QuotaFault};
pub use book::{Caller, Denied, TokenBook};
pub use file::{Role, TokenEntry, TokenFault, check_name, end, entry_text, parse};

pub use secret::{TokenHash, new_token};
