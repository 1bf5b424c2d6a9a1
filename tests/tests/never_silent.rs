//! While fish are in danger that the sensors can show, somebody is called at least each half hour, or has promised to come:
//! whatever has failed, whoever sleeps.

use claymark_model::id::Id;
use claymark_notice::{Call, Urgency};
use claymark_tests::story::script::at;
use claymark_tests::story::{DrawnWorld, Habit, ScriptedStory, Truth, Watched, rooms};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

/// What fails, and how hands mend it.
type Trouble = (&'static str, fn(&mut Truth), fn(&mut Truth));

const TROUBLES: [Trouble; 10] = [
    ("oxygen falls", |truth| truth.oxygen_goal = 3.0, |truth| truth.oxygen_goal = 9.0),
    (
        "the blower stops",
        |truth| (truth.oxygen_goal, truth.settling) = (5.0, Some(0.0)),
        |truth| (truth.oxygen_goal, truth.settling) = (9.0, None),
    ),
    ("little fresh water", |truth| truth.fresh = 15.0, |truth| truth.fresh = 51.2),
    ("the pump stops", |truth| truth.pump = 0.0, |truth| truth.pump = 209.0),
    ("the pump races", |truth| truth.pump = 700.0, |truth| (truth.pump, truth.a.litres) = (209.0, 175.0)),
    ("the tube splits", |truth| truth.delivered = 0.0, |truth| truth.delivered = 1.0),
    ("the heater fails", |truth| truth.incoming = 12.0, |truth| truth.incoming = 20.0),
    ("the heater sticks on", |truth| truth.incoming = 27.0, |truth| truth.incoming = 20.0),
    ("the drum runs dry", |truth| truth.a.litres = 60.0, |truth| truth.fill_a(175.0)),
    ("far too much clay", |truth| truth.a.strength *= 4.0, |truth| truth.a.strength /= 4.0),
];

#[test]
fn danger_is_called_for_each_half_hour_until_somebody_has_promised_to_come() {
    for (name, fails, mends) in TROUBLES {
        for (clock, end, habits) in
            [("+1 01:00", "+1 08:00", &Habit::ALL[..]), ("11:00", "17:00", &Habit::ALL[..2])]
        {
            for habit in habits {
                let mut story = ScriptedStory::begin("08:00", 7, Truth::full());
                story.happens("19:00", |truth, _| truth.fill_a(175.0));
                story.written("19:00", r#""kind":"refill","drum":"a","water_l":120,"clay_kg":2.2"#);
                story.happens(clock, move |truth, _| fails(truth));
                let watched = Watched::new(story, &rooms::plain(), *habit, move |story| {
                    story.hands(|truth, _| mends(truth));
                });
                let watched = watched.until(at(end));
                assert!(
                    watched.silences.is_empty(),
                    "{name} at {clock}, {habit:?}: {:?}\n{}",
                    watched.silences,
                    watched.list()
                );
            }
        }
    }
}

#[test]
fn quiet_days_wake_nobody() {
    let mut waking = 0;
    for seed in 0..4 {
        let mut story = ScriptedStory::begin("06:00", seed, Truth::full());
        for day in 0..10 {
            for (hour, noted) in [("06:00", "06:10"), ("14:00", "14:05"), ("22:00", "22:20")] {
                let (clock, noted) = (format!("+{day} {hour}"), format!("+{day} {noted}"));
                story.happens(&clock, |truth, _| truth.fill_a(175.0));
                story.written(&noted, r#""kind":"refill","drum":"a","water_l":98,"clay_kg":1.79"#);
            }
        }
        let watched = Watched::new(story, &rooms::plain(), Habit::Sleeps, |_| {}).until(at("+10 05:00"));
        assert!(watched.silences.is_empty(), "{:?}", watched.silences);
        waking += watched.waking().count();
        if waking > 1 {
            panic!("seed {seed}:\n{}", watched.list());
        }
    }
}

#[test]
fn an_answer_after_which_nobody_comes_is_called_for_again_with_the_next_person() {
    let mut story = ScriptedStory::begin("08:00", 3, Truth::full());
    story.happens("+1 00:10", |truth, _| truth.a.litres = 70.0);
    let watched = Watched::new(story, &rooms::plain(), Habit::AnswersOnly, |_| {}).until(at("+1 09:00"));
    let calls = watched.telling.calls("runout:a");
    let broken: Vec<_> = calls
        .iter()
        .filter(|told| {
            told.notice.calling.as_ref().is_some_and(|calling| calling.call == Call::PromiseBroken)
        })
        .collect();
    assert!(broken.len() >= 3, "{}", watched.list());
    let second = Id::new("second").expect("an id");
    assert!(broken.iter().all(|told| told.notice.to.includes(&second)), "{}", watched.list());
}

#[test]
fn nobody_who_comes_in_the_morning_is_told_by_day() {
    let mut story = ScriptedStory::begin("08:00", 5, Truth::full());
    story.happens("19:00", |truth, _| truth.fill_a(175.0));
    story.written("19:00", r#""kind":"refill","drum":"a","water_l":120,"clay_kg":2.2"#);
    let watched = Watched::new(story, &rooms::plain(), Habit::Sleeps, |_| {}).until(at("+1 14:00"));
    let absent = watched.telling.calls("absence");
    let [first, ..] = absent.as_slice() else { panic!("{}", watched.list()) };
    assert_eq!(first.clock, "+1 06:00", "half an hour after the visit:\n{}", watched.list());
    assert!(first.subject.starts_with("Nobody has been seen in the room since 19:00."), "{}", first.subject);
    // While the drum's end endangers fish it is said again and again.
    let says = |told: &&claymark_tests::story::NoticeAsRead| {
        told.words().contains("Nobody has been seen in the room since")
    };
    let danger = watched.telling.calls("runout:a").into_iter().find(|told| {
        let calling = told.notice.calling.as_ref();
        calling.is_some_and(|calling| matches!(calling.urgency, Urgency::Danger { .. }))
    });
    let Some(danger) = danger else { panic!("{}", watched.list()) };
    let mut last = danger.at;
    for told in watched.telling.told.iter().filter(|told| told.at > danger.at).filter(says) {
        assert!(told.at.duration_since(last).as_mins() <= 31, "{}\n{}", told.clock, watched.list());
        last = told.at;
    }
    assert!(last >= at("+1 13:30"), "{}", watched.list());
    assert!(watched.silences.is_empty(), "{:?}\n{}", watched.silences, watched.list());
}

#[test]
fn nobody_who_comes_while_all_is_well_is_told_twice_at_most() {
    let mut story = ScriptedStory::begin("08:00", 5, Truth::full());
    story.happens("+1 02:00", |truth, _| truth.fill_a(175.0));
    story.happens("+1 07:00", |truth, _| truth.fill_a(175.0));
    story.written("19:00", r#""kind":"note","text":"all well""#);
    let watched = Watched::new(story, &rooms::plain(), Habit::Sleeps, |_| {}).until(at("+1 14:00"));
    let says = |told: &&claymark_tests::story::NoticeAsRead| told.notice.cause == "absence";
    assert!(watched.telling.told.iter().filter(says).count() <= 2, "{}", watched.list());
}

/// Three days in each of which something fails at some hour, and something else within the hours after it.
fn season(seed: u64) -> (ScriptedStory, String, [&'static Trouble; 2]) {
    let mut chance = StdRng::seed_from_u64(9_000 + seed);
    let mut story = ScriptedStory::begin("08:00", seed, Truth::full());
    for hour in (14..80).step_by(8) {
        let clock = |minute: u32| format!("+{} {:02}:{minute:02}", hour / 24, hour % 24);
        story.happens(&clock(0), |truth, _| truth.fill_a(175.0));
        story.written(&clock(10), r#""kind":"refill","drum":"a","water_l":98,"clay_kg":1.79"#);
    }
    let mut drawn = || TROUBLES.get(chance.random_range(0..TROUBLES.len())).expect("within the list");
    let one = drawn();
    let other = drawn();
    let first: u32 = chance.random_range(12 * 60..54 * 60);
    let second = first + chance.random_range(10..360);
    let clock = |minute: u32| format!("+{} {:02}:{:02}", minute / 1440, minute / 60 % 24, minute % 60);
    let (fails, then) = (one.1, other.1);
    story.happens(&clock(first), move |truth, _| fails(truth));
    story.happens(&clock(second), move |truth, _| then(truth));
    (story, format!("{} at {}, {} at {}", one.0, clock(first), other.0, clock(second)), [one, other])
}

#[test]
fn seasons_in_which_two_things_fail_leave_nobody_in_silence_whatever_people_do() {
    for seed in 0..SEASONS {
        for habit in Habit::ALL {
            let (story, what, troubles) = season(seed);
            let mends = troubles.map(|trouble| trouble.2);
            let watched = Watched::new(story, &rooms::plain(), habit, move |story| {
                story.hands(|truth, _| mends.iter().for_each(|mends| mends(truth)));
            });
            let watched = watched.until(at("+3 08:00"));
            assert!(
                watched.silences.is_empty(),
                "seed {seed}, {habit:?}: {what}: {:?}\n{}",
                watched.silences,
                watched.list()
            );
        }
    }
}

/// More of them take longer; so many are played in half a minute.
const SEASONS: u64 = 6;

/// A probe's noise takes it over the border and back; fish that are in danger aren't out of it by that.
#[test]
fn water_that_hovers_at_a_hard_limit_is_called_for_all_the_while() {
    let mut story = ScriptedStory::begin("08:00", 11, Truth::full());
    story.happens("+1 00:30", |truth, _| truth.fill_a(175.0));
    // 24 NTU where 25 NTU are half of what they want.
    story.happens("+1 01:00", |truth, _| truth.yield_ntu *= 22.2 / (truth.head + 0.0001));
    let watched = Watched::new(story, &rooms::plain(), Habit::Sleeps, |_| {}).until(at("+1 09:00"));
    assert!(watched.silences.is_empty(), "{:?}\n{}", watched.silences, watched.list());
}

#[test]
fn a_heater_that_sticks_a_little_is_told_as_at_rest_and_no_danger_for_ever() {
    let mut story = ScriptedStory::begin("20:00", 3, Truth::full());
    story.happens("+1 01:00", |truth, _| truth.incoming = 22.6);
    let telling = story.told("+1 05:00", &rooms::plain());
    let calls = telling.calls("heat");
    let [first, ..] = calls.as_slice() else { panic!("{}", telling.list()) };
    assert!(first.subject.contains("and rising"), "{}", first.subject);
    let late: Vec<_> = calls.iter().filter(|told| told.at >= at("+1 04:00")).collect();
    assert!(late.len() <= 1, "{}", telling.list());
    assert!(late.iter().all(|told| told.subject.contains("and steady")), "{}", telling.list());
}

/// Rooms, hours and failures that nothing was tuned to.
#[test]
fn in_rooms_that_are_drawn_nobody_is_left_in_silence_whatever_people_do() {
    let mut found = String::new();
    for seed in 0..worlds(12) {
        let DrawnWorld { story, site, what, habit, mends } = DrawnWorld::troubled(seed, 3);
        let watched = Watched::new(story, &site, habit, mends).until(at("+3 08:00"));
        if !watched.silences.is_empty() {
            found += &format!("seed {seed}, {habit:?}: {what}: {:?}\n{}", watched.silences, watched.list());
        }
    }
    assert!(found.is_empty(), "{found}");
}

#[test]
fn in_rooms_that_are_drawn_quiet_days_wake_nobody() {
    let mut waking = String::new();
    let seasons = worlds(12) / 4;
    for seed in 0..seasons {
        let DrawnWorld { story, site, what, .. } = DrawnWorld::quiet(seed, 10);
        let watched = Watched::new(story, &site, Habit::Sleeps, |_| {}).until(at("+10 05:00"));
        assert!(watched.silences.is_empty(), "{:?}", watched.silences);
        for told in watched.waking() {
            waking += &format!("seed {seed}, {what}: {} {}\n", told.clock, told.subject);
        }
    }
    // In forty days one.
    let most = usize::try_from(seasons / 4).expect("few").max(1);
    assert!(waking.lines().count() <= most, "{waking}");
}

/// More of them for whoever searches: `CLAYMARK_WORLDS=200`.
fn worlds(usual: u64) -> u64 {
    std::env::var("CLAYMARK_WORLDS").ok().and_then(|count| count.parse().ok()).unwrap_or(usual)
}
