//! A store of an older version is brought up to date with all that it holds.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use claymark_store::batch::{Channel, DeliveryState};
use claymark_store::{Reader, Writer};

use crate::fixture::{StoreFolder, at, id};

/// A store as version 6 left it, with the notice of a mail that had arrived and one that was given up.
fn version_6(path: &Path) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let mut sql: String = files.iter().take(6).map(|file| fs::read_to_string(file).unwrap()).collect();
    let now = at(0).as_millisecond();
    sql.push_str(&format!(
        "PRAGMA application_id = {}; PRAGMA user_version = 6;
         INSERT INTO notice (number, at, kind, cause, priority, facts, subject, text)
             VALUES (7, {now}, 'readings-missing', 'session', 'soon',
                     '{{\"notice\":\"readings-missing\",\"missing\":\"session-lost\",\"since\":\"2027-04-20T13:00:00Z\",\"until\":\"2027-04-20T14:00:00Z\"}}', 's', 't');
         INSERT INTO delivery (notice, contact, channel, state, attempts, at, error)
             VALUES (7, 'ann', 'email', 'sent', NULL, {now}, NULL), (7, 'kim', 'mqtt', 'given-up', NULL, {now}, 'why');",
        0x436C_6179
    ));
    // As an argument it would begin with a comment, which looks like an option.
    let mut sqlite = Command::new("sqlite3").arg("-bail").arg(path).stdin(Stdio::piped()).spawn().unwrap();
    sqlite.stdin.take().unwrap().write_all(sql.as_bytes()).unwrap();
    assert!(sqlite.wait().unwrap().success());
}

#[test]
fn a_store_of_version_6_is_read_with_its_deliveries() {
    let barn = StoreFolder::new();
    version_6(&barn.path());
    drop(Writer::open(&barn.path(), &barn.site).unwrap());
    let reader = Reader::open(&barn.path()).unwrap();
    let found = reader.deliveries(at(0), at(1)).unwrap();
    let states: Vec<_> =
        found.iter().map(|row| (row.contact.clone(), row.channel, row.state.clone())).collect();
    let given_up = DeliveryState::GivenUp { at: at(0), why: "why".to_owned(), attempts: 0 };
    assert_eq!(
        states,
        [
            (id("ann"), Channel::Email, DeliveryState::Sent { at: at(0), attempts: 0 }),
            (id("kim"), Channel::Mqtt, given_up)
        ]
    );
    let version = Command::new("sqlite3").arg(barn.path()).arg("PRAGMA user_version").output().unwrap();
    assert_eq!(String::from_utf8_lossy(&version.stdout).trim(), "9");
}
