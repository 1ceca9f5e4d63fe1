//! Who made what, as far as limits need it.
//!
//! Kept in memory: a server that starts again counts from nothing, so its limits are generous then
//! until the plans before have ended, and models sent before do not count.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::Duration;

use super::TokenEntry;
use crate::jobs::Job;

/// When to ask again for a plan's place: plans take seconds to minutes.
const NEXT_PLAN: Duration = Duration::from_secs(2);

/// A limit of a token is reached.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("token {token}: {what}")]
pub struct QuotaFault {
    /// Name of the token.
    pub token: String,
    /// Which limit, and what to do.
    pub what: String,
    /// When another try may do better, if waiting helps at all.
    pub retry: Option<Duration>,
}

/// What each token has under way and has sent, by the token's name.
#[derive(Default)]
pub struct Ledger {
    accounts: Mutex<HashMap<String, Account>>,
}

#[derive(Default)]
struct Account {
    /// Plans that were submitted, until they end.
    plans: Vec<Weak<Job>>,
    /// Bytes of models, by the model's name.
    models: HashMap<String, u64>,
    /// Bytes of uploads under way.
    coming: u64,
}

impl Ledger {
    fn accounts(&self) -> MutexGuard<'_, HashMap<String, Account>> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.accounts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes a new plan, unless `token` has as many as it may. `queue` runs in between, and a plan
    /// that it refuses is not noted.
    pub fn add_plan<E: From<QuotaFault>>(
        &self,
        token: &TokenEntry,
        job: &Arc<Job>,
        queue: impl FnOnce() -> Result<(), E>,
    ) -> Result<(), E> {
        let mut accounts = self.accounts();
        let plans = &mut accounts.entry(token.name.clone()).or_default().plans;
        plans.retain(|plan| plan.upgrade().is_some_and(|plan| !plan.has_ended()));
        if let Some(most) = token.most_waiting_plans
            && plans.len() >= most as usize
        {
            return Err(QuotaFault {
                token: token.name.clone(),
                what: format!(
                    "{most} of its plans are queued or running, as many as it may have: wait for \
                     one to end or cancel one"
                ),
                retry: Some(NEXT_PLAN),
            }
            .into());
        }
        queue()?;
        plans.push(Arc::downgrade(job));
        Ok(())
    }

    /// Makes the bytes of an upload `more`, if `token` may have so many. `is_there` tells whether a
    /// model is still kept.
    fn reserve(
        &self,
        token: &TokenEntry,
        more: u64,
        is_there: &dyn Fn(&str) -> bool,
    ) -> Result<(), QuotaFault> {
        let mut accounts = self.accounts();
        let account = accounts.entry(token.name.clone()).or_default();
        if let Some(most) = token.most_model_bytes {
            let over = |account: &Account| {
                let sent =
                    account.models.values().fold(account.coming, |sum, &b| sum.saturating_add(b));
                sent.saturating_add(more) > most
            };
            if over(account) {
                // Models may have been deleted since, by anyone.
                account.models.retain(|name, _| is_there(name));
            }
            if over(account) {
                return Err(QuotaFault {
                    token: token.name.clone(),
                    what: format!(
                        "its model files would take more than {} MiB, as many as it may have: \
                         delete one that is no longer needed",
                        most >> 20
                    ),
                    retry: None,
                });
            }
        }
        account.coming = account.coming.saturating_add(more);
        Ok(())
    }

    fn release(&self, token: &str, bytes: u64) {
        if let Some(account) = self.accounts().get_mut(token) {
            account.coming = account.coming.saturating_sub(bytes);
        }
    }
}

/// Room for a model that is being sent; given back when dropped.
pub struct ModelRoom {
    /// Whose; without tokens there is nothing to count.
    owner: Option<(Arc<Ledger>, Arc<TokenEntry>)>,
    bytes: u64,
}

impl ModelRoom {
    /// No bytes yet.
    pub fn new(owner: Option<(Arc<Ledger>, Arc<TokenEntry>)>) -> Self {
        Self { owner, bytes: 0 }
    }

    /// Makes room for `bytes` in all.
    pub fn grow_to(
        &mut self,
        bytes: u64,
        is_there: impl Fn(&str) -> bool,
    ) -> Result<(), QuotaFault> {
        let more = bytes.saturating_sub(self.bytes);
        if let Some((ledger, token)) = &self.owner
            && more > 0
        {
            ledger.reserve(token, more, &is_there)?;
            self.bytes = bytes;
        }
        Ok(())
    }

    /// The model is kept, with this many bytes.
    pub fn keep(self, name: &str, bytes: u64) {
        if let Some((ledger, token)) = &self.owner
            && let Some(account) = ledger.accounts().get_mut(&token.name)
        {
            account.models.insert(name.to_owned(), bytes);
        }
    }
}

impl Drop for ModelRoom {
    fn drop(&mut self) {
        if let Some((ledger, token)) = &self.owner {
            ledger.release(&token.name, self.bytes);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Role, TokenHash};
    use super::*;

    #[test]
    fn room_counts_what_comes_and_what_is_kept_and_is_given_back() {
        let token = Arc::new(TokenEntry {
            name: "a".to_owned(),
            hash: TokenHash::of("t"),
            role: Role::Write,
            expires: None,
            most_waiting_plans: None,
            most_model_bytes: Some(100),
            requests_per_minute: None,
        });
        let ledger = Arc::new(Ledger::default());
        let room = || ModelRoom::new(Some((Arc::clone(&ledger), Arc::clone(&token))));
        let all = |_: &str| true;
        let mut first = room();
        first.grow_to(40, all).expect("room");
        first.grow_to(60, all).expect("20 more");
        let mut second = room();
        second.grow_to(41, all).expect_err("60 are coming already");
        second.grow_to(40, all).expect("just fits");
        drop(second);
        first.keep("models/x", 60);
        let mut third = room();
        third.grow_to(41, all).expect_err("60 are kept");
        third.grow_to(100, |_| false).expect("the model was deleted");
        drop(third);
        room().grow_to(100, all).expect("all of it is free again");
    }
}
