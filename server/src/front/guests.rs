//! Who is connected, and who has to go when there is no room left.
//!
//! A connection without a call under way holds nothing but its place, and its client makes a new one when
//! it next has something to ask. So when a place is wanted, the one that has been idle longest makes
//! room, of the address that has most. Nobody with a call under way is ever sent away.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{Notify, oneshot};

/// How many may be connected, and for how long they may do nothing.
#[derive(Clone, Copy, Debug)]
pub struct Room {
    /// Most connections.
    pub most: usize,
    /// Most connections of one address.
    pub per_address: usize,
    /// A connection that carries no call for so long from its beginning is closed.
    pub first_call: Duration,
    /// So is one without a call for so long since its last one.
    pub idle: Duration,
}

/// What a connection is used for.
#[derive(Debug)]
pub struct Usage(Mutex<Use>);

#[derive(Clone, Copy, Debug)]
struct Use {
    /// Calls under way.
    calls: usize,
    called: bool,
    /// When it came, or when the last call ended.
    since: Instant,
}

impl Usage {
    fn now() -> Self {
        Self(Mutex::new(Use { calls: 0, called: false, since: Instant::now() }))
    }

    fn state(&self) -> MutexGuard<'_, Use> {
        // Each holder makes one whole change.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn idle_since(&self) -> Option<Instant> {
        let state = self.state();
        (state.calls == 0).then_some(state.since)
    }

    /// Until when the connection is borne, as far as can be said at this moment.
    pub fn borne_until(&self, room: &Room) -> Instant {
        let state = self.state();
        match (state.calls, state.called) {
            (0, false) => state.since + room.first_call,
            (0, true) => state.since + room.idle,
            _ => Instant::now() + room.idle,
        }
    }
}

/// A call under way on a connection.
#[derive(Debug)]
pub struct CallUnderWay(Arc<Usage>);

impl CallUnderWay {
    /// A call begins.
    pub fn begin(usage: &Arc<Usage>) -> Self {
        let mut state = usage.state();
        (state.calls, state.called) = (state.calls + 1, true);
        drop(state);
        Self(Arc::clone(usage))
    }
}

impl Drop for CallUnderWay {
    fn drop(&mut self) {
        let mut state = self.0.state();
        (state.calls, state.since) = (state.calls - 1, Instant::now());
    }
}

/// Everyone who is connected.
#[derive(Debug)]
pub struct Guests {
    room: Room,
    list: Mutex<HashMap<u64, Guest>>,
    next: AtomicU64,
    left: Notify,
}

#[derive(Debug)]
struct Guest {
    address: IpAddr,
    usage: Arc<Usage>,
    /// `None` once it was sent away.
    close: Option<oneshot::Sender<()>>,
}

/// A place, given back when it is dropped.
#[derive(Debug)]
pub struct Seat {
    guests: Arc<Guests>,
    number: u64,
    /// What the connection is used for.
    pub usage: Arc<Usage>,
    /// Comes when the connection is to close.
    pub closing: oneshot::Receiver<()>,
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.guests.list().remove(&self.number);
        self.guests.left.notify_one();
    }
}

/// Whether somebody may come in.
enum Door {
    Open,
    /// Once somebody has left.
    Later,
    Shut,
}

impl Guests {
    /// Nobody yet.
    pub fn new(room: Room) -> Self {
        let (list, next, left) = (Mutex::default(), AtomicU64::new(0), Notify::new());
        Self { room, list, next, left }
    }

    /// How many may be connected, and for how long they may do nothing.
    pub fn room(&self) -> &Room {
        &self.room
    }

    fn list(&self) -> MutexGuard<'_, HashMap<u64, Guest>> {
        self.list.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A place for a connection from `address`: at once, or when one with a call under way has left.
    /// `None` where the address has as many as it may have, and all of them are busy.
    pub async fn seat(self: &Arc<Self>, address: IpAddr) -> Option<Seat> {
        loop {
            match self.make_room(address) {
                Door::Open => return Some(self.take(address)),
                Door::Later => self.left.notified().await,
                Door::Shut => return None,
            }
        }
    }

    fn take(self: &Arc<Self>, address: IpAddr) -> Seat {
        let (close, closing) = oneshot::channel();
        let usage = Arc::new(Usage::now());
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        let guest = Guest { address, usage: Arc::clone(&usage), close: Some(close) };
        self.list().insert(number, guest);
        Seat { guests: Arc::clone(self), number, usage, closing }
    }

    fn make_room(&self, address: IpAddr) -> Door {
        let mut list = self.list();
        let mut counts: HashMap<IpAddr, usize> = HashMap::new();
        // Those that were sent away are gone as soon as their task next runs.
        let staying = list.values().filter(|guest| guest.close.is_some());
        staying.for_each(|guest| *counts.entry(guest.address).or_default() += 1);
        let mut idle: Vec<_> = list
            .iter()
            .filter(|(_, guest)| guest.close.is_some())
            .filter_map(|(&number, guest)| {
                let since = guest.usage.idle_since()?;
                Some((guest.address, since, number))
            })
            .collect();
        let of_address = counts.get(&address).copied().unwrap_or_default();
        let all: usize = counts.values().sum();
        if of_address >= self.room.per_address {
            idle.retain(|(from, _, _)| *from == address);
            if idle.is_empty() {
                return Door::Shut;
            }
        } else if all < self.room.most {
            return Door::Open;
        }
        let count = |from: &IpAddr| counts.get(from).copied().unwrap_or_default();
        let leaves = idle
            .iter()
            .min_by(|a, b| count(&b.0).cmp(&count(&a.0)).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
        let Some((_, _, number)) = leaves else { return Door::Later };
        if let Some(close) = list.get_mut(number).and_then(|guest| guest.close.take()) {
            // Nobody listens where it is just closing by itself.
            let _ = close.send(());
        }
        Door::Open
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guests(most: usize, per_address: usize) -> Arc<Guests> {
        let long = Duration::from_secs(3600);
        Arc::new(Guests::new(Room { most, per_address, first_call: long, idle: long }))
    }

    fn at(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    fn was_sent_away(seat: &mut Seat) -> bool {
        seat.closing.try_recv().is_ok()
    }

    #[tokio::test]
    async fn whoever_is_idle_longest_of_the_address_with_most_makes_room() {
        let guests = guests(3, 3);
        let mut lone = guests.seat(at(1)).await.expect("room");
        let mut older = guests.seat(at(2)).await.expect("room");
        let mut newer = guests.seat(at(2)).await.expect("room");
        // The older one was used last.
        drop(CallUnderWay::begin(&older.usage));
        let _new = guests.seat(at(3)).await.expect("room is made");
        assert!(was_sent_away(&mut newer));
        assert!(!was_sent_away(&mut lone) && !was_sent_away(&mut older));
    }

    #[tokio::test]
    async fn a_call_under_way_keeps_its_place() {
        let guests = guests(2, 2);
        let first = guests.seat(at(1)).await.expect("room");
        let second = guests.seat(at(1)).await.expect("room");
        let busy = [&first, &second].map(|seat| CallUnderWay::begin(&seat.usage));
        assert!(guests.seat(at(1)).await.is_none(), "the address has all that it may have");
        let other = guests.seat(at(2));
        let waits = tokio::time::timeout(Duration::ZERO, other).await;
        assert!(waits.is_err(), "it waits");
        drop((busy, second));
        guests.seat(at(2)).await.expect("somebody has left");
    }

    #[test]
    fn a_busy_connection_is_borne_and_an_idle_one_for_a_while() {
        let second = Duration::from_secs(1);
        let room = Room { most: 1, per_address: 1, first_call: second, idle: 10 * second };
        let usage = Arc::new(Usage::now());
        let begun = Instant::now();
        assert!(usage.borne_until(&room) <= begun + second);
        let call = CallUnderWay::begin(&usage);
        assert!(usage.borne_until(&room) >= begun + 10 * second);
        drop(call);
        assert!(usage.borne_until(&room) >= begun + 10 * second);
    }
}
