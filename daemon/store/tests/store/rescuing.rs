//! A store that is damaged or taken away costs only what can't be read.

use std::fs;
use std::os::unix::fs::FileExt;
use std::path::Path;

use jiff::Timestamp;

use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::quality::Flag;
use claymark_store::batch::CommitBatch;
use claymark_store::files::{OpenFiles, put_aside};
use claymark_store::rescue::{Rescue, Saved};
use claymark_store::{Reader, StoreError, Writer};

use crate::fixture::{StoreFolder, at, reading, readings, recalled};

#[test]
fn what_the_deleted_files_of_an_open_store_hold_goes_into_the_fresh_one() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.commit(&many(0..3000)).unwrap();
    writer.commit(&note("fed at nine")).unwrap();
    assert_eq!(writer.standing(), OpenFiles::AsOpened);
    for ending in ["", "-wal", "-shm", ".lock"] {
        fs::remove_file(format!("{}{ending}", barn.path().display())).unwrap();
    }
    assert_eq!(writer.standing(), OpenFiles::Gone);

    let source = writer.into_reader(at(0)).unwrap();
    let mut fresh = barn.writer();
    fresh.commit(&many(3000..3010)).unwrap();
    let saved = rescue(source, &mut fresh);
    assert_eq!((saved.readings, saved.records, saved.unreadable), (3000, 1, vec![]));
    drop(fresh);
    assert_eq!(recalled(&barn).len(), 3010);
    assert_eq!(barn.reader().recall(at(0)).log.len(), 1);
    let hours = barn.reader().rollups(Timestamp::UNIX_EPOCH, Timestamp::MAX).unwrap();
    assert_eq!(hours.iter().map(claymark_store::reader::Rollup::count).sum::<u64>(), 3010);
}

#[test]
fn a_database_that_is_moved_away_alone_takes_all_along_and_the_fresh_one_gets_all() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.commit(&many(0..500)).unwrap();
    writer.commit(&note("fed at nine")).unwrap();
    let moved = barn.path().with_file_name("moved.db");
    fs::rename(barn.path(), &moved).unwrap();
    fs::remove_file(format!("{}.lock", barn.path().display())).unwrap();
    assert_eq!(writer.standing(), OpenFiles::Gone);

    let source = writer.into_reader(at(0)).unwrap();
    let mut fresh = barn.writer();
    let saved = rescue(source, &mut fresh);
    assert_eq!((saved.readings, saved.records, saved.unreadable), (500, 1, vec![]));
    drop(fresh);
    assert_eq!(recalled(&barn).len(), 500);
    let moved = Reader::open(&moved).unwrap();
    let moved = moved.recall(at(0));
    assert_eq!((moved.readings.count(), moved.log.len()), (500, 1));
}

#[test]
fn a_file_that_is_cut_off_while_it_is_written_is_noticed() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.commit(&many(0..3000)).unwrap();
    writer.fold_log().unwrap();
    assert_eq!(writer.standing(), OpenFiles::AsOpened);
    let file = fs::OpenOptions::new().write(true).open(barn.path()).unwrap();
    file.set_len(8192).unwrap();
    assert_eq!(writer.standing(), OpenFiles::Cut);
}

#[test]
fn a_number_that_nobody_counts_up_to_is_no_notice_of_ours() {
    let barn = StoreFolder::new();
    drop(barn.writer());
    let connection = rusqlite::Connection::open(barn.path()).unwrap();
    for number in [7, i64::MAX] {
        connection
            .execute(
                "INSERT INTO delivery (notice, contact, channel, state, at) VALUES (?1, 'duty', 'mqtt', 'sent', 0)",
                [number],
            )
            .unwrap();
    }
    assert_eq!(barn.reader().last_notice().unwrap(), Some(7));

    // A row that can be read is no notice of ours, either.
    let mut writer = barn.writer();
    let numbered =
        |number| CommitBatch { notices: vec![crate::poison::asked(number, 1.0)], ..CommitBatch::default() };
    writer.commit(&numbered(8)).unwrap();
    drop(writer);
    connection.execute("UPDATE notice SET number = ?1 WHERE number = 8", [i64::MAX]).unwrap();
    assert_eq!(barn.reader().recall(Timestamp::UNIX_EPOCH).notices, []);
}

#[test]
fn a_log_that_is_deleted_beside_the_database_is_put_into_it_first() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.commit(&many(0..500)).unwrap();
    fs::remove_file(format!("{}-wal", barn.path().display())).unwrap();
    assert_eq!(writer.standing(), OpenFiles::LogGone);
    writer.fold_log().unwrap();
    drop(writer);
    assert_eq!(barn.writer().standing(), OpenFiles::AsOpened);
    assert_eq!(recalled(&barn).len(), 500);
}

#[test]
fn a_damaged_page_costs_what_stood_on_it_and_the_rest_goes_over() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    for first in (0..40_000).step_by(4000) {
        writer.commit(&many(first..first + 4000)).unwrap();
    }
    writer.commit(&note("fed at nine")).unwrap();
    writer.fold_log().unwrap();
    drop(writer);
    let damaged = damage_a_page_of_readings(&barn.path());

    // The room is told what can be read, on both sides of the damage.
    let reader = barn.reader();
    let told: Vec<_> = reader.recall(Timestamp::UNIX_EPOCH).readings.collect();
    let faults: Vec<_> = told.iter().filter_map(|reading| reading.as_ref().err()).collect();
    assert!(
        !faults.is_empty() && faults.iter().all(|fault| matches!(fault, StoreError::Damaged(_))),
        "{faults:?}"
    );
    let known: Vec<_> = told.iter().filter_map(|reading| reading.as_ref().ok()).collect();
    assert_eq!(known.first().unwrap().reading.at, at(0));
    assert_eq!(known.last().unwrap().reading.at, at(39_999 * 1000));
    drop(reader);

    let aside = put_aside(&barn.path(), at(0)).unwrap();
    assert!(aside.to_str().unwrap().ends_with("claymark.db.damaged-20270420T140000Z"), "{aside:?}");
    let mut fresh = barn.writer();
    let saved = rescue(Reader::open(&aside).unwrap(), &mut fresh);
    let lost = 40_000 - saved.readings;
    assert!((1..600).contains(&lost), "a page of {} bytes and five minutes around it: {lost}", damaged);
    assert_eq!((saved.records, saved.unreadable.len()), (1, 1), "{:?}", saved.unreadable);
    drop(fresh);
    assert_eq!(recalled(&barn).len(), saved.readings);
}

#[test]
fn what_has_the_wrong_name_is_not_ours_to_move() {
    let barn = StoreFolder::new();
    fs::write(
        barn.path(),
        "a letter to the supplier, long enough to be read as a header, and then some more of it",
    )
    .unwrap();
    assert!(matches!(Writer::open(&barn.path(), &barn.site), Err(StoreError::NoDatabase(_))));
    assert!(!claymark_store::files::was_ours(&barn.path()));
    assert!(fs::read_to_string(barn.path()).unwrap().starts_with("a letter"));
}

#[test]
fn two_stores_that_are_put_aside_in_one_second_keep_their_own_names() {
    let barn = StoreFolder::new();
    let names: Vec<_> = (0..2)
        .map(|_| {
            drop(barn.writer());
            put_aside(&barn.path(), at(0)).unwrap()
        })
        .collect();
    assert_ne!(names[0], names[1]);
    assert!(names.iter().all(|name| name.exists()));
}

fn rescue(source: Reader, into: &mut Writer) -> Saved {
    let mut rescue = Rescue::new(source, at(0));
    loop {
        if let Some(saved) = rescue.step(into).unwrap() {
            return saved;
        }
    }
}

/// One a second.
fn many(seconds: std::ops::Range<i64>) -> CommitBatch {
    readings(seconds.map(|s| reading("drum-a-level", s * 1000, 400.0, Flag::Pass)).collect())
}

fn note(text: &str) -> CommitBatch {
    let deed = Deed::Note { text: Some(text.to_owned()) };
    let entry =
        LogEntry { key: text.to_owned(), at: at(5), received_at: at(6), by: None, replaces: None, deed };
    CommitBatch { log: vec![entry], ..CommitBatch::default() }
}

/// Overwrites a leaf in the middle of the table of readings; the size of a page.
fn damage_a_page_of_readings(path: &Path) -> u64 {
    let connection = rusqlite::Connection::open(path).unwrap();
    let size: u64 = connection.query_row("PRAGMA page_size", [], |row| row.get(0)).unwrap();
    drop(connection);
    let bytes = fs::read(path).unwrap();
    let size_bytes = usize::try_from(size).unwrap();
    // 10: a leaf of an index, which is what a table without rowid is made of.
    let leaves: Vec<usize> =
        (1..bytes.len() / size_bytes).filter(|page| bytes[page * size_bytes] == 10).collect();
    let full = |page: &&usize| {
        u16::from_be_bytes([bytes[**page * size_bytes + 3], bytes[**page * size_bytes + 4]]) > 60
    };
    let full: Vec<&usize> = leaves.iter().filter(full).collect();
    let page = *full[full.len() / 2] as u64;
    let file = fs::OpenOptions::new().write(true).open(path).unwrap();
    file.write_all_at(&vec![0xA5; size_bytes], page * size).unwrap();
    size
}
