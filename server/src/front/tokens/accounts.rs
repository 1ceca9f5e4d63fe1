//! Who made what, as far as limits need it.
//!
//! Kept in memory: a server that starts again counts from nothing, so its limits are generous then
//! until the plans before have ended, and models sent before do not count.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::TokenEntry;

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

/// What each token has under way and has sent, by the token's name. Only what a limit needs is
/// noted, so an account is never longer than its limits.
#[derive(Default)]
pub struct Accounts {
    by_name: Mutex<HashMap<String, Account>>,
}

#[derive(Default)]
struct Account {
    /// Names of plans that were queued or running when last looked at.
    plans: HashSet<String>,
    /// Plans that are about to be queued.
    plans_coming: u32,
    /// Bytes of models, by the model's name.
    models: HashMap<String, u64>,
    /// Bytes of uploads under way.
    bytes_coming: u64,
}

impl Accounts {
    fn by_name(&self) -> MutexGuard<'_, HashMap<String, Account>> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.by_name.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whose account, and what the limits are; `None` without tokens.
pub type Owner = Option<(Arc<Accounts>, Arc<TokenEntry>)>;

/// A place for a plan that is about to be queued; given back when dropped.
pub struct PlanPlace(Owner);

impl PlanPlace {
    /// Takes a place if there is one. `is_waiting` tells whether a plan is queued or running; it is
    /// asked only when all places seem taken.
    pub fn take(owner: Owner, is_waiting: impl Fn(&str) -> bool) -> Result<Self, QuotaFault> {
        // Without a limit there is nothing to count.
        let Some((accounts, token, most)) = owner.and_then(|(accounts, token)| {
            Some((accounts, token.clone(), token.most_waiting_plans?))
        }) else {
            return Ok(Self(None));
        };
        {
            let mut accounts = accounts.by_name();
            let account = accounts.entry(token.name.clone()).or_default();
            let full = |account: &Account| {
                account.plans.len() + account.plans_coming as usize >= most as usize
            };
            if full(account) {
                account.plans.retain(|name| is_waiting(name));
            }
            if full(account) {
                return Err(QuotaFault {
                    token: token.name.clone(),
                    what: format!(
                        "{most} of its plans are queued or running, as many as it may have: wait \
                         for one to end or cancel one"
                    ),
                    retry: Some(NEXT_PLAN),
                });
            }
            account.plans_coming += 1;
        }
        Ok(Self(Some((accounts, token))))
    }

    /// The plan is queued. One that was queued before is noted once.
    pub fn keep(self, name: &str) {
        if let Some((accounts, token)) = &self.0
            && let Some(account) = accounts.by_name().get_mut(&token.name)
        {
            account.plans.insert(name.to_owned());
        }
    }
}

impl Drop for PlanPlace {
    fn drop(&mut self) {
        if let Some((accounts, token)) = &self.0
            && let Some(account) = accounts.by_name().get_mut(&token.name)
        {
            account.plans_coming = account.plans_coming.saturating_sub(1);
        }
    }
}

/// Room for a model that is being sent; given back when dropped.
pub struct ModelRoom {
    owner: Owner,
    bytes: u64,
}

impl ModelRoom {
    /// No bytes yet.
    pub fn new(owner: Owner) -> Self {
        // Without a limit there is nothing to count.
        Self { owner: owner.filter(|(_, token)| token.most_model_bytes.is_some()), bytes: 0 }
    }

    /// Makes room for `bytes` in all, if there is. `is_there` tells whether a model is still kept; it
    /// is asked only when there seems to be no room.
    pub fn grow_to(
        &mut self,
        bytes: u64,
        is_there: impl Fn(&str) -> bool,
    ) -> Result<(), QuotaFault> {
        let more = bytes.saturating_sub(self.bytes);
        let Some((accounts, token)) = &self.owner else { return Ok(()) };
        let Some(most) = token.most_model_bytes else { return Ok(()) };
        let mut accounts = accounts.by_name();
        let account = accounts.entry(token.name.clone()).or_default();
        let over = |account: &Account| {
            let kept = account.models.values().fold(0_u64, |sum, &b| sum.saturating_add(b));
            kept.saturating_add(account.bytes_coming).saturating_add(more) > most
        };
        if over(account) {
            // Models may have been deleted since, by anyone.
            account.models.retain(|name, _| is_there(name));
        }
        if over(account) {
            return Err(QuotaFault {
                token: token.name.clone(),
                what: format!(
                    "its model files would take more than {} MiB, as many as it may have: delete \
                     one that is no longer needed",
                    most >> 20
                ),
                retry: None,
            });
        }
        account.bytes_coming = account.bytes_coming.saturating_add(more);
        self.bytes += more;
        Ok(())
    }

    /// The model is kept, with this many bytes.
    pub fn keep(self, name: &str, bytes: u64) {
        if let Some((accounts, token)) = &self.owner
            && let Some(account) = accounts.by_name().get_mut(&token.name)
        {
            account.models.insert(name.to_owned(), bytes);
        }
    }
}

impl Drop for ModelRoom {
    fn drop(&mut self) {
        if let Some((accounts, token)) = &self.owner
            && let Some(account) = accounts.by_name().get_mut(&token.name)
        {
            account.bytes_coming = account.bytes_coming.saturating_sub(self.bytes);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Role, TokenHash};
    use super::*;

    fn owner() -> Owner {
        let token = TokenEntry {
            name: "a".to_owned(),
            hash: TokenHash::of("t"),
            role: Role::Write,
            expires: None,
            most_waiting_plans: Some(2),
            most_model_bytes: Some(100),
            requests_per_minute: None,
        };
        Some((Arc::default(), Arc::new(token)))
    }

    #[test]
    fn places_count_what_is_about_to_be_queued_and_come_free_when_plans_end() {
        let owner = owner();
        let take =
            |waiting: &[&str]| PlanPlace::take(owner.clone(), |name| waiting.contains(&name));
        let (first, second) = (take(&[]).expect("a place"), take(&[]).expect("a place"));
        assert!(take(&[]).is_err(), "two are about to be queued");
        first.keep("plans/x");
        drop(second);
        take(&["plans/x"]).expect("the second was not queued").keep("plans/x");
        take(&["plans/x"]).expect("the same plan counts once").keep("plans/y");
        let fault = take(&["plans/x", "plans/y"]).map(|_| ()).expect_err("two wait");
        assert!(fault.retry.is_some(), "{fault}");
        take(&["plans/y"]).expect("the first has ended");
    }

    #[test]
    fn room_counts_what_comes_and_what_is_kept_and_is_given_back() {
        let owner = owner();
        let room = || ModelRoom::new(owner.clone());
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
