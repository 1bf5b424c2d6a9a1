//! The pipeline's tests, and the small room that they and the decoder's share.

mod replied;
mod typed;

use jiff::SignedDuration;
use jiff::civil::time;
use jiff::tz::TimeZone;

use claymark_model::id::Id;
use claymark_model::quality::thresholds::{Span, Thresholds};
use claymark_model::site::{
    ClaySupply, Contact, Draws, Drum, HeadTank, Place, Premix, Pump, Quantity, Senses, Sensor, Site, Staff,
    Tank, WaterLimits,
};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// Two drums on one pump, a head tank and a rearing tank; invented.
pub(crate) fn site() -> Site {
    Site {
        id: id("x"),
        name: "Invented".to_owned(),
        time_zone: TimeZone::get("Europe/Helsinki").unwrap(),
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: Staff {
            evening_check: time(17, 0, 0, 0),
            next_visit: time(7, 30, 0, 0),
            margin: SignedDuration::from_hours(1),
            mixing: SignedDuration::from_mins(15),
            travel: SignedDuration::from_mins(30),
            response: SignedDuration::from_mins(15),
        },
        water: WaterLimits {
            turbidity: Span::new(50.0, 80.0).unwrap(),
            temperature_c: Span::new(18.0, 22.0).unwrap(),
            oxygen_min_mg_l: 6.0,
        },
        batches: Vec::new(),
        stock: None,
        hand_checks: Vec::new(),
        calls: Default::default(),
        clay: ClaySupply {
            bag: Kilograms(22.7),
            scale_step: Kilograms(0.01),
            mineral_density_kg_per_l: 2.6,
            thickest: GramsPerLitre(200.0),
            ntu_per_mg_l: None,
            background_ntu: 0.0,
            premix: Premix::default(),
            coarse_um: None,
        },
        pumps: vec![Pump {
            id: id("p1"),
            name: "Pump".to_owned(),
            ml_per_min_per_rpm: Some(2.1),
            max_rpm: Some(100.0),
            min_rpm: None,
            draws: Draws::One,
            levels_out: false,
        }],
        drums: ["a", "b"].map(drum).to_vec(),
        head_tank: HeadTank { id: id("head"), name: "Head tank".to_owned(), volume: Litres(450.0) },
        tanks: vec![Tank { id: id("t1"), name: "Tank 1".to_owned(), volume: Litres(280.0) }],
        sensors: vec![
            sensor("drum-a-level", Place::Drum(id("a")), Quantity::Level, Unit::Millimetre),
            sensor("head-turbidity", Place::Head, Quantity::Turbidity, Unit::Ntu),
            sensor("head-temperature", Place::Head, Quantity::Temperature, Unit::Celsius),
        ],
        contacts: vec![Contact { id: id("lead"), name: "Lead".to_owned() }],
    }
}

fn drum(name: &str) -> Drum {
    let rows = [(0.0, 0.0), (800.0, 190.0)].map(|(mm, l)| (Millimetres(mm), Litres(l)));
    Drum {
        id: id(name),
        name: format!("Drum {name}"),
        pump: id("p1"),
        full: Litres(175.0),
        heel: Litres(12.0),
        strapping: StrappingTable::new(rows.to_vec()).unwrap(),
        target: GramsPerLitre(18.0),
    }
}

fn sensor(name: &str, place: Place, quantity: Quantity, unit: Unit) -> Sensor {
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        unit,
        every: SignedDuration::from_secs(60),
        senses: Senses::Surface,
        mains: None,
        mount_height: None,
        thresholds: Thresholds {
            gap: SignedDuration::from_mins(10),
            gross_range: None,
            spike: None,
            rate_per_s: None,
            flat_line: None,
        },
    }
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
