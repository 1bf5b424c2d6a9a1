//! Test 7: a change faster than the water can change.

use jiff::Timestamp;

use crate::quality::Flag;
use crate::quality::spike::judge;
use crate::quality::thresholds::Levels;

/// Change per second from the reading before, fractions of seconds included.
///
/// `None` before: nothing to compare, 2. The caller passes no reading from before a gap, and none whose
/// time isn't earlier.
#[must_use]
pub fn flag(before: Option<(Timestamp, f64)>, at: Timestamp, value: f64, per_s: Levels) -> Flag {
    let Some((then, earlier)) = before else { return Flag::NotEvaluated };
    let seconds = at.duration_since(then).as_secs_f64();
    if seconds > 0.0 { judge((value - earlier).abs() / seconds, per_s) } else { Flag::NotEvaluated }
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;

    #[test]
    fn the_rate_goes_by_real_seconds() {
        let at = Timestamp::from_second(1_780_000_000).unwrap();
        let levels = Levels::new(2.0, Some(5.0)).unwrap();
        for (millis, change, expected) in [
            (1_750, 3.0, Flag::Pass),
            (500, 1.5, Flag::Suspect),
            (1_000, -2.0, Flag::Pass),
            (1_000, -2.5, Flag::Suspect),
            (64_000, 320.0, Flag::Suspect),
            (64_000, 320.5, Flag::Fail),
            (0, 4.0, Flag::NotEvaluated),
            (-1_000, 4.0, Flag::NotEvaluated),
        ] {
            let before = (at - SignedDuration::from_millis(millis), 10.0);
            assert_eq!(flag(Some(before), at, 10.0 + change, levels), expected, "{change} in {millis} ms");
        }
        assert_eq!(flag(None, at, 10.0, levels), Flag::NotEvaluated);
    }
}
