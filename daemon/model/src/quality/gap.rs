//! Test 1: readings, or the newest of them, come later than they should.

use jiff::{SignedDuration, Timestamp};

use crate::quality::Flag;

/// The step from the reading before; nothing before it: not evaluated.
///
/// 4 on the reading after the gap, as the pH manual has it (the wind manual says 9, but nothing is missing
/// *here*).
#[must_use]
pub fn flag(before: Option<Timestamp>, at: Timestamp, limit: SignedDuration) -> Flag {
    match before {
        None => Flag::NotEvaluated,
        Some(before) if is_gap(before, at, limit) => Flag::Fail,
        Some(_) => Flag::Pass,
    }
}

/// Whether two readings lie too far apart to be compared, or with `at` as now whether a sensor is silent; a
/// step of exactly the limit is no gap.
#[must_use]
pub fn is_gap(before: Timestamp, at: Timestamp, limit: SignedDuration) -> bool {
    at.duration_since(before) > limit
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_of_exactly_the_limit_is_no_gap() {
        let hour = SignedDuration::from_hours(1);
        let at = Timestamp::from_second(1_780_000_000).unwrap();
        assert_eq!(flag(None, at, hour), Flag::NotEvaluated);
        assert_eq!(flag(Some(at - hour), at, hour), Flag::Pass);
        assert_eq!(flag(Some(at - hour - SignedDuration::from_millis(1)), at, hour), Flag::Fail);
    }
}
