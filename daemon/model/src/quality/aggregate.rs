//! One flag for a reading from the flags of its tests.

use crate::quality::Flag;
use crate::reading::TestFlags;

/// The worst goes first: missing, then 4 > 3 > 1 > 2.
///
/// - A missing value is missing, whatever another test says.
/// - 1 only when gap and syntax returned 1, and gross range where it is asked: these are the tests that the
///   manuals require. One passing test doesn't outweigh a required one that wasn't evaluated.
/// - A gap flag of 4 counts as 3: it speaks of what is missing *before* the reading. The value itself
///   stands and may be all that there is after a night without network, so estimators must get it.
/// - Another value for a time that already has one is suspect.
/// - Where the spike test is asked, a reading isn't better than 2 before it was evaluated: the newest one
///   waits for its neighbour.
#[must_use]
pub fn flag(tests: TestFlags, spike_asked: bool) -> Flag {
    let TestFlags { gap, syntax, gross_range, spike, rate, flat_line, next_to_spike: _, time_order } = tests;
    let of_the_value = [syntax, gross_range, spike, rate, flat_line];
    let any = |wanted: Flag| of_the_value.contains(&wanted);
    if any(Flag::Missing) || gap == Flag::Missing {
        Flag::Missing
    } else if any(Flag::Fail) {
        Flag::Fail
    } else if any(Flag::Suspect) || matches!(gap, Flag::Suspect | Flag::Fail) || time_order {
        Flag::Suspect
    } else if gap != Flag::Pass || syntax != Flag::Pass || (spike_asked && spike == Flag::NotEvaluated) {
        Flag::NotEvaluated
    } else {
        Flag::Pass
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_flag_goes_first_and_required_tests_must_pass() {
        use Flag::{Fail, Missing, NotEvaluated, Pass, Suspect};
        let good = TestFlags {
            gap: Pass,
            syntax: Pass,
            gross_range: Pass,
            spike: Pass,
            rate: Pass,
            flat_line: Pass,
            next_to_spike: false,
            time_order: false,
        };
        for (what, tests, spike_asked, expected) in [
            ("all passed", good, true, Pass),
            (
                "recommended only",
                TestFlags { rate: NotEvaluated, flat_line: NotEvaluated, ..good },
                true,
                Pass,
            ),
            ("gross range not asked", TestFlags { gross_range: NotEvaluated, ..good }, true, Pass),
            ("spike not asked", TestFlags { spike: NotEvaluated, ..good }, false, Pass),
            ("waits", TestFlags { spike: NotEvaluated, ..good }, true, NotEvaluated),
            ("nothing before it", TestFlags { gap: NotEvaluated, ..good }, true, NotEvaluated),
            ("not parsed yet", TestFlags { syntax: NotEvaluated, ..good }, true, NotEvaluated),
            ("suspect, waits", TestFlags { rate: Suspect, spike: NotEvaluated, ..good }, true, Suspect),
            ("failed, waits", TestFlags { gross_range: Fail, spike: NotEvaluated, ..good }, true, Fail),
            ("fail over suspect", TestFlags { rate: Suspect, spike: Fail, ..good }, true, Fail),
            ("after a gap", TestFlags { gap: Fail, ..good }, true, Suspect),
            ("missing over fail", TestFlags { gross_range: Missing, rate: Fail, ..good }, true, Missing),
            ("another value for the time", TestFlags { time_order: true, ..good }, true, Suspect),
            ("nothing", TestFlags::NOT_EVALUATED, false, NotEvaluated),
        ] {
            assert_eq!(flag(tests, spike_asked), expected, "{what}");
        }
    }
}
