//! A probe that shows what kills is lost at night: somebody is asked to look, where nothing else shows the same water.

use claymark_tests::story::script::{Instruments, at};
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, rooms};

/// What comes of it by 04:00 that at 01:00 something becomes of an instrument, until it is mended after so many minutes.
fn lost(site: &str, breaks: fn(&mut Instruments), mended: Option<u32>) -> Telling {
    let mut story = ScriptedStory::begin("20:00", 4, Truth::full());
    story.happens("+1 01:00", move |_, instruments| breaks(instruments));
    if let Some(minutes) = mended {
        story.happens(&format!("+1 01:{minutes:02}"), |_, instruments| {
            (instruments.oxygen_off, instruments.silent) = (0.0, Vec::new());
        });
    }
    story.told("+1 04:00", site)
}

fn calls(telling: &Telling) -> Vec<&NoticeAsRead> {
    telling.told.iter().filter(|told| told.notice.calling.is_some()).collect()
}

/// Somebody is called by that time, to measure by hand, and then the next person.
#[track_caller]
fn asks_for_hands(telling: &Telling, by: &str, what: &str) {
    let calls = calls(telling);
    let [first, second, ..] = calls.as_slice() else { panic!("{}", telling.list()) };
    assert!(first.at <= at(by), "{}", telling.list());
    assert!(first.subject.ends_with("Measure by hand."), "{}", first.words());
    assert!(first.text.starts_with(what), "{}", first.words());
    assert_ne!(first.notice.to, second.notice.to, "{}", telling.list());
    // It is no danger by itself.
    assert!(calls.len() <= 2, "{}", telling.list());
}

/// It is told for the morning at most.
#[track_caller]
fn can_wait(telling: &Telling) {
    assert!(calls(telling).is_empty(), "{}", telling.list());
}

#[test]
fn an_oxygen_probe_that_falls_silent_at_night_is_told_at_night_unless_others_show_the_water() {
    let silent = |instruments: &mut Instruments| instruments.silent = vec!["story/head/oxygen"];
    asks_for_hands(&lost(&rooms::plain(), silent, None), "+1 01:14", "Nothing shows the oxygen");
    can_wait(&lost(&rooms::with_tank_oxygen(), silent, None));
    can_wait(&lost(&rooms::plain(), silent, Some(8)));
}

#[test]
fn what_a_tanks_fish_breathe_only_its_own_probe_shows() {
    let silent = |instruments: &mut Instruments| instruments.silent = vec!["story/t1/oxygen"];
    asks_for_hands(&lost(&rooms::with_tank_oxygen(), silent, None), "+1 01:14", "Nothing shows the oxygen");
}

#[test]
fn an_oxygen_probe_that_speaks_and_is_not_believed_shows_nothing_either() {
    let off = |instruments: &mut Instruments| instruments.oxygen_off = 30.0;
    let telling = lost(&rooms::plain(), off, None);
    asks_for_hands(&telling, "+1 01:14", "Nothing shows the oxygen");
    let said = &calls(&telling)[0];
    assert!(said.subject.contains("not believed since 01:00"), "{}", said.subject);
    assert!(!said.text.contains("Silent:"), "{}", said.text);
    can_wait(&lost(&rooms::with_tank_oxygen(), off, None));
    can_wait(&lost(&rooms::plain(), off, Some(8)));
}

#[test]
fn a_thermometer_may_be_silent_for_half_an_hour() {
    let silent = |instruments: &mut Instruments| instruments.silent = vec!["story/head/temperature"];
    let telling = lost(&rooms::plain(), silent, None);
    asks_for_hands(&telling, "+1 01:42", "Nothing shows the temperature");
    assert!(calls(&telling)[0].at >= at("+1 01:30"), "{}", telling.list());
    can_wait(&lost(&rooms::plain(), silent, Some(25)));
}

#[test]
fn a_turbidity_probe_is_told_at_night_where_it_is_the_only_one() {
    let silent = |instruments: &mut Instruments| instruments.silent = vec!["story/head/turbidity"];
    asks_for_hands(
        &lost(&rooms::without_tank_probes(), silent, None),
        "+1 01:42",
        "Nothing shows how cloudy",
    );
    can_wait(&lost(&rooms::plain(), silent, None));
}
