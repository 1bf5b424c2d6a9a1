//! Where Claymark's flags differ from those of ioos_qc 3.0.0: each a rule of ours, with its reason, what the manuals
//! say, and the flags expected instead.
//!
//! The manuals that apply are those for dissolved oxygen (v2.1, 2018), temperature and salinity (v2.0, 2016) and ocean
//! optics. Only the title pages and contents of the first two could be opened; the rules are taken from their sister for point
//! sensors of water chemistry, the pH manual (v1.0, 2019, doi 10.25923/111k-br08, sections 3.1 to 3.3.1, opened), and
//! where that is unclear from the wind manual (opened).

use Claymark::{Differs, Refuses};

/// The Claymark column of an exception.
#[derive(Clone, Copy)]
pub enum Claymark {
    /// Flags at these places, counted from 0; all others are those of ioos_qc.
    Differs(&'static [(usize, u8)]),
    /// Thresholds or values like these can't exist: `claymark check` refuses them with such words.
    Refuses(&'static str),
}

/// A rule of ours, and the vectors that show it.
pub struct ExceptionRule {
    /// Why.
    pub why: &'static str,
    /// What the standard says of it.
    pub standard: &'static str,
    /// (vector, what Claymark says).
    pub shown_by: &'static [(&'static str, Claymark)],
}

/// Every rule.
pub const RULES: &[ExceptionRule] = &[
    ExceptionRule {
        why: "nothing before it to compare with: 2, not passed",
        standard: "pH manual, table 3-1: 2 is for what isn't evaluated; its test 6 gives 2 where a neighbour lacks, \
                   tests 1 and 7 don't say; the library passes",
        shown_by: &[
            ("RC01", Differs(&[(0, 2)])),
            ("RC02", Differs(&[(0, 2)])),
            ("RC03", Differs(&[(0, 2)])),
            ("RC04", Differs(&[(0, 2)])),
            ("RC05", Differs(&[(0, 2)])),
            ("RC06", Differs(&[(0, 2), (2, 2)])),
            ("RC09", Differs(&[(0, 2)])),
            ("RC12", Differs(&[(0, 2)])),
            ("RC13", Differs(&[(0, 2)])),
            ("RC14", Differs(&[(2, 2)])),
            ("LONG_rate_of_change", Differs(&[(0, 2), (310, 2)])),
            ("TG01", Differs(&[(0, 2)])),
            ("TG02", Differs(&[(0, 2)])),
            ("TG03", Differs(&[(0, 2)])),
            ("TG05", Differs(&[(0, 2)])),
            ("TG06", Differs(&[(0, 2)])),
            ("TG07", Differs(&[(0, 2)])),
        ],
    },
    ExceptionRule {
        why: "no time has passed, so there is no rate: 2 and the reason time order",
        standard: "pH manual, test 7: doesn't know the case",
        shown_by: &[("RC07", Differs(&[(0, 2), (1, 2)])), ("RC08", Differs(&[(0, 2), (1, 2)]))],
    },
    ExceptionRule {
        why: "time is real time: 1.75 s are 1.75 s, and a flat line of 200 s lasts 200 s; the library cuts both",
        standard: "pH manual, test 8: counts readings (3 and 5 before), and test 7 takes them one by one",
        shown_by: &[("RC10", Differs(&[(0, 2), (1, 1)])), ("FL11", Differs(&[(3, 1), (5, 3)]))],
    },
    ExceptionRule {
        why: "an overtaken reading is compared with the one before it in its own time: 5 in 30 s after 5",
        standard: "pH manual, test 7: compares a reading with the one before it; one that was overtaken isn't spoken of",
        shown_by: &[("RC11", Differs(&[(0, 2), (2, 1)]))],
    },
    ExceptionRule {
        why: "a range of just EPS is flat, and an EPS of 0 asks for an exact repeat; the library asks for less than it",
        standard: "wind manual, test 8: more than EPS breaks the run (the pH manual writes < EPS)",
        shown_by: &[
            ("FL02", Differs(&[(3, 3), (4, 3), (5, 4), (6, 4), (7, 4), (8, 4)])),
            ("FL03", Differs(&[(3, 3), (4, 3), (5, 4), (6, 4), (7, 4)])),
        ],
    },
    ExceptionRule {
        why: "a gap breaks the run, and one value alone isn't flat",
        standard: "pH manual, test 8: all of the readings before lie within EPS, so each has to be there",
        shown_by: &[
            ("FL06", Differs(&[(3, 1), (4, 1), (5, 1), (6, 3)])),
            ("FL07", Differs(&[(7, 1)])),
            ("FL12", Differs(&[(4, 1), (5, 1), (6, 1)])),
            ("LONG_flat_line", Differs(&[(310, 1)])),
        ],
    },
    ExceptionRule {
        why: "a threshold that two readings in a row reach is a mistake in the site file",
        standard: "pH manual, test 8: examples of 3 and 5 readings before; one isn't excluded",
        shown_by: &[
            ("FL08", Refuses("60 s is shorter than the sensor's interval of 60 s")),
            ("FL09", Refuses("60 s is shorter than the sensor's interval of 60 s")),
            ("FL10", Refuses("30 s is shorter than the sensor's interval of 60 s")),
        ],
    },
    ExceptionRule {
        why: "an infinite value is kept aside when it is decoded and never becomes a reading",
        standard: "pH manual, test 2: what can't be parsed fails there",
        shown_by: &[("GR04", Differs(&[(1, 9), (2, 9)]))],
    },
    ExceptionRule {
        why: "a reversed or empty span, and suspect beyond fail, are mistakes in the site file",
        standard: "pH manual, tests 4 and 6: thresholds are the operator's to check (its own example of test 4 is reversed)",
        shown_by: &[
            ("GR05", Refuses("runs from 20 to 0")),
            ("GR08", Refuses("runs from 7 to 7")),
            ("SP21", Refuses("suspect at 6 comes after fail at 3")),
        ],
    },
    ExceptionRule {
        why: "without thresholds a test isn't run: 2",
        standard: "pH manual, table 3-1: not evaluated",
        shown_by: &[("SP14", Differs(&[(1, 2)]))],
    },
    ExceptionRule {
        why: "a record without time is no reading; the step goes from the one before",
        standard: "pH manual, test 2: what can't be parsed fails there",
        shown_by: &[("TG04", Differs(&[(0, 2), (3, 1)]))],
    },
    ExceptionRule {
        why: "the first value for a time is kept, the second is suspect",
        standard: "none of the manuals; the library's test is Argo's",
        shown_by: &[("DT01", Differs(&[(0, 2), (1, 1)]))],
    },
    ExceptionRule {
        why: "a missing value is missing, whatever another test says",
        standard: "pH manual, table 3-1: 9 is a placeholder for what isn't there; no order of flags was found in a manual",
        shown_by: &[
            ("AG01", Differs(&[(4, 9)])),
            ("AG02", Differs(&[(0, 9), (1, 9)])),
            ("AG03", Differs(&[(1, 9), (2, 9)])),
        ],
    },
    ExceptionRule {
        why: "what isn't a flag can't be written",
        standard: "pH manual, table 3-1: 1, 2, 3, 4 and 9",
        shown_by: &[("AG04", Refuses("0 is not a QARTOD flag"))],
    },
    ExceptionRule {
        why: "1 only where each required test returned 1, and the spike test where it is asked",
        standard: "pH manual, section 3.2: tests 1 to 4 are required, 5 to 8 strongly recommended",
        shown_by: &[("LONG_aggregate", Differs(&[(0, 2), (299, 2), (599, 2)]))],
    },
];

/// What both refuse: (vector, how the library's words begin, what ours say).
pub const BOTH_REFUSE: &[(&str, &str, &str)] = &[
    ("GR06", "ValueError: Suspect Span", "reaches outside the sensor's own 0 to 20"),
    ("SP20", "ValueError: Unknown method", "no spike method 'median'"),
    ("AG05", "ValueError: Vectors are not the same size", "rows of different length"),
];

/// Where the flags differ from the manuals' coding tables read literally: Claymark refuses such thresholds.
pub const NOT_AS_THE_MANUALS: &[&str] = &["GR06", "GR08", "SP21", "FL08"];

/// Tests of the vectors that Claymark doesn't run, and why; the reasons are those in `claymark_model::quality`.
pub const NOT_RUN: &[(&[&str], &str)] = &[
    (&["climatology"], "the room has no seasons; what it should be is the suspect span of gross range"),
    (&["attenuated_signal"], "the flat-line test with an EPS sees the same"),
    (&["syntax"], "decoding keeps aside what can't be parsed; its own tests cover it"),
    (&["axds_valid_range"], "half-open limits aren't QARTOD's; gross range is run"),
    (
        &["rate_of_change_sd"],
        "a refill would widen the limit just when it is needed; a rate is given instead",
    ),
    (&["multi_variate"], "comparing sensors is the room's business"),
];
