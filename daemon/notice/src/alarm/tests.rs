//! The states against the vectors of `tests/data/alarm_vectors.json`, whose source stands in its folder's README.

use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

use super::*;

const VECTORS: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/alarm_vectors.json"));

fn second(second: i64) -> Timestamp {
    Timestamp::from_second(1_800_000_000 + second).unwrap()
}

fn letter(alarm: &Alarm) -> &'static str {
    match (alarm.overlay(), alarm.state()) {
        (Some(Overlay::Shelved { .. }), _) => "G",
        (Some(Overlay::Suppressed), _) => "H",
        (Some(Overlay::OutOfService), _) => "I",
        (None, AlarmState::Normal) => "A",
        (None, AlarmState::Unacknowledged) => "B",
        (None, AlarmState::Acknowledged) => "C",
        (None, AlarmState::Returned) => "D",
        (None, AlarmState::LatchedUnacknowledged) => "E",
        (None, AlarmState::LatchedAcknowledged) => "F",
    }
}

/// One vector under way.
struct VectorRun {
    alarm: Alarm,
    limit: Limit,
    seen: Vec<(i64, String, String)>,
}

impl VectorRun {
    fn of(config: &Value) -> Self {
        let seconds = |key: &str| SignedDuration::from_secs(config[key].as_i64().unwrap_or(0));
        let behaviour = Behaviour {
            on_delay: seconds("on"),
            off_delay: seconds("off"),
            latched: config["latch"].as_bool().unwrap_or(false),
            re_alarm: config["realarm"].as_i64().map(SignedDuration::from_secs),
        };
        let limit = Limit {
            at: config["limit"].as_f64().unwrap(),
            deadband: config["db"].as_f64().unwrap_or(0.0),
            high: config["hi"].as_bool().unwrap_or(true),
        };
        Self { alarm: Alarm::new(behaviour), limit, seen: Vec::new() }
    }

    /// Goes to that second, one due time after the other, and writes down each change of the letter.
    fn go_to(&mut self, at: i64) {
        while let Some(due) = self.alarm.due().filter(|due| *due <= second(at)) {
            let due = due.as_second() - second(0).as_second();
            self.act(due, |alarm| drop(alarm.advance(second(due))));
        }
    }

    fn act(&mut self, at: i64, act: impl FnOnce(&mut Alarm)) {
        let before = letter(&self.alarm);
        act(&mut self.alarm);
        let after = letter(&self.alarm);
        if before != after {
            self.seen.push((at, before.to_owned(), after.to_owned()));
        }
    }

    fn refuse(&mut self, at: i64, change: Change) {
        if matches!(change, Change::AcknowledgeRefused | Change::ResetRefused) {
            let letter = letter(&self.alarm).to_owned();
            self.seen.push((at, letter.clone(), letter));
        }
    }

    fn event(&mut self, event: &Value) {
        let at = event[0].as_i64().unwrap();
        self.go_to(at);
        let now = second(at);
        let mut change = Change::Covered;
        match event[1].as_str().unwrap() {
            "v" => {
                let holds = match event[2].as_f64().map(|value| self.limit.is_broken(value)) {
                    None => Holds::Unknown,
                    Some(Some(true)) => Holds::Since(now),
                    Some(Some(false)) => Holds::No,
                    Some(None) if self.alarm.holds => Holds::Since(now),
                    Some(None) => Holds::No,
                };
                self.act(at, |alarm| drop(alarm.observe(now, holds)));
            }
            "ack" => self.act(at, |alarm| change = alarm.acknowledge(now, None)),
            "reset" => self.act(at, |alarm| change = alarm.reset()),
            "shelve" => {
                let until = second(at + event[2].as_i64().unwrap());
                self.act(at, |alarm| change = alarm.cover(Overlay::Shelved { until }));
            }
            "suppress" => self.act(at, |alarm| change = alarm.cover(Overlay::Suppressed)),
            "oos" => self.act(at, |alarm| change = alarm.cover(Overlay::OutOfService)),
            "unsuppress" | "return" => self.act(at, |alarm| change = alarm.uncover()),
            other => panic!("an event of another kind: {other}"),
        }
        self.refuse(at, change);
    }
}

#[test]
fn every_vector_goes_through_its_states_at_its_seconds() {
    let file: Value = serde_json::from_str(VECTORS).unwrap();
    let vectors = file["vectors"].as_array().unwrap();
    assert_eq!(vectors.len(), 22);
    for vector in vectors {
        let mut run = VectorRun::of(&vector["config"]);
        for event in vector["events"].as_array().unwrap() {
            run.event(event);
        }
        run.go_to(vector["end"].as_i64().unwrap());
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let expected: Vec<_> = vector["transitions"]
            .as_array()
            .unwrap()
            .iter()
            .map(|row| (row[0].as_i64().unwrap(), text(&row[1]), text(&row[2])))
            .collect();
        assert_eq!(run.seen, expected, "{}", vector["id"]);
        assert_eq!(letter(&run.alarm), text(&vector["final"]), "{}", vector["id"]);
    }
}

#[test]
fn an_acknowledgement_that_ends_is_announced_again_while_it_holds() {
    let mut alarm = Alarm::new(Behaviour::default());
    alarm.observe(second(0), Holds::Since(second(0)));
    assert_eq!(alarm.acknowledge(second(10), Some(second(100))), Change::Acknowledged);
    assert_eq!(alarm.advance(second(99)), []);
    assert_eq!(alarm.advance(second(100)), [Transition { at: second(100), change: Change::ReAlarmed }]);
    assert_eq!(alarm.state(), AlarmState::Unacknowledged);
}
