//! Bearer tokens: who may call, and how much.

mod book;
mod file;
mod secret;

pub use book::{Caller, Denied, PaceFault, TokenBook};
pub use file::{Role, TokenEntry, TokenFault, check_name, end, entry_text, parse};

pub use secret::{TokenHash, new_token};
