//! The traps: what looks like a failure and isn't is not told as one.
//!
//! Traps that are the twin of a story stand beside it, in `stories` and `story_rows`.

use claymark_model::forecast::Outlook;
use claymark_notice::NoticeKind;
use claymark_notice::Urgency;
use claymark_notice::failure::Fault;
use claymark_tests::story::physics::STRENGTH_G_L;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, Which, rooms};

/// What is told is told: by its cause, so often from one time to another. A room that says nothing at all passes no trap.
#[track_caller]
fn told(telling: &Telling, from: &str, to: &str, cause: &str, times: std::ops::RangeInclusive<usize>) {
    let told = telling.between(from, to).into_iter().filter(|told| told.notice.cause == cause).count();
    assert!(times.contains(&told), "{told} of {cause}:\n{}", telling.list());
}

/// The room watches: by that time it says when drum A will be dry.
#[track_caller]
fn watches(telling: &Telling, clock: &str) {
    let forecast = telling.forecast("a", clock).expect("there is one");
    assert!(matches!(forecast.outlook, Outlook::Known { .. }), "at {clock}: {forecast:?}");
}

/// The evening check was sent, in which drum A stands as it is.
#[track_caller]
fn evening(telling: &Telling, night: &str, says: &str) {
    let cause = format!("evening:{night}");
    let sent = telling.told.iter().find(|told| told.notice.cause == cause).expect("it is always sent");
    assert!(sent.subject.contains(says), "{}", telling.list());
}

/// Others may be told, but not this one.
fn not(telling: &Telling, from: &str, to: &str, fault: fn(&Fault) -> bool) {
    let told = telling.failures(from, to);
    assert!(!told.iter().any(|(_, told)| fault(told)), "{}", telling.list());
}

#[test]
fn a_top_up_with_water_is_not_a_drum_whose_air_failed() {
    for seed in 0..SEEDS {
        let mut truth = Truth::day_24();
        truth.a.litres = 60.0 + 0.209 * 245.0;
        let mut story = ScriptedStory::begin("10:00", seed, truth);
        story.happens("14:05", |truth, _| truth.pour(Which::A, 60.0, 0.3));
        story.written("14:07", r#""kind":"refill","drum":"a","water_l":60,"clay_kg":0.3"#);
        let telling = story.told("17:00", &rooms::plain());
        not(&telling, "10:00", "17:00", |fault| matches!(fault, Fault::DrumAir { .. }));
        told(&telling, "14:30", "17:00", "limits:turbidity", 1..=2);
        watches(&telling, "16:50");
    }
}

#[test]
fn foam_that_holds_the_level_is_no_plugged_line_and_no_stopped_pump() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, instruments| instruments.crust = Some(truth.a.litres));
        let telling = story.told("+1 03:00", &rooms::with_contact());
        telling.tells_no_failure("20:00", "+1 03:00");
        told(&telling, "+1 01:00", "+1 03:00", "level:a", 1..=1);
        evening(&telling, TONIGHT, "lasts until 05:30");
    }
}

#[test]
fn more_fresh_water_from_day_to_day_is_no_worn_tube() {
    let mut truth = Truth::full();
    truth.a.litres = 150.0;
    let mut story = ScriptedStory::begin("00:30", 3, truth);
    story.filled_for_four_days(|truth| truth.fresh *= 1.013);
    let telling = story.told("+3 23:00", &rooms::plain());
    not(&telling, "00:30", "+3 23:00", |fault| matches!(fault, Fault::TubeWear { .. }));
    evening(&telling, "2027-04-22", "First dry: Drum A");
    watches(&telling, "+3 22:50");
}

#[test]
fn a_pump_that_is_stopped_on_purpose_takes_one_entry_and_nothing_is_told_for_an_hour() {
    for seed in 0..SEEDS {
        for (clock, noted, until, then) in
            [("19:00", "19:01", "20:00", "20:20"), ("+1 01:00", "+1 01:02", "+1 02:00", "+1 02:20")]
        {
            let mut story = ScriptedStory::begin("14:00", seed, Truth::full());
            story.happens(clock, |truth, instruments| (truth.pump, instruments.turns) = (0.0, false));
            story.written(noted, r#""kind":"pump_setting","pump":"p1","rpm":0"#);
            for site in [rooms::plain(), rooms::with_contact()] {
                let telling = story.told(then, &site);
                assert!(telling.of_a("14:00", until).is_empty(), "{}", telling.list());
                // Nobody may forget it: the water is too clear by now.
                let told = telling.failures(until, then);
                let clear =
                    |fault: &Fault| matches!(fault, Fault::OutOfLimits { is, least, .. } if is < least);
                let [(told, fault)] = told.as_slice() else { panic!("{}", telling.list()) };
                let calling = told.notice.calling.as_ref().expect("it calls people");
                assert!(
                    clear(fault) && calling.urgency == (Urgency::Danger { by: None }),
                    "{}",
                    telling.list()
                );
                // It had watched until then.
                watches(&telling, clock);
            }
        }
    }
}

#[test]
fn bubbles_on_the_probe_are_not_fresh_water_that_is_low() {
    for seed in 0..SEEDS {
        for ntu in [60.0, 200.0] {
            let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
            story.happens("+1 04:10", move |_, instruments| instruments.bubbles = ntu);
            let telling = story.told("+1 05:20", &rooms::plain());
            not(&telling, "20:00", "+1 05:20", |fault| !matches!(fault, Fault::Bubbles { .. }));
            told(&telling, "+1 04:10", "+1 05:20", "bubbles:head-turbidity", 1..=1);
        }
    }
}

#[test]
fn froth_that_dies_after_a_fill_is_no_pump_turned_up() {
    for seed in 0..SEEDS {
        for froth in [4.0, 8.0] {
            let mut story = ScriptedStory::begin("11:00", seed, Truth::day_24());
            story.happens("17:26", move |truth, instruments| {
                truth.fill_a(170.0);
                instruments.froth = froth;
            });
            story.written("17:30", r#""kind":"refill","drum":"a","water_l":125,"clay_kg":2.3"#);
            let telling = story.told("21:00", &rooms::plain());
            telling.tells_no_failure("11:00", "21:00");
            watches(&telling, "20:50");
        }
    }
}

#[test]
fn drums_that_are_joined_are_neither_a_changed_pump_nor_a_swapped_drum() {
    for seed in 0..SEEDS {
        let mut truth = Truth::full();
        truth.b.litres = 175.0 - 0.209 * 300.0;
        let mut story = ScriptedStory::begin("20:00", seed, truth);
        story.happens("+1 01:00", |truth, _| truth.joined = true);
        let telling = story.told("+1 03:30", &rooms::plain());
        telling.tells_no_failure("20:00", "+1 03:30");
        told(&telling, "+1 01:00", "+1 02:10", "level:a", 1..=1);
        evening(&telling, TONIGHT, "First dry: Drum A");
    }
}

#[test]
fn air_that_is_restored_after_a_fill_stirs_up_clay_and_no_lumps() {
    for seed in 0..SEEDS {
        let mut truth = Truth::day_24();
        truth.a.litres = 130.0;
        let mut story = ScriptedStory::begin("11:00", seed, truth);
        story.happens("18:00", |truth, _| {
            truth.fill_a(175.0);
            truth.settling = Some(0.0);
        });
        story.written("18:02", r#""kind":"refill","drum":"a","water_l":131,"clay_kg":2.4"#);
        story.happens("18:35", |truth, _| truth.settling = None);
        story.written("18:36", r#""kind":"note","text":"air stone was off, put back""#);
        let telling = story.told("20:30", &rooms::plain());
        not(&telling, "11:00", "20:30", |fault| matches!(fault, Fault::Lumps));
        watches(&telling, "20:20");
    }
}

#[test]
fn lines_that_grow_dirty_and_are_cleaned_are_no_weaker_clay() {
    let mut truth = Truth::full();
    truth.a.litres = 100.0;
    let mut story = ScriptedStory::begin("00:30", 3, truth);
    for clock in ["05:00", "15:00", "+1 01:00"] {
        story.happens(clock, |truth, _| {
            truth.fill_a(175.0);
        });
        story.written(clock, r#""kind":"refill","drum":"a","water_l":125,"clay_kg":2.28"#);
    }
    for hour in 8..16 {
        story.happens(&format!("{hour:02}:00"), |truth, _| truth.delivered *= 0.97);
    }
    story.happens("16:00", |truth, _| truth.delivered = 1.0);
    story.written("16:00", r#""kind":"cleaning","place":"pump:p1","minutes":10"#);
    let telling = story.told("+1 03:00", &rooms::plain());
    not(&telling, "00:30", "+1 03:00", |fault| matches!(fault, Fault::YieldChanged { .. }));
    evening(&telling, TONIGHT, "Drum A will not last");
}

#[test]
fn an_oxygen_probe_that_is_lifted_out_is_no_failed_blower() {
    for seed in 0..SEEDS {
        // Water with oxygen added reads more than air does.
        let mut truth = Truth::full();
        (truth.oxygen, truth.oxygen_goal) = (12.5, 12.5);
        let mut story = ScriptedStory::begin("20:00", seed, truth);
        story.happens("+1 01:00", |_, instruments| instruments.oxygen_off = -3.4);
        let telling = story.told("+1 02:30", &rooms::plain());
        not(&telling, "20:00", "+1 02:30", |fault| !matches!(fault, Fault::OutOfLimits { .. }));
        // The water with too much oxygen before, and that it is over once the probe hangs in air.
        told(&telling, "20:00", "+1 02:30", "limits:oxygen_saturation", 2..=2);
    }
}

#[test]
fn an_idle_drum_that_is_topped_up_is_no_swapped_drum() {
    for seed in 0..SEEDS {
        for litres in [40.0, 100.0] {
            let mut truth = Truth::full();
            truth.b.litres = 60.0;
            let mut story = ScriptedStory::begin("08:00", seed, truth);
            story.happens("14:00", move |truth, _| {
                truth.pour(Which::B, litres, litres * STRENGTH_G_L / 1000.0);
            });
            let telling = story.told("16:30", &rooms::plain());
            telling.tells_no_failure("08:00", "16:30");
            watches(&telling, "16:20");
            let b = telling.forecast("b", "16:20").expect("there is one");
            let Outlook::Known { volume, .. } = &b.outlook else { panic!("{b:?}") };
            assert!((volume.0 - 60.0 - litres).abs() < 3.0, "B holds what was poured into it: {volume:?}");
        }
    }
}

#[test]
fn a_network_that_is_worked_on_by_day_is_not_lost_unless_it_stays_away() {
    let silent = |from: &str, back: &str, until: &str, noted: bool| {
        let mut story = ScriptedStory::begin("08:00", 1, Truth::full());
        story.happens(from, |_, instruments| instruments.silent = vec!["story/"]);
        if noted {
            story.written(from, r#""kind":"note","text":"Router maintenance, back in half an hour""#);
        }
        story.happens(back, |_, instruments| instruments.silent.clear());
        // Time goes on by what the log says while nothing else speaks.
        for minutes in (5..60).step_by(5) {
            let (hour, minute) = from.rsplit_once(':').expect("a clock time");
            let minute: u32 = minute.parse::<u32>().expect("minutes") + minutes;
            if minute < 60 {
                story.written(&format!("{hour}:{minute:02}"), r#""kind":"note","text":"fed""#);
            }
        }
        let telling = story.told(until, &rooms::plain());
        let silent = |told: &&NoticeAsRead| told.notice.kind == NoticeKind::ReadingsMissing && told.is_news();
        telling.told.iter().filter(silent).count()
    };
    assert_eq!(silent("14:00", "14:35", "15:30", true), 0, "it was back in time");
    assert_eq!(silent("14:00", "14:35", "15:30", false), 1, "nobody had said so");
    assert_eq!(silent("14:00", "15:20", "15:30", true), 1, "it stayed away");
    assert_eq!(silent("+1 01:00", "+1 01:35", "+1 02:30", true), 1, "by night nobody works on it");
}

/// As the evening check of the story's first day names it.
const TONIGHT: &str = "2027-04-20";
const SEEDS: u64 = 2;

#[test]
fn an_idle_drum_is_never_told_of_at_night_whatever_it_holds() {
    for seed in 0..NIGHTS {
        for litres in [12.0, 30.0, 120.0] {
            let mut truth = Truth::full();
            truth.b.litres = litres;
            let mut story = ScriptedStory::begin("17:00", seed, truth);
            let telling = story.told("+1 05:30", &rooms::plain());
            assert!(
                telling.between("17:00", "+1 05:30").is_empty(),
                "seed {seed}, {litres} L in B:\n{}",
                telling.list()
            );
            let evening = telling.told.iter().find(|told| told.notice.cause.starts_with("evening:"));
            let text = &evening.expect("it is always sent").text;
            watches(&telling, "+1 05:20");
            assert!(text.contains("Drum B: NOT IN USE."), "seed {seed}, {litres} L in B:\n{text}");
        }
    }
}
const NIGHTS: u64 = 4;
