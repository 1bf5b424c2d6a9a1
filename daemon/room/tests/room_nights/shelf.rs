//! Nobody is called for what somebody has shelved, with an end and a reason; what endangers fish can't be shelved.

use claymark_model::fieldlog::Deed;
use claymark_notice::query::{About, NotShelved};
use claymark_notice::{Content, NoticeKind, Urgency};
use jiff::SignedDuration;

use crate::night::{HeardNotice, RoomNight};
use crate::{calling, of_kind, pump_turned_up, told};

fn shelve(night: &mut RoomNight, notice: u64, minutes: i64) -> Vec<HeardNotice> {
    let until = night.now + SignedDuration::from_mins(minutes);
    night.log(Deed::Shelve { notice, until, why: "its cable is being changed".to_owned() })
}

/// A level sensor fell silent at eleven, and the first person was called.
fn silent_level() -> (RoomNight, u64) {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").draws(4.0);
    night.until("2027-04-20T23:00");
    night.drum("a").falls_silent();
    let said = night.until("2027-04-20T23:12");
    let silence = of_kind(&said, NoticeKind::ReadingsMissing);
    let number = silence.first().expect("the silence is told").notice.number;
    (night, number)
}

fn clocks(said: &[HeardNotice]) -> Vec<&str> {
    of_kind(said, NoticeKind::ReadingsMissing).iter().map(|said| said.clock.as_str()).collect()
}

#[test]
fn what_is_shelved_calls_nobody_until_its_end_and_then_again() {
    let (mut night, number) = silent_level();
    shelve(&mut night, number, 120);
    let said = night.until("2027-04-21T07:29");
    assert_eq!(clocks(&said), ["04-21 01:12", "04-21 01:42"], "{:?}", told(&said));
    // The twin: nobody shelves it.
    let (mut night, _) = silent_level();
    let said = night.until("2027-04-21T07:29");
    assert_eq!(clocks(&said), ["04-20 23:40", "04-21 00:10"]);
}

#[test]
fn a_shelf_ends_within_eight_hours_and_outlasts_a_restart() {
    let (mut night, number) = silent_level();
    shelve(&mut night, number, 24 * 60);
    night.minutes(10);
    let mut said = night.restart(SignedDuration::from_mins(1));
    said.extend(night.until("2027-04-21T07:10"));
    assert_eq!(clocks(&said), [] as [&str; 0], "{:?}", told(&said));
    let said = night.until("2027-04-21T07:29");
    assert_eq!(clocks(&said), ["04-21 07:12"], "{:?}", told(&said));
}

#[test]
fn danger_is_not_shelved_and_its_writer_is_told_and_neither_is_what_never_was() {
    let (mut night, mut calls) = pump_turned_up();
    calls.extend(night.until("2027-04-21T01:30"));
    let danger = calls.iter().rfind(|call| call.notice.kind == NoticeKind::Runout).expect("it was called");
    assert!(matches!(calling(danger).urgency, Urgency::Danger { .. }), "{:?}", told(&calls));
    let mut said = shelve(&mut night, danger.notice.number, 120);
    said.extend(night.minutes(30));
    let why = |said: &[HeardNotice]| {
        let query = of_kind(said, NoticeKind::Query);
        let Content::Query(queries) = &query[0].notice.content else { panic!() };
        let About::NotShelved { why, .. } = queries.first[0].about else { panic!("{queries:?}") };
        why
    };
    assert_eq!(why(&said), NotShelved::Danger);
    assert!(!of_kind(&said, NoticeKind::Runout).is_empty(), "people go on being called: {:?}", told(&said));

    let (mut night, number) = silent_level();
    let mut said = shelve(&mut night, number + 7, 60);
    said.extend(night.minutes(2));
    assert_eq!(why(&said), NotShelved::NothingStands);
}

#[test]
fn a_shelf_breaks_when_fish_come_to_be_in_danger() {
    // The run-out is hours away when it is shelved.
    let (mut night, said) = pump_turned_up();
    let first = of_kind(&said, NoticeKind::Runout)[0];
    assert!(matches!(calling(first).urgency, Urgency::By { .. }), "{:?}", told(&said));
    shelve(&mut night, first.notice.number, 8 * 60);
    let calls = night.until("2027-04-21T03:00");
    let calls = of_kind(&calls, NoticeKind::Runout);
    let danger = calls.iter().find(|call| matches!(calling(call).urgency, Urgency::Danger { .. }));
    assert!(danger.is_some(), "{:?}", calls.iter().map(|call| &call.clock).collect::<Vec<_>>());
}
