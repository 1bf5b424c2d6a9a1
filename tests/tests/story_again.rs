//! What is told once more says how it stands by then.

use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, rooms};

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
        assert!(
            said.is_some_and(|said| (said - is).abs() < 0.25),
            "{said:?} of {is} {unit}:\n{}",
            told.words()
        );
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

#[test]
fn failures_that_hold_at_once_call_in_one_message_and_each_goes_on() {
    let mut story = ScriptedStory::begin("20:00", 2, Truth::full());
    story.happens("+1 01:00", |truth, _| truth.oxygen_goal = 3.0);
    story.happens("+1 01:20", |truth, _| truth.incoming = 12.0);
    let telling = story.told("+1 06:00", &rooms::plain());
    let late = at("+1 02:30");
    let calls: Vec<_> = telling
        .told
        .iter()
        .filter(|told| told.notice.calling.is_some() && told.at >= late && told.at < at("+1 05:20"))
        .collect();
    let also = |told: &NoticeAsRead| {
        let calling = told.notice.calling.clone();
        calling.map(|calling| calling.also).unwrap_or_default()
    };
    for pair in calls.windows(2) {
        let pause = pair[1].at.duration_since(pair[0].at);
        let same = pair[0].notice.to == pair[1].notice.to;
        assert!(
            !same || pause.as_mins() >= 9,
            "twice within {pause:#}: {}\n{}",
            pair[1].clock,
            telling.list()
        );
    }
    for cause in ["air", "heat"] {
        let named = |told: &&&NoticeAsRead| {
            told.notice.cause == cause || also(told).iter().any(|also| also.cause == cause)
        };
        let mut last = late;
        for told in calls.iter().filter(named) {
            assert!(
                told.at.duration_since(last).as_mins() <= 31,
                "{cause} {}: {}",
                told.clock,
                telling.list()
            );
            last = told.at;
        }
        assert!(at("+1 05:20").duration_since(last).as_mins() <= 31, "{cause}: {}", telling.list());
    }
    // The most pressing leads, and the others are told by their first lines.
    let [first, ..] = calls.as_slice() else { panic!("{}", telling.list()) };
    assert_eq!(first.notice.cause, "air", "{}", telling.list());
    assert!(first.text.contains("Heater off since"), "{}", first.words());
    let first_lines = first.text.lines().take(3).collect::<Vec<_>>().join("\n");
    assert!(first_lines.contains("Oxygen in Head tank is"), "{}", first.words());
}

#[test]
fn one_answer_holds_for_all_that_a_message_calls_for_and_one_failure_alone_names_no_other() {
    let fails = |truth: &mut Truth| truth.oxygen_goal = 3.0;
    let alone = nobody_comes(fails);
    let by_night = alone.told.iter().filter(|told| told.at < at("+1 05:20"));
    assert!(by_night.into_iter().all(|told| !told.text.contains("This stands, too")), "{}", alone.list());

    let mut story = ScriptedStory::begin("20:00", 2, Truth::full());
    story.happens("+1 01:00", move |truth, _| fails(truth));
    story.happens("+1 01:20", |truth, _| truth.incoming = 12.0);
    let site = rooms::plain();
    let mut telling = Telling::live(&site, story.now());
    let mut answered = None;
    while story.now() < at("+1 04:00") {
        let messages = story.minute();
        let told = telling.hears(&messages).to_vec();
        let both = told.iter().find(|told| told.text.contains("This stands, too"));
        if let (None, Some(both)) = (answered, both) {
            story.answer(both.notice.number, "duty");
            answered = Some(both.at);
        }
    }
    let answered = answered.unwrap_or_else(|| panic!("{}", telling.list()));
    let soon = |told: &&NoticeAsRead| {
        let minutes = told.at.duration_since(answered).as_mins();
        told.notice.calling.is_some() && (2..40).contains(&minutes) && !told.is_news()
    };
    assert!(!telling.told.iter().any(|told| soon(&told)), "{}", telling.list());
}
