//! Finds the records of a batch that can't be kept, so that all others can.

use claymark_model::quarantine::{KEPT_PAYLOAD_BYTES, Quarantined, Reason};
use jiff::Timestamp;
use serde::Serialize;

use crate::batch::{CommitBatch, DeliveryState};

/// How many records a batch holds; they are numbered through in the order of its fields.
pub(super) fn count(batch: &CommitBatch) -> usize {
    let CommitBatch {
        readings,
        quarantined,
        log,
        answers,
        forecasts,
        happenings,
        marks,
        yields,
        notices,
        deliveries,
        session_seen: _,
    } = batch;
    [
        readings.len(),
        quarantined.len(),
        log.len(),
        answers.len(),
        forecasts.len(),
        happenings.len(),
        marks.len(),
        yields.len(),
        notices.len(),
        deliveries.len(),
    ]
    .into_iter()
    .sum()
}

/// The records of these numbers, which must ascend.
pub(super) fn pick(batch: &CommitBatch, wanted: &[usize]) -> CommitBatch {
    let mut picker = Picker { wanted, first: 0 };
    CommitBatch {
        readings: picker.of(&batch.readings),
        quarantined: picker.of(&batch.quarantined),
        log: picker.of(&batch.log),
        answers: picker.of(&batch.answers),
        forecasts: picker.of(&batch.forecasts),
        happenings: picker.of(&batch.happenings),
        marks: picker.of(&batch.marks),
        yields: picker.of(&batch.yields),
        notices: picker.of(&batch.notices),
        deliveries: picker.of(&batch.deliveries),
        session_seen: batch.session_seen,
    }
}

struct Picker<'a> {
    wanted: &'a [usize],
    /// Number of the first record of the next list.
    first: usize,
}

impl Picker<'_> {
    fn of<T: Clone>(&mut self, list: &[T]) -> Vec<T> {
        let after = self.first + list.len();
        let (here, rest) = self.wanted.split_at(self.wanted.partition_point(|number| *number < after));
        let picked = here.iter().filter_map(|number| list.get(number - self.first).cloned()).collect();
        (self.wanted, self.first) = (rest, after);
        picked
    }
}

/// The numbers of the records that hold a figure which JSON and SQLite would write as null: it couldn't be read back.
/// Readings are looked at one by one where they are written.
pub(super) fn not_finite(batch: &CommitBatch) -> Vec<usize> {
    let unlooked = batch.readings.len() + batch.quarantined.len();
    let log = batch.log.iter().map(|entry| finite(&entry.deed));
    let answers = batch.answers.iter().map(|_| true);
    let forecasts = batch.forecasts.iter().map(finite);
    let happenings = batch.happenings.iter().map(finite);
    let marks = batch.marks.iter().map(finite);
    let yields = batch.yields.iter().map(finite);
    let notices = batch.notices.iter().map(|issued| finite(&issued.notice.content));
    let all = log.chain(answers).chain(forecasts).chain(happenings).chain(marks).chain(yields).chain(notices);
    (unlooked..).zip(all).filter(|(_, finite)| !finite).map(|(number, _)| number).collect()
}

fn finite<T: Serialize>(record: &T) -> bool {
    // CBOR keeps what isn't finite, JSON doesn't. What it can't write at all, writing it will show.
    ciborium::Value::serialized(record).as_ref().map_or(true, all_finite)
}

fn all_finite(value: &ciborium::Value) -> bool {
    value.as_float().is_none_or(f64::is_finite)
        && value.as_array().is_none_or(|items| items.iter().all(all_finite))
        && value.as_map().is_none_or(|members| members.iter().all(|(_, member)| all_finite(member)))
}

/// The only record of `single`, for the quarantine.
pub(super) fn aside(single: &CommitBatch, reason: Reason, why: &str) -> Option<Quarantined> {
    let of = |what: &str, at: Timestamp, record: String| {
        let (length, mut payload) = (record.len(), record.into_bytes());
        payload.truncate(KEPT_PAYLOAD_BYTES);
        Quarantined {
            received_at: at,
            topic: String::new(),
            sensor: None,
            reason,
            detail: format!("{what}: {why}"),
            payload,
            payload_length: length,
        }
    };
    let readings = single.readings.iter().map(|new| of("reading", new.received_at, format!("{new:?}")));
    let aside = single.quarantined.iter().map(|new| of("quarantined", new.received_at, format!("{new:?}")));
    let log = single.log.iter().map(|new| of("field-log entry", new.received_at, format!("{new:?}")));
    let answers = single.answers.iter().map(|new| of("answer", new.at, format!("{new:?}")));
    let forecasts = single.forecasts.iter().map(|new| of("forecast", new.at, format!("{new:?}")));
    let happenings = single.happenings.iter().map(|new| of("happening", new.at, format!("{new:?}")));
    let marks = single.marks.iter().map(|new| of("mark forecast", new.made_at, format!("{new:?}")));
    let yields = single.yields.iter().map(|new| of("clay yield", new.learned_at, format!("{new:?}")));
    let notices = single.notices.iter().map(|new| of("notice", new.notice.at, format!("{new:?}")));
    let deliveries = single.deliveries.iter().map(|new| {
        let at = match &new.state {
            DeliveryState::Pending { next_try, .. } | DeliveryState::Unanswered { next_try, .. } => *next_try,
            DeliveryState::Sent { at, .. } | DeliveryState::GivenUp { at, .. } => *at,
        };
        of("delivery", at, format!("{new:?}"))
    });
    let first = readings.chain(aside).chain(log).chain(answers).chain(forecasts).chain(happenings);
    first.chain(marks).chain(yields).chain(notices).chain(deliveries).next()
}
