//! Bearer tokens: who may call, and how much.

mod book;
mod file;
mod ledger;
mod secret;

pub use book::{Caller, Denied, TokenBook};
pub use file::{Role, TokenEntry, TokenFault, check_name, end, entry_text, parse};
pub use ledger::{ModelRoom, QuotaFault};
pub use secret::{TokenHash, new_token};
