//! The estimator's only time axis: hours since 1970, so that a slope is litres per hour.
//!
//! Minutes are counted in one place, where readings become minute medians (`series`).

pub(super) use claymark_model::units::SECONDS_PER_HOUR;
use jiff::{SignedDuration, Timestamp};

/// `at` as hours since 1970; good to a microsecond.
pub(super) fn hours(at: Timestamp) -> f64 {
    at.duration_since(Timestamp::UNIX_EPOCH).div_duration_f64(HOUR)
}

/// The reverse of [`hours`]; the ends of time where `hours` is out of range.
pub(super) fn timestamp(hours: f64) -> Timestamp {
    later(Timestamp::UNIX_EPOCH, hours)
}

/// `at` moved by `hours`.
pub(super) fn later(at: Timestamp, hours: f64) -> Timestamp {
    at.saturating_add(HOUR.mul_f64(hours.clamp(-FAR, FAR))).unwrap_or(at)
}

/// `duration` in hours.
pub(super) fn in_hours(duration: SignedDuration) -> f64 {
    duration.div_duration_f64(HOUR)
}

/// When the minute of `at` began, as hours since 1970.
pub(super) fn start_of_minute(at: Timestamp) -> f64 {
    let second = at.as_second();
    hours(Timestamp::from_second(second - second.rem_euclid(60)).unwrap_or(at))
}

/// So many minutes, in hours.
pub(super) const fn minutes(minutes: f64) -> f64 {
    minutes / MINUTES_PER_HOUR
}

pub(super) const MINUTES_PER_HOUR: f64 = 60.0;
const HOUR: SignedDuration = SignedDuration::from_hours(1);
/// A thousand years: keeps a wild extrapolation inside what a duration can hold.
const FAR: f64 = 8_766_000.0;
