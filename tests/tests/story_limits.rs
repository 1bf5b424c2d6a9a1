//! Water that leaves what the fish want, for a reason that has no name.

use claymark_notice::failure::{Fault, Limited};
use claymark_tests::story::script::at;
use claymark_tests::story::{ScriptedStory, Telling, Truth, rooms};

fn outside(telling: &Telling, wanted: Limited) -> Vec<(&claymark_tests::story::NoticeAsRead, f64)> {
    let of = |fault: &Fault| {
        if let Fault::OutOfLimits { of, is, .. } = fault { (*of == wanted).then_some(*is) } else { None }
    };
    telling
        .failures("20:00", "+1 05:00")
        .into_iter()
        .filter_map(|(told, fault)| Some((told, of(fault)?)))
        .collect()
}

#[test]
fn a_pump_that_was_set_too_high_and_written_down_is_told_by_the_water_when_the_tanks_follow() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("23:00", |truth, _| truth.pump = 330.0);
        story.written("23:00", r#""kind":"pump_setting","pump":"p1","rpm":158"#);
        let telling = story.told("+1 04:00", &rooms::plain());
        // 63 NTU times 330/209 and the background: 101 NTU.
        let told = outside(&telling, Limited::Turbidity);
        let Some((first, is)) = told.first() else { panic!("{}", telling.list()) };
        assert!(first.at <= at("+1 02:00") && (*is - 101.0).abs() < 4.0, "{}", telling.list());
        assert!(first.subject.contains("above 80 NTU"), "{}", first.words());
        // The tanks follow: two signs, and people are called.
        let (last, _) = told.last().expect("told");
        assert!(told.len() <= 2 && last.words().matches(" is at ").count() > 1, "{}", last.words());
    }
}

#[test]
fn a_failure_that_has_a_name_is_not_told_again_as_water_outside_its_limits() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("23:00", |truth, _| truth.fresh = 25.6);
        let telling = story.told("+1 03:00", &rooms::plain());
        let told = telling.failures("20:00", "+1 03:00");
        assert!(matches!(told[..], [(_, Fault::FreshWaterLow { .. })]), "{}", telling.list());
    }
}

#[test]
fn a_heater_that_stays_on_is_told_before_it_is_too_warm() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 01:00", |truth, _| truth.incoming = 23.0);
        let telling = story.told("+1 03:00", &rooms::plain());
        let told = telling.failures("20:00", "+1 03:00");
        let [(told, Fault::HeaterOn { temperature, .. })] = told.as_slice() else {
            panic!("{}", telling.list())
        };
        // From 20 °C towards 23 °C in 8.8 min: at 21 °C after 8.8 ln 1.5 = 3.6 min.
        assert!(told.at <= at("+1 01:08") && *temperature < 22.5, "{}", told.words());
        assert!(told.subject.contains("rising"), "{}", told.words());
        assert_eq!(told.subject.contains("past 21.0 °C"), *temperature > 21.0, "{}", told.subject);

        // It was so when people began to look.
        let mut truth = Truth::full();
        (truth.incoming, truth.temperature) = (21.6, 21.6);
        let telling = ScriptedStory::begin("20:00", seed, truth).told("23:00", &rooms::plain());
        let told = outside(&telling, Limited::Temperature);
        assert!(told.len() == 1 && told[0].0.subject.contains("above 21.0 °C"), "{}", telling.list());
    }
}

#[test]
fn water_that_is_overfull_of_oxygen_is_told_with_the_gas_to_look_for() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        // 9.09 mg/L fill water of 20 °C (Benson and Krause 1984): 10.5 are 115 %.
        story.happens("22:00", |truth, _| truth.oxygen_goal = 10.5);
        let telling = story.told("+1 02:00", &rooms::plain());
        let told = outside(&telling, Limited::OxygenSaturation);
        let [(told, percent)] = told.as_slice() else { panic!("{}", telling.list()) };
        assert!((percent - 115.5).abs() < 1.5, "{percent}");
        assert!(told.words().contains("total gas pressure"), "{}", told.words());
        assert!(
            outside(
                &ScriptedStory::begin("20:00", seed, Truth::full()).told("23:00", &rooms::plain()),
                Limited::OxygenSaturation
            )
            .is_empty()
        );
    }
}

/// Noise differs by them.
const SEEDS: u64 = 3;

/// The calls by night, 22:30 to 05:30, of three days in water of 15 °C where the site file wants 19 °C, and all that was told.
fn in_cold_water(later: impl Fn(&mut ScriptedStory)) -> (usize, Telling) {
    let mut truth = Truth::full();
    (truth.incoming, truth.temperature) = (15.0, 15.0);
    let mut story = ScriptedStory::begin("08:00", 6, truth);
    for hour in (12..72).step_by(8) {
        story.happens(&format!("+{} {:02}:00", hour / 24, hour % 24), |truth, _| truth.fill_a(175.0));
    }
    later(&mut story);
    let telling = story.told("+3 08:00", &rooms::plain());
    let night = |told: &&claymark_tests::story::NoticeAsRead| {
        let clock = told.at.strftime("%H:%M").to_string();
        told.notice.calling.is_some() && !("05:30".."22:30").contains(&clock.as_str())
    };
    let calls = telling.told.iter().filter(night).count();
    (calls, telling)
}

#[test]
fn a_limit_that_was_never_kept_since_the_watch_began_is_asked_about_and_wakes_nobody_for_days() {
    let (calls, telling) = in_cold_water(|_| {});
    let told = telling.calls("limits:temperature");
    assert!(calls <= 2 && told.len() <= 16, "{calls} by night, {} in all:\n{}", told.len(), telling.list());
    // It is danger first, and then a question; and it isn't forgotten.
    assert!(!told[0].subject.contains("Is the limit right?"), "{}", told[0].subject);
    assert!(told.iter().any(|told| told.subject.ends_with("Is the limit right?")), "{}", telling.list());
    let evenings = telling.told.iter().filter(|told| told.notice.cause.starts_with("evening:"));
    for evening in evenings {
        assert!(evening.words().contains("Is the limit right?"), "{}", evening.words());
    }
}

#[test]
fn water_that_goes_farther_out_or_had_been_well_is_danger_all_night() {
    // It cools farther at midnight of the second day.
    let (calls, telling) = in_cold_water(|story| {
        story.happens("+2 00:00", |truth, _| truth.incoming = 12.0);
    });
    assert!(calls > 8, "{calls}\n{}", telling.list());
    // It was warm enough for an hour.
    let (calls, telling) = in_cold_water(|story| {
        story.happens("10:00", |truth, _| truth.incoming = 20.0);
        story.happens("12:00", |truth, _| truth.incoming = 15.0);
    });
    assert!(calls > 8, "{calls}\n{}", telling.list());
}
