//! Who has the night, and what the morning is told.

use claymark_model::id::Id;
use claymark_notice::handover::{Handover, Morning, NightCause, OnTonight, TestCall};
use claymark_notice::{Audience, Content, NoticeKind};

use super::room::{at, id, notice, site};
use super::told;

fn kim(confirmed: Option<&str>) -> OnTonight {
    OnTonight { person: id("kim"), confirmed: confirmed.map(at) }
}

fn handover(expected: Option<Id>) -> Handover {
    Handover { expected, evening: at("2027-04-20T14:00:00Z"), visit: at("2027-04-21T04:30:00Z") }
}

#[test]
fn whoever_is_asked_for_the_night_knows_what_to_do() {
    let content = Content::Handover(handover(Some(id("kim"))));
    let asked =
        claymark_notice::Notice { to: Audience::one(id("ann")), ..notice("2027-04-20T15:00:00Z", content) };
    insta::assert_snapshot!("handover", told(&site(), &asked));
}

#[test]
fn the_morning_says_what_to_look_at_first() {
    let cause = |kind, first, answered, over: Option<&str>| NightCause {
        kind,
        drum: (kind == NoticeKind::Runout).then(|| id("a")),
        first,
        at: at("2027-04-20T22:12:00Z"),
        notices: if first == 4 { 3 } else { 1 },
        answered,
        over: over.map(at),
    };
    let answered = Some((Some("Kim".to_owned()), at("2027-04-20T22:20:00Z")));
    let morning = Morning {
        evening: at("2027-04-20T14:00:00Z"),
        tonight: Some(kim(Some("2027-04-20T14:20:00Z"))),
        told: vec![
            cause(NoticeKind::Runout, 4, answered, Some("2027-04-20T23:40:00Z")),
            cause(NoticeKind::LevelDoubt, 9, None, None),
        ],
        standing: Vec::new(),
        drums: vec![super::room::not_lasting("a")],
        next_evening: Some(at("2027-04-21T14:00:00Z")),
    };
    let said = told(&site(), &notice("2027-04-21T04:00:00Z", Content::Morning(Box::new(morning.clone()))));
    insta::assert_snapshot!("morning", said);
    let quiet = Morning { tonight: Some(kim(None)), told: Vec::new(), drums: Vec::new(), ..morning };
    let said = told(&site(), &notice("2027-04-21T04:00:00Z", Content::Morning(Box::new(quiet))));
    insta::assert_snapshot!("morning-quiet", said);
}

#[test]
fn a_test_call_says_that_nothing_is_wrong_and_then_who_gave_no_answer() {
    let asked = at("2027-04-21T11:00:00Z");
    let said = |at: &str, test| told(&site(), &notice(at, Content::TestCall(test)));
    let by = at("2027-04-21T12:00:00Z");
    let ask = said("2027-04-21T11:00:00Z", TestCall::Asked { by });
    let silent = TestCall::Answered { asked, by: vec![id("ann")], silent: vec![id("kim")] };
    let all = TestCall::Answered { asked, by: vec![id("ann"), id("kim")], silent: Vec::new() };
    let results = [silent, all].map(|test| said("2027-04-21T12:00:00Z", test));
    insta::assert_snapshot!("test-call", format!("{ask}\n---\n{}", results.join("\n---\n")));
}
