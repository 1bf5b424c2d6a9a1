//! One writer, any number of readers, and the `sqlite3` tool beside them.

use std::fs::{self, Permissions};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::Command;

use claymark_model::doubt::{Grounds, Missing, NoLevel, WhyDoubted, WhyUnknown};
use claymark_model::forecast::Outlook;
use claymark_model::happening::What;
use claymark_model::quality::Flag;
use claymark_store::{Reader, StoreError, Writer};

use crate::fixture::{StoreFolder, at, reading, readings, recalled};

#[test]
fn a_second_daemon_on_the_same_store_is_refused_and_told_what_to_do() {
    let barn = StoreFolder::new();
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
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.commit(&readings(vec![reading("t1-ntu", 0, 61.5, Flag::Pass)])).unwrap();
    assert_eq!(
        sqlite3(&barn.path(), "SELECT * FROM reading_v"),
        "2027-04-20T14:00:00.000Z|t1-ntu|tank:t1|turbidity|61.5|NTU|1|0.25|0.0\n"
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
    let barn = StoreFolder::new();
    assert!(matches!(Reader::open(&barn.path()), Err(StoreError::Missing(path)) if path == barn.path()));
    assert!(!barn.path().exists());

    let text = barn.dir.path().join("notes.txt");
    fs::write(&text, "not a database at all, but long enough to be read as one would be".repeat(40)).unwrap();
    let other = barn.dir.path().join("other.db");
    sqlite3(&other, "CREATE TABLE t (a); PRAGMA user_version = 1");
    for path in [text, other] {
        let before = fs::read(&path).unwrap();
        assert!(
            matches!(Reader::open(&path), Err(StoreError::Foreign(_) | StoreError::NoDatabase(_))),
            "{path:?}"
        );
        assert!(
            matches!(
                Writer::open(&path, &barn.site),
                Err(StoreError::Foreign(_) | StoreError::NoDatabase(_))
            ),
            "{path:?}"
        );
        assert_eq!(fs::read(&path).unwrap(), before);
    }
}

#[test]
fn a_reader_asks_for_the_daemon_where_the_store_is_of_an_older_version() {
    let barn = StoreFolder::new();
    drop(barn.writer());
    sqlite3(&barn.path(), "PRAGMA user_version = 0");
    let message = Reader::open(&barn.path()).unwrap_err();
    assert!(matches!(message, StoreError::Older { found: 0, known: 9, .. }), "{message}");
    assert!(message.to_string().contains("`claymark run` once"), "{message}");
}

#[test]
fn a_copy_of_the_file_alone_is_enough_where_nothing_may_be_written() {
    let barn = StoreFolder::new();
    let row = reading("t1-ntu", 0, 61.5, Flag::Pass);
    barn.writer().commit(&readings(vec![row.clone()])).unwrap();
    // Percent and question mark mean something in SQLite's URIs.
    let folder = barn.dir.path().join("50 % off?");
    fs::create_dir(&folder).unwrap();
    let copy = folder.join("claymark.db");
    fs::copy(barn.path(), &copy).unwrap();
    for (path, mode) in [(barn.dir.path(), 0o555), (&folder, 0o555), (&copy, 0o444)] {
        allow(path, mode);
    }
    assert_eq!(as_somebody_else(&copy), "1 readings\n");

    // With newer data beside it that may not be read, silence would pass for completeness.
    let log = folder.join("claymark.db-wal");
    allow(&folder, 0o755);
    fs::write(&log, "newer data").unwrap();
    allow(&log, 0o000);
    allow(&folder, 0o555);
    let refused = as_somebody_else(&copy);
    allow(&folder, 0o755);
    assert!(refused.contains("claymark.db-wal beside it"), "{refused}");
}

/// Runs [`child_that_reads`] as a user who owns nothing here.
fn as_somebody_else(store: &Path) -> String {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--exact", "sharing::child_that_reads", "--ignored", "--nocapture"]).env(STORE, store);
    if own_user() == 0 {
        command.uid(NOBODY).gid(NOBODY);
    }
    let output = command.output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    let answer = said.split(ANSWER).nth(1);
    answer.unwrap_or_else(|| panic!("{said} {}", String::from_utf8_lossy(&output.stderr))).to_owned()
}

#[test]
#[ignore = "runs as the child of the test above, as another user"]
fn child_that_reads() {
    let Some(store) = std::env::var_os(STORE) else { return };
    let answer = match Reader::open(Path::new(&store)) {
        Ok(reader) => {
            format!("{} readings", reader.recall(at(0)).readings.map(Result::unwrap).count())
        }
        Err(error) => error.to_string(),
    };
    println!("{ANSWER}{answer}\n{ANSWER}");
}

fn own_user() -> u32 {
    fs::metadata("/proc/self").unwrap().uid()
}

fn allow(path: &Path, mode: u32) {
    fs::set_permissions(path, Permissions::from_mode(mode)).unwrap();
}

#[test]
fn a_store_of_the_first_version_is_brought_up_to_date_with_all_that_it_holds() {
    let barn = StoreFolder::new();
    barn.writer().commit(&readings(vec![reading("t1-ntu", 0, 60.0, Flag::Pass)])).unwrap();
    let before = recalled(&barn);
    sqlite3(
        &barn.path(),
        "ALTER TABLE answer DROP COLUMN there_by; DROP VIEW notice_v; CREATE VIEW notice_v AS SELECT 1; \
         ALTER TABLE notice DROP COLUMN calling; ALTER TABLE notice DROP COLUMN tonight; \
         DROP INDEX reading_ahead; DROP VIEW reading_v; ALTER TABLE reading DROP COLUMN ahead; CREATE VIEW reading_v AS SELECT 1; \
         DROP VIEW clay_yield_v; DROP TABLE clay_yield; DROP VIEW rejected_v; DROP TABLE rejected; DROP TABLE journal; DROP VIEW mark_forecast_v; DROP TABLE mark_forecast; \
         DROP INDEX delivery_pending; DROP VIEW delivery_v; ALTER TABLE delivery DROP COLUMN times; \
         CREATE INDEX delivery_pending ON delivery (state); CREATE VIEW delivery_v AS SELECT 1; \
         PRAGMA user_version = 1",
    );
    let mut writer = barn.writer();
    assert_eq!(recalled(&barn), before);
    writer.keep_journal(true).unwrap();
    writer.commit(&readings(vec![reading("t1-ntu", 1, 60.0, Flag::Pass)])).unwrap();
    assert_eq!(barn.reader().waiting().unwrap().unwrap().entries, 1);
}

#[test]
fn a_store_of_a_newer_version_is_refused_and_left_alone() {
    let barn = StoreFolder::new();
    drop(barn.writer());
    sqlite3(&barn.path(), "PRAGMA user_version = 99");
    let messages =
        [Reader::open(&barn.path()).unwrap_err(), Writer::open(&barn.path(), &barn.site).unwrap_err()];
    for message in messages {
        assert!(matches!(message, StoreError::Newer { found: 99, known: 9, .. }), "{message}");
    }
    assert_eq!(sqlite3(&barn.path(), "PRAGMA user_version"), "99\n");
}

pub fn sqlite3(path: &Path, sql: &str) -> String {
    let output = Command::new("sqlite3").arg("-batch").arg(path).arg(sql).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

const STORE: &str = "CLAYMARK_TEST_STORE";
const ANSWER: &str = "<answer>";
/// As Debian numbers the user nobody.
const NOBODY: u32 = 65_534;

#[test]
fn reasons_that_the_version_before_kept_as_sentences_are_read_as_it_wrote_them() {
    let barn = StoreFolder::new();
    drop(barn.writer());
    let (first, second) = (at(0).as_millisecond(), at(1).as_millisecond());
    sqlite3(
        &barn.path(),
        &format!(
            "INSERT INTO forecast (at, about, id, in_use, why) VALUES ({first}, 'drum', 'a', 1, \
             'the level sensor is silent, and no earlier level is known'), \
             ({second}, 'drum', 'a', 1, 'silent+no-earlier-level'); \
             INSERT INTO happening VALUES ({first}, 'a', 'level-doubted', \
             '{{\"what\":\"level-doubted\",\"why\":\"the level jumps up and down, as foam does\"}}')"
        ),
    );
    let reader = barn.reader();
    let outlooks = reader.forecasts(at(0), at(9)).unwrap().into_iter().map(|forecast| forecast.outlook);
    let sentence = "the level sensor is silent, and no earlier level is known".to_owned();
    let level = NoLevel::Doubted(WhyDoubted::Silent);
    let now = WhyUnknown::Blind { level, missing: Missing::EarlierLevel };
    assert_eq!(
        outlooks.collect::<Vec<_>>(),
        [Outlook::Unknown { why: Grounds::Earlier(sentence) }, Outlook::Unknown { why: now.into() }]
    );
    let what = reader.happenings(at(0), at(9)).unwrap().pop().unwrap().what;
    let sentence = "the level jumps up and down, as foam does".to_owned();
    assert_eq!(what, What::LevelDoubted { why: Grounds::Earlier(sentence) });
}
