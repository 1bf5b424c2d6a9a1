//! When to try again, and when to give up: decided from the attempt, the notice and the time.

use jiff::{SignedDuration, Timestamp};

use claymark_core::notice::{Notice, Priority};
use claymark_store::batch::DeliveryState;

/// How one attempt ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Attempt {
    /// The next server has taken it.
    Accepted,
    /// It may work later.
    Later(String),
    /// It is refused for good.
    Never(String),
    /// We were stopped; whether it was taken isn't known.
    Interrupted,
}

/// What follows from attempt number `attempts`; `None`: all stays as it was.
pub(super) fn after(
    attempt: Attempt,
    notice: &Notice,
    attempts: u32,
    now: Timestamp,
) -> Option<DeliveryState> {
    match attempt {
        Attempt::Accepted => Some(DeliveryState::Sent { at: now }),
        Attempt::Never(why) => Some(DeliveryState::GivenUp { at: now, why }),
        Attempt::Interrupted => None,
        Attempt::Later(why) if now.duration_since(notice.at) >= GIVE_UP_AFTER => {
            let why =
                format!("tried {attempts} times in {} days; at last: {why}", GIVE_UP_AFTER.as_hours() / 24);
            Some(DeliveryState::GivenUp { at: now, why })
        }
        Attempt::Later(why) => {
            let next_try = now.saturating_add(pause(notice.priority, attempts)).unwrap_or(Timestamp::MAX);
            Some(DeliveryState::Pending { attempts, next_try, last_error: Some(why) })
        }
    }
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

const SHORTEST: SignedDuration = SignedDuration::from_mins(1);
const LONGEST: SignedDuration = SignedDuration::from_mins(30);

/// RFC 5321 section 4.5.4.1: at least 4 to 5 days (from memory).
const GIVE_UP_AFTER: SignedDuration = SignedDuration::from_hours(4 * 24);

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
}
