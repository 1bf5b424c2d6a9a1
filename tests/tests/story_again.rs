//! What is told once more says how it stands by then.

use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, rooms};
use claymark_tests::story::script::at;

/// What people are called for until 08:00, when at 01:00 something fails and nobody comes.
fn nobody_comes(fails: fn(&mut Truth)) -> Telling {
    let mut story = ScriptedStory::begin("20:00", 2, Truth::full());
    story.happens("+1 01:00", move |truth, _| fails(truth));
    story.told("+1 08:00", &rooms::plain())
}

/// The first number before that unit, in the first line.
fn figure(told: &NoticeAsRead, unit: &str) -> Option<f64> {
    let before = told.subject.split(unit).next().filter(|before| *before != told.subject)?;
    before.split_whitespace().next_back()?.parse().ok()
}

/// Each call of a cause from 04:00 on, when the water has long come to where it goes, says that.
#[track_caller]
fn says_how_it_stands(telling: &Telling, cause: &str, (unit, is): (&str, f64)) {
    let calls = telling.calls(cause);
    let late: Vec<_> = calls.iter().filter(|told| told.at >= at("+1 04:00")).collect();
    assert!(late.len() >= 3, "{}", telling.list());
    for told in late {
        let said = figure(told, unit);
        assert!(said.is_some_and(|said| (said - is).abs() < 0.25), "{said:?} of {is} {unit}:\n{}", told.words());
    }
}

#[test]
fn the_first_line_of_a_repeated_call_has_the_water_as_it_is() {
    let blower = nobody_comes(|truth| (truth.oxygen_goal, truth.settling) = (4.0, Some(0.0)));
    says_how_it_stands(&blower, "air", (" mg/L", 4.0));
    let heater = nobody_comes(|truth| truth.incoming = 14.0);
    says_how_it_stands(&heater, "heat", (" °C", 14.0));
    let oxygen = nobody_comes(|truth| truth.oxygen_goal = 3.0);
    says_how_it_stands(&oxygen, "air", (" mg/L", 3.0));
}

#[test]
fn no_time_that_has_passed_is_told_as_one_that_comes() {
    let blower = nobody_comes(|truth| (truth.oxygen_goal, truth.settling) = (4.0, Some(0.0)));
    for told in blower.calls("air").iter().filter(|told| told.at >= at("+1 02:00")) {
        assert!(!told.subject.contains(" about 01:"), "{}", told.words());
    }
}
