//! When what is in hand goes to the disk: readings that come slowly share a commit.
//!
//! A commit writes whole pages, however little it holds, and flash memory wears out by the write. So readings
//! wait for each other; but not for long, and never at somebody's cost:
//! - what was written down by hand, answered, told or sent doesn't wait, and takes along what is in hand;
//! - what comes later doesn't renew the wait;
//! - where readings come fast there is company enough without waiting;
//! - a broker leaves only so many messages open, and delivers nothing more until some are acknowledged. It
//!   doesn't say how many, so the wait goes on only where this connection has had more of them open before;
//!   else it ends when no further message comes at once.
//!
//! Deciding isn't held up: this is about the disk and the receipts only.

use std::pin::Pin;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use tokio::time::Sleep;

use crate::intake::Protocol;

/// Says when to commit.
pub struct Gather {
    /// The longest wait; zero: none.
    longest: Duration,
    /// With so many messages open nothing waits any longer.
    enough: usize,
    pace: ArrivalPace,
    /// So many messages this connection has had open at a time.
    proven: usize,
    /// When messages were last acknowledged.
    acknowledged: Timestamp,
    /// When it was last tried whether more may be open.
    tried: Timestamp,
    /// Whatever is in hand goes at the next occasion.
    over: bool,
    /// It has waited as long as it may.
    late: bool,
    /// Rings when the first thing in hand has waited long enough.
    due: Option<Pin<Box<Sleep>>>,
    /// Set while the broker may have nothing more to deliver before messages are acknowledged.
    edge: Option<Edge>,
}

struct Edge {
    open: usize,
    /// A trial isn't renewed by what comes.
    trial: bool,
    /// Rings when no further message has come.
    alarm: Pin<Box<Sleep>>,
}

/// How fast messages come, by the generic cell rate algorithm (ITU-T I.371): when the next one would be due if
/// they came at the limit.
struct ArrivalPace {
    last: Timestamp,
    due: Timestamp,
    fast: bool,
}

impl Gather {
    /// Waits up to `longest`; `queue` is how many messages may be open at all.
    #[must_use]
    pub fn new(longest: SignedDuration, queue: usize, protocol: Protocol) -> Self {
        let most = match protocol {
            Protocol::V311 => MOST_OPEN_V311,
            Protocol::V5 => MOST_OPEN_V5,
        };
        Self {
            longest: longest.try_into().unwrap_or(Duration::ZERO),
            enough: (queue / 2).clamp(1, most),
            pace: ArrivalPace { last: Timestamp::MIN, due: Timestamp::MIN, fast: false },
            proven: 0,
            acknowledged: Timestamp::MIN,
            tried: Timestamp::MIN,
            over: false,
            late: false,
            due: None,
            edge: None,
        }
    }

    /// Nothing waits from now on.
    pub fn stop(&mut self) {
        self.longest = Duration::ZERO;
    }

    /// Nothing that is in hand waits any longer.
    pub fn hurry(&mut self) {
        self.over = true;
    }

    /// A message has come.
    pub fn arrived(&mut self, at: Timestamp) {
        self.pace.note(at);
    }

    /// What was in hand is on the disk, and the broker is told.
    pub fn acknowledged(&mut self, at: Timestamp) {
        self.acknowledged = at;
    }

    /// Another connection may leave fewer messages open; those of the old one, if any are in hand, are open no more.
    pub fn reconnected(&mut self, in_hand: bool) {
        self.proven = 0;
        self.over |= in_hand;
    }

    /// Whether what is in hand goes now: `pressing` if some of it can't wait, with so many messages `open` at
    /// the broker. If it does, the next wait begins.
    pub fn ready(&mut self, now: Timestamp, pressing: bool, open: usize) -> bool {
        let silent = now.duration_since(self.pace.last).abs();
        if std::mem::take(&mut self.late) && silent > SUSPICIOUS {
            // Did the broker hold back? Then it was wrong that it leaves more open.
            self.proven = self.proven.min(open);
        }
        // A hurry may be about messages of a connection before. And right after an acknowledgement Mosquitto 2.0.11
        // delivers twice as many messages of MQTT 3.1.1 as it should: that says nothing of what it does later.
        if !self.over && self.pace.last.duration_since(self.acknowledged).abs() > SETTLED {
            self.proven = self.proven.max(open);
        }
        if self.longest.is_zero() || self.over || pressing || self.pace.fast || open >= self.enough {
            self.over = false;
            self.due = None;
            self.edge = None;
            return true;
        }
        self.due.get_or_insert_with(|| Box::pin(tokio::time::sleep(self.longest)));
        if open == 0 || open < self.proven {
            self.edge = None;
        } else if self.edge.as_ref().is_none_or(|edge| !edge.trial && edge.open != open) {
            self.edge = Some(self.edge(open));
        }
        false
    }

    /// Now and then more messages than were ever open are awaited for a while, so that the broker's window is known
    /// within minutes; too rarely to hold anything up.
    fn edge(&mut self, open: usize) -> Edge {
        let trial = self.pace.last.duration_since(self.tried).abs() >= TRY_EVERY;
        if trial {
            self.tried = self.pace.last;
        }
        let patience = if trial { A_WHILE } else { AT_ONCE };
        Edge { open, trial, alarm: Box::pin(tokio::time::sleep(patience)) }
    }

    /// Returns when a wait is over; never without one.
    pub async fn rings(&mut self) {
        let Self { due, edge, .. } = self;
        self.late = tokio::select! {
            () = ring(due.as_mut()) => true,
            () = ring(edge.as_mut().map(|edge| &mut edge.alarm)) => false,
        };
        // An alarm that has rung mustn't be asked again.
        (self.due, self.edge) = (None, None);
        self.hurry();
    }
}

impl ArrivalPace {
    fn note(&mut self, at: Timestamp) {
        self.last = at;
        let allowed = at.saturating_add(BURST).unwrap_or(Timestamp::MAX);
        // A clock that was set back mustn't make it look fast for longer than a burst does.
        self.due = self.due.max(at).min(allowed).saturating_add(SLOW).unwrap_or(Timestamp::MAX);
        self.fast = self.due > allowed;
    }
}

async fn ring(alarm: Option<&mut Pin<Box<Sleep>>>) {
    match alarm {
        Some(sleep) => sleep.await,
        None => std::future::pending().await,
    }
}

/// Safely below the least that a common broker leaves open: 20 with Mosquitto's usual `max_inflight_messages`.
const MOST_OPEN_V311: usize = 16;

/// With MQTT 5 the client says how many may be open, and we say our whole queue; Mosquitto keeps to that. A broker that
/// leaves fewer open shows it.
const MOST_OPEN_V5: usize = 100;

/// Between messages at 20 a second; what comes faster, on average, doesn't wait.
const SLOW: SignedDuration = SignedDuration::from_millis(50);

/// Sensors that all speak in the same second aren't fast: 300 messages at a time.
const BURST: SignedDuration = SignedDuration::from_secs(15);

/// Half of [`SLOW`]: a broker that leaves a single message open still delivers faster than what is slow.
const AT_ONCE: Duration = Duration::from_millis(25);
const A_WHILE: Duration = Duration::from_secs(2);
/// A broker on the same network has answered by then.
const SETTLED: SignedDuration = SignedDuration::from_secs(1);
const TRY_EVERY: SignedDuration = SignedDuration::from_secs(20);

/// At a rate at which a window could have filled, so long a silence is none by chance.
const SUSPICIOUS: SignedDuration = SignedDuration::from_secs(5);

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: SignedDuration = SignedDuration::from_hours(1);

    fn at(ms: i64) -> Timestamp {
        Timestamp::from_millisecond(1_808_000_000_000 + ms).unwrap()
    }

    /// One that waits for an hour, on a connection that has had `open` messages open.
    fn proven(open: usize) -> Gather {
        let mut gather = Gather::new(HOUR, 5000, Protocol::V5);
        gather.proven = open;
        gather
    }

    #[tokio::test]
    async fn readings_wait_and_what_presses_takes_them_along() {
        let mut gather = proven(10);
        assert!(!gather.ready(gather.pace.last, false, 3));
        assert!(gather.ready(gather.pace.last, true, 3));
        assert!(!gather.ready(gather.pace.last, false, 1), "the next wait begins anew");
    }

    #[tokio::test]
    async fn nothing_waits_where_the_site_wants_none_or_the_end_has_come() {
        assert!(Gather::new(SignedDuration::ZERO, 5000, Protocol::V5).ready(at(0), false, 1));
        let mut gather = proven(10);
        gather.stop();
        assert!(gather.ready(gather.pace.last, false, 1) && gather.ready(gather.pace.last, false, 1));
    }

    #[tokio::test]
    async fn what_comes_later_does_not_renew_the_wait() {
        let mut gather = proven(10);
        assert!(!gather.ready(gather.pace.last, false, 1));
        let first = gather.due.as_ref().unwrap().deadline();
        for open in 2..9 {
            assert!(!gather.ready(gather.pace.last, false, open));
            assert_eq!(gather.due.as_ref().unwrap().deadline(), first);
        }
    }

    #[tokio::test]
    async fn a_wait_that_is_over_is_told_once() {
        let mut gather = proven(10);
        gather.longest = Duration::from_millis(1);
        assert!(!gather.ready(gather.pace.last, false, 1));
        gather.rings().await;
        assert!(gather.ready(gather.pace.last, false, 1));
        assert!(!gather.ready(gather.pace.last, false, 1));
    }

    #[tokio::test]
    async fn the_window_of_a_broker_is_never_filled() {
        // Mosquitto's 20 with MQTT 3.1.1, and a queue of our own that is smaller.
        let (v311, v5) = (Protocol::V311, Protocol::V5);
        for (queue, protocol, most) in [(5000, v311, 16), (5000, v5, 100), (12, v311, 6), (1, v5, 1)] {
            let mut gather = Gather::new(HOUR, queue, protocol);
            gather.proven = 1000;
            let waited = (1..1000).take_while(|open| !gather.ready(at(0), false, *open)).count();
            assert_eq!(waited + 1, most);
        }
    }

    #[tokio::test]
    async fn a_broker_that_may_hold_back_is_answered_when_nothing_comes_at_once() {
        let mut gather = Gather::new(HOUR, 5000, Protocol::V5);
        gather.tried = at(0);
        gather.arrived(at(0));
        // A connection that has never had two messages open.
        assert!(!gather.ready(gather.pace.last, false, 1));
        gather.rings().await;
        assert!(gather.ready(gather.pace.last, false, 1));
        // Now it has had two: one waits for the other, two wait for a third only if it comes at once.
        assert!(!gather.ready(gather.pace.last, false, 2));
        gather.rings().await;
        assert!(gather.ready(gather.pace.last, false, 2));
        assert!(!gather.ready(gather.pace.last, false, 1));
        assert!(gather.edge.is_none());
        assert!(!gather.ready(gather.pace.last, false, 2));
        assert!(gather.edge.is_some());
        // What comes right after an acknowledgement may be more than comes later.
        gather.acknowledged(at(1));
        gather.arrived(at(20));
        assert!(!gather.ready(gather.pace.last, false, 5));
        gather.rings().await;
        assert!(gather.ready(gather.pace.last, false, 5));
        gather.arrived(at(2000));
        assert!(!gather.ready(gather.pace.last, false, 2));
        assert!(gather.edge.is_some(), "two are still the most that are sure");
        gather.rings().await;
        assert!(gather.ready(gather.pace.last, false, 2));
        // On another connection that counts for nothing, nor do messages that were open on the old one.
        gather.reconnected(true);
        assert!(gather.ready(gather.pace.last, false, 5));
        assert!(!gather.ready(gather.pace.last, false, 1));
        assert!(gather.edge.is_some());
    }

    #[tokio::test]
    async fn now_and_then_it_is_tried_whether_the_broker_leaves_more_open() {
        let mut gather = proven(2);
        gather.tried = at(0);
        let trial_at = |gather: &mut Gather, ms, open| {
            gather.arrived(at(ms));
            assert!(!gather.ready(gather.pace.last, false, open));
            let edge = gather.edge.as_ref().expect("it is at the edge");
            (edge.trial, edge.alarm.deadline())
        };
        assert!(!trial_at(&mut gather, 1_000, 2).0);
        assert!(gather.ready(gather.pace.last, true, 2));
        let (trial, until) = trial_at(&mut gather, 20_000, 2);
        assert!(trial);
        for open in 3..9 {
            let so_on = trial_at(&mut gather, 20_000 + i64::try_from(open).unwrap(), open);
            assert_eq!(so_on, (true, until), "what comes doesn't renew it");
        }
        assert_eq!(gather.proven, 8);
    }

    #[tokio::test]
    async fn a_broker_that_held_back_all_the_same_is_trusted_less() {
        let mut gather = proven(20);
        gather.longest = Duration::from_millis(1);
        gather.arrived(at(0));
        assert!(!gather.ready(at(0), false, 10));
        gather.rings().await;
        // Nothing had come for long when the wait was over.
        assert!(gather.ready(at(15_000), false, 10));
        assert_eq!(gather.proven, 10);
        gather.arrived(at(16_000));
        assert!(!gather.ready(at(16_000), false, 5));
        gather.rings().await;
        assert!(gather.ready(at(17_000), false, 5));
        assert_eq!(gather.proven, 10, "that was no silence");
    }

    #[tokio::test]
    async fn what_is_no_message_waits_without_looking_at_the_broker() {
        let mut gather = Gather::new(HOUR, 5000, Protocol::V5);
        assert!(!gather.ready(gather.pace.last, false, 0));
        assert!(gather.edge.is_none() && gather.due.is_some());
    }

    #[tokio::test]
    async fn readings_that_come_fast_do_not_wait() {
        let mut gather = proven(10);
        // 44 sensors in the same second of each half minute; then ten a second for a while.
        for n in 0..44 * 20 {
            gather.arrived(at(n / 44 * 30_000 + n % 44));
            assert!(!gather.pace.fast);
        }
        for n in 0..6000 {
            gather.arrived(at(600_000 + n * 100));
            assert!(!gather.pace.fast);
        }
        assert!(!gather.ready(gather.pace.last, false, 1));
        for n in 0..1000 {
            gather.arrived(at(1_200_000 + n));
        }
        assert!(gather.ready(gather.pace.last, false, 1));
        gather.arrived(at(1_260_000));
        assert!(!gather.ready(gather.pace.last, false, 1));
    }

    #[tokio::test]
    async fn a_clock_that_was_set_back_does_not_make_slow_readings_fast() {
        let mut gather = proven(10);
        gather.arrived(at(3_600_000));
        for n in 0..100 {
            gather.arrived(at(n * 1000));
        }
        assert!(!gather.pace.fast);
    }
}
