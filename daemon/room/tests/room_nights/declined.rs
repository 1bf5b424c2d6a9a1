//! Whoever is called can't go and says so: the next person is called at once, and nothing is hushed by it.

use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_notice::calling::DeclineFate;
use claymark_notice::{Audience, Call, NoticeKind};
use claymark_room::Event;
use jiff::SignedDuration;

use crate::night::{HeardNotice, RoomNight, id};
use crate::{calling, of_kind, pump_turned_up, told};

fn decline(night: &mut RoomNight, notice: u64, by: &str) -> Vec<HeardNotice> {
    let (at, by) = (night.now, Some(by.to_owned()));
    let key = format!("decline {notice} {by:?} {at}");
    night.event(Event::Log(LogEntry {
        key,
        at,
        received_at: at,
        by,
        replaces: None,
        deed: Deed::Decline { notice },
    }))
}

fn readers(said: &[HeardNotice]) -> Vec<&str> {
    of_kind(said, NoticeKind::Runout).iter().map(|said| said.to.as_str()).collect()
}

#[test]
fn the_next_person_is_called_at_once_and_then_the_one_after_until_nobody_is_left() {
    let (mut night, said) = pump_turned_up();
    let first = said[0].notice.number;
    assert_eq!(readers(&said), ["ann"]);
    let said = decline(&mut night, first, "ann");
    assert_eq!(readers(&said), ["kim"], "{:?}", told(&said));
    let call = calling(&said[0]);
    assert_eq!((call.call, call.declined.clone()), (Call::Next, Some(id("ann"))));
    // Once each, whoever says it again, and nobody in somebody else's name.
    for by in ["ann", "lee", "a stranger"] {
        assert_eq!(readers(&decline(&mut night, first, by)), [] as [&str; 0], "{by}");
    }
    let second = said[0].notice.number;
    let said = decline(&mut night, second, "Kim");
    assert_eq!(readers(&said), ["lee"], "{:?}", told(&said));
    let third = said[0].notice.number;
    assert_eq!(night.fate(third, "lee"), DeclineFate::NobodyElse);
    assert_eq!(readers(&decline(&mut night, third, "lee")), [] as [&str; 0]);
    // All have said it: the calls go on by their own time, to all of them.
    let said = night.until("2027-04-21T03:00");
    for name in ["ann", "kim", "lee"] {
        assert!(readers(&said).contains(&name), "{name}: {:?}", told(&said));
    }
}

#[test]
fn no_later_call_comes_later_for_it_and_none_is_left_out() {
    let (mut night, said) = pump_turned_up();
    decline(&mut night, said[0].notice.number, "ann");
    let declined = of_kind(&night.until("2027-04-21T07:00"), NoticeKind::Runout).len();
    let (mut night, _) = pump_turned_up();
    let twin = of_kind(&night.until("2027-04-21T07:00"), NoticeKind::Runout).len();
    assert!(declined + 1 >= twin, "{declined} and {twin}");
}

#[test]
fn a_promise_is_taken_back_by_whoever_gave_it_alone() {
    let (mut night, said) = pump_turned_up();
    let first = said[0].notice.number;
    night.answer_by(first, Some("ann"), None);
    assert_eq!(night.fate(first, "kim"), DeclineFate::OnIt { by: Some("ann".to_owned()) });
    assert_eq!(readers(&decline(&mut night, first, "kim")), [] as [&str; 0]);
    assert_eq!(night.fate(first, "ann"), DeclineFate::NextAsked { to: Audience::one(id("kim")) });
    let said = decline(&mut night, first, "ann");
    assert_eq!(readers(&said), ["kim"], "{:?}", told(&said));
    // Kim's answer counts as any.
    let second = said[0].notice.number;
    night.answer_by(second, Some("kim"), None);
    assert_eq!(readers(&night.minutes(30)), [] as [&str; 0]);
}

#[test]
fn it_outlasts_a_restart_and_is_not_asked_twice() {
    let (mut night, said) = pump_turned_up();
    let said = decline(&mut night, said[0].notice.number, "ann");
    assert_eq!(readers(&said), ["kim"]);
    let said = night.restart(SignedDuration::from_mins(1));
    assert_eq!(readers(&said), [] as [&str; 0], "{:?}", told(&said));
    let last = night.fate(said.last().map_or(3, |said| said.notice.number), "ann");
    assert!(!matches!(last, DeclineFate::NextAsked { .. }), "{last:?}");
}

#[test]
fn by_day_everybody_was_asked_and_what_never_was_stands_nowhere() {
    let (night, _) = pump_turned_up();
    assert_eq!(night.fate(4711, "ann"), DeclineFate::NothingStands);
    let mut day = RoomNight::begin("2027-04-20T08:00");
    day.drum("a").draws(4.0);
    day.until("2027-04-20T10:00");
    day.drum("a").draws(60.0);
    let said = day.until_said("2027-04-20T16:00");
    assert_eq!(said[0].to, "everyone", "{:?}", told(&said));
    let number = said[0].notice.number;
    assert_eq!(day.fate(number, "ann"), DeclineFate::OthersAsked);
    assert_eq!(readers(&decline(&mut day, number, "ann")), [] as [&str; 0]);
    day.answer_by(number, Some("ann"), None);
    assert_eq!(day.fate(number, "ann"), DeclineFate::NextAsked { to: Audience::Everyone });
}
