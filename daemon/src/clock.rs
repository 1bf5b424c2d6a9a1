//! The one file that reads the clock.
//!
//! Everything that waits or asks for the time holds a [`TimeSource`]. The system's clock counts in whole
//! milliseconds, as recordings do, so that a replay sees the very times that the live daemon saw.
//! A stepped clock stands still until its [`Stepper`], which only the demo holds, moves it.

use std::collections::VecDeque;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use jiff::{SignedDuration, Timestamp};
use tokio::sync::watch;

/// Tells the time.
#[derive(Debug, Clone)]
pub struct TimeSource(TimeFrom);

#[derive(Debug, Clone)]
enum TimeFrom {
    System { started: Instant },
    Stepped { now: watch::Receiver<Timestamp>, traffic: Arc<Traffic> },
}

/// Moves a stepped clock and knows whether the daemon has dealt with what was sent to it.
#[derive(Debug)]
pub struct Stepper {
    now: watch::Sender<Timestamp>,
    traffic: Arc<Traffic>,
}

/// Messages on a stepped clock: what is on its way, and how much was dealt with.
#[derive(Debug)]
struct Traffic {
    on_the_way: Mutex<VecDeque<Timestamp>>,
    announced: watch::Sender<u64>,
    settled: watch::Sender<u64>,
}

/// Rings once.
pub type Alarm = Pin<Box<dyn Future<Output = ()> + Send>>;

impl TimeSource {
    /// The clock of this machine.
    #[must_use]
    pub fn system() -> Self {
        #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the clock")]
        let started = Instant::now();
        Self(TimeFrom::System { started })
    }

    /// A clock that stands at `start` until the stepper moves it.
    #[must_use]
    pub fn stepped(start: Timestamp) -> (Self, Stepper) {
        let traffic = Arc::new(Traffic {
            on_the_way: Mutex::new(VecDeque::new()),
            announced: watch::Sender::new(0),
            settled: watch::Sender::new(0),
        });
        let (sender, now) = watch::channel(start);
        let clock = Self(TimeFrom::Stepped { now, traffic: Arc::clone(&traffic) });
        (clock, Stepper { now: sender, traffic })
    }

    /// The time, in whole milliseconds.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        match &self.0 {
            TimeFrom::System { .. } => {
                #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the clock")]
                let now = Timestamp::now();
                Timestamp::from_millisecond(now.as_millisecond()).unwrap_or(now)
            }
            TimeFrom::Stepped { now, .. } => *now.borrow(),
        }
    }

    /// Time since some moment that no setting of the clock moves.
    #[must_use]
    pub fn steady(&self) -> SignedDuration {
        match &self.0 {
            TimeFrom::System { started } => {
                SignedDuration::try_from(started.elapsed()).unwrap_or(SignedDuration::MAX)
            }
            TimeFrom::Stepped { now, .. } => now.borrow().duration_since(Timestamp::UNIX_EPOCH),
        }
    }

    /// Rings once, after `patience` by the steady time.
    #[must_use]
    pub fn alarm(&self, patience: Duration) -> Alarm {
        match &self.0 {
            TimeFrom::System { .. } => Box::pin(tokio::time::sleep(patience)),
            TimeFrom::Stepped { .. } => {
                let clock = self.clone();
                let until = self.now().saturating_add(patience).unwrap_or(Timestamp::MAX);
                Box::pin(async move { clock.sleep_until(until).await })
            }
        }
    }

    /// False where it stands still until everything that has arrived is on the disk.
    #[must_use]
    pub fn goes_by_itself(&self) -> bool {
        matches!(self.0, TimeFrom::System { .. })
    }

    /// When the message that was just taken from the broker arrived. On a stepped clock: the next time
    /// that was announced with [`Stepper::announce_arrival`].
    #[must_use]
    pub fn arrival(&self) -> Timestamp {
        match &self.0 {
            TimeFrom::System { .. } => self.now(),
            TimeFrom::Stepped { traffic, .. } => traffic.next().unwrap_or_else(|| self.now()),
        }
    }

    /// Says that so many messages more are on disk and acknowledged; only a stepper cares.
    pub fn settled(&self, messages: usize) {
        if let TimeFrom::Stepped { traffic, .. } = &self.0 {
            let messages = u64::try_from(messages).unwrap_or(u64::MAX);
            traffic.settled.send_modify(|settled| *settled = settled.saturating_add(messages));
        }
    }

    /// Returns once the time is `until` or later. A clock that is set forward is noticed within
    /// [`LONGEST_NAP`].
    pub async fn sleep_until(&self, until: Timestamp) {
        match &self.0 {
            TimeFrom::System { .. } => loop {
                let left = until.duration_since(self.now());
                if left <= SignedDuration::ZERO {
                    return;
                }
                tokio::time::sleep(left.unsigned_abs().min(LONGEST_NAP)).await;
            },
            TimeFrom::Stepped { now, .. } => {
                let mut now = now.clone();
                if now.wait_for(|now| *now >= until).await.is_err() {
                    // The stepper is gone: this time will never come.
                    std::future::pending::<()>().await;
                }
            }
        }
    }
}

impl Stepper {
    /// The next message that will arrive does so at `at`; say it before the message is sent.
    pub fn announce_arrival(&self, at: Timestamp) {
        self.traffic.lock().push_back(at);
        self.traffic.announced.send_modify(|announced| *announced = announced.saturating_add(1));
    }

    /// Returns once every announced message is on disk and acknowledged.
    pub async fn all_settled(&self) {
        let announced = *self.traffic.announced.borrow();
        let mut settled = self.traffic.settled.subscribe();
        settled.wait_for(|settled| *settled >= announced).await.expect("the sender lives in self");
    }

    /// Moves the clock; it never goes back.
    pub fn advance_to(&self, to: Timestamp) {
        self.now.send_if_modified(|now| {
            let forward = to > *now;
            if forward {
                *now = to;
            }
            forward
        });
    }
}

impl Traffic {
    fn next(&self) -> Option<Timestamp> {
        self.lock().pop_front()
    }

    /// A panic elsewhere can't leave half a timestamp behind, so a poisoned lock is still good.
    fn lock(&self) -> std::sync::MutexGuard<'_, VecDeque<Timestamp>> {
        self.on_the_way.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A clock that was set is noticed after this at the latest.
pub const LONGEST_NAP: Duration = Duration::from_secs(30);

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(second).unwrap()
    }

    #[test]
    fn the_system_clock_counts_in_whole_milliseconds() {
        assert_eq!(TimeSource::system().now().subsec_nanosecond() % 1_000_000, 0);
    }

    #[test]
    fn messages_arrive_at_their_announced_times_and_then_at_the_present() {
        let (clock, stepper) = TimeSource::stepped(at(100));
        stepper.announce_arrival(at(40));
        stepper.announce_arrival(at(41));
        assert_eq!([clock.arrival(), clock.arrival(), clock.arrival()], [at(40), at(41), at(100)]);
    }

    #[tokio::test]
    async fn a_sleeper_wakes_when_the_clock_is_moved_and_not_before() {
        let (clock, stepper) = TimeSource::stepped(at(0));
        let sleeper = tokio::spawn({
            let clock = clock.clone();
            async move {
                clock.sleep_until(at(10)).await;
                clock.now()
            }
        });
        stepper.advance_to(at(9));
        tokio::task::yield_now().await;
        assert!(!sleeper.is_finished());
        stepper.advance_to(at(12));
        stepper.advance_to(at(3));
        assert_eq!(sleeper.await.unwrap(), at(12));
    }

    #[tokio::test]
    async fn the_stepper_waits_until_all_announced_messages_are_settled() {
        let (clock, stepper) = TimeSource::stepped(at(0));
        stepper.announce_arrival(at(1));
        stepper.announce_arrival(at(2));
        clock.settled(1);
        let waiting = stepper.all_settled();
        tokio::pin!(waiting);
        assert!(tokio::time::timeout(Duration::ZERO, &mut waiting).await.is_err());
        clock.settled(1);
        waiting.await;
    }
}
