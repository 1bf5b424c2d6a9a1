//! The main job against real parts: a day of readings, a daemon that is killed on the way, a night that is
//! announced, a report. Mosquitto, a Python mail server and the built programs; the room is invented.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use claymark_model::units::Unit;
use claymark_store::Reader;
use claymark_tests::binary::{Daemon, program};
use claymark_tests::broker::RunningBroker;
use claymark_tests::mail::{Mail, MailServer};
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{ROOM, staff};
use claymark_tests::wait::{now, wait_for, wait_within};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

const MINUTES: i32 = 24 * 60;
const KILLS: i32 = 5;
/// The evening is at most 80 s away.
const EVENING_COMES: Duration = Duration::from_secs(150);

/// (sensor, topic, unit, value at a minute of the day): drawn down, refilled once, and steady water.
type DaySeries = (&'static str, &'static str, &'static str, fn(i32) -> f64);

const SERIES: &[DaySeries] = &[
    ("drum-a-level", "alder-bend/drum/a/level", "mm", |minute| {
        let since_refill = if minute < 600 { minute + 300 } else { minute - 600 };
        730.0 - 0.45 * f64::from(since_refill) + ripple(minute)
    }),
    ("head-turbidity", "alder-bend/head/turbidity", "NTU", |minute| 65.0 + 2.0 * ripple(minute)),
    ("head-temperature", "alder-bend/head/temperature", "°C", |minute| 20.0 + 0.1 * ripple(minute)),
    ("head-oxygen", "alder-bend/head/oxygen", "mg/L", |minute| 8.6 + 0.1 * ripple(minute)),
];

fn ripple(minute: i32) -> f64 {
    f64::from((minute * 7919) % 200) / 100.0 - 1.0
}

#[test]
fn a_day_with_kills_is_kept_once_announced_once_and_reported() {
    let dir = tempfile::tempdir().unwrap();
    let broker = RunningBroker::start();
    let mail = MailServer::start(&[]);
    // The store keeps milliseconds; whole seconds make the messages plain to read.
    let now = Timestamp::from_second(now().as_second()).unwrap();
    let evening = next_minute(now);
    let site = write_site(dir.path(), broker.port(), mail.port(), evening);
    let log = dir.path().join("daemon.log");
    let store = dir.path().join("claymark.db");

    // The session must stand at the broker before the first message, or the broker keeps nothing for it.
    let mut daemon = Daemon::start(&site, &log);
    daemon.says("subscribed");
    let first = now - SignedDuration::from_mins(MINUTES.into());
    let mut publisher = TestPublisher::connect(broker.port());
    for part in 0..KILLS {
        let minutes = part * MINUTES / KILLS..(part + 1) * MINUTES / KILLS;
        publisher.publish(&messages(first, minutes.clone()));
        daemon.kill();
        // Some arrive while nobody is there, and some a second time.
        publisher.publish(&messages(first, minutes.end - 5..minutes.end));
        daemon = Daemon::start(&site, &log);
    }
    let expected = expected(first);
    wait_for("every reading is stored", || (stored(&store).len() >= expected.len()).then_some(()));
    assert_eq!(stored(&store), expected);

    // The evening comes within the minute after the start.
    let mut sent: Vec<Mail> = wait_within(EVENING_COMES, "the evening message", || {
        let evening: Vec<_> = mail.mails().into_iter().filter(is_evening).collect();
        (!evening.is_empty()).then_some(evening)
    });
    wait_for("its delivery is kept", || delivered(&store).then_some(()));
    let mut before = 0;
    for _ in 0..2 {
        daemon.kill();
        before = starts(&log);
        daemon = Daemon::start(&site, &log);
        publisher.publish(&messages(first, 0..1));
    }
    // A signal that comes before the daemon listens for it ends any program.
    wait_for("the last one watches, too", || (starts(&log) > before).then_some(()));
    daemon.signal("TERM");
    assert!(daemon.ends().success(), "{}", fs::read_to_string(&log).unwrap());
    sent.extend(mail.mails().into_iter().filter(is_evening));
    assert_eq!(sent.len(), 1, "{sent:#?}");
    assert!(sent.iter().all(|mail| mail.text.contains("Drum A")), "{sent:#?}");
    assert_eq!(stored(&store), expected);

    report_is_made(dir.path(), &store, first);
}

fn starts(log: &Path) -> usize {
    fs::read_to_string(log).unwrap().matches("watching: subscribed").count()
}

fn is_evening(mail: &Mail) -> bool {
    mail.header("Subject").starts_with("Evening check")
}

fn report_is_made(dir: &Path, store: &Path, at: Timestamp) {
    let week = at.to_zoned_datetime(TimeZone::UTC).date().iso_week_date();
    let week = format!("{}-W{:02}", week.year(), week.week());
    let out = dir.join("report");
    let status = Command::new(program("claymark-report"))
        .args(["week", "--week", &week, "--store"])
        .arg(store)
        .arg("--out")
        .arg(&out)
        .status()
        .unwrap();
    assert!(status.success());
    let text = Command::new("pdftotext").arg(out.join(format!("week-{week}.pdf"))).arg("-").output().unwrap();
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(text.contains("Drum A") && text.contains("Alder Bend Hatchery"), "{text}");
    for kind in ["png", "csv"] {
        assert!(fs::metadata(out.join(format!("week-{week}.{kind}"))).unwrap().len() > 200);
    }
}

fn messages(first: Timestamp, minutes: std::ops::Range<i32>) -> Vec<(String, Vec<u8>)> {
    minutes
        .flat_map(|minute| {
            SERIES.iter().map(move |(_, topic, _, value)| {
                let at = first + SignedDuration::from_mins(minute.into());
                let payload = format!(r#"{{"v": {:.3}, "t": "{at}"}}"#, value(minute));
                ((*topic).to_owned(), payload.into_bytes())
            })
        })
        .collect()
}

/// (sensor, time) to value, as published.
fn expected(first: Timestamp) -> BTreeMap<(String, Timestamp), String> {
    let mut all = BTreeMap::new();
    for minute in 0..MINUTES {
        for (sensor, _, unit, value) in SERIES {
            let value: f64 = format!("{:.3}", value(minute)).parse().unwrap();
            let kept = Unit::parse(unit).unwrap().to_base(value);
            all.insert(
                ((*sensor).to_owned(), first + SignedDuration::from_mins(minute.into())),
                format!("{kept:.3}"),
            );
        }
    }
    all
}

/// The same from the store, read by the ordinary command-line tool while the daemon runs.
fn stored(store: &Path) -> BTreeMap<(String, Timestamp), String> {
    let Ok(reader) = Reader::open(store) else { return BTreeMap::new() };
    let mut all = BTreeMap::new();
    let everything = reader.recall(Timestamp::UNIX_EPOCH);
    for assessed in everything.readings {
        let reading = assessed.unwrap().reading;
        let twice = all.insert((reading.sensor.to_string(), reading.at), format!("{:.3}", reading.value));
        assert_eq!(twice, None, "{} at {} stands twice", reading.sensor, reading.at);
    }
    all
}

fn delivered(store: &Path) -> bool {
    let query = "select count(*) from delivery where state = 'sent' and channel = 'email'";
    let output = Command::new("sqlite3").arg("-readonly").arg(store).arg(query).output().unwrap();
    String::from_utf8(output.stdout).unwrap().trim() != "0"
}

/// The start of the next full minute that is at least 20 s away.
fn next_minute(now: Timestamp) -> Timestamp {
    let later = now.as_second() + 20;
    Timestamp::from_second(later - later.rem_euclid(60) + 60).unwrap()
}

fn write_site(dir: &Path, broker: u16, mail: u16, evening: Timestamp) -> std::path::PathBuf {
    let clock = |at: Timestamp| at.to_zoned_datetime(TimeZone::UTC).strftime("%H:%M").to_string();
    let visit = clock(evening + SignedDuration::from_hours(13));
    let evening = clock(evening);
    let sensors: String = SERIES
        .iter()
        .map(|(id, topic, unit, _)| {
            let (place, measures) = match *id {
                "drum-a-level" => ("drum:a", "level"),
                "head-turbidity" => ("head", "turbidity"),
                "head-temperature" => ("head", "temperature"),
                _ => ("head", "oxygen"),
            };
            format!(
                "[[sensor]]\nid = \"{id}\"\ntopic = \"{topic}\"\nat = \"{place}\"\nmeasures = \"{measures}\"\n\
                 unit = \"{unit}\"\npayload = {{ json = \"/v\", time = \"/t\" }}\nevery = \"1 min\"\n\n"
            )
        })
        .collect();
    let text = SITE
        .replace("{room}", ROOM)
        .replace("{broker}", &broker.to_string())
        .replace("{mail}", &mail.to_string())
        .replace("{staff}", &staff(&evening, &visit))
        .replace("{sensors}", &sensors);
    let path = dir.join("site.toml");
    fs::write(&path, text).unwrap();
    path
}

/// Invented.
const SITE: &str = r#"
[site]
id = "alder-bend"
name = "Alder Bend Hatchery"
time_zone = "UTC"
elevation_m = 92

[mqtt]
host = "127.0.0.1"
port = {broker}
client_id = "claymark"
subscribe = ["alder-bend/#"]
prefix = "claymark/alder-bend"

[store]
path = "claymark.db"

{staff}

[[contact]]
id = "duty"
name = "Person on duty"
email = "duty@alder-bend.example"

[email]
host = "localhost"
port = {mail}
security = "none"
from = "Claymark <claymark@alder-bend.example>"

[water]
turbidity = [50, 80]
temperature_c = [19, 21]
oxygen_min_mg_l = 6

{room}
{sensors}"#;
