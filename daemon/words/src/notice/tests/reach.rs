//! Who wasn't reached, and why the broker is silent.

use claymark_notice::content::Remedy;
use claymark_notice::link::{LinkDown, Trouble};
use claymark_notice::{Channel, Missed, Undelivered};

use super::*;

fn missed(contact: &str, channel: Channel, why: &str) -> Missed {
    Missed { contact: id(contact), channel, why: why.to_owned(), may_have_it: false, tried_on: false }
}

fn lost(notice: Notice, missed: Vec<Missed>) -> Content {
    Content::Undelivered(Box::new(Undelivered { notice, missed }))
}

fn silent(trouble: Trouble) -> Content {
    let since = at("2027-04-20T20:00:00Z");
    let sensors = ["drum-a-level", "drum-b-level", "head-turbidity"];
    Content::ReadingsMissing(ReadingsMissing::Silent {
        sensors: sensors
            .iter()
            .map(|sensor| SilentSensor { sensor: id(sensor), last: Some(since), doubted: false })
            .collect(),
        common: Common::Everything,
        drums: Vec::new(),
        visit: Some(visit()),
        link: Some(LinkDown { since, trouble }),
        unseen: Vec::new(),
    })
}

fn troubles() -> Vec<Trouble> {
    let since = at("2027-04-20T19:58:00Z");
    vec![
        Trouble::Unreachable { why: "Connection refused (os error 111)".to_owned() },
        Trouble::Unanswering,
        Trouble::Closed,
        Trouble::NoRoom,
        Trouble::TakenOver { since, client_id: "claymark".to_owned(), certain: true },
    ]
}

fn taken_over(certain: bool) -> Content {
    let since = at("2027-04-20T20:00:00Z");
    Content::ReadingsMissing(ReadingsMissing::TakenOver { since, client_id: "claymark".to_owned(), certain })
}

/// One of each that this file is about.
pub(super) fn every_kind(remedy: Remedy) -> Vec<Content> {
    let call =
        notice("2027-04-20T20:40:00Z", Content::Runout(Box::new(Runout { remedy, ..runout(Again::Due) })));
    let all = vec![missed("ann", Channel::Email, "550"), missed("kim", Channel::Mqtt, "\r\nno\u{7}")];
    let mut contents = vec![lost(call, all), taken_over(true), taken_over(false)];
    contents.extend(troubles().into_iter().map(silent));
    contents
}

#[test]
fn a_call_that_did_not_reach_somebody_is_passed_on_whole() {
    let call = notice("2027-04-20T20:40:00Z", Content::Runout(Box::new(runout(Again::Due))));
    let silent = notice("2027-04-20T20:40:00Z", taken_over(true));
    let calm = Notice { priority: claymark_notice::Priority::Morning, ..silent };
    let doubtful = Missed { may_have_it: true, ..missed("ann", Channel::Email, "no answer within 60 s") };
    let refused = "permanent error (550): 5.1.1 nobody of that name";
    let both = [
        lost(call, vec![missed("ann", Channel::Email, refused), missed("kim", Channel::Email, refused)]),
        lost(
            calm,
            vec![doubtful, missed("ann", Channel::Mqtt, "the broker refuses the message: NotAuthorized")],
        ),
    ]
    .map(|content| told(&site(), &notice("2027-04-20T20:45:00Z", content)));
    insta::assert_snapshot!(both.join("\n=====\n\n"));
}

#[test]
fn a_silence_names_what_is_wrong_with_the_broker_and_blames_nobody_else() {
    let all: Vec<_> = troubles()
        .into_iter()
        .map(silent)
        .chain([taken_over(true), taken_over(false)])
        .map(|content| told(&site(), &notice("2027-04-20T20:45:00Z", content)))
        .collect();
    insta::assert_snapshot!(all.join("\n=====\n\n"));
    let over = Because::NameFree { since: at("2027-04-20T20:00:00Z"), until: at("2027-04-20T20:02:00Z") };
    let told_at = at("2027-04-20T20:01:00Z");
    let over = Content::Withdrawn(Box::new(Withdrawn { told_at, because: over }));
    insta::assert_snapshot!(told(&site(), &notice("2027-04-20T20:45:00Z", over)));
}
