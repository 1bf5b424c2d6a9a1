//! Where each message must be after the hour, and the report.

use std::collections::BTreeSet;
use std::fs;
use std::process::Command;
use std::time::Duration;

use claymark_tests::barn::Barn;
use claymark_tests::binary::program;
use claymark_tests::hostile::{Hostile, MessageFate, marks};
use claymark_tests::wait::wait_within;

/// Readings of the head tank's turbidity that the test means.
pub fn good_turbidity(barn: &Barn) -> usize {
    let sql = "SELECT count(*) FROM reading JOIN sensor ON sensor.key = reading.sensor
               WHERE id = 'head-turbidity' AND value BETWEEN 60 AND 70";
    barn.ask(sql).parse().unwrap_or(0)
}

/// Good ones are taken once, bad ones are put aside, and no other one has vanished.
pub fn each_message_is_where_it_belongs(barn: &Barn, messages: &[Hostile]) {
    let entries = barn.ask("SELECT entry_key FROM field_log");
    let answers = barn.ask("SELECT answered_by FROM answer");
    // The mark stands near the beginning; what follows may be anything, and in any encoding.
    let aside = barn.ask("SELECT hex(substr(payload, 1, 48)) FROM quarantine");
    let aside: BTreeSet<usize> = aside.lines().filter_map(|line| marks(&text(line)).next()).collect();
    let taken: Vec<usize> = marks(&entries).chain(marks(&answers)).collect();
    let set: BTreeSet<usize> = taken.iter().copied().collect();
    assert_eq!(taken.len(), set.len(), "something was taken twice");
    for message in messages {
        let (taken, aside) = (set.contains(&message.number), aside.contains(&message.number));
        let right = match message.fate {
            MessageFate::Taken => taken && !aside,
            MessageFate::PutAside => aside && !taken,
            MessageFate::Either => taken || aside,
        };
        let shown: String = String::from_utf8_lossy(&message.payload).chars().take(400).collect();
        assert!(right, "{:?}: taken {taken}, put aside {aside}: {} {shown}", message.fate, message.topic);
    }
}

/// The week of the hour, as PDF, PNG and CSV.
pub fn report_is_made(barn: &Barn) {
    let out = barn.dir().join("report");
    let mut command = Command::new(program("claymark-report"));
    command.args(["week", "--week", WEEK, "--store"]).arg(barn.store()).arg("--out").arg(&out);
    let mut report = command.spawn().expect("the report starts");
    let ended =
        wait_within(LONGEST, "the report is made", || report.try_wait().expect("a child can be asked"));
    assert!(ended.success(), "{ended}");
    let pdf = out.join(format!("week-{WEEK}.pdf"));
    let text = Command::new("pdftotext").arg(&pdf).arg("-").output().expect("pdftotext is installed");
    let text = String::from_utf8_lossy(&text.stdout).into_owned();
    assert!(text.contains("Drum A") && text.contains("Test barn"), "{text}");
    for kind in ["png", "csv"] {
        assert!(fs::metadata(out.join(format!("week-{WEEK}.{kind}"))).expect("it is made").len() > 200);
    }
}

fn text(hex: &str) -> String {
    let digits: Vec<u8> = hex.bytes().collect();
    let byte = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok();
    let bytes: Vec<u8> = digits.chunks(2).filter_map(byte).collect();
    String::from_utf8_lossy(&bytes).into_owned()
}

const WEEK: &str = "2027-W09";

/// A report of a week takes seconds; one that never ends must end the test.
const LONGEST: Duration = Duration::from_secs(180);
