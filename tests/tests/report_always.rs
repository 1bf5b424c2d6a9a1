//! The report always comes: the program itself, on a store that holds what nobody expects in a report.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_store::Writer;
use claymark_store::batch::CommitBatch;
use claymark_tests::binary::program;
use jiff::{SignedDuration, Timestamp};

const WEEK: &str = "2026-W47";

fn at(minutes: i64) -> Timestamp {
    let start: Timestamp = "2026-11-15T22:00:00Z".parse().unwrap();
    start + SignedDuration::from_mins(minutes)
}

fn note(key: &str, text: &str) -> LogEntry {
    LogEntry {
        key: key.to_owned(),
        at: at(60),
        received_at: at(60),
        by: Some("Invented Kim 🦐\u{1b}[2J".to_owned()),
        replaces: None,
        deed: Deed::Note { text: Some(text.to_owned()) },
    }
}

/// A store of that week: turbidity at both ends of what a float holds, and notes that nobody would type.
fn store(path: &Path) {
    let mut site = claymark_invented::two_tanks();
    if let Some(tank) = site.tanks.first_mut() {
        tank.name = "=Tank 🐟\u{202e}1".to_owned();
    }
    let mut writer = Writer::open(path, &site).unwrap();
    let reading = |n: i64, sensor: &str, value: f64| Assessed {
        reading: Reading::new(Id::new(sensor).unwrap(), at(n), value),
        received_at: at(n),
        tests: TestFlags::NOT_EVALUATED,
        flag: Flag::Pass,
    };
    let readings = (0..7 * 24 * 60).flat_map(|n| {
        let absurd = if n % 2 == 0 { 1.7e308 } else { -1.7e308 };
        [reading(n, "t1-ntu", absurd), reading(n, "t2-ntu", 65.0), reading(n, "t1-oxygen", f64::MAX)]
    });
    let log = vec![
        note("emoji", "fed well 🐟"),
        note("chinese", "鱼吃得好"),
        note("escape", "\u{1b}[31mred alert\u{1b}[0m"),
        note("turned", "turned \u{200f}\u{202e}round"),
        note("long", &"waterfall ".repeat(6554)),
    ];
    writer.commit(&CommitBatch { readings: readings.collect(), log, ..CommitBatch::default() }).unwrap();
}

fn report(store: &Path, out: &Path) -> Output {
    let mut report = Command::new(program("claymark-report"));
    report.args(["week", "--week", WEEK, "--store"]).arg(store).arg("--out").arg(out).output().unwrap()
}

fn file(out: &Path, ending: &str) -> Vec<u8> {
    fs::read(out.join(format!("week-{WEEK}.{ending}"))).unwrap()
}

fn text(out: &Path) -> String {
    let pdf = out.join(format!("week-{WEEK}.pdf"));
    let told = Command::new("pdftotext").arg(pdf).arg("-").output().expect("tests/run --prepare installs it");
    assert!(told.status.success());
    String::from_utf8(told.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ").replace('’', "'")
}

#[test]
fn odd_letters_and_absurd_figures_are_shown_and_the_report_is_whole() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("claymark.db");
    store(&path);
    let made = report(&path, dir.path());
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let text = text(dir.path()).replace('\u{200b}', "");
    for expected in [
        "fed well [U+1F41F fish]",
        "鱼吃得好",
        "[U+001B escape][31mred alert[U+001B escape][0m",
        "turned [U+200F right",
        "left override]round",
        "waterfall waterfall",
        "(65539 characters in all; the store has them)",
        "The scale is cut to",
    ] {
        // A hyphen at the end of a line is taken for one of the typesetter.
        let run = |text: &str| text.replace([' ', '-'], "");
        assert!(run(&text).contains(&run(expected)), "'{expected}' isn't in:\n{text}");
    }
    assert!(file(dir.path(), "png").starts_with(b"\x89PNG"));
    let csv = String::from_utf8(file(dir.path(), "csv")).unwrap();
    assert!(csv.contains("'=Tank 🐟[U+202E right-to-left override]1"), "{csv}");
    assert!(!csv.contains("inf") && !csv.contains("NaN"));
}

#[test]
fn what_cannot_be_read_leaves_its_place_with_a_sentence_and_the_rest_is_made() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("claymark.db");
    store(&path);
    let sql = "ALTER TABLE quarantine_count RENAME TO gone; ALTER TABLE delivery RENAME TO gone_too;";
    assert!(Command::new("sqlite3").arg(&path).arg(sql).status().unwrap().success());
    let made = report(&path, dir.path());
    let told = String::from_utf8_lossy(&made.stderr).into_owned();
    assert_eq!(made.status.code(), Some(1), "{told}");
    assert!(told.contains("What people were told: This part couldn't be made"), "{told}");
    assert_eq!(String::from_utf8_lossy(&made.stdout).lines().count(), 3, "PDF, PNG and CSV");
    let text = text(dir.path());
    for expected in [
        "2 parts of this report couldn't be made",
        "the records of what was delivered can't be read",
        "the records of what was kept aside can't be read",
        "fed well [U+1F41F fish]",
        "Field log",
    ] {
        assert!(text.contains(expected), "'{expected}' isn't in:\n{text}");
    }
    assert!(file(dir.path(), "png").starts_with(b"\x89PNG") && file(dir.path(), "csv").len() > 1000);
}
