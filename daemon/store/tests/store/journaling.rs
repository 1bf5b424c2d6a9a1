//! The journal names what a forwarder must send, until it has.

use claymark_model::quality::Flag;
use claymark_store::Reader;
use claymark_store::batch::CommitBatch;
use claymark_store::journal::{JournalTable, Rejected};
use claymark_store::reader::RawReading;

use crate::fixture::{StoreFolder, at, reading, readings};
use crate::keeping::full_batch;

fn named(reader: &Reader) -> Vec<RawReading> {
    let entries = reader.journal(usize::MAX).unwrap();
    let names = entries
        .into_iter()
        .filter(|entry| entry.what == JournalTable::Readings)
        .flat_map(|entry| entry.names);
    let mut found = Vec::new();
    reader.named_readings(names.collect(), |row| found.push(row)).unwrap();
    found
}

#[test]
fn nothing_is_noted_unless_somebody_forwards() {
    let barn = StoreFolder::new();
    barn.writer().commit(&full_batch()).unwrap();
    assert_eq!(barn.reader().waiting().unwrap(), None);
}

#[test]
fn new_late_and_settled_readings_are_named_and_repetitions_are_not() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.keep_journal(true).unwrap();
    let waits = reading("t1-ntu", 60_000, 61.5, Flag::NotEvaluated);
    writer.commit(&readings(vec![waits.clone()])).unwrap();
    writer.commit(&readings(vec![waits])).unwrap();
    let late = reading("t1-ntu", 0, 60.0, Flag::Pass);
    writer.commit(&readings(vec![late, reading("t1-ntu", 60_000, 61.5, Flag::Suspect)])).unwrap();

    let found: Vec<_> = named(&barn.reader()).iter().map(|row| (row.at, row.value, row.flag)).collect();
    let settled = (at(60_000), 61.5, Flag::Suspect);
    assert_eq!(found, vec![(at(0), 60.0, Flag::Pass), settled], "the row as it is now");
    let waiting = barn.reader().waiting().unwrap().unwrap();
    assert_eq!((waiting.entries, waiting.oldest), (2, at(60_250)));
}

#[test]
fn named_readings_are_found_wherever_they_lie_and_no_others() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.keep_journal(true).unwrap();
    let wanted = [0, 1, 2, 40, 41, 90, 95, 400, 990];
    let later = |ms: &i64| wanted.contains(ms);
    let of = |times: Vec<i64>| {
        readings(times.into_iter().map(|ms| reading("t1-ntu", ms, 60.0, Flag::Pass)).collect())
    };
    writer.commit(&of((0..1000).filter(|ms| !later(ms)).collect())).unwrap();
    writer.forwarded(1, &[]).unwrap();
    writer.commit(&of(wanted.to_vec())).unwrap();
    let start = at(0).as_millisecond();
    let found =
        || -> Vec<i64> { named(&barn.reader()).iter().map(|row| row.at.as_millisecond() - start).collect() };
    assert_eq!(found(), wanted);
    // Somebody may have taken rows away meanwhile.
    let away = format!(
        "DELETE FROM reading WHERE at - {start} IN (0, 1, 41, 96, 990) OR at - {start} BETWEEN 95 AND 400"
    );
    crate::sharing::sqlite3(&barn.path(), &away);
    assert_eq!(found(), [2, 40, 90]);
}

#[test]
fn every_kind_of_record_is_named_by_its_time() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.keep_journal(true).unwrap();
    let batch = full_batch();
    writer.commit(&batch).unwrap();
    let entries = barn.reader().journal(1).unwrap();
    let mut kinds: Vec<JournalTable> = entries.iter().map(|entry| entry.what).collect();
    kinds.sort();
    let all = [
        JournalTable::Readings,
        JournalTable::Forecasts,
        JournalTable::Log,
        JournalTable::Happenings,
        JournalTable::Marks,
        JournalTable::Yields,
        JournalTable::Notices,
        JournalTable::Answers,
        JournalTable::Quarantine,
    ];
    assert_eq!(kinds, all, "a commit is never cut");
    for entry in entries {
        for name in entry.names {
            let (from, to) =
                (name.time().unwrap(), name.time().unwrap() + jiff::SignedDuration::from_millis(1));
            let reader = barn.reader();
            let rows = match entry.what {
                JournalTable::Readings => named(&reader).len(),
                JournalTable::Forecasts => reader.forecasts(from, to).unwrap().len(),
                JournalTable::Log => reader.log(from, to).unwrap().len(),
                JournalTable::Happenings => reader.happenings(from, to).unwrap().len(),
                JournalTable::Marks => reader.marks(from, to).unwrap().len(),
                JournalTable::Yields => reader.yields(from, to).unwrap().len(),
                JournalTable::Notices => reader.notices(from, to).unwrap().len(),
                JournalTable::Answers => reader.answers(from, to).unwrap().len(),
                JournalTable::Quarantine => reader.quarantine_counts(from, to).unwrap().len(),
            };
            assert!(rows > 0, "{:?} of {from}", entry.what);
        }
    }
    // A delivery that changes later names its notice again.
    writer.forwarded(1, &[]).unwrap();
    writer.commit(&CommitBatch { deliveries: batch.deliveries, ..CommitBatch::default() }).unwrap();
    let again = barn.reader().journal(1).unwrap();
    assert_eq!(again.iter().map(|entry| entry.what).collect::<Vec<_>>(), vec![JournalTable::Notices]);
}

#[test]
fn what_was_forwarded_is_forgotten_and_what_was_rejected_is_kept_with_its_reason() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.keep_journal(true).unwrap();
    for ms in 0..3 {
        writer.commit(&readings(vec![reading("t1-ntu", ms, 60.0, Flag::Pass)])).unwrap();
    }
    let rejected = Rejected { at: at(9), point: "reading,…".into(), reason: "beyond retention".into() };
    writer.forwarded(2, std::slice::from_ref(&rejected)).unwrap();
    let left: Vec<u64> =
        barn.reader().journal(usize::MAX).unwrap().iter().map(|entry| entry.number).collect();
    assert_eq!(left, vec![3]);
    assert_eq!(barn.reader().rejected(9).unwrap(), vec![rejected]);

    // After a restart it goes on, and without a forwarder it is emptied.
    drop(writer);
    let mut writer = barn.writer();
    writer.keep_journal(true).unwrap();
    writer.commit(&readings(vec![reading("t1-ntu", 10, 60.0, Flag::Pass)])).unwrap();
    assert_eq!(named(&barn.reader()).len(), 2);
    writer.keep_journal(false).unwrap();
    assert_eq!(barn.reader().waiting().unwrap(), None);
}

#[test]
fn a_commit_that_fails_names_nothing() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.keep_journal(true).unwrap();
    // The session's time is no record that could be left out.
    crate::sharing::sqlite3(
        &barn.path(),
        "CREATE TRIGGER no BEFORE INSERT ON session BEGIN SELECT raise(ABORT, 'no'); END",
    );
    writer.commit(&full_batch()).unwrap_err();
    assert_eq!(barn.reader().waiting().unwrap(), None);
    crate::sharing::sqlite3(&barn.path(), "DROP TRIGGER no");
    writer.commit(&readings(vec![reading("t1-ntu", 0, 60.0, Flag::Pass)])).unwrap();
    assert_eq!(named(&barn.reader()).len(), 1);
    assert_eq!(
        barn.reader().journal(usize::MAX).unwrap().len(),
        1,
        "and nothing of the failed one comes later"
    );
}
