//! Quality flags, reasons of quarantine, and kinds of notices, in words.

use claymark_model::quality::Flag;
use claymark_model::quarantine::Reason;
use claymark_model::reading::TestFlags;
use claymark_notice::{NoticeKind, Priority};

/// A flag in words.
#[must_use]
pub fn flag(flag: Flag) -> &'static str {
    match flag {
        Flag::Pass => "good",
        Flag::NotEvaluated => "not checked",
        Flag::Suspect => "suspect",
        Flag::Fail => "bad",
        Flag::Missing => "missing",
    }
}

/// What made a reading suspect or bad, worst first; empty for a good one.
#[must_use]
pub fn faults(tests: &TestFlags) -> Vec<&'static str> {
    let named = [
        (tests.gross_range, "outside the range"),
        (tests.spike, "a spike"),
        (tests.rate, "changes too fast"),
        (tests.flat_line, "stuck at one value"),
        (tests.gap, "after a gap"),
        (tests.syntax, "unreadable"),
    ];
    let of = move |wanted| named.into_iter().filter(move |(flag, _)| *flag == wanted).map(|(_, words)| words);
    of(Flag::Fail).chain(of(Flag::Suspect)).collect()
}

/// Why something was kept aside, to follow "kept aside:".
#[must_use]
pub fn quarantine(reason: Reason) -> &'static str {
    match reason {
        Reason::UnknownTopic => "no sensor in the site file has this topic",
        Reason::NotUtf8 => "not text",
        Reason::TooLarge => "larger than any reading",
        Reason::NotANumber => "not a number",
        Reason::NotFinite => "not a finite number",
        Reason::OutOfNumberRange => "a number too large to hold",
        Reason::BadJson => "not valid JSON",
        Reason::MissingField => "the value wasn't where the site file says",
        Reason::BadSenml => "not a SenML pack",
        Reason::BadCbor => "not valid CBOR",
        Reason::UnknownUnit => "an unknown or unfitting unit",
        Reason::BadTime => "a time that can't be read",
        Reason::FutureTime => "a time in the future",
        Reason::RetainedWithoutTime => "an old value kept by the broker, without its time",
        Reason::Conflict => "another value for the same sensor and time",
        Reason::BadLogEntry => "not a field-log entry",
        Reason::BadAnswer => "not an answer to a notice",
        Reason::Impossible => "a figure or a text that can't be meant",
        Reason::NoSuchNotice => "an answer to a notice that there never was",
        Reason::NotKept => "the store can't hold it",
    }
}

/// A kind of notice in words.
#[must_use]
pub fn kind(kind: NoticeKind) -> &'static str {
    match kind {
        NoticeKind::EveningCheck => "evening check",
        NoticeKind::Runout => "drum running dry",
        NoticeKind::Withdrawn => "all clear",
        NoticeKind::LevelDoubt => "level not believed",
        NoticeKind::ReadingsMissing => "readings missing",
        NoticeKind::Strength => "clay supply",
        NoticeKind::Water => "water",
        NoticeKind::Air => "air and oxygen",
        NoticeKind::Query => "entry asked about",
        NoticeKind::Undelivered => "somebody not reached",
        NoticeKind::Unattended => "nobody seen in the room",
        NoticeKind::Handover => "night not confirmed",
        NoticeKind::Morning => "morning summary",
        NoticeKind::TestCall => "test call",
    }
}

/// A priority in words.
#[must_use]
pub fn priority(priority: Priority) -> &'static str {
    match priority {
        Priority::Now => "at once",
        Priority::Soon => "within the hour",
        Priority::Morning => "by the next visit",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reason_has_words_of_its_own() {
        let words: std::collections::BTreeSet<_> = Reason::ALL.into_iter().map(quarantine).collect();
        assert_eq!(words.len(), Reason::ALL.len());
    }

    #[test]
    fn faults_name_the_failed_tests_before_the_suspect_ones() {
        let tests = TestFlags { spike: Flag::Suspect, flat_line: Flag::Fail, ..TestFlags::NOT_EVALUATED };
        assert_eq!(faults(&tests), ["stuck at one value", "a spike"]);
        assert!(faults(&TestFlags::NOT_EVALUATED).is_empty());
    }
}
