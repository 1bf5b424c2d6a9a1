//! Where Claymark's flags differ from those of ioos_qc 3.0.0, vector by vector, and why.

use Claymark::{Differs, Refuses};

/// The Claymark column of an exception.
#[derive(Clone, Copy)]
pub enum Claymark {
    /// Flags at these places, counted from 0.
    Differs(&'static [(usize, u8)]),
    /// Thresholds or values like these can't exist: `claymark check` refuses them.
    Refuses,
}

/// (vector, what Claymark says, why).
pub const EXCEPTIONS: &[(&str, Claymark, &str)] = &[
    ("GR04", Differs(&[(1, 9), (2, 9)]), NOT_FINITE),
    ("GR05", Refuses, "a reversed span is a mistake in the site file"),
    ("GR08", Refuses, "a span of one value is as much a mistake as a reversed one"),
    ("SP14", Differs(&[(1, 2)]), "without thresholds the test isn't run: 2"),
    ("SP21", Refuses, "suspect beyond fail is a mistake in the site file"),
    ("RC01", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC02", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC03", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC04", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC05", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC06", Differs(&[(0, 2), (2, 2)]), AFTER_GAP),
    ("RC07", Differs(&[(0, 2), (1, 2)]), SAME_TIME),
    ("RC08", Differs(&[(0, 2), (1, 2)]), SAME_TIME),
    ("RC09", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC10", Differs(&[(0, 2), (1, 1)]), "1.75 s are 1.75 s: 1.71 per second, not 3"),
    ("RC11", Differs(&[(0, 2), (2, 1)]), OWN_TIME),
    ("RC12", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC13", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("RC14", Differs(&[(2, 2)]), NOTHING_BEFORE),
    ("FL01", Differs(&[(0, 2), (1, 2), (2, 2)]), TOO_YOUNG),
    ("FL02", Differs(&[(0, 2), (1, 2), (2, 2), (3, 3), (4, 3), (5, 4), (6, 4), (7, 4), (8, 4)]), WITHIN),
    ("FL03", Differs(&[(0, 2), (1, 2), (2, 2), (3, 3), (4, 3), (5, 4), (6, 4), (7, 4)]), WITHIN),
    ("FL04", Differs(&[(0, 2), (1, 2), (2, 2)]), TOO_YOUNG),
    ("FL05", Differs(&[(0, 2), (1, 2), (2, 2)]), TOO_YOUNG),
    ("FL06", Differs(&[(0, 2), (1, 2), (3, 2), (4, 2), (5, 2), (6, 3)]), BROKEN_RUN),
    ("FL07", Differs(&[(0, 2), (7, 2)]), BROKEN_RUN),
    ("FL08", Refuses, SHORTER_THAN_INTERVAL),
    ("FL09", Refuses, SHORTER_THAN_INTERVAL),
    ("FL10", Refuses, SHORTER_THAN_INTERVAL),
    (
        "FL11",
        Differs(&[(0, 2), (1, 2), (2, 2), (3, 2), (5, 3)]),
        "200 s and 350 s are real time, not 180 and 300",
    ),
    ("FL12", Differs(&[(0, 2), (1, 2), (2, 2), (4, 2), (5, 2), (6, 2)]), BROKEN_RUN),
    ("FL13", Differs(&[(0, 2), (1, 2), (2, 2)]), TOO_YOUNG),
    ("FL14", Differs(&[(0, 2), (1, 2), (2, 2), (3, 2)]), TOO_YOUNG),
    ("FL15", Differs(&[(0, 2), (1, 2)]), TOO_YOUNG),
    ("TG01", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("TG02", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("TG03", Differs(&[(0, 2)]), NOTHING_BEFORE),
    (
        "TG04",
        Differs(&[(0, 2), (3, 1)]),
        "a record without time is no reading; the step goes from the one before",
    ),
    ("TG05", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("TG06", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("TG07", Differs(&[(0, 2)]), NOTHING_BEFORE),
    ("DT01", Differs(&[(0, 2), (1, 1)]), "the first value for a time is kept, the second is suspect"),
    ("AG01", Differs(&[(4, 9)]), MISSING),
    ("AG02", Differs(&[(0, 9), (1, 9)]), MISSING),
    ("AG03", Differs(&[(1, 9), (2, 9)]), MISSING),
    ("AG04", Refuses, "what isn't a flag can't be written"),
    ("LONG_rate_of_change", Differs(&[(0, 2), (310, 2)]), AFTER_GAP),
    ("LONG_flat_line", Differs(&[(0, 2), (310, 2)]), BROKEN_RUN),
    (
        "LONG_aggregate",
        Differs(&[(0, 2), (299, 2), (599, 2)]),
        "a required test or the spike test isn't evaluated",
    ),
];

const NOT_FINITE: &str = "an infinite value is kept aside when it is decoded and never becomes a reading";
const NOTHING_BEFORE: &str = "nothing before it to compare with: 2, not passed";
const AFTER_GAP: &str = "the first, and the one after a gap, have nothing to be compared with: 2";
const SAME_TIME: &str = "no time has passed, so there is no rate: 2 and the reason time order";
const OWN_TIME: &str =
    "an overtaken reading is compared with the one before it in its own time: 5 in 30 s after 5";
const TOO_YOUNG: &str = "fewer real values than the threshold spans: 2, not passed";
const WITHIN: &str =
    "a range of just the tolerance is flat (0: an exact repeat); before that the run is too young";
const BROKEN_RUN: &str = "a gap breaks the run, and one value alone isn't flat";
const SHORTER_THAN_INTERVAL: &str =
    "a threshold that two readings in a row reach is a mistake in the site file";
const MISSING: &str = "a missing value is missing, whatever another test says";

/// Tests of the vectors that Claymark doesn't run, and why; the reasons are those in `claymark_model::quality`.
pub const NOT_RUN: &[(&[&str], &str)] = &[
    (&["climatology"], "the room has no seasons; what it should be is the expected span of gross range"),
    (&["attenuated_signal"], "the flat-line test with a tolerance sees the same"),
    (&["syntax"], "decoding keeps aside what can't be parsed; its own tests cover it"),
    (&["axds_valid_range"], "half-open limits aren't QARTOD's; gross range is run"),
    (
        &["rate_of_change_sd"],
        "a refill would widen the limit just when it is needed; a rate is given instead",
    ),
    (&["multi_variate"], "comparing sensors is the room's business"),
];
