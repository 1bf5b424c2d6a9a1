//! The connection to the broker: another client with our name is told at once; everything else with the silence.

use claymark_notice::content::{Because, Content, ReadingsMissing};
use claymark_notice::link::{Link, Trouble};
use claymark_notice::{NoticeKind, Priority};
use claymark_room::Event;
use jiff::{SignedDuration, Timestamp};

use crate::night::RoomNight;
use crate::{because, told};

fn taken_over(since: Timestamp) -> Event {
    let client_id = "claymark".to_owned();
    Event::Link(Link::Down(Trouble::TakenOver { since, client_id, certain: true }))
}

fn up() -> Event {
    Event::Link(Link::Up)
}

#[test]
fn another_client_with_our_name_is_told_at_once_and_what_is_missing_when_it_is_gone() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T12:00");
    let since = night.at("2027-04-20T11:59");
    let said = night.event(taken_over(since));
    assert_eq!(told(&said), [("04-20 12:00", NoticeKind::ReadingsMissing, "everyone")]);
    assert_eq!(said[0].notice.priority, Priority::Soon);
    let Content::ReadingsMissing(ReadingsMissing::TakenOver { since: told_since, client_id, certain }) =
        &said[0].notice.content
    else {
        panic!("{said:?}")
    };
    assert_eq!((*told_since, client_id.as_str(), *certain), (since, "claymark", true));
    night.minutes(1);
    // The two throw each other out: one story, one message.
    night.event(up());
    assert_eq!(told(&night.event(taken_over(night.at("2027-04-20T12:01")))), []);
    night.minutes(1);
    night.event(up());
    let over = night.minutes(20);
    assert_eq!(told(&over), [("04-20 12:18", NoticeKind::Withdrawn, "everyone")]);
    let until = night.at("2027-04-20T12:02");
    assert_eq!(because(&over[0]), &Because::NameFree { since, until });
    assert_eq!(over[0].notice.replaces, Some(said[0].notice.number));
}

#[test]
fn a_session_that_the_other_client_dropped_is_not_blamed_on_the_broker() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T12:00");
    let (since, earlier) = (night.at("2027-04-20T11:59"), night.at("2027-04-20T11:58"));
    // Before it is known who did it, and after.
    assert_eq!(told(&night.event(Event::SessionLost { since: earlier })), []);
    let said = night.event(taken_over(since));
    night.event(up());
    night.event(Event::SessionLost { since: earlier });
    let all: Vec<_> = said.into_iter().chain(night.minutes(30)).collect();
    let kinds: Vec<_> = all.iter().map(|said| said.notice.kind).collect();
    assert_eq!(kinds, [NoticeKind::ReadingsMissing, NoticeKind::Withdrawn], "{:?}", told(&all));
    let Because::NameFree { since: missing_since, .. } = because(&all[1]) else { panic!() };
    assert_eq!(*missing_since, earlier, "what the session held is gone, too");
}

#[test]
fn a_broker_that_keeps_silent_is_told_as_that_and_no_other_client_is_blamed() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T23:00");
    night.network_down(true);
    night.minutes(1);
    let down_since = night.now;
    assert_eq!(told(&night.event(Event::Link(Link::Down(Trouble::Unanswering)))), []);
    let said = night.minutes(30);
    assert_eq!(
        told(&said).iter().map(|(_, kind, to)| (*kind, *to)).collect::<Vec<_>>(),
        ["ann", "kim", "lee"].map(|to| (NoticeKind::ReadingsMissing, to))
    );
    let Content::ReadingsMissing(ReadingsMissing::Silent { link: Some(link), .. }) = &said[0].notice.content
    else {
        panic!("{said:?}")
    };
    assert_eq!((link.since, &link.trouble), (down_since, &Trouble::Unanswering));
    night.event(up());
    night.network_down(false);
    let back = night.minutes(30);
    assert!(matches!(because(&back[0]), Because::HeardAgain { .. }), "{:?}", told(&back));
}

#[test]
fn after_a_restart_the_other_client_is_not_told_again_and_its_end_is() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T12:00");
    night.event(taken_over(night.at("2027-04-20T11:59")));
    assert_eq!(told(&night.restart(SignedDuration::from_mins(1))), []);
    night.event(up());
    let over = night.minutes(20);
    assert_eq!(over.len(), 1, "{:?}", told(&over));
    assert!(matches!(because(&over[0]), Because::NameFree { .. }));
}
