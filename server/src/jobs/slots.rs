//! Who may work when: places, and room for quick jobs beside long ones.
//!
//! There are some ordinary places and one express place. The express place takes a quick job while
//! all ordinary ones are taken and one of them is held by a job that needs much longer; that one is
//! held up for as long, so that the quick job has the machine to itself. A long job is held up for at
//! most as long as it has worked, and a few minutes: quick jobs that come without end share the
//! machine with it then, and it gets done.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use slitwright_solver::control::{Cancel, Extra, Pause};

use crate::store::Run;

/// Longest that a quick job may need.
const QUICK: Duration = Duration::from_secs(120);
/// How much more a long job needs than a quick one that goes before it.
const LONGER: f64 = 2.0;
/// What a job may be held up beyond what it has worked.
const GRACE: Duration = Duration::from_secs(300);

/// The strings by which a job that is worked on is held.
#[derive(Clone, Debug, Default)]
pub struct Strings {
    /// Stops the solver.
    pub cancel: Cancel,
    /// Holds the solver up.
    pub pause: Pause,
    /// Gives the solver more time; see [`Self::give_time`].
    pub extra: Extra,
    given: Arc<Mutex<f64>>,
    /// Set when the service goes down or the lease is over: the job is to be given back, not ended.
    pub leave: Arc<AtomicBool>,
    /// Set when the service goes down: there is no time to wait until the store can be reached.
    pub hurry: Arc<AtomicBool>,
    /// Set once there is a plan to keep.
    pub has_plan: Arc<AtomicBool>,
}

impl Strings {
    /// Asks the run to stop and to give the job back.
    pub fn ask_to_leave(&self) {
        self.leave.store(true, Ordering::SeqCst);
        self.cancel.cancel();
    }
    /// The same, and the service goes down.
    pub fn ask_to_leave_at_once(&self) {
        self.hurry.store(true, Ordering::SeqCst);
        self.ask_to_leave();
    }
    /// Sees to it that the job has so many seconds on top of its request's, all told. May be said
    /// more than once.
    pub fn give_time(&self, extra_seconds: f64) {
        let mut given = self.given.lock().unwrap_or_else(PoisonError::into_inner);
        if extra_seconds > *given {
            self.extra.add(extra_seconds - *given);
            *given = extra_seconds;
        }
    }
    /// Seconds on top of the request's so far.
    pub fn time_given(&self) -> f64 {
        *self.given.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// Whether the run was asked to give the job back.
    pub fn is_leaving(&self) -> bool {
        self.leave.load(Ordering::SeqCst)
    }
    /// Whether the service goes down.
    pub fn is_in_a_hurry(&self) -> bool {
        self.hurry.load(Ordering::SeqCst)
    }
}

/// A job that is worked on.
#[derive(Debug)]
struct Taken {
    run: Run,
    strings: Strings,
    express: bool,
    /// Seconds that it needed when it began.
    needs: f64,
    began: Instant,
    held_since: Option<Instant>,
    held: Duration,
}

impl Taken {
    fn held(&self, now: Instant) -> Duration {
        self.held + self.held_since.map_or(Duration::ZERO, |since| now - since)
    }
    fn worked(&self, now: Instant) -> Duration {
        (now - self.began).saturating_sub(self.held(now))
    }
    /// Seconds that it still needs.
    fn rest(&self, now: Instant) -> f64 {
        self.needs + self.strings.extra.seconds() - self.worked(now).as_secs_f64()
    }
    fn may_be_held(&self, now: Instant) -> bool {
        self.held(now) <= self.worked(now) + GRACE
    }
    fn hold(&mut self, held: bool, now: Instant) {
        match (held, self.held_since) {
            (true, None) => self.held_since = Some(now),
            (false, Some(since)) => {
                self.held += now - since;
                self.held_since = None;
            }
            _ => return,
        }
        self.strings.pause.set(held);
        tracing::info!(job = self.run.job, held, "a quick job is let by or has been");
    }
}

/// What a free worker may take from the queue.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Offer {
    /// Whatever is next.
    Next,
    /// A job that needs at most so many seconds, for the express place.
    Quick(f64),
    /// Nothing.
    Nothing,
}

/// The places.
#[derive(Debug)]
pub struct Slots {
    ordinary: usize,
    taken: Vec<Taken>,
}

impl Slots {
    /// So many ordinary places, and an express place. Without ordinary ones there is none at all.
    pub fn new(ordinary: usize) -> Self {
        Self { ordinary, taken: Vec::new() }
    }

    /// Threads that are needed to fill all places.
    pub fn threads(&self) -> usize {
        if self.ordinary == 0 { 0 } else { self.ordinary + 1 }
    }

    /// What is free at the moment.
    pub fn offer(&self, now: Instant) -> Offer {
        let express = self.taken.iter().filter(|taken| taken.express).count();
        if self.taken.len() - express < self.ordinary {
            return Offer::Next;
        }
        if express > 0 {
            return Offer::Nothing;
        }
        let longest = self.taken.iter().map(|taken| taken.rest(now)).fold(0.0, f64::max);
        Offer::Quick(QUICK.as_secs_f64().min(longest / LONGER))
    }

    /// A job takes the place that was offered. `needs` are the seconds that it needs beyond what its
    /// strings give.
    pub fn take(&mut self, run: Run, strings: Strings, needs: f64, offer: Offer, now: Instant) {
        let express = matches!(offer, Offer::Quick(_));
        let (held_since, held) = (None, Duration::ZERO);
        self.taken.push(Taken { run, strings, express, needs, began: now, held_since, held });
        self.balance(now);
    }

    /// A run is over and its place is free.
    pub fn free(&mut self, run: &Run, now: Instant) {
        self.taken.retain(|taken| taken.run != *run);
        self.balance(now);
    }

    /// Holds up one long job while the express place is taken, and none otherwise.
    pub fn balance(&mut self, now: Instant) {
        let express = self.taken.iter().find(|taken| taken.express).map(|taken| taken.rest(now));
        let held = express.and_then(|quick| {
            (0..self.taken.len())
                .filter(|&k| {
                    let taken = &self.taken[k];
                    !taken.express && taken.rest(now) > quick && taken.may_be_held(now)
                })
                // Whoever is held stays so: a change of mind leaves two that are half-way held.
                .max_by(|&a, &b| {
                    let key =
                        |k: usize| (self.taken[k].held_since.is_some(), self.taken[k].rest(now));
                    let ((held_a, rest_a), (held_b, rest_b)) = (key(a), key(b));
                    held_a.cmp(&held_b).then(rest_a.total_cmp(&rest_b))
                })
        });
        for (k, taken) in self.taken.iter_mut().enumerate() {
            taken.hold(held == Some(k), now);
        }
    }

    /// The strings of the newest run of a job, if one is under way.
    pub fn strings(&self, job: &str) -> Option<&Strings> {
        let runs = self.taken.iter().filter(|taken| taken.run.job == job);
        runs.max_by_key(|taken| taken.run.number).map(|taken| &taken.strings)
    }

    /// The strings of all runs.
    pub fn all(&self) -> impl Iterator<Item = &Strings> {
        self.taken.iter().map(|taken| &taken.strings)
    }

    /// All runs.
    pub fn runs(&self) -> Vec<Run> {
        self.taken.iter().map(|taken| taken.run.clone()).collect()
    }

    /// The strings of a run, if it is under way.
    pub fn strings_of(&self, run: &Run) -> Option<&Strings> {
        self.taken.iter().find(|taken| taken.run == *run).map(|taken| &taken.strings)
    }

    /// The runs that began before a moment, and their strings.
    pub fn begun_before(&self, moment: Instant) -> impl Iterator<Item = (&Run, &Strings)> {
        let before = self.taken.iter().filter(move |taken| taken.began < moment);
        before.map(|taken| (&taken.run, &taken.strings))
    }

    /// Least time that a job under way still needs.
    pub fn soonest_end(&self, now: Instant) -> Option<Duration> {
        let least = self.taken.iter().map(|taken| taken.rest(now).max(0.0)).reduce(f64::min)?;
        Duration::try_from_secs_f64(least).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(job: &str) -> Run {
        Run { job: job.to_owned(), number: 1 }
    }

    fn take(slots: &mut Slots, job: &str, needs: f64, now: Instant) -> Strings {
        let strings = Strings::default();
        let offer = slots.offer(now);
        if let Offer::Quick(most) = offer {
            assert!(needs <= most, "{job} is not quick enough for {most} s");
        }
        assert_ne!(offer, Offer::Nothing, "no place for {job}");
        slots.take(run(job), strings.clone(), needs, offer, now);
        strings
    }

    #[test]
    fn a_long_job_is_held_while_a_quick_one_runs() {
        let now = Instant::now();
        let mut slots = Slots::new(1);
        assert_eq!(slots.threads(), 2);
        let long = take(&mut slots, "long", 3600.0, now);
        assert_eq!(slots.offer(now), Offer::Quick(120.0));
        take(&mut slots, "quick", 10.0, now);
        assert!(long.pause.is_set());
        assert_eq!(slots.offer(now), Offer::Nothing);
        slots.free(&run("quick"), now + Duration::from_secs(10));
        assert!(!long.pause.is_set());
    }

    #[test]
    fn jobs_of_one_kind_wait_for_each_other() {
        let now = Instant::now();
        let mut slots = Slots::new(1);
        take(&mut slots, "a", 60.0, now);
        let Offer::Quick(most) = slots.offer(now) else { panic!("the express place is free") };
        assert!(most < 60.0, "{most}");
        // Near its end a job is not worth holding up any more.
        let Offer::Quick(most) = slots.offer(now + Duration::from_secs(58)) else { panic!() };
        assert!((most - 1.0).abs() < 1e-9, "{most}");
    }

    #[test]
    fn quick_jobs_without_end_do_not_hold_a_long_one_for_ever() {
        let begin = Instant::now();
        let mut slots = Slots::new(1);
        let long = take(&mut slots, "long", 36_000.0, begin);
        let mut now = begin;
        let mut worked = 0;
        for _ in 0..1000 {
            take(&mut slots, "quick", 60.0, now);
            now += Duration::from_secs(60);
            worked += u32::from(!long.pause.is_set());
            slots.free(&run("quick"), now);
        }
        // Held for 300 s to begin with, then for every other of the 60 s.
        assert!((490..=505).contains(&worked), "{worked} of 1000");
    }

    #[test]
    fn the_one_that_needs_longest_is_held_and_no_other() {
        let now = Instant::now();
        let mut slots = Slots::new(2);
        let shorter = take(&mut slots, "shorter", 1000.0, now);
        let longer = take(&mut slots, "longer", 2000.0, now);
        take(&mut slots, "quick", 100.0, now);
        assert!(longer.pause.is_set() && !shorter.pause.is_set());
        // It stays with that one, although the other one needs longest by now.
        shorter.give_time(5000.0);
        slots.balance(now);
        assert!(longer.pause.is_set() && !shorter.pause.is_set());
    }
}
