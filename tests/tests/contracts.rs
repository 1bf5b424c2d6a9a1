//! Each fenced example of docs/contracts.md against the program: what is read is read, what is written looks so.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use claymark::config::{self, Secrets};
use claymark::decode::{Decoded, Decoder};
use claymark::message::Message;
use claymark::pipeline::{Output, Pipeline};
use claymark::recording::{self, Recording};
use claymark::run::Settings;
use claymark::say::{Saying, Signature};
use claymark::{notify, publish, replay};
use claymark_model::quarantine::Reason;
use claymark_notice::content::{Content, ReadingsMissing};
use claymark_notice::{Audience, Call, Calling, Notice, NoticeKind, Priority, Urgency};
use claymark_room::Event;
use claymark_store::batch::Issued;
use claymark_tests::binary::{Daemon, program};
use claymark_tests::broker::RunningBroker;
use claymark_tests::mqtt::Listener;
use claymark_tests::wait::free_port;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Map, Value, json};
use tempfile::TempDir;

const PAGE: &str = include_str!("../../docs/contracts.md");
const PREFIX: &str = "claymark/alder-bend";

/// The fenced examples by the word behind their language, which names the test that reads them.
const HELD: [&str; 12] = [
    "site",
    "exit-status",
    "recorded",
    "replay-files",
    "forecasts",
    "notices",
    "forecast-topic",
    "status",
    "sheet-topic",
    "field-log",
    "answers",
    "sign-of-life",
];

#[test]
fn every_fenced_example_of_the_page_is_read_by_a_test() {
    let held: BTreeSet<&str> = HELD.into_iter().collect();
    let found: Vec<&str> = fences().into_iter().map(|(word, _)| word).collect();
    assert_eq!(found.len(), held.len(), "an example twice, or one too few: {found:?}");
    assert_eq!(found.into_iter().collect::<BTreeSet<_>>(), held);
}

#[test]
fn commands_end_with_the_status_that_stands_there() {
    let folder = room();
    fs::write(folder.path().join("recorded.ndjson"), example("recorded")).unwrap();
    let mistaken = example("site").replace("elevation_m", "elevation");
    fs::write(folder.path().join("mistaken.toml"), mistaken).unwrap();
    for line in example("exit-status").lines() {
        let (status, command) = line.split_once("  ").unwrap();
        let mut words = command.split(' ');
        let mut run = Command::new(program(words.next().unwrap()));
        let output = run.args(words).current_dir(&folder).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), status.parse().ok(), "{command}: {said}");
    }
}

#[test]
fn recorded_messages_are_read_as_they_stand_and_written_the_same() {
    let text = example("recorded");
    let decoder = decoder();
    let mut kinds = BTreeSet::new();
    for (line, message) in text.lines().zip(Recording::new(text.as_bytes(), false).unwrap()) {
        let message = message.unwrap();
        assert_eq!(recording::line(&message), line);
        let decoded = decoder.decode(&message);
        nothing_is_refused(line, &decoded);
        kinds.extend(decoded.readings.iter().map(|reading| reading.sensor.to_string()));
    }
    let sensors = settings().site.sensors.len();
    assert_eq!(kinds.len(), sensors, "a payload format has no example: {kinds:?}");
}

#[test]
fn each_kind_of_field_log_entry_is_taken_and_is_written_with_the_same_keys() {
    let decoder = decoder();
    let mut shown = BTreeSet::new();
    for line in example("field-log").lines() {
        let decoded = decoder.decode(&arrived("log", line));
        nothing_is_refused(line, &decoded);
        let [entry] = decoded.log.as_slice() else { panic!("no entry: {line}") };
        let sent: Map<String, Value> = serde_json::from_str(line).unwrap();
        shown.insert(sent["kind"].as_str().unwrap().to_owned());
        let signature = Signature {
            key: entry.key.clone(),
            at: entry.at,
            by: entry.by.clone(),
            replaces: entry.replaces.clone(),
            sure: decoded.sure,
        };
        let written = Saying::entry(PREFIX, &entry.deed, signature).payload;
        let written: Vec<_> =
            written.as_object().unwrap().iter().map(|(key, value)| told(key, value)).collect();
        let mut sent: Vec<_> = sent.iter().map(|(key, value)| told(key, value)).collect();
        if !line.contains("\"key\"") {
            sent.push(told("key", &json!(entry.key)));
        }
        assert_eq!(written, sent, "claymark log writes it otherwise: {line}");
    }
    assert_eq!(shown, kinds_that_the_program_names(&decoder));
}

#[test]
fn answers_are_taken_as_they_stand() {
    let decoder = decoder();
    for line in example("answers").lines() {
        let decoded = decoder.decode(&arrived("answer", line));
        nothing_is_refused(line, &decoded);
        let [answer] = decoded.answers.as_slice() else { panic!("no answer: {line}") };
        assert_eq!(
            Saying::answer(PREFIX, answer.notice, answer.by.clone(), answer.there_by).payload.to_string(),
            line
        );
    }
}

#[test]
fn a_replay_leaves_these_files_and_lines_that_look_like_the_examples() {
    let folder = room();
    let lines: String = night().iter().map(|message| recording::line(message) + "\n").collect();
    fs::write(folder.path().join("night.ndjson"), lines).unwrap();
    let mut run = Command::new(program("claymark"));
    run.args(["replay", "--config", "site.toml", "--messages", "night.ndjson", "--out", "out"]);
    let output = run.current_dir(&folder).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));

    let out = folder.path().join("out");
    let files: BTreeSet<String> =
        fs::read_dir(&out).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(files, example("replay-files").lines().map(str::to_owned).collect());
    looks_alike("forecasts", fs::read_to_string(out.join(replay::FORECASTS)).unwrap().lines());
    let notices = fs::read_to_string(out.join(replay::NOTICES)).unwrap();
    let pressing = line_of_a_pressing_call();
    looks_alike("notices", notices.lines().chain([pressing.as_str()]));
    let pumped = fs::read_to_string(out.join(replay::FORECASTS)).unwrap().contains("\"basis\":\"pump\"");
    assert!(pumped, "the night shows no drum that goes by its pump");
}

/// Nothing presses in the night that is replayed.
fn line_of_a_pressing_call() -> String {
    let at: Timestamp = "2027-04-23T01:22:36Z".parse().unwrap();
    let missing = ReadingsMissing::SessionLost { since: at, until: at };
    let calling = Calling {
        also: Vec::new(),
        call: Call::First,
        urgency: Urgency::By { by: at },
        earlier: None,
        broken: None,
        holds_until: at,
        later: None,
    };
    let notice = Notice {
        number: 13,
        at,
        kind: NoticeKind::Runout,
        cause: "runout:b".to_owned(),
        drum: None,
        priority: Priority::Now,
        replaces: None,
        to: Audience::Everyone,
        calling: Some(Box::new(calling)),
        tonight: None,
        content: Content::ReadingsMissing(missing),
    };
    notify::line::notice(&Issued { notice, subject: String::new(), text: String::new() })
}

#[test]
fn forecasts_and_sheets_are_published_as_the_examples_look_and_where_the_table_says() {
    let Output { forecasts, sheets, .. } = told_in_the_night();
    let forecasts: Vec<_> = forecasts.iter().map(|made| publish::forecast(PREFIX, made).unwrap()).collect();
    let sheets: Vec<_> = sheets.iter().map(|made| publish::sheet(PREFIX, made).unwrap()).collect();
    let text = |published: &publish::Retained| String::from_utf8(published.payload.clone()).unwrap();
    let (of_forecasts, of_sheets): (Vec<_>, Vec<_>) =
        (forecasts.iter().map(text).collect(), sheets.iter().map(text).collect());
    looks_alike("forecast-topic", of_forecasts.iter().map(String::as_str));
    looks_alike("sheet-topic", of_sheets.iter().map(String::as_str));
    for advice in
        of_sheets.iter().map(|sheet| serde_json::from_str::<Value>(sheet).unwrap()["advice"].clone())
    {
        assert!(PAGE.contains(&format!("`{}`", advice.as_str().unwrap())), "{advice} isn't explained");
    }
    for topic in forecasts.iter().chain(&sheets).map(|published| &published.topic) {
        let general = topic.replace(PREFIX, "<prefix>").replace("/p2/", "/<pump>/");
        let general = ["a", "b", "c"]
            .iter()
            .fold(general, |topic, drum| topic.replace(&format!("/drum/{drum}/"), "/drum/<id>/"));
        assert!(PAGE.contains(&format!("| `{general}` | published | yes |")), "{general} isn't in the table");
    }
}

#[test]
fn the_status_says_watching_then_stopped_and_the_last_will_has_no_time() {
    let broker = RunningBroker::start();
    let folder = room();
    let site = folder.path().join("site.toml");
    // The broker waits before it tells a last will of MQTT 5; that of 3.1.1 comes at once.
    let here = format!("port = {}\nprotocol = \"3.1.1\"", broker.port());
    fs::write(&site, example("site").replace("port = 1883", &here)).unwrap();
    let mut listener = Listener::subscribe(broker.port(), &format!("{PREFIX}/status"));
    assert!(config::read(&site, Secrets::Needed).is_ok(), "no daemon starts on the page's site file");
    let text = example("status");
    let [watching, stopped, will] = text.lines().collect::<Vec<_>>()[..] else { panic!("three examples") };
    let mut hears = |wanted: &str| {
        let wanted: Value = serde_json::from_str(wanted).unwrap();
        let state = format!("\"state\":{}", wanted["state"]);
        let heard = listener.hears(|heard| heard.payload.contains(&state)).payload;
        assert_eq!(shape(&serde_json::from_str(&heard).unwrap()), shape(&wanted), "{heard}");
    };

    let log = folder.path().join("daemon.log");
    let mut daemon = Daemon::start(&site, &log);
    hears(watching);
    daemon.signal("TERM");
    daemon.ends();
    hears(stopped);
    let daemon = Daemon::start(&site, &log);
    hears(watching);
    daemon.kill();
    hears(will);
}

#[test]
fn every_reason_of_quarantine_and_every_kind_of_notice_stands_in_its_table() {
    let rows: String = PAGE.lines().filter(|line| line.starts_with("| `")).collect();
    let named = |name: Value| rows.contains(&format!("`{}`", name.as_str().unwrap()));
    for reason in Reason::ALL {
        assert!(named(json!(reason)), "{reason:?}");
    }
    for kind in NOTICE_KINDS {
        assert!(named(json!(kind)), "{kind:?}");
    }
}

const NOTICE_KINDS: [NoticeKind; 10] = [
    NoticeKind::EveningCheck,
    NoticeKind::Runout,
    NoticeKind::Withdrawn,
    NoticeKind::LevelDoubt,
    NoticeKind::ReadingsMissing,
    NoticeKind::Strength,
    NoticeKind::Water,
    NoticeKind::Air,
    NoticeKind::Query,
    NoticeKind::Undelivered,
];

/// Word and text of each fenced block, in the order of the page.
fn fences() -> Vec<(&'static str, String)> {
    let mut found = Vec::new();
    let mut lines = PAGE.lines();
    while let Some(line) = lines.next() {
        if let Some(info) = line.strip_prefix("```") {
            let (_, word) = info.split_once(' ').unwrap_or_else(|| panic!("no test is named: {line}"));
            let text: String =
                lines.by_ref().take_while(|line| *line != "```").map(|line| format!("{line}\n")).collect();
            found.push((word, text));
        }
    }
    found
}

pub(super) fn example(wanted: &str) -> String {
    let found = fences().into_iter().find(|(word, _)| *word == wanted);
    found.unwrap_or_else(|| panic!("the page has no example of {wanted}")).1
}

/// The page's site file in a folder, at a port where no broker is.
fn room() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let site = example("site").replace("1883", &free_port().to_string());
    fs::write(folder.path().join("site.toml"), site).unwrap();
    folder
}

fn settings() -> Settings {
    let folder = room();
    let file: &Path = &folder.path().join("site.toml");
    config::read(file, Secrets::Needed).unwrap_or_else(|wrong| panic!("{wrong}")).settings
}

fn decoder() -> Decoder {
    let settings = settings();
    Decoder::new(&settings.site, settings.decode)
}

fn arrived(leaf: &str, payload: &str) -> Message {
    Message {
        topic: format!("{PREFIX}/{leaf}"),
        payload: payload.as_bytes().to_vec(),
        retained: false,
        received_at: "2027-04-20T14:00:00Z".parse().unwrap(),
    }
}

fn nothing_is_refused(line: &str, decoded: &Decoded) {
    assert!(decoded.quarantined.is_empty(), "{line}: {:?}", decoded.quarantined);
    assert!(decoded.queries.is_empty(), "{line}: {:?}", decoded.queries);
}

/// A member as text; 76 and 76.0 are the same figure.
fn told(key: &str, value: &Value) -> String {
    value.as_f64().map_or_else(|| format!("{key} {value}"), |figure| format!("{key} {figure}"))
}

/// As it lists them to somebody whose entry has a kind of their own.
fn kinds_that_the_program_names(decoder: &Decoder) -> BTreeSet<String> {
    let strange = arrived("log", r#"{"kind":"?","at":"2027-04-20T13:00:00Z"}"#);
    let detail = decoder.decode(&strange).quarantined.remove(0).detail;
    detail.split_once(": ").unwrap().1.split(", ").map(str::to_owned).collect()
}

/// Nine hours over an evening check: drum A empties and then falls silent, B speaks from the third hour on and lasts for
/// days, C isn't drawn.
fn night() -> Vec<Message> {
    let begin: Timestamp = "2027-04-20T12:00:00Z".parse().unwrap();
    let said = |at: Timestamp, topic: &str, payload: String| Message {
        topic: topic.to_owned(),
        payload: payload.into_bytes(),
        retained: false,
        received_at: at,
    };
    let done = [
        json!({"kind": "pump_setting", "pump": "p1", "rpm": 76, "at": begin}),
        json!({"kind": "in_use", "pump": "p2", "drum": "b", "at": begin}),
    ];
    let mut messages: Vec<Message> =
        done.map(|entry| said(begin, "claymark/alder-bend/log", entry.to_string())).into();
    for minute in 1_i32..540 {
        let at = begin + SignedDuration::from_mins(minute.into());
        let timed = |level: f64| json!({"v": level, "u": "mm", "t": at}).to_string();
        if !(300..360).contains(&minute) {
            let level = format!("{:.1}", 560.0 - 0.7 * f64::from(minute));
            messages.push(said(at, "alder-bend/drum/a/level", level));
        }
        if minute > 120 {
            messages.push(said(at, "alder-bend/drum/b/level", timed(730.0 - 0.08 * f64::from(minute - 120))));
        }
        let ripple = 0.1 * f64::from(minute * 3 % 5);
        messages.push(said(at, "alder-bend/drum/c/level", timed(712.0 + ripple)));
    }
    messages
}

/// What the room says in that night.
fn told_in_the_night() -> Output {
    let Settings { site, decode, notify, .. } = settings();
    let mut pipeline = Pipeline::new(site, decode, &notify);
    for (number, message) in night().iter().enumerate() {
        if number == 0 {
            pipeline.event(message.received_at, Event::GoLive);
        }
        pipeline.advance_before(message.received_at);
        pipeline.message(message);
    }
    pipeline.take_output()
}

/// Each example of that word has the keys, in their order, of a line that was printed, and under each key what such lines
/// hold there.
fn looks_alike<'a>(word: &str, printed: impl Iterator<Item = &'a str>) {
    let mut orders: BTreeSet<Vec<String>> = BTreeSet::new();
    let mut held: BTreeSet<(String, &'static str)> = BTreeSet::new();
    for line in printed {
        let shape = shape(&serde_json::from_str(line).unwrap());
        orders.insert(keys(&shape));
        held.extend(shape);
    }
    for line in example(word).lines() {
        let shape = shape(&serde_json::from_str(line).unwrap());
        assert!(orders.contains(&keys(&shape)), "nothing like this was printed: {line}\nbut {orders:?}");
        for member in shape {
            assert!(held.contains(&member), "{member:?} never stands there: {line}");
        }
    }
}

fn keys(shape: &[(String, &'static str)]) -> Vec<String> {
    shape.iter().map(|(path, _)| path.clone()).collect()
}

/// Each member, those of members included, with the kind of its value.
fn shape(value: &Value) -> Vec<(String, &'static str)> {
    let members = value.as_object().unwrap();
    members
        .iter()
        .flat_map(|(key, value)| match value {
            Value::Object(_) => {
                shape(value).into_iter().map(|(path, kind)| (format!("{key}.{path}"), kind)).collect()
            }
            Value::String(text) if text.parse::<Timestamp>().is_ok() && text.ends_with('Z') => {
                vec![(key.clone(), "a time")]
            }
            Value::String(_) => vec![(key.clone(), "a text")],
            Value::Number(_) => vec![(key.clone(), "a number")],
            Value::Bool(_) => vec![(key.clone(), "yes or no")],
            Value::Null => vec![(key.clone(), "nothing")],
            Value::Array(_) => vec![(key.clone(), "a list")],
        })
        .collect()
}
