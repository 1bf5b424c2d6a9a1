//! When a drum is dry, in words.

use claymark_model::forecast::EmptyAt;
use jiff::Timestamp;

use crate::format::Clock;

/// "dry about 02:45, earliest 02:20", seen from `now`.
#[must_use]
pub fn dry(clock: Clock<'_>, now: Timestamp, empty_at: &EmptyAt) -> String {
    if is_empty(now, empty_at) {
        return "empty now".to_owned();
    }
    let clock = clock.together(&[empty_at.p05, empty_at.p50]);
    match (empty_at.p50, empty_at.p05) {
        (Some(p50), Some(p05)) => format!("dry about {}, earliest {}", clock.about(p50), clock.by(p05)),
        (Some(p50), None) => format!("dry about {}", clock.about(p50)),
        (None, Some(p05)) => format!("dry in more than 3 days, earliest {}", clock.by(p05)),
        (None, None) => "not dry within 3 days".to_owned(),
    }
}

/// Whether it is empty at `now`.
#[must_use]
pub fn is_empty(now: Timestamp, empty_at: &EmptyAt) -> bool {
    empty_at.p50.is_some_and(|p50| p50 <= now)
}
