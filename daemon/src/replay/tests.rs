//! Replays of the first day of the demo's hatchery.

use std::fs;
use std::path::Path;

use jiff::civil::date;
use jiff::tz::TimeZone;

use super::*;
use crate::config::{self, Secrets, Surroundings};
use crate::demo::hatchery::Hatchery;
use crate::demo::site;
use crate::demo::staff::Calendar;
use crate::demo::story::Story;

pub(crate) fn settings(folder: &Path, out: &str, messages: &str) -> Settings {
    let around = Surroundings {
        name: "site.toml".to_owned(),
        folder: folder.to_owned(),
        credentials: None,
        secrets: Secrets::Left,
    };
    let site = config::parse(&site::file(1883, ([127, 0, 0, 1], 8080).into(), date(2027, 4, 17)), &around)
        .unwrap_or_else(|mistakes| panic!("{}", mistakes.render(false)));
    Settings { site: site.settings, messages: folder.join(messages), out: folder.join(out), until: None }
}

/// From eight in the morning to six, with the evening check at five.
pub(crate) fn recorded(folder: &Path) -> String {
    let calendar = Calendar::new(TimeZone::get("Europe/Helsinki").unwrap(), date(2027, 4, 17));
    let mut hatchery = Hatchery::new(Story::new(calendar.clone()), calendar.at(0, 8, 0), 1);
    let messages = hatchery.live_until(calendar.at(0, 18, 0));
    let lines: String = messages.iter().map(|message| recording::line(message) + "\n").collect();
    fs::write(folder.join("messages.ndjson"), &lines).unwrap();
    lines
}

pub(crate) fn text(folder: &Path, file: &str) -> String {
    fs::read_to_string(folder.join(file)).unwrap()
}

#[test]
fn the_same_messages_give_the_same_bytes_compressed_or_not() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let lines = recorded(folder);
    fs::write(folder.join("messages.ndjson.zst"), zstd::encode_all(lines.as_bytes(), 3).unwrap()).unwrap();
    let first = replay(settings(folder, "one", "messages.ndjson")).unwrap();
    let second = replay(settings(folder, "two", "messages.ndjson.zst")).unwrap();
    assert_eq!(first, second);
    assert_eq!(first.messages, u64::try_from(lines.lines().count()).unwrap());
    assert!(first.notices >= 1, "there was an evening check: {first:?}");
    for file in [FORECASTS, NOTICES] {
        let one = text(folder, &format!("one/{file}"));
        assert!(!one.is_empty());
        assert!(one == text(folder, &format!("two/{file}")), "{file}");
    }
}

#[test]
fn a_notice_line_has_its_keys_in_the_order_of_the_format() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    recorded(folder);
    replay(settings(folder, "out", "messages.ndjson")).unwrap();
    for line in text(folder, "out/notices.ndjson").lines() {
        let notice: serde_json::Value = serde_json::from_str(line).unwrap();
        let keys: Vec<&String> = notice.as_object().unwrap().keys().collect();
        assert_eq!(
            keys,
            [
                "number",
                "at",
                "kind",
                "cause",
                "drum",
                "priority",
                "replaces",
                "to",
                "call",
                "be_there_by",
                "subject",
                "text"
            ]
        );
        assert_eq!(notice["at"].as_str().unwrap().len(), "2027-04-17T14:00:00Z".len());
    }
}

#[test]
fn until_ends_earlier_or_lets_deadlines_pass_after_the_last_message() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    recorded(folder);
    let last_forecast = |until: &str| {
        let out = until.replace(':', "");
        let until = Some(until.parse().unwrap());
        let replayed = replay(Settings { until, ..settings(folder, &out, "messages.ndjson") }).unwrap();
        let lines = text(folder, &format!("{out}/forecasts.ndjson"));
        let last: serde_json::Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
        (last["at"].as_str().unwrap().to_owned(), replayed.messages)
    };
    let (earlier, few) = last_forecast("2027-04-17T09:04:00Z");
    assert_eq!(earlier, "2027-04-17T09:00:00Z");
    let (later, all) = last_forecast("2027-04-17T15:30:00Z");
    assert_eq!(later, "2027-04-17T15:30:00Z");
    assert!(few < all);
}

#[test]
fn a_faulty_line_ends_the_replay_with_its_number() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut lines: Vec<String> = recorded(folder).lines().take(100).map(str::to_owned).collect();
    lines[41] = lines[40].replace("2027-04-17", "2027-04-16");
    fs::write(folder.join("messages.ndjson"), lines.join("\n")).unwrap();
    let error = replay(settings(folder, "out", "messages.ndjson")).unwrap_err().to_string();
    assert!(error.contains("line 42 goes back in time"), "{error}");
}

#[test]
fn a_store_that_no_replay_made_is_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    recorded(folder);
    fs::create_dir(folder.join("out")).unwrap();
    fs::write(folder.join("out/claymark.db"), "years of readings").unwrap();
    let refused = replay(settings(folder, "out", "messages.ndjson")).unwrap_err();
    assert!(matches!(refused, ReplayError::NotOurs(_)));
    assert_eq!(text(folder, "out/claymark.db"), "years of readings");

    // The live store stays even where a replay's files lie beside it.
    fs::write(folder.join("claymark.db"), "years of readings").unwrap();
    fs::write(folder.join(FORECASTS), "").unwrap();
    fs::write(folder.join(NOTICES), "").unwrap();
    assert!(matches!(replay(settings(folder, "", "messages.ndjson")), Err(ReplayError::NotOurs(_))));

    // A replay's own store is replaced.
    replay(settings(folder, "mine", "messages.ndjson")).unwrap();
    replay(settings(folder, "mine", "messages.ndjson")).unwrap();
}
