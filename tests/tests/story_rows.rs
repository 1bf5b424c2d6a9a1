//! A short story for each failure that the long ones don't tell, and its trap as the twin.

use claymark_model::id::Id;
use claymark_notice::NoticeKind;
use claymark_notice::failure::{Fault, Limited};
use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, Which, rooms};

/// Exactly one failure, told by that time.
fn only<'a>(telling: &'a Telling, from: &str, by: &str, until: &str) -> (&'a NoticeAsRead, &'a Fault) {
    let found = telling.failures(from, until);
    let [(told, fault)] = found.as_slice() else { panic!("{}", telling.list()) };
    assert!(told.at <= at(by), "{}", telling.list());
    (told, fault)
}

#[test]
fn settling_in_a_drum_whose_air_failed_is_told_as_that_and_no_clay_is_advised() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, _| truth.settling = Some(0.0));
        let telling = story.told("+1 03:00", &rooms::plain());
        let (told, fault) = only(&telling, "20:00", "+1 01:45", "+1 02:40");
        assert!(matches!(fault, Fault::DrumAir { .. }), "{}", telling.list());
        assert!(told.words().contains("Do not add clay"), "{}", told.words());
        // When the water is too clear for the fish that is told too, with what it comes of.
        for (clear, fault) in telling.failures("+1 02:40", "+1 03:00") {
            let named = clear.subject.contains("Likely: Drum air off");
            assert!(
                named && matches!(fault, Fault::OutOfLimits { of: Limited::Turbidity, .. }),
                "{}",
                telling.list()
            );
        }

        // Who asks later hears what was told; who asks a room that only hears the past hears what shows now.
        let still = |telling: &Telling, clock: &str| {
            let still = telling.room().unstirred_drum(at(clock), &Id::new("a").expect("an id"), None);
            still.expect("it is known").failure.map(|failure| failure.fault)
        };
        assert!(matches!(still(&telling, "+1 03:00"), Some(Fault::DrumAir { .. })));
        let heard = Telling::heard(&rooms::plain(), &story.recorded(), "+1 02:00");
        assert!(heard.told.is_empty() && matches!(still(&heard, "+1 02:00"), Some(Fault::DrumAir { .. })));
        let well = Telling::heard(&rooms::plain(), &story.recorded(), "+1 00:55");
        assert_eq!(still(&well, "+1 00:55"), None);
    }
}

#[test]
fn a_plugged_line_is_told_by_a_pump_that_turns_and_a_stuck_level_is_not_one() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, _| truth.pump = 0.0);
        let telling = story.told("+1 02:30", &rooms::with_contact());
        let (_, fault) = only(&telling, "20:00", "+1 01:20", "+1 02:30");
        assert!(matches!(fault, Fault::LinePlugged { .. }), "{}", telling.list());

        let mut trap = ScriptedStory::begin("20:00", seed, Truth::full());
        trap.happens("+1 01:00", |_, instruments| instruments.stuck = Some(112.0));
        let telling = trap.told("+1 02:30", &rooms::with_contact());
        telling.tells_no_failure("20:00", "+1 02:30");
    }
}

#[test]
fn a_split_tube_is_told_when_the_level_shows_it_and_emptying_for_cleaning_is_no_failure() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, _| truth.delivered = 0.0);
        let telling = story.told("+1 02:30", &rooms::plain());
        let found = telling.failures("20:00", "+1 02:30");
        assert!(found.len() <= 2, "{}", telling.list());
        let Some((last, Fault::TubeSplit { .. })) = found.last() else { panic!("{}", telling.list()) };
        assert!(last.at <= at("+1 01:40"), "{}", telling.list());

        let mut trap = ScriptedStory::begin("20:00", seed, Truth::full());
        trap.happens("21:00", |truth, _| truth.delivered = 0.0);
        trap.written("21:02", r#""kind":"cleaning","place":"drum:a""#);
        let telling = trap.told("22:00", &rooms::plain());
        telling.tells_no_failure("20:00", "22:00");
    }
}

#[test]
fn a_probe_out_of_the_water_is_told_as_that_and_is_no_split_tube() {
    // In the air it reads nothing, over a wet wall a little, with noise.
    for (seed, off) in [(0, -200.0), (1, -65.0), (2, -63.0)] {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", move |_, instruments| instruments.head_off = off);
        story.happens("+1 02:05", |_, instruments| instruments.head_off = 0.0);
        let telling = story.told("+1 05:00", &rooms::plain());
        let (told, fault) = only(&telling, "20:00", "+1 01:15", "+1 05:00");
        assert!(matches!(fault, Fault::ProbeOut { .. }), "{}", telling.list());
        assert!(told.subject.contains("Look at the probe"), "{}", told.words());
        assert!(told.words().contains("still stand"), "{}", told.words());
        // Told once, and withdrawn when the probe is back.
        assert_eq!(telling.of_a("+1 01:00", "+1 05:00").len(), 2, "{}", telling.list());
    }
}

#[test]
fn a_power_cut_is_told_by_what_runs_on_batteries_and_a_router_is_not_one() {
    let mut story = ScriptedStory::begin("20:00", 1, Truth::full());
    story.happens("+1 01:00", |truth, instruments| {
        truth.pump = 0.0;
        instruments.silent = vec!["story/drum", "story/head", "story/t1", "story/t6"];
    });
    let telling = story.told("+1 02:00", &rooms::with_battery());
    let said = telling.between("20:00", "+1 02:00");
    let [told] = said.as_slice() else { panic!("{}", telling.list()) };
    assert!(told.notice.kind == NoticeKind::Air && told.at <= at("+1 01:06"), "{}", telling.list());
    assert!(told.words().contains("Oxygen first"), "{}", told.words());

    let mut trap = ScriptedStory::begin("20:00", 1, Truth::full());
    trap.happens("+1 01:00", |_, instruments| instruments.silent = vec!["story/"]);
    trap.happens("+1 01:40", |_, instruments| instruments.silent.clear());
    let telling = trap.told("+1 02:30", &rooms::with_battery());
    let said = telling.between("20:00", "+1 01:40");
    let [told] = said.as_slice() else { panic!("{}", telling.list()) };
    assert_eq!(told.notice.kind, NoticeKind::ReadingsMissing, "{}", telling.list());
}

#[test]
fn a_float_stuck_open_is_told_as_too_much_water_and_a_valve_opened_on_purpose_is_not() {
    for seed in 0..SEEDS {
        let open = |truth: &mut Truth| (truth.fresh, truth.overflow) = (75.0, 23.8);
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", move |truth, _| open(truth));
        let telling = story.told("+1 02:00", &rooms::with_meters());
        let (told, fault) = only(&telling, "20:00", "+1 01:25", "+1 02:00");
        assert!(matches!(fault, Fault::TooMuchWater { overflows: true, .. }), "{}", telling.list());
        assert!(told.subject.contains("runs over"), "{}", told.words());

        let mut trap = ScriptedStory::begin("20:00", seed, Truth::full());
        trap.happens("21:00", move |truth, _| open(truth));
        trap.written("21:01", r#""kind":"note","text":"supplement valve opened for the grading""#);
        let telling = trap.told("22:00", &rooms::with_meters());
        telling.tells_no_failure("20:00", "22:00");
    }
}

/// At 18:00 A is filled to the line with so many times the clay that is written down, some of it in lumps.
fn filled(seed: u64, times: f64, (written, lumps): (f64, f64)) -> ScriptedStory {
    let mut truth = Truth::day_24();
    truth.a.litres = 130.0;
    let mut story = ScriptedStory::begin("11:00", seed, truth);
    story.happens("18:00", move |truth, _| {
        let litres = 175.0 - truth.a.litres;
        truth.pour(Which::A, litres, 2.2 * times);
        truth.a.lumps = lumps;
    });
    story.written("17:58", &format!(r#""kind":"refill","drum":"a","water_l":131.5,"clay_kg":{written}"#));
    story
}

#[test]
fn pounds_for_kilograms_show_after_the_fill_and_a_strength_that_was_meant_does_not() {
    for seed in 0..SEEDS {
        let telling = filled(seed, 2.8, (2.2, 0.0)).told("20:00", &rooms::plain());
        let (told, fault) = only(&telling, "11:00", "18:40", "20:00");
        assert!(
            matches!(fault, Fault::WrongWeighing { factor, .. } if (1.7..3.0).contains(factor)),
            "{}",
            told.words()
        );

        let telling = filled(seed, 2.8, (2.2 * 2.8, 0.0)).told("20:00", &rooms::plain());
        let weighed = |fault: &Fault| matches!(fault, Fault::WrongWeighing { .. });
        let told = telling.failures("11:00", "20:00");
        assert!(!told.iter().any(|(_, fault)| weighed(fault)), "{}", telling.list());
    }
}

#[test]
fn lumps_are_told_when_turbidity_comes_up_by_itself_and_not_when_a_probe_was_wiped() {
    for seed in 0..SEEDS {
        let telling = filled(seed, 1.0, (2.2, 0.4)).told("20:30", &rooms::plain());
        let found = telling.failures("11:00", "20:30");
        let Some((_, Fault::Lumps)) = found.last() else { panic!("{}", telling.list()) };

        let mut trap = filled(seed, 1.0, (2.2, 0.4));
        trap.written("18:20", r#""kind":"wipe","sensor":"head-turbidity""#);
        let telling = trap.told("20:30", &rooms::plain());
        let lumps = telling.failures("11:00", "20:30").iter().any(|(_, fault)| matches!(fault, Fault::Lumps));
        assert!(!lumps, "{}", telling.list());
    }
}

#[test]
fn one_probe_that_climbs_is_fouled_and_when_all_climb_it_is_the_water() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("08:00", seed, Truth::full());
        story.happens("12:00", |_, instruments| instruments.fouling = 3.0);
        let telling = story.told("20:00", &rooms::plain());
        let found = telling.failures("08:00", "20:00");
        let [(told, Fault::ProbeFouled { sensor, .. })] = found.as_slice() else {
            panic!("{}", telling.list())
        };
        assert_eq!(sensor.as_str(), "head-turbidity");
        assert!(told.subject.contains("Wipe it"), "{}", told.words());

        let mut trap = ScriptedStory::begin("08:00", seed, Truth::full());
        for hour in 12..20 {
            trap.happens(&format!("{hour}:00"), |truth, _| truth.background += 3.0);
        }
        let telling = trap.told("20:00", &rooms::plain());
        let fouled = telling
            .failures("08:00", "20:00")
            .iter()
            .any(|(_, fault)| matches!(fault, Fault::ProbeFouled { .. }));
        assert!(!fouled, "{}", telling.list());
    }
}

#[test]
fn bubbles_are_told_once_they_last_and_feeding_is_not() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("08:00", seed, Truth::full());
        story.happens("15:00", |_, instruments| instruments.bubbles = 40.0);
        let telling = story.told("17:00", &rooms::plain());
        let (_, fault) = only(&telling, "08:00", "16:30", "17:00");
        assert!(matches!(fault, Fault::Bubbles { .. }), "{}", telling.list());

        let mut trap = ScriptedStory::begin("08:00", seed, Truth::full());
        trap.happens("15:00", |_, instruments| instruments.bubbles = 40.0);
        trap.happens("15:15", |_, instruments| instruments.bubbles = 0.0);
        let telling = trap.told("17:00", &rooms::plain());
        telling.tells_no_failure("08:00", "17:00");
    }
}

#[test]
fn a_heater_that_fails_is_told_with_the_time_left_and_a_lifted_probe_is_not() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, _| truth.incoming = 12.0);
        let telling = story.told("+1 02:00", &rooms::plain());
        let (told, fault) = only(&telling, "20:00", "+1 01:12", "+1 02:00");
        assert!(matches!(fault, Fault::HeaterOff { .. }), "{}", told.words());

        let mut trap = ScriptedStory::begin("20:00", seed, Truth::full());
        trap.happens("+1 01:00", |_, instruments| instruments.warmth_off = -4.0);
        let telling = trap.told("+1 02:00", &rooms::plain());
        // That it reads too cold is told when it lasts, without a cause.
        let told = telling.failures("20:00", "+1 02:00");
        let [(told, Fault::OutOfLimits { of: Limited::Temperature, .. })] = told.as_slice() else {
            panic!("{}", telling.list())
        };
        assert!(told.words().contains("another thermometer"), "{}", told.words());
    }
}

#[test]
fn oxygen_that_falls_alone_is_told_before_it_is_too_low() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, _| truth.oxygen_goal = 5.4);
        let telling = story.told("+1 02:00", &rooms::plain());
        let (told, fault) = only(&telling, "20:00", "+1 01:20", "+1 02:00");
        let Fault::OxygenFalls { oxygen, .. } = fault else { panic!("{}", told.words()) };
        assert!(*oxygen > 6.0 && told.notice.kind == NoticeKind::Air, "{}", told.words());
    }
}

#[test]
fn a_pump_put_on_the_other_drum_is_asked_about_and_a_noted_one_is_not() {
    for seed in 0..SEEDS {
        let mut truth = Truth::full();
        truth.b.litres = 170.0;
        let mut story = ScriptedStory::begin("08:00", seed, truth.clone());
        story.happens("14:00", |truth, _| truth.drawn = Which::B);
        let telling = story.told("16:30", &rooms::plain());
        let (told, fault) = only(&telling, "08:00", "15:30", "16:30");
        assert!(matches!(fault, Fault::DrumSwapped { .. }), "{}", told.words());

        let mut noted = ScriptedStory::begin("08:00", seed, truth);
        noted.happens("14:00", |truth, _| truth.drawn = Which::B);
        noted.written("14:02", r#""kind":"in_use","pump":"p1","drum":"b""#);
        let telling = noted.told("16:30", &rooms::plain());
        telling.tells_no_failure("08:00", "16:30");
    }
}

#[test]
fn clay_that_clouds_less_from_a_lot_on_is_told_within_the_day() {
    let mut truth = Truth::day_24();
    truth.a.litres = 100.0;
    let mut story = ScriptedStory::begin("00:30", 3, truth);
    let fill = |truth: &mut Truth| {
        truth.fill_a(175.0);
    };
    for (clock, water) in [("05:00", 131.0), ("15:00", 125.0), ("+1 01:00", 125.0)] {
        story.happens(clock, move |truth, _| fill(truth));
        story.written(
            clock,
            &format!(r#""kind":"refill","drum":"a","water_l":{water},"clay_kg":{}"#, water * 0.01826),
        );
    }
    story.written("14:00", r#""kind":"delivery","bags":40,"lot":"K-7""#);
    story.happens("15:00", |truth, _| truth.yield_ntu = 0.62);
    let telling = story.told("+1 03:00", &rooms::plain());
    let found = telling.failures("00:30", "+1 03:00");
    let changed = found.iter().find(|(_, fault)| matches!(fault, Fault::YieldChanged { .. }));
    let Some((told, _)) = changed else { panic!("{}", telling.list()) };
    assert!(told.words().contains("K-7"), "{}", told.words());
}

#[test]
fn a_tube_that_wears_is_told_after_days_by_draw_and_clay_together() {
    let mut truth = Truth::full();
    truth.a.litres = 150.0;
    let mut story = ScriptedStory::begin("00:30", 3, truth);
    story.filled_for_four_days(|truth| truth.pump *= 0.987);
    let telling = story.told("+3 23:00", &rooms::plain());
    let found = telling.failures("00:30", "+3 23:00");
    assert!(found.iter().any(|(_, fault)| matches!(fault, Fault::TubeWear { .. })), "{}", telling.list());
    assert!(found.len() <= 2, "{}", telling.list());
}

const SEEDS: u64 = 2;
