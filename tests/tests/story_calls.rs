//! What a call says to whoever must get up: what, until when, what to carry.

use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, rooms};

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
