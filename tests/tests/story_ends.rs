//! What comes after a failure has ended, what two drums on one line are called for, and what isn't worth a word: each with
//! the twin in which something must be told.

use claymark_notice::failure::{Fault, Limited};
use claymark_notice::{Call, NoticeKind, Urgency};
use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, rooms, site_file};

/// What calls people from one clock time to another, new or worse.
fn calls<'a>(telling: &'a Telling, from: &str, to: &str) -> Vec<&'a NoticeAsRead> {
    telling.between(from, to).into_iter().filter(|told| told.notice.calling.is_some()).collect()
}

/// All calls, the repeated ones too.
fn all_calls<'a>(telling: &'a Telling, from: &str, to: &str) -> Vec<&'a NoticeAsRead> {
    let within =
        |told: &&NoticeAsRead| at(from) <= told.at && told.at < at(to) && told.notice.calling.is_some();
    telling.told.iter().filter(within).collect()
}

#[test]
fn when_the_mains_are_back_nothing_of_what_follows_is_another_failure() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, instruments| {
            instruments.silent = vec!["story/drum", "story/head", "story/t", "story/pump"];
            (truth.pump, truth.fresh, truth.incoming) = (0.0, 0.5, 12.0);
            (truth.oxygen_goal, truth.settling) = (5.5, Some(0.0));
        });
        story.happens("+1 02:10", |truth, instruments| {
            instruments.silent.clear();
            (truth.pump, truth.fresh, truth.incoming) = (209.0, 51.2, 20.0);
            (truth.oxygen_goal, truth.settling) = (9.0, None);
        });
        let telling = story.told("+1 05:00", &rooms::with_battery());
        let told = calls(&telling, "+1 01:00", "+1 02:10");
        assert!(told.iter().any(|told| told.notice.cause == "power"), "{}", telling.list());
        // Nobody is told to switch off what has just come back.
        let after = telling.failures("+1 02:10", "+1 05:00");
        let wrong = |fault: &Fault| {
            matches!(
                fault,
                Fault::HeaterOn { .. }
                    | Fault::FreshWaterLow { .. }
                    | Fault::TooMuchWater { .. }
                    | Fault::Blower { .. }
            )
        };
        assert!(after.iter().all(|(_, fault)| !wrong(fault)), "{}", telling.list());
    }
}

#[test]
fn a_pump_that_does_not_run_again_when_the_mains_are_back_is_told_and_so_is_a_second_cut() {
    let cut = |story: &mut ScriptedStory, from: &str, to: &str, pump: f64| {
        story.happens(from, |truth, instruments| {
            instruments.silent = vec!["story/drum", "story/head", "story/t", "story/pump"];
            (truth.pump, truth.fresh) = (0.0, 0.5);
        });
        story.happens(to, move |truth, instruments| {
            instruments.silent.clear();
            (truth.pump, truth.fresh) = (pump, 51.2);
        });
    };
    let mut story = ScriptedStory::begin("20:00", 3, Truth::full());
    cut(&mut story, "+1 01:00", "+1 01:40", 0.0);
    let telling = story.told("+1 04:00", &rooms::with_battery());
    let clay = |told: &&NoticeAsRead| {
        told.notice.cause.starts_with("slurry:") || told.notice.cause == "limits:turbidity"
    };
    assert!(calls(&telling, "+1 01:40", "+1 03:00").iter().any(clay), "{}", telling.list());
    // Back for a quarter of an hour and more, and gone again.
    let mut story = ScriptedStory::begin("20:00", 3, Truth::full());
    cut(&mut story, "+1 01:00", "+1 01:30", 209.0);
    cut(&mut story, "+1 01:50", "+1 03:00", 209.0);
    let telling = story.told("+1 02:20", &rooms::with_battery());
    let again = calls(&telling, "+1 01:50", "+1 02:10");
    assert!(again.iter().any(|told| told.notice.cause == "power"), "{}", telling.list());
}

#[test]
fn air_that_comes_back_to_settled_clay_on_which_more_was_poured_is_told_when_it_clouds_the_water() {
    let mut story = ScriptedStory::begin("20:00", 1, Truth::full());
    story.happens("+1 01:00", |truth, _| truth.settling = Some(0.0));
    // Somebody adds clay against the advice; then the air is back.
    story.happens("+1 02:30", |truth, _| truth.a.strength *= 3.5);
    story.happens("+1 02:40", |truth, _| truth.settling = None);
    let telling = story.told("+1 05:30", &rooms::plain());
    let cloudy = |(told, fault): &(&NoticeAsRead, &Fault)| {
        let danger =
            told.notice.calling.as_ref().is_some_and(|c| matches!(c.urgency, Urgency::Danger { .. }));
        matches!(fault, Fault::OutOfLimits { of: Limited::Turbidity, is, most, .. } if is > most) && danger
    };
    assert!(telling.failures("+1 02:40", "+1 04:30").iter().any(cloudy), "{}", telling.list());
    // The twin: the air comes back, and the clay is what it was.
    let mut story = ScriptedStory::begin("20:00", 1, Truth::full());
    story.happens("+1 01:00", |truth, _| truth.settling = Some(0.0));
    story.happens("+1 02:40", |truth, _| truth.settling = None);
    let telling = story.told("+1 05:30", &rooms::plain());
    assert!(!telling.failures("+1 02:40", "+1 05:30").iter().any(cloudy), "{}", telling.list());
}

#[test]
fn a_drum_that_ran_dry_and_was_filled_is_no_wrong_weighing_and_no_split_tube() {
    for seed in 0..SEEDS {
        let mut truth = Truth::full();
        truth.a.litres = 80.0;
        let mut story = ScriptedStory::begin("20:00", seed, truth);
        story.happens("+1 03:30", |truth, _| truth.fill_a(175.0));
        story.written("+1 03:40", r#""kind":"refill","drum":"a","water_l":161,"clay_kg":2.95"#);
        let telling = story.told("+1 09:00", &rooms::plain());
        let dry = calls(&telling, "+1 01:00", "+1 03:30")
            .into_iter()
            .any(|told| told.notice.kind == NoticeKind::Runout);
        assert!(dry, "{}", telling.list());
        let wrong = |fault: &Fault| {
            matches!(
                fault,
                Fault::WrongWeighing { .. } | Fault::TubeSplit { .. } | Fault::FreshWaterLow { .. }
            )
        };
        let after = telling.failures("+1 03:30", "+1 09:00");
        assert!(after.iter().all(|(_, fault)| !wrong(fault)), "{}", telling.list());
    }
}

#[test]
fn two_drums_on_one_line_that_level_out_are_called_for_as_the_one_supply_that_they_are() {
    let level = "name = \"Pump 1\"";
    let together = site_file(&[(level, "name = \"Pump 1\"\ndrums = \"together\"\nlevels_out = true")], "");
    let mut truth = Truth::full();
    (truth.a.litres, truth.b.litres, truth.joined) = (80.0, 45.0, true);
    let mut story = ScriptedStory::begin("20:00", 2, truth);
    story.written("20:01", r#""kind":"in_use","pump":"p1","drum":"a""#);
    let telling = story.told("+1 05:30", &together);
    let runouts = |to: &str| {
        let of = |told: &&NoticeAsRead| told.notice.kind == NoticeKind::Runout;
        all_calls(&telling, "20:00", to).into_iter().filter(of).collect::<Vec<_>>()
    };
    let told = runouts("+1 05:30");
    assert!(!told.is_empty(), "{}", telling.list());
    assert!(told.iter().all(|told| told.notice.cause == "runout:pump:p1"), "{}", telling.list());
    let each_25_minutes = 2 + (5 * 60 + 30) / 10;
    assert!(told.len() <= each_25_minutes, "{}:\n{}", told.len(), telling.list());
    // The twin: both are full, and last.
    let mut truth = Truth::full();
    (truth.b.litres, truth.joined) = (175.0, true);
    let telling = ScriptedStory::begin("20:00", 2, truth).told("+1 05:30", &together);
    assert!(all_calls(&telling, "20:00", "+1 05:30").is_empty(), "{}", telling.list());
}

#[test]
fn a_thermostat_that_swings_by_half_a_degree_is_no_heater_that_fails() {
    let mut story = ScriptedStory::begin("20:00", 4, Truth::full());
    for hour in 0..10 {
        let clock = |minute: i32| {
            let all = 21 * 60 + hour * 60 + minute;
            format!("+{} {:02}:{:02}", all / 1440, all / 60 % 24, all % 60)
        };
        story.happens(&clock(0), |truth, _| truth.incoming = 19.5);
        story.happens(&clock(30), |truth, _| truth.incoming = 20.5);
    }
    let telling = story.told("+1 06:00", &rooms::plain());
    assert!(calls(&telling, "20:00", "+1 06:00").is_empty(), "{}", telling.list());
}

#[test]
fn oxygen_that_falls_slowly_by_day_calls_again_in_the_night_that_follows() {
    let mut story = ScriptedStory::begin("12:00", 6, Truth::full());
    story.happens("19:00", |truth, _| truth.fill_a(175.0));
    story.written("19:00", r#""kind":"refill","drum":"a","water_l":90,"clay_kg":1.6"#);
    for step in 0..20_i32 {
        let clock = format!("+0 {:02}:{:02}", 14 + step / 3, step % 3 * 20);
        story.happens(&clock, move |truth, _| truth.oxygen_goal = 9.0 - 0.17 * f64::from(step));
    }
    let telling = story.told("+1 01:00", &rooms::plain());
    let air: Vec<_> = all_calls(&telling, "12:00", "+1 01:00");
    let air: Vec<_> = air.into_iter().filter(|told| told.notice.cause == "air").collect();
    assert!(air.iter().any(|told| told.at < at("21:00")), "told by day:\n{}", telling.list());
    let night: Vec<_> = air.iter().filter(|told| told.at > at("22:30")).collect();
    assert!(night.len() >= 3, "{}", telling.list());
    let again = night.first().and_then(|told| told.notice.calling.as_ref()).map(|calling| calling.call);
    assert_eq!(again, Some(Call::Again), "{}", telling.list());
}

#[test]
fn a_heater_that_sticks_on_is_told_until_somebody_comes() {
    let mut story = ScriptedStory::begin("20:00", 8, Truth::full());
    story.happens("+1 01:00", |truth, _| truth.incoming = 27.0);
    let telling = story.told("+1 05:00", &rooms::plain());
    let heat = all_calls(&telling, "+1 01:00", "+1 05:00");
    let heat: Vec<_> = heat.into_iter().filter(|told| told.notice.kind == NoticeKind::Water).collect();
    assert!(heat.len() >= 5, "{}", telling.list());
    for pair in heat.windows(2) {
        let [one, other] = pair else { continue };
        assert!(other.at.duration_since(one.at).as_mins() <= 30, "{}", telling.list());
    }
}

const SEEDS: u64 = 3;
