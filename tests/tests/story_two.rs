//! Several things at once: two drums that are drawn, or a failure beside another one.

use claymark_model::site::Place;
use claymark_notice::failure::Fault;
use claymark_tests::story::physics::STRENGTH_G_L;
use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, Which, rooms};

#[test]
fn one_tank_that_is_short_of_oxygen_hides_neither_another_nor_the_fresh_water() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("18:00", seed, Truth::full());
        story.happens("20:00", |_, instruments| instruments.tank_oxygen[0] = 5.8);
        story.happens("+1 00:00", |truth, _| truth.fresh = 25.6);
        for step in 0..12_u32 {
            let clock = format!("+1 02:{:02}", 5 * step);
            story.happens(&clock, move |_, instruments| {
                instruments.tank_oxygen[1] = 8.0 - 0.45 * f64::from(step)
            });
        }
        let telling = story.told("+1 03:00", &rooms::with_tank_oxygen());
        let found = telling.failures("18:00", "+1 03:00");
        let oxygen = |place: &str| {
            let place = Place::parse(place).expect("a place");
            found.iter().filter(
                move |(_, fault)| matches!(fault, Fault::OxygenFalls { place: of, .. } if *of == place),
            )
        };
        let first = oxygen("tank:t1").next().unwrap_or_else(|| panic!("{}", telling.list()));
        assert!(first.0.at <= at("20:05") && !first.0.words().contains("fell from"), "{}", first.0.words());
        let water = found.iter().find(|(_, fault)| matches!(fault, Fault::FreshWaterLow { .. }));
        assert!(water.is_some_and(|(told, _)| told.at <= at("+1 00:18")), "{}", telling.list());
        let second: Vec<_> = oxygen("tank:t2").collect();
        assert!((2..=3).contains(&second.len()), "told, and again as it gets worse:\n{}", telling.list());
        let limit = second.first().expect("told").0;
        assert!(limit.at <= at("+1 02:30"), "{}", telling.list());
        assert!(limit.subject.contains("one place more"), "{}", limit.subject);
        assert_eq!(oxygen("tank:t1").count(), 1, "{}", telling.list());
        let evening = telling.told.iter().find(|told| told.notice.cause.starts_with("evening:"));
        let evening = evening.expect("sent every evening");
        // Danger comes before drums that last.
        assert!(evening.subject.starts_with("Evening check: Oxygen in"), "{}", evening.subject);
        assert!(evening.text.starts_with("DANGER. Not over: Oxygen"), "{}", evening.text);
        assert!(evening.words().contains("Not over: Oxygen, since about"), "{}", evening.words());
    }
}

/// Both drums are drawn, each by its own pump and half as fast.
fn two(begins: &str, seed: u64, truth: Truth) -> ScriptedStory {
    let mut story = ScriptedStory::begin(begins, seed, truth);
    for entry in [
        r#""kind":"pump_setting","pump":"p1","rpm":50"#,
        r#""kind":"in_use","pump":"p2","drum":"b""#,
        r#""kind":"pump_setting","pump":"p2","rpm":50"#,
    ] {
        story.written(begins, entry);
    }
    story
}

/// The only failure that is told by then.
fn only<'a>(telling: &'a Telling, by: &str) -> (&'a NoticeAsRead, &'a Fault) {
    let found = telling.failures("18:00", "+1 05:00");
    let [(told, fault)] = found.as_slice() else { panic!("{}", telling.list()) };
    assert!(told.at <= at(by), "{}", telling.list());
    (told, fault)
}

#[test]
fn with_two_drums_fresh_water_that_halves_and_a_pump_that_is_doubled_are_told_apart() {
    for seed in 0..SEEDS {
        let mut story = two("18:00", seed, Truth::both());
        story.happens("+1 01:00", |truth, _| truth.fresh = 25.6);
        let telling = story.told("+1 02:00", &rooms::two_pumps());
        let (told, fault) = only(&telling, "+1 01:20");
        assert!(matches!(fault, Fault::FreshWaterLow { .. }), "{}", telling.list());
        assert!(told.words().contains("the level of Drum B falls as before"), "{}", told.words());

        let mut story = two("18:00", seed, Truth::both());
        story.happens("+1 01:00", |truth, _| truth.second *= 2.0);
        let telling = story.told("+1 02:30", &rooms::two_pumps());
        let (told, fault) = only(&telling, "+1 02:00");
        let Fault::PumpChanged(changed) = fault else { panic!("{}", telling.list()) };
        assert_eq!(changed.pump.as_str(), "p2", "{}", told.words());
        let to = changed.to.ml_per_min();
        assert!((to - 209.0).abs() < 25.0, "{to}: {}", told.words());
    }
}

#[test]
fn with_two_drums_a_pump_that_stops_is_told_by_the_head_tank_and_its_level() {
    for seed in 0..SEEDS {
        let mut story = two("18:00", seed, Truth::both());
        story.happens("+1 01:00", |truth, _| truth.pump = 0.0);
        let telling = story.told("+1 01:30", &rooms::two_pumps());
        let (told, fault) = only(&telling, "+1 01:20");
        assert!(matches!(fault, Fault::PumpStopped { .. }), "{}", told.words());
        assert!(told.words().contains("Pump 1"), "named, if only beside the other: {}", told.words());
    }
}

#[test]
fn with_two_drums_one_whose_air_fails_is_told_as_that() {
    for seed in 0..SEEDS {
        let mut story = two("18:00", seed, Truth::both());
        story.happens("+1 01:00", |truth, _| truth.settling = Some(0.0));
        let telling = story.told("+1 03:00", &rooms::two_pumps());
        let (told, fault) = only(&telling, "+1 02:15");
        assert!(matches!(fault, Fault::DrumAir { .. }), "{}", telling.list());
        assert!(
            told.words().contains("Drum A") && told.words().contains("Do not add clay"),
            "{}",
            told.words()
        );
    }
}

#[test]
fn with_two_drums_what_is_poured_wrongly_into_one_is_told_of_that_one() {
    for seed in 0..SEEDS {
        let mut truth = Truth::both();
        truth.a.litres = 100.0;
        let mut story = two("06:00", seed, truth);
        // 0.1045 L/min leave it: at 07:00 it holds 93.7 L, at 23:00 74.7 L.
        for (clock, litres, times) in [("07:00", 81.3, 1.0), ("23:00", 100.3, 2.2)] {
            let kg = litres * STRENGTH_G_L / 1000.0;
            story.happens(clock, move |truth, _| truth.pour(Which::A, litres, times * kg));
            story.written(
                clock,
                &format!(r#""kind":"refill","drum":"a","water_l":{litres},"clay_kg":{kg:.3}"#),
            );
        }
        let telling = story.told("+1 01:00", &rooms::two_pumps());
        let found = telling.failures("18:00", "+1 01:00");
        let [(told, Fault::WrongWeighing { factor, .. })] = found.as_slice() else {
            panic!("{}", telling.list())
        };
        assert!(told.at <= at("23:59"), "{}", telling.list());
        // 74.7 L at 18.14 g/L and 2.2 times the clay that 100.3 L want make 30.6 g/L, booked 18.14.
        assert!((factor - 1.69).abs() < 0.15, "{factor}");

        let mut truth = Truth::both();
        truth.b.litres = 80.0;
        let mut story = two("10:00", seed, truth);
        story.happens("14:05", |truth, _| truth.pour(Which::B, 80.0, 0.0));
        let telling = story.told("14:30", &rooms::two_pumps());
        let found = telling.failures("10:00", "14:30");
        let [(told, Fault::WaterOnly(poured))] = found.as_slice() else { panic!("{}", telling.list()) };
        assert_eq!(told.notice.drum.as_ref().map(|drum| drum.as_str()), Some("b"));
        // Half of the clay comes from B, and becomes half: 65 NTU go to 49.
        assert!((poured.goes_to - 49.3).abs() < 3.0, "{poured:?}");
    }
}

#[test]
fn with_two_drums_a_quiet_night_wakes_nobody() {
    for seed in 0..SEEDS {
        let telling = two("18:00", seed, Truth::both()).told("+1 05:00", &rooms::two_pumps());
        assert!(telling.failures("18:00", "+1 05:00").is_empty(), "{}", telling.list());
        for t in &telling.told {
            if t.notice.cause.starts_with("level") {
                eprintln!("{seed} {}", t.words());
            }
        }
    }
}

/// Noise differs by them.
const SEEDS: u64 = 3;
