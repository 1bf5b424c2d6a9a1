//! What a call says to whoever must get up: what, until when, what to carry.

use claymark_model::id::Id;
use claymark_notice::Audience;
use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, Which, rooms};

/// The first call for the end of A, which is nearly empty at 01:00.
fn runs_out(b_holds: f64) -> (Telling, NoticeAsRead) {
    let mut truth = Truth::full();
    truth.b.litres = b_holds;
    let mut story = ScriptedStory::begin("20:00", 5, truth);
    story.happens("+1 01:00", |truth, _| truth.a.litres = 40.0);
    let telling = story.told("+1 03:30", &rooms::plain());
    let first = telling.calls("runout:a").first().map(|told| (*told).clone());
    let first = first.unwrap_or_else(|| panic!("{}", telling.list()));
    (telling, first)
}

#[test]
fn a_full_drum_on_the_same_pump_is_offered_first_and_an_empty_one_is_not() {
    let (telling, call) = runs_out(170.0);
    let third = call.text.lines().nth(2).unwrap_or_default();
    assert!(third.starts_with("Quickest: put Pump 1 on Drum B, which holds 1"), "{}", call.words());
    assert!(third.contains("claymark log in_use --pump p1 --drum b"), "{}", call.words());
    // Each call for it says so.
    for call in telling.calls("runout:a") {
        assert!(call.text.contains("Quickest: put Pump 1"), "{}", call.words());
    }
    let (_, call) = runs_out(12.0);
    assert!(!call.text.contains("Quickest"), "{}", call.words());
}

/// At 18:00 the second person fills A to the line with so much clay, and writes down water and clay; what was asked by 21:00.
fn filled((poured_l, clay_kg): (f64, f64), written_l: f64) -> (Telling, Vec<NoticeAsRead>) {
    let mut truth = Truth::day_24();
    truth.a.litres = 130.0;
    let mut story = ScriptedStory::begin("11:00", 3, truth);
    story.happens("18:00", move |truth, _| {
        if poured_l > 0.0 {
            truth.pour(Which::A, poured_l, clay_kg);
        }
    });
    let entry = format!(
        r#""kind":"refill","drum":"a","water_l":{written_l},"clay_kg":{clay_kg},"by":"Second person""#
    );
    story.written("18:02", &entry);
    let telling = story.told("21:00", &rooms::plain());
    let asked = telling.told.iter().filter(|told| told.notice.cause == "query").cloned().collect();
    (telling, asked)
}

#[test]
fn a_doubled_weighing_is_asked_of_its_writer_when_the_head_tank_shows_it() {
    let (telling, asked) = filled((132.0, 4.6), 130.5);
    let [query] = asked.as_slice() else { panic!("{}", telling.list()) };
    assert!((at("18:18")..=at("18:30")).contains(&query.at), "{}", telling.list());
    assert_eq!(query.notice.to, Audience::one(Id::new("second").expect("an id")), "{}", query.words());
    assert!(query.subject.starts_with("Is this right?"), "{}", query.subject);
    assert!(query.text.contains("about twice as much"), "{}", query.words());
    assert!(!query.text.contains("kilograms mixed up"), "{}", query.words());
    assert!(query.text.contains("The head tank is at "), "{}", query.words());
    // Pounds for kilograms fit better.
    let (telling, asked) = filled((132.0, 5.4), 130.5);
    let [query] = asked.as_slice() else { panic!("{}", telling.list()) };
    assert!(query.text.contains("pounds and kilograms mixed up?"), "{}", query.words());
    // And a usual mix is no question.
    let (telling, asked) = filled((132.0, 2.4), 130.5);
    assert!(asked.is_empty(), "{}", telling.list());
}

#[test]
fn a_refill_that_the_level_does_not_show_is_asked_of_whoever_wrote_it_down() {
    let (telling, asked) = filled((0.0, 2.4), 130.5);
    let [query] = asked.as_slice() else { panic!("{}", telling.list()) };
    assert!(query.at <= at("19:00"), "{}", telling.list());
    assert_eq!(query.notice.to, Audience::one(Id::new("second").expect("an id")), "{}", query.words());
    assert!(query.subject.contains("its level shows nothing of it"), "{}", query.words());
}
