//! One writer, any number of readers, and the `sqlite3` tool beside them.

use std::fs;
use std::path::Path;
use std::process::Command;

use claymark_core::quality::Flag;
use claymark_store::{Reader, StoreError, Writer};

use crate::fixture::{Barn, reading, readings};

#[test]
fn a_second_daemon_on_the_same_store_is_refused_and_told_what_to_do() {
    let barn = Barn::new();
    let first = barn.writer();
    let refused = Writer::open(&barn.path(), &barn.site).unwrap_err();
    assert_eq!(
        refused.to_string(),
        format!(
            "another Claymark (process {}) is already writing to {}. Stop that one first \
             (`systemctl stop claymark`), or give this one a store of its own",
            std::process::id(),
            barn.path().display()
        )
    );
    barn.reader().site().unwrap();
    drop(first);
    barn.writer();
}

#[test]
fn the_sqlite3_tool_reads_while_the_daemon_writes() {
    let barn = Barn::new();
    let mut writer = barn.writer();
    writer.commit(&readings(vec![reading("t1-ntu", 0, 61.5, Flag::Pass)])).unwrap();
    assert_eq!(
        sqlite3(&barn.path(), "SELECT * FROM reading_v"),
        "2027-04-20T14:00:00.000Z|t1-ntu|tank:t1|turbidity|61.5|NTU|1|0.25\n"
    );
    writer.commit(&readings(vec![reading("t1-ntu", 1_000, 62.5, Flag::Pass)])).unwrap();
    assert_eq!(
        sqlite3(&barn.path(), "SELECT hour, sensor, usable, mean FROM rollup_v"),
        "2027-04-20T14:00Z|t1-ntu|2|62.0\n"
    );
    assert!(sqlite3(&barn.path(), ".schema reading").contains("-- when it was measured"));
    for view in ["quarantine_v", "field_log_v", "forecast_v", "happening_v", "notice_v", "delivery_v"] {
        assert_eq!(sqlite3(&barn.path(), &format!("SELECT count(*) FROM {view}")), "0\n");
    }
    assert_eq!(
        sqlite3(&barn.path(), "PRAGMA journal_mode; PRAGMA auto_vacuum; PRAGMA integrity_check"),
        "wal\n2\nok\n"
    );
}

#[test]
fn a_missing_or_foreign_file_is_named_and_left_alone() {
    let barn = Barn::new();
    assert!(matches!(Reader::open(&barn.path()), Err(StoreError::Missing(path)) if path == barn.path()));
    assert!(!barn.path().exists());

    let text = barn.dir.path().join("notes.txt");
    fs::write(&text, "not a database at all, but long enough to be read as one would be".repeat(40)).unwrap();
    let other = barn.dir.path().join("other.db");
    sqlite3(&other, "CREATE TABLE t (a); PRAGMA user_version = 1");
    for path in [text, other] {
        let before = fs::read(&path).unwrap();
        assert!(matches!(Reader::open(&path), Err(StoreError::Foreign(_))), "{path:?}");
        assert!(matches!(Writer::open(&path, &barn.site), Err(StoreError::Foreign(_))), "{path:?}");
        assert_eq!(fs::read(&path).unwrap(), before);
    }
}

#[test]
fn a_store_of_a_newer_version_is_refused_and_left_alone() {
    let barn = Barn::new();
    drop(barn.writer());
    sqlite3(&barn.path(), "PRAGMA user_version = 99");
    let messages =
        [Reader::open(&barn.path()).unwrap_err(), Writer::open(&barn.path(), &barn.site).unwrap_err()];
    for message in messages {
        assert!(matches!(message, StoreError::Newer { found: 99, known: 1, .. }), "{message}");
    }
    assert_eq!(sqlite3(&barn.path(), "PRAGMA user_version"), "99\n");
}

fn sqlite3(path: &Path, sql: &str) -> String {
    let output = Command::new("sqlite3").arg("-batch").arg(path).arg(sql).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}
