//! What was acknowledged survives `kill -9` (says nothing of a power cut: that needs the disk's word).

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use claymark_model::quality::Flag;
use claymark_store::Writer;
use jiff::Timestamp;

use crate::fixture::{StoreFolder, at, reading, readings, recalled};
use crate::sharing::sqlite3;

#[test]
fn every_acknowledged_reading_is_there_after_the_daemon_was_killed() {
    let barn = StoreFolder::new();
    let mut acknowledged = BTreeSet::new();
    for round in 0..3 {
        let first = round * 1_000_000;
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "killing::child_that_commits_until_it_is_killed", "--ignored", "--nocapture"])
            .env(STORE, barn.path())
            .env(FIRST, first.to_string())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut seen = 0;
        while seen < 100 {
            seen += note(&mut acknowledged, &lines.next().unwrap().unwrap());
        }
        child.kill().unwrap();
        child.wait().unwrap();
        // What it said before it died counts too; a line that it couldn't end doesn't.
        for line in lines {
            note(&mut acknowledged, &line.unwrap());
        }
    }
    let kept: BTreeSet<Timestamp> = recalled(&barn).iter().map(|row| row.reading.at).collect();
    assert!(acknowledged.len() >= 300);
    assert_eq!(acknowledged.difference(&kept).count(), 0);
    barn.writer();
    assert_eq!(sqlite3(&barn.path(), "PRAGMA integrity_check"), "ok\n");
}

#[test]
#[ignore = "runs as the child of the test above, which kills it"]
fn child_that_commits_until_it_is_killed() {
    let (Some(store), Ok(first)) = (std::env::var_os(STORE), std::env::var(FIRST)) else { return };
    let first: i64 = first.parse().unwrap();
    let mut writer = Writer::open(&PathBuf::from(store), &StoreFolder::new().site).unwrap();
    for ms in first.. {
        writer.commit(&readings(vec![reading("t1-ntu", ms, 60.0, Flag::Pass)])).unwrap();
        println!("kept {ms} .");
    }
}

fn note(acknowledged: &mut BTreeSet<Timestamp>, line: &str) -> usize {
    let ms = line.strip_prefix("kept ").and_then(|rest| rest.strip_suffix(" ."));
    usize::from(ms.is_some_and(|ms| acknowledged.insert(at(ms.parse().unwrap()))))
}

const STORE: &str = "CLAYMARK_TEST_STORE";
const FIRST: &str = "CLAYMARK_TEST_FIRST";
