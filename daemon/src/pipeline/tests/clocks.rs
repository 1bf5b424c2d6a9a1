//! Clocks of devices: what is lost by them, and what people hear.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_model::quarantine::Reason;
use claymark_notice::Notice;
use claymark_room::Event;
use claymark_store::batch::CommitBatch;
use claymark_store::{Reader, Writer};

use super::site;
use crate::decode::{self, Binding, Payload};
use crate::message::Message;
use crate::notify;
use crate::pipeline::Pipeline;

/// A room with a device for each of its sensors, what it keeps, and what it tells.
struct ClockBench {
    pipeline: Pipeline,
    batch: CommitBatch,
    told: Vec<(Notice, String)>,
}

impl ClockBench {
    fn new() -> Self {
        let mut pipeline = pipeline();
        pipeline.event(at(0), Event::GoLive);
        Self { pipeline, batch: CommitBatch::default(), told: Vec::new() }
    }

    /// `sensor` says in `second` that it is `ahead` seconds later; the value tells the second.
    fn hear(&mut self, sensor: &str, second: i64, ahead: i64) {
        let received_at = at(second) + SignedDuration::from_millis(400);
        let payload = format!(r#"{{"v":{},"t":"{}"}}"#, 500.0 - value(second), at(second + ahead));
        let topic = format!("x/{sensor}");
        self.pipeline.advance_before(received_at);
        let message = Message { topic, payload: payload.into_bytes(), retained: false, received_at };
        self.pipeline.message(&message);
        self.take();
    }

    fn hear_each_half_minute(&mut self, seconds: std::ops::Range<i64>, ahead: i64) {
        seconds.step_by(30).for_each(|second| self.hear("drum-a-level", second, ahead));
    }

    fn take(&mut self) {
        let output = self.pipeline.take_output();
        self.told.extend(output.issued.into_iter().map(|issued| (issued.notice, issued.subject)));
        let CommitBatch { readings, quarantined, notices, .. } = output.batch;
        self.batch.readings.extend(readings);
        self.batch.quarantined.extend(quarantined);
        self.batch.notices.extend(notices);
    }

    /// By the second at which it was measured, how far its device is said to be ahead, s, and by how much the time in use
    /// is wrong, ms.
    fn kept(&self) -> BTreeMap<i64, (i64, i64)> {
        let measured = |mm: f64| (500.0 - mm) * 1000.0;
        self.batch
            .readings
            .iter()
            .map(|assessed| {
                let reading = &assessed.reading;
                #[expect(clippy::cast_possible_truncation, reason = "seconds of a day")]
                let second = measured(reading.value).round() as i64;
                let wrong = reading.at.duration_since(at(second)).as_millis();
                (second, (reading.ahead.as_secs(), i64::try_from(wrong).unwrap()))
            })
            .collect()
    }

    fn clocks_told(&self) -> Vec<(&str, &str)> {
        let of_clocks = self.told.iter().filter(|(notice, _)| notice.cause.starts_with("clock:"));
        of_clocks.map(|(notice, subject)| (notice.cause.as_str(), subject.as_str())).collect()
    }

    fn put_aside(&self, reason: Reason) -> usize {
        self.batch.quarantined.iter().filter(|kept| kept.reason == reason).count()
    }

    /// Stops, and begins again from what was kept.
    fn restart(&mut self, second: i64) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("claymark.db");
        let mut writer = Writer::open(&path, &site()).unwrap();
        let committed = writer.commit(&self.batch).unwrap();
        assert_eq!(committed.conflicts, []);
        let reader = Reader::open(&path).unwrap();
        self.pipeline = pipeline();
        let past = reader.recall(crate::pipeline::recalled_since(at(second)));
        assert!(self.pipeline.recall(at(second), past).is_none());
        self.take();
    }
}

fn pipeline() -> Pipeline {
    let binding = |sensor: &claymark_model::site::Sensor| {
        let payload = Payload::Json { value: "/v".to_owned(), time: Some("/t".to_owned()), unit: None };
        Binding { sensor: sensor.clone(), topic: format!("x/{}", sensor.id), payload }
    };
    let bindings = site().sensors.iter().map(binding).collect();
    let decode = decode::Settings { bindings, prefix: "claymark/x".to_owned() };
    let notify = notify::Settings {
        smtp: None,
        addresses: Vec::new(),
        prefix: "claymark/x".to_owned(),
        replies: None,
    };
    Pipeline::new(site(), decode, &notify)
}

fn at(second: i64) -> Timestamp {
    "2027-04-20T10:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(second)
}

/// Each second its own, all of them a level of the drum.
#[expect(clippy::cast_precision_loss, reason = "seconds of a day")]
fn value(second: i64) -> f64 {
    second as f64 / 1000.0
}

fn right(kept: &BTreeMap<i64, (i64, i64)>, seconds: std::ops::Range<i64>, ahead: i64) {
    for second in seconds.step_by(30) {
        let (taken, wrong) = kept.get(&second).unwrap_or_else(|| panic!("{second} is lost: {kept:?}"));
        assert!((taken - ahead).abs() <= 1 && (0..=500).contains(wrong), "{second}: {taken} s, {wrong} ms");
    }
}

#[test]
fn a_device_an_hour_fast_loses_nothing_and_is_named_once() {
    let mut bench = ClockBench::new();
    bench.hear_each_half_minute(0..600, 0);
    bench.hear_each_half_minute(600..1800, HOUR);
    let kept = bench.kept();
    assert_eq!(kept.len(), 60);
    right(&kept, 0..600, 0);
    right(&kept, 600..1800, HOUR);
    let told = "The clock of the sensor for level of Drum a is 1 h fast: its readings are put right.";
    assert_eq!(bench.clocks_told(), [("clock:sensor:drum-a-level", told)]);
    let first = bench.told.iter().find(|(notice, _)| notice.cause.starts_with("clock:")).unwrap();
    assert!(first.0.at <= at(600 + 5 * 30), "{}", first.0.at);
    // Those that came before it was known stand in quarantine as well, and what comes again is known.
    assert_eq!(bench.put_aside(Reason::FutureTime), 4);
    bench.hear("drum-a-level", 1770, HOUR);
    assert_eq!((bench.kept().len(), bench.pipeline.counters().duplicates), (60, 1));
}

#[test]
fn a_device_that_is_set_back_by_an_hour_says_each_time_twice_and_loses_nothing() {
    let mut bench = ClockBench::new();
    bench.hear_each_half_minute(0..7200, 0);
    bench.hear_each_half_minute(7200..9000, -HOUR);
    let kept = bench.kept();
    assert_eq!(kept.len(), 300);
    right(&kept, 0..7200, 0);
    right(&kept, 7200..9000, -HOUR);
    assert_eq!(bench.clocks_told().len(), 1);
}

#[test]
fn a_clock_that_is_set_right_is_told_and_its_times_are_taken_as_they_are() {
    let mut bench = ClockBench::new();
    bench.hear_each_half_minute(0..1200, HOUR);
    bench.hear_each_half_minute(1200..3600, 0);
    let kept = bench.kept();
    assert_eq!(kept.len(), 120);
    right(&kept, 0..1200, HOUR);
    right(&kept, 1200..3600, 0);
    let told = bench.clocks_told();
    assert_eq!(told.len(), 2, "{told:?}");
    assert_eq!(told[1].1, "All clear. The clock of the sensor for level of Drum a is right again.");
}

#[test]
fn a_restart_knows_the_clock_and_what_waited_for_it() {
    let mut bench = ClockBench::new();
    bench.hear_each_half_minute(0..600, 0);
    bench.hear_each_half_minute(600..690, HOUR);
    assert_eq!(bench.kept().len(), 20, "three wait");
    bench.restart(695);
    bench.hear_each_half_minute(690..900, HOUR);
    right(&bench.kept(), 600..900, HOUR);
    assert_eq!(bench.clocks_told().len(), 1);
    bench.restart(905);
    bench.hear("drum-a-level", 930, HOUR);
    right(&bench.kept(), 600..900, HOUR);
    right(&bench.kept(), 930..960, HOUR);
    assert_eq!((bench.clocks_told().len(), bench.put_aside(Reason::FutureTime)), (1, 4));
}

#[test]
fn a_flood_of_times_that_cannot_be_right_is_told() {
    let mut bench = ClockBench::new();
    bench.hear_each_half_minute(0..600, 0);
    for second in (600..1500).step_by(30) {
        bench.hear("drum-a-level", second, 120 + second * 7919 % 86_400);
    }
    assert_eq!((bench.kept().len(), bench.put_aside(Reason::FutureTime)), (20, 30));
    let told = bench.clocks_told();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].1.starts_with("The times of the sensor for level of Drum a can't be right"), "{told:?}");
}

#[test]
fn most_devices_at_once_is_our_own_clock_and_no_time_is_changed() {
    let sensors = ["drum-a-level", "head-turbidity", "head-temperature"];
    let mut bench = ClockBench::new();
    for second in (0..2400).step_by(30) {
        for (place, sensor) in (0..).zip(sensors) {
            bench.hear(sensor, second + place, if second < 600 { 0 } else { HOUR });
        }
    }
    let (times, aside) = (bench.kept(), bench.put_aside(Reason::FutureTime));
    assert_eq!(times.len(), 240, "nothing is lost, {aside} waited");
    for (second, (ahead, wrong)) in times {
        let differs = if second < 600 { 0 } else { HOUR * 1000 };
        assert_eq!((ahead, wrong), (0, differs), "{second}");
    }
    let told = bench.clocks_told();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].1.starts_with("The server's clock may be 1 h slow: "), "{told:?}");
}

const HOUR: i64 = 3600;
