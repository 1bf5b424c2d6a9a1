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
/// - While the newest reading waits for its spike test it isn't better than 2.
#[must_use]
pub fn aggregate(tests: TestFlags, waits_for_spike: bool) -> Flag {
    let TestFlags { gap, syntax, gross_range, spike, rate, flat_line, next_to_spike: _, time_order } = tests;
    let of_the_value = [syntax, gross_range, spike, rate, flat_line];
    let any = |flag: Flag| of_the_value.contains(&flag);
    if any(Flag::Missing) || gap == Flag::Missing {
        Flag::Missing
    } else if any(Flag::Fail) {
        Flag::Fail
    } else if any(Flag::Suspect) || matches!(gap, Flag::Suspect | Flag::Fail) || time_order {
        Flag::Suspect
    } else if waits_for_spike || gap != Flag::Pass || syntax != Flag::Pass {
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
        for (what, tests, waits, expected) in [
            ("all passed", good, false, Pass),
            (
                "tests that are recommended only",
                TestFlags { rate: NotEvaluated, flat_line: NotEvaluated, ..good },
                false,
                Pass,
            ),
            ("gross range not asked", TestFlags { gross_range: NotEvaluated, ..good }, false, Pass),
            ("nothing before it", TestFlags { gap: NotEvaluated, ..good }, false, NotEvaluated),
            ("not parsed yet", TestFlags { syntax: NotEvaluated, ..good }, false, NotEvaluated),
            ("waits", TestFlags { spike: NotEvaluated, ..good }, true, NotEvaluated),
            (
                "suspect while it waits",
                TestFlags { rate: Suspect, spike: NotEvaluated, ..good },
                true,
                Suspect,
            ),
            (
                "failed while it waits",
                TestFlags { gross_range: Fail, spike: NotEvaluated, ..good },
                true,
                Fail,
            ),
            ("fail over suspect", TestFlags { rate: Suspect, spike: Fail, ..good }, false, Fail),
            ("after a gap", TestFlags { gap: Fail, ..good }, false, Suspect),
            ("missing over fail", TestFlags { gross_range: Missing, rate: Fail, ..good }, false, Missing),
            ("another value for the time", TestFlags { time_order: true, ..good }, false, Suspect),
            ("nothing", TestFlags::NOT_EVALUATED, false, NotEvaluated),
        ] {
            assert_eq!(aggregate(tests, waits), expected, "{what}");
        }
    }
}
