//! When to try again, and when to give up: decided from the attempt, the notice and the time.

use jiff::{SignedDuration, Timestamp};

use claymark_notice::{Notice, Priority};
use claymark_store::batch::DeliveryState;
use claymark_words::outbound::{of_no_use, perhaps_arrived};

/// How one attempt ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Attempt {
    /// The next server has taken it.
    Accepted,
    /// It may work later.
    Later(String),
    /// The server has the data and didn't say whether it takes them.
    Unanswered(String),
    /// It is refused for good.
    Never(String),
    /// We were stopped; whether it was taken isn't known.
    Interrupted,
}

/// The attempts so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Tries {
    /// All of them.
    pub(super) attempts: u32,
    /// Those after which the server may have it.
    pub(super) unanswered: u32,
}

impl Tries {
    /// With one more that ended so.
    pub(super) fn with(self, attempt: &Attempt) -> Self {
        let unanswered = u32::from(matches!(attempt, Attempt::Unanswered(_)));
        Self {
            attempts: self.attempts.saturating_add(1),
            unanswered: self.unanswered.saturating_add(unanswered),
        }
    }

    /// Of a delivery that is still to be made, with its next try.
    pub(super) fn of(state: &DeliveryState) -> Option<(Self, Timestamp)> {
        match state {
            DeliveryState::Pending { attempts, next_try, .. } => {
                Some((Self { attempts: *attempts, unanswered: 0 }, *next_try))
            }
            DeliveryState::Unanswered { attempts, times, next_try, .. } => {
                Some((Self { attempts: *attempts, unanswered: *times }, *next_try))
            }
            DeliveryState::Sent { .. } | DeliveryState::GivenUp { .. } => None,
        }
    }

    /// The state of a delivery with these.
    fn waiting(self, next_try: Timestamp, last_error: Option<String>) -> DeliveryState {
        let Self { attempts, unanswered: times } = self;
        if times == 0 {
            DeliveryState::Pending { attempts, next_try, last_error }
        } else {
            DeliveryState::Unanswered { attempts, times, next_try, last_error }
        }
    }
}

/// What follows from an attempt, the last one of `tries`; `None`: all stays as it was.
pub(super) fn after(
    attempt: Attempt,
    notice: &Notice,
    tries: Tries,
    now: Timestamp,
) -> Option<DeliveryState> {
    let again = |pause, why| Some(tries.waiting(later(now, pause), Some(why)));
    let attempts = tries.attempts;
    match attempt {
        Attempt::Accepted => Some(DeliveryState::Sent { at: now, attempts }),
        Attempt::Never(why) => Some(DeliveryState::GivenUp { at: now, why, attempts }),
        Attempt::Interrupted => None,
        Attempt::Later(why) => again(pause(notice.priority, tries.attempts), why),
        Attempt::Unanswered(why) if tries.unanswered >= MOST_UNANSWERED => {
            let why = perhaps_arrived(MOST_UNANSWERED, &why);
            Some(DeliveryState::GivenUp { at: now, why, attempts })
        }
        Attempt::Unanswered(why) => again(pause_in_doubt(notice.priority, tries.unanswered), why),
    }
}

/// What is kept before the data of one more attempt go out: if we end before the answer, the server may have them.
pub(super) fn on_data(notice: &Notice, tries: Tries, now: Timestamp) -> DeliveryState {
    let tries = tries.with(&Attempt::Unanswered(String::new()));
    tries.waiting(later(now, pause_in_doubt(notice.priority, tries.unanswered)), None)
}

/// Why a letter isn't tried any more although it is due.
pub(super) fn give_up(notice: &Notice, tries: Tries, last: &str, now: Timestamp) -> Option<String> {
    let of_use_until = notice.of_use_until();
    if tries.unanswered >= MOST_UNANSWERED {
        Some(perhaps_arrived(MOST_UNANSWERED, last))
    } else if of_use_until <= now {
        let hours = of_use_until.duration_since(notice.at).as_hours();
        Some(of_no_use(hours, tries.attempts, last))
    } else {
        None
    }
}

fn later(now: Timestamp, pause: SignedDuration) -> Timestamp {
    now.saturating_add(pause).unwrap_or(Timestamp::MAX)
}

/// The lower, the sooner it goes.
pub(super) fn urgency(priority: Priority) -> u8 {
    match priority {
        Priority::Now => 0,
        Priority::Soon => 1,
        Priority::Morning => 2,
    }
}

/// Someone must act on `now` at once: each minute. The others double from a minute to the half hour that
/// RFC 5321 section 4.5.4.1 asks for (from memory).
fn pause(priority: Priority, attempts: u32) -> SignedDuration {
    match priority {
        Priority::Now => SHORTEST,
        Priority::Soon | Priority::Morning => {
            let doublings = attempts.saturating_sub(1).min(5);
            (SHORTEST * 2_i32.pow(doublings)).min(LONGEST)
        }
    }
}

/// The server may have it, so the pauses grow; who must act at once isn't left without the call for fear of a double.
fn pause_in_doubt(priority: Priority, unanswered: u32) -> SignedDuration {
    let minutes = match (priority, unanswered) {
        (Priority::Now, 0 | 1) => 2,
        (Priority::Now, 2) | (Priority::Soon | Priority::Morning, 0 | 1) => 10,
        (Priority::Now, _) | (Priority::Soon | Priority::Morning, 2) => 30,
        (Priority::Soon | Priority::Morning, _) => 90,
    };
    SignedDuration::from_mins(minutes)
}

const SHORTEST: SignedDuration = SignedDuration::from_mins(1);
const LONGEST: SignedDuration = SignedDuration::from_mins(30);

/// So many copies at most; the pauses between them are three.
pub(super) const MOST_UNANSWERED: u32 = 4;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn urgent_notices_go_each_minute_and_the_others_ever_more_rarely() {
        let minutes = |priority| -> Vec<i64> { (1..=8).map(|n| pause(priority, n).as_mins()).collect() };
        assert_eq!(minutes(Priority::Now), [1; 8]);
        assert_eq!(minutes(Priority::Soon), [1, 2, 4, 8, 16, 30, 30, 30]);
        assert_eq!(minutes(Priority::Morning), minutes(Priority::Soon));
    }

    #[test]
    fn what_the_server_may_have_is_repeated_after_growing_pauses() {
        let minutes = |priority| (1..=3).map(|n| pause_in_doubt(priority, n).as_mins()).collect::<Vec<_>>();
        assert_eq!(minutes(Priority::Now), [2, 10, 30]);
        assert_eq!(minutes(Priority::Soon), [10, 30, 90]);
        assert_eq!(minutes(Priority::Morning), minutes(Priority::Soon));
    }
}
