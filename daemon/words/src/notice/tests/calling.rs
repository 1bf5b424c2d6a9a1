//! Why people are called once more, and what becomes of it.

use claymark_notice::calling::{Earlier, Later};
use claymark_notice::content::{Again, Content, Runout, Unattended, Verdict};
use claymark_notice::{Audience, Call, Calling, Notice, Promise, Urgency};

use super::room::*;
use super::*;

fn calling(call: Call) -> Calling {
    let kim = || Audience::one(id("kim"));
    Calling {
        also: Vec::new(),
        call,
        urgency: Urgency::Danger { by: None },
        earlier: Some(Earlier { at: at("2027-04-20T23:10:00Z"), to: Audience::one(id("ann")) }),
        broken: None,
        holds_until: at("2027-04-21T00:05:00Z"),
        later: Some(Later { at: at("2027-04-20T23:45:00Z"), to: kim() }),
    }
}

/// A drum that falls faster, told once more to Kim.
fn told_again(calling: Calling, to: Audience) -> String {
    let mut runout = Runout { state: falling_faster("2027-04-20T23:20:00Z"), ..runout(Again::Due) };
    runout.remedy = remedy(Verdict::WillNotLast);
    let content = Content::Runout(Box::new(runout));
    told(&site(), &Notice { to, calling: Some(Box::new(calling)), ..notice("2027-04-20T23:20:00Z", content) })
}

#[test]
fn a_run_out_that_nobody_answered_says_so_and_who_is_called_next() {
    insta::assert_snapshot!(told_again(calling(Call::Next), Audience::one(id("kim"))));
}

#[test]
fn a_promise_that_was_not_kept_is_told_with_its_time() {
    let broken = Promise {
        by: Some("Ann".to_owned()),
        at: at("2027-04-20T23:12:00Z"),
        until: at("2027-04-20T23:20:00Z"),
        comes_late: None,
        unspoken: false,
    };
    let calling = Calling { broken: Some(broken.clone()), ..calling(Call::PromiseBroken) };
    let said = told_again(calling.clone(), Audience::Only(vec![id("ann"), id("kim")]));
    assert!(
        said.contains("\nAnn answered at 02:12, to be there by 02:20; what it needs wasn't seen.\n"),
        "{said}"
    );
    assert!(said.contains("Without an answer Kim (invented) is called at 02:45."), "{said}");
    let late = Promise { comes_late: Some(at("2027-04-21T01:30:00Z")), ..broken };
    let said = told_again(Calling { broken: Some(late), ..calling }, Audience::one(id("kim")));
    assert!(said.contains("\nAnn comes only by 04:30: that may be too late.\n"), "{said}");
}

#[test]
fn a_call_of_the_day_is_told_again_to_everybody_or_to_nobody() {
    let day = Calling {
        later: Some(Later { at: at("2027-04-20T23:45:00Z"), to: Audience::Everyone }),
        ..calling(Call::First)
    };
    let said = told_again(day.clone(), Audience::Everyone);
    assert!(said.contains("Without an answer everybody is told again at 02:45."), "{said}");
    let said = told_again(Calling { later: None, ..day }, Audience::Everyone);
    assert!(said.contains("Without an answer nobody is called again until it gets worse."), "{said}");
}

#[test]
fn nobody_in_the_room_is_told_with_when_somebody_was() {
    let unattended = Unattended { visit: at("2027-04-21T04:30:00Z"), seen: Some(at("2027-04-20T13:05:00Z")) };
    let said = told(&site(), &notice("2027-04-21T05:30:00Z", Content::Unattended(unattended)));
    assert!(
        said.starts_with("Nobody has been seen in the room since Tue 16:05. Somebody must look.\n"),
        "{said}"
    );
}
