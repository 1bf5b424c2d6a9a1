//! What people lived through before anything called them well: each with the twin in which nothing must be said of it.

use claymark_notice::failure::{Fault, Limited};
use claymark_notice::{NoticeKind, Urgency};
use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, rooms};

/// All calls of a kind from one clock time to another.
fn calls<'a>(telling: &'a Telling, kind: NoticeKind, (from, to): (&str, &str)) -> Vec<&'a NoticeAsRead> {
    let within = |told: &&NoticeAsRead| {
        at(from) <= told.at && told.at < at(to) && told.notice.calling.is_some() && told.notice.kind == kind
    };
    telling.told.iter().filter(within).collect()
}

/// None of the failures is one of those.
#[track_caller]
fn none(telling: &Telling, (from, to): (&str, &str), which: impl Fn(&Fault) -> bool) {
    let told = telling.failures(from, to);
    assert!(!told.iter().any(|(_, fault)| which(fault)), "{}", telling.list());
}

#[test]
fn a_pump_that_flickers_is_no_fresh_water_that_is_low_and_no_fouled_probe() {
    let other = |fault: &Fault| {
        matches!(fault, Fault::FreshWaterLow { .. } | Fault::ProbeFouled { .. } | Fault::Bubbles { .. })
    };
    for (seed, pause) in [(0, 8), (1, 12), (2, 20)] {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        let mut minute = 0;
        let mut on = true;
        while minute < 240 {
            let clock = format!("+1 {:02}:{:02}", 1 + minute / 60, minute % 60);
            on = !on;
            story.happens(&clock, move |truth, _| truth.pump = if on { 209.0 } else { 0.0 });
            minute += pause;
        }
        story.happens("+1 05:00", |truth, _| truth.pump = 209.0);
        let telling = story.told("+1 09:00", &rooms::plain());
        none(&telling, ("20:00", "+1 09:00"), other);
    }
    // The twin: it is the fresh water.
    let mut story = ScriptedStory::begin("20:00", 0, Truth::full());
    story.happens("+1 01:00", |truth, _| truth.fresh = 25.6);
    let telling = story.told("+1 02:00", &rooms::plain());
    let found = telling.failures("20:00", "+1 02:00");
    assert!(matches!(found.as_slice(), [(_, Fault::FreshWaterLow { .. })]), "{}", telling.list());
}

#[test]
fn a_heater_that_is_mended_is_not_one_that_fails_the_other_way() {
    for (failed, seed) in [(12.0, 1), (16.0, 2), (27.0, 3), (23.5, 4)] {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", move |truth, _| truth.incoming = failed);
        story.happens("+1 03:00", |truth, _| truth.incoming = 20.0);
        let telling = story.told("+1 08:00", &rooms::plain());
        let heater = |fault: &Fault| matches!(fault, Fault::HeaterOff { .. } | Fault::HeaterOn { .. });
        none(&telling, ("+1 02:55", "+1 08:00"), heater);
        let limit = |fault: &Fault| matches!(fault, Fault::OutOfLimits { of: Limited::Temperature, .. });
        none(&telling, ("+1 03:30", "+1 08:00"), limit);
        // The twin: mended, and then it fails the other way.
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", move |truth, _| truth.incoming = failed);
        story.happens("+1 03:00", move |truth, _| truth.incoming = if failed < 20.0 { 26.0 } else { 12.0 });
        let telling = story.told("+1 05:00", &rooms::plain());
        let after = telling.failures("+1 03:00", "+1 05:00");
        assert!(
            after.iter().any(|(told, fault)| {
                told.at <= at("+1 03:45") && (heater(fault) || limit(fault)) && told.notice.calling.is_some()
            }),
            "{}",
            telling.list()
        );
    }
}

#[test]
fn while_the_mains_are_out_for_three_hours_people_hear_of_it_each_half_hour_and_of_nothing_else() {
    let cut = |seed: u64, hours: u32| {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, instruments| {
            instruments.silent = vec!["story/drum", "story/head", "story/t", "story/pump"];
            (truth.pump, truth.fresh, truth.incoming) = (0.0, 0.5, 12.0);
            (truth.oxygen_goal, truth.settling) = (5.5, Some(0.0));
        });
        story.happens(&format!("+1 0{}:00", 1 + hours), |truth, instruments| {
            instruments.silent.clear();
            (truth.pump, truth.fresh, truth.incoming) = (209.0, 51.2, 20.0);
            (truth.oxygen_goal, truth.settling) = (9.0, None);
        });
        story.told("+1 04:00", &rooms::with_battery())
    };
    let telling = cut(5, 3);
    let power = calls(&telling, NoticeKind::Air, ("+1 01:00", "+1 04:00"));
    let mut last = at("+1 01:00");
    for call in &power {
        assert!(call.at.duration_since(last).as_mins() <= 30, "{}: {}", call.clock, telling.list());
        last = call.at;
    }
    assert!(at("+1 04:00").duration_since(last).as_mins() <= 30, "{}", telling.list());
    let doubt = calls(&telling, NoticeKind::LevelDoubt, ("+1 01:00", "+1 04:00"));
    assert!(doubt.is_empty(), "{}", telling.list());
    // The twin: nothing is cut.
    let quiet = ScriptedStory::begin("20:00", 5, Truth::full()).told("+1 04:00", &rooms::with_battery());
    assert!(calls(&quiet, NoticeKind::Air, ("20:00", "+1 04:00")).is_empty(), "{}", quiet.list());
}

#[test]
fn an_end_that_is_hours_away_calls_each_person_twice_at_most_until_it_is_danger() {
    let mut truth = Truth::full();
    truth.a.litres = 118.0;
    let mut story = ScriptedStory::begin("18:00", 5, truth);
    let telling = story.told("+1 04:00", &rooms::plain());
    let runout = calls(&telling, NoticeKind::Runout, ("18:00", "+1 04:00"));
    let hours_left = |told: &&&NoticeAsRead| {
        told.notice.calling.as_ref().is_some_and(|calling| matches!(calling.urgency, Urgency::By { .. }))
            && !told.is_news()
    };
    let early = runout.iter().filter(hours_left).count();
    assert!(!runout.is_empty() && early <= 4, "{early}: {}", telling.list());
    // The twin: it lasts.
    let telling = ScriptedStory::begin("18:00", 5, Truth::full()).told("+1 04:00", &rooms::plain());
    assert!(calls(&telling, NoticeKind::Runout, ("18:00", "+1 04:00")).is_empty(), "{}", telling.list());
}

#[test]
fn cleanings_that_are_written_down_are_no_bubbles() {
    let days = |written: bool| {
        let mut story = ScriptedStory::begin("06:00", 7, Truth::full());
        for day in 0..4 {
            for (hour, clock) in [("06:20", "06:25"), ("14:20", "14:25"), ("22:20", "22:25")] {
                story.happens(&format!("+{day} {hour}"), |truth, _| truth.fill_a(175.0));
                let refill = r#""kind":"refill","drum":"a","water_l":98,"clay_kg":1.79"#;
                story.written(&format!("+{day} {clock}"), refill);
            }
            // A brush stirs up bubbles for an hour.
            story.happens(&format!("+{day} 10:00"), |_, instruments| instruments.bubbles = 40.0);
            story.happens(&format!("+{day} 11:10"), |_, instruments| instruments.bubbles = 0.0);
            if written {
                story.written(&format!("+{day} 10:02"), r#""kind":"cleaning","place":"head","minutes":60"#);
            }
        }
        story.told("+3 20:00", &rooms::plain())
    };
    let bubbles = |telling: &Telling| {
        let is_it = |(_, fault): &(&NoticeAsRead, &Fault)| matches!(fault, Fault::Bubbles { .. });
        telling.failures("06:00", "+3 20:00").iter().filter(|found| is_it(found)).count()
    };
    let quiet = days(true);
    assert_eq!(bubbles(&quiet), 0, "{}", quiet.list());
    let told = days(false);
    assert!(bubbles(&told) >= 1, "{}", told.list());
}

#[test]
fn a_weaker_lot_that_was_written_down_is_no_split_tube_and_no_wrong_weighing() {
    let lot = |delivered: bool| {
        let mut truth = Truth::day_24();
        truth.a.litres = 100.0;
        let mut story = ScriptedStory::begin("00:30", 3, truth);
        for (clock, water) in [("05:00", 131.0), ("15:00", 125.0), ("+1 01:00", 125.0)] {
            story.happens(clock, |truth, _| truth.fill_a(175.0));
            let clay = water * 0.01826;
            story
                .written(clock, &format!(r#""kind":"refill","drum":"a","water_l":{water},"clay_kg":{clay}"#));
        }
        if delivered {
            story.written("14:00", r#""kind":"delivery","bags":40,"lot":"K-7""#);
            story.happens("15:00", |truth, _| truth.yield_ntu = 0.62);
        }
        story.told("+1 03:00", &rooms::plain())
    };
    let wrong = |fault: &Fault| matches!(fault, Fault::TubeSplit { .. } | Fault::WrongWeighing { .. });
    let telling = lot(true);
    none(&telling, ("00:30", "+1 03:00"), wrong);
    let named = |(told, fault): &(&NoticeAsRead, &Fault)| {
        matches!(fault, Fault::YieldChanged { .. }) && told.words().contains("K-7")
    };
    assert!(telling.failures("15:00", "+1 03:00").iter().any(named), "{}", telling.list());
    lot(false).tells_no_failure("00:30", "+1 03:00");
}
