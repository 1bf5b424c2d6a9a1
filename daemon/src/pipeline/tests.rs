//! The pipeline's tests, and the small room that they and the decoder's share.

mod clocks;
mod replied;
mod typed;

use claymark_invented as invented;
pub(crate) use claymark_invented::id;
use claymark_model::quality::thresholds::Thresholds;
use claymark_model::site::{ClaySupply, Drum, Place, Pump, Quantity, Sensor, Site};
use claymark_model::units::{GramsPerLitre, Kilograms};
use jiff::SignedDuration;

/// Two drums on one pump, a head tank and a rearing tank; invented.
pub(crate) fn site() -> Site {
    Site {
        id: id("x"),
        name: "Invented".to_owned(),
        clay: ClaySupply {
            bag: Kilograms(22.7),
            scale_step: Kilograms(0.01),
            thickest: GramsPerLitre(200.0),
            ..invented::clay()
        },
        pumps: vec![Pump { name: "Pump".to_owned(), max_rpm: Some(100.0), ..invented::pump("p1") }],
        drums: ["a", "b"].map(drum).to_vec(),
        sensors: vec![
            sensor("drum-a-level", Place::Drum(id("a")), Quantity::Level),
            sensor("head-turbidity", Place::Head, Quantity::Turbidity),
            sensor("head-temperature", Place::Head, Quantity::Temperature),
        ],
        contacts: vec![invented::contact("lead", "Lead")],
        ..invented::site()
    }
}

fn drum(name: &str) -> Drum {
    let strapping = invented::strapping(&[(0.0, 0.0), (800.0, 190.0)]);
    Drum { name: format!("Drum {name}"), strapping, ..invented::drum(name, "p1") }
}

fn sensor(name: &str, place: Place, quantity: Quantity) -> Sensor {
    let sensor = invented::sensor(name, place, quantity);
    Sensor { thresholds: Thresholds { gap: SignedDuration::from_mins(10), ..sensor.thresholds }, ..sensor }
}

mod door {
    //! What the one door lets in.

    use std::collections::BTreeSet;

    use jiff::Timestamp;

    use claymark_model::quarantine::Reason;
    use claymark_notice::NoticeKind;
    use claymark_room::Event;
    use claymark_store::batch::Channel;
    use claymark_store::{Reader, Writer};

    use super::{id, site};
    use crate::decode::{self, Binding, Payload};
    use crate::message::Message;
    use crate::notify::{self, Address};
    use crate::pipeline::{Output, Pipeline};

    pub(super) fn pipeline() -> Pipeline {
        let site = site();
        let sensor = site.sensor(&id("drum-a-level")).unwrap().clone();
        let payload = Payload::Json { value: "/v".to_owned(), time: Some("/t".to_owned()), unit: None };
        let decode = decode::Settings {
            bindings: vec![Binding { sensor, topic: "x/a".to_owned(), payload }],
            prefix: "claymark/x".to_owned(),
        };
        let address = Address {
            contact: id("lead"),
            name: "Lead".to_owned(),
            email: None,
            mqtt: true,
            webhook: None,
            command: None,
        };
        let notify = notify::Settings {
            smtp: None,
            addresses: vec![address],
            prefix: "claymark/x".to_owned(),
            replies: None,
        };
        Pipeline::new(site, decode, &notify)
    }

    pub(super) fn at(text: &str) -> Timestamp {
        format!("2027-04-20T{text}Z").parse().unwrap()
    }

    pub(super) fn message(topic: &str, received: &str, payload: &str) -> Message {
        let payload = payload.as_bytes().to_vec();
        Message { topic: topic.to_owned(), payload, retained: false, received_at: at(received) }
    }

    pub(super) fn level(received: &str, measured: &str, mm: f64) -> Message {
        message("x/a", received, &format!(r#"{{"v":{mm},"t":"2027-04-20T{measured}Z"}}"#))
    }

    #[test]
    fn a_reading_that_comes_again_is_kept_once_and_another_value_is_kept_aside() {
        let mut pipeline = pipeline();
        pipeline.event(at("10:00:00"), Event::GoLive);
        for message in [
            level("10:01:01", "10:01:00", 500.0),
            level("10:01:02", "10:01:00", 500.0),
            level("10:01:03", "10:01:00", 501.0),
            level("10:02:01", "10:02:00", 499.0),
        ] {
            pipeline.advance_before(message.received_at);
            pipeline.message(&message);
        }
        let batch = pipeline.take_output().batch;
        let times: BTreeSet<_> = batch.readings.iter().map(|assessed| assessed.reading.at).collect();
        assert_eq!(times, BTreeSet::from([at("10:01:00"), at("10:02:00")]));
        assert_eq!(batch.quarantined.len(), 1);
        assert_eq!(batch.quarantined[0].reason, Reason::Conflict);
        assert_eq!(
            batch.quarantined[0].detail,
            "drum-a-level at 2027-04-20T10:01:00Z: 500 is kept, 501 came"
        );
        let counters = pipeline.counters();
        assert_eq!((counters.messages, counters.readings, counters.duplicates), (4, 2, 1));
        assert_eq!(counters.quarantined.get(&Reason::Conflict), Some(&1));
    }

    #[test]
    fn bare_numbers_keep_times_of_their_own_while_the_clock_stands_still() {
        let decode = decode::Settings {
            bindings: vec![Binding {
                sensor: site().sensor(&id("drum-a-level")).unwrap().clone(),
                topic: "x/a".to_owned(),
                payload: Payload::Number,
            }],
            prefix: "claymark/x".to_owned(),
        };
        let notify = notify::Settings {
            smtp: None,
            addresses: Vec::new(),
            prefix: "claymark/x".to_owned(),
            replies: None,
        };
        let mut pipeline = Pipeline::new(site(), decode, &notify);
        pipeline.event(at("10:00:00"), Event::GoLive);
        for value in 0..170 {
            pipeline.message(&message("x/a", "10:01:00", &(500.0 - f64::from(value) / 100.0).to_string()));
        }
        let batch = pipeline.take_output().batch;
        let times: BTreeSet<_> = batch.readings.iter().map(|assessed| assessed.reading.at).collect();
        assert_eq!((times.len(), batch.quarantined.len()), (170, 0));
        assert!(*times.last().unwrap() < at("10:01:01"), "a millisecond each");
    }

    /// Not kept twice, not told twice: what is dated after the clock was set back counts as of now.
    #[test]
    fn a_past_that_lies_ahead_of_a_clock_that_was_set_back_is_told_as_of_now() {
        let dir = tempfile::tempdir().unwrap();
        let store = dir.path().join("claymark.db");
        let mut writer = Writer::open(&store, &site()).unwrap();
        let mut before = pipeline();
        before.event(at("10:00:00"), Event::GoLive);
        before.message(&level("10:30:00", "10:30:00", 500.0));
        before.message(&level("11:00:00", "11:00:00", 490.0));
        let refill = r#"{"kind":"refill","drum":"a","water_l":50,"at":"2027-04-20T11:00:30Z"}"#;
        before.message(&message("claymark/x/log", "11:01:00", refill));
        before.event(at("11:02:00"), Event::StoreFailed { why: "disk full".to_owned() });
        writer.commit(&before.take_output().batch).unwrap();

        let mut after = pipeline();
        let reader = Reader::open(&store).unwrap();
        let now = at("10:31:00");
        let none = after.recall(now, reader.recall(at("00:00:00")));
        assert!(none.is_none());
        assert!(after.next_deadline().unwrap().0 <= at("10:41:00"), "{:?}", after.next_deadline());
        after.event(at("10:32:00"), Event::SessionLost { since: at("10:00:00") });
        let told = after.take_output().issued;
        assert!(told.iter().all(|issued| issued.notice.number > 4_000_000), "{told:?}");
    }

    #[test]
    fn entries_and_answers_that_come_again_are_kept_once() {
        let mut pipeline = pipeline();
        pipeline.event(at("10:00:00"), Event::GoLive);
        let why = "no way".to_owned();
        pipeline.event(at("10:00:30"), Event::NotForwarded { since: at("10:00:00"), why });
        let refill = r#"{"kind":"refill","drum":"a","water_l":50,"at":"2027-04-20T10:00:00Z"}"#;
        for (topic, payload) in [
            ("claymark/x/log", refill),
            ("claymark/x/log", refill),
            ("claymark/x/answer", r#"{"notice":1,"by":"A"}"#),
            ("claymark/x/answer", r#"{"notice":1,"by":"A"}"#),
            ("claymark/x/answer", r#"{"notice":1,"by":"B"}"#),
        ] {
            pipeline.message(&message(topic, "10:01:00", payload));
        }
        let batch = pipeline.take_output().batch;
        assert_eq!((batch.log.len(), batch.answers.len()), (1, 2));
        assert_eq!(pipeline.counters().duplicates, 2);
    }

    #[test]
    fn a_message_that_arrives_at_a_deadline_is_handled_before_it() {
        let mut pipeline = pipeline();
        pipeline.event(at("10:01:00"), Event::GoLive);
        let made = |output: Output| {
            let deadline = at("10:10:00");
            output.forecasts.iter().filter(|forecast| forecast.at == deadline).count()
        };
        let message = level("10:10:00", "10:09:59", 500.0);
        pipeline.advance_before(message.received_at);
        pipeline.message(&message);
        assert_eq!(made(pipeline.take_output()), 0, "the forecasts of that moment wait for it");
        pipeline.advance_before(at("10:10:01"));
        assert_eq!(made(pipeline.take_output()), 3, "two drums and what they share");
    }

    #[test]
    fn a_notice_goes_to_each_contact_by_each_of_its_ways() {
        let mut pipeline = pipeline();
        pipeline.event(at("10:00:00"), Event::GoLive);
        // 17:00 in Helsinki is 14:00 UTC.
        pipeline.advance_through(at("14:00:00"));
        let output = pipeline.take_output();
        let evening = output.issued.iter().find(|issued| issued.notice.kind == NoticeKind::EveningCheck);
        let number = evening.expect("the evening check is always sent").notice.number;
        assert!(output.batch.notices.iter().any(|issued| issued.notice.number == number));
        let deliveries: Vec<_> = output.batch.deliveries.iter().filter(|d| d.notice == number).collect();
        assert_eq!(deliveries.len(), 1);
        assert_eq!((deliveries[0].contact.as_str(), deliveries[0].channel), ("lead", Channel::Mqtt));
    }
}
