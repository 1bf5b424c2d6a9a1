//! A call that doesn't reach somebody goes to everyone, whole; an answer to either is one to both.

use claymark_notice::content::Content;
use claymark_notice::{Channel, Missed, Notice, NoticeKind, Priority, Undelivered};
use claymark_room::Event;
use jiff::SignedDuration;

use crate::night::{HeardNotice, RoomNight, id};
use crate::{of_kind, pump_turned_up, told};

fn missed(contact: &str, channel: Channel) -> Missed {
    Missed {
        contact: id(contact),
        channel,
        why: "550 no such user".to_owned(),
        may_have_it: false,
        tried_on: false,
    }
}

fn lost(notice: &Notice, contact: &str) -> Event {
    Event::NotDelivered { notice: Box::new(notice.clone()), missed: missed(contact, Channel::Email) }
}

fn undelivered(said: &HeardNotice) -> &Undelivered {
    let Content::Undelivered(undelivered) = &said.notice.content else { panic!("{said:?}") };
    undelivered
}

fn passed_on(said: &[HeardNotice]) -> Vec<&HeardNotice> {
    of_kind(said, NoticeKind::Undelivered)
}

#[test]
fn a_call_that_is_refused_goes_to_everyone_within_a_minute_with_all_it_says() {
    let (mut night, said) = pump_turned_up();
    let call = &said[0].notice;
    night.event(lost(call, "ann"));
    let said = night.minutes(1);
    let [told] = passed_on(&said)[..] else { panic!("{:?}", told(&said)) };
    assert_eq!(
        (told.to.as_str(), told.notice.priority, &told.notice.drum),
        ("everyone", Priority::Now, &call.drum)
    );
    assert_eq!(
        (&undelivered(told).notice, &undelivered(told).missed),
        (call, &vec![missed("ann", Channel::Email)])
    );
    assert_eq!(told.notice.of_use_until(), call.of_use_until());
}

#[test]
fn a_question_about_an_entry_that_gets_lost_hurries_nobody() {
    let (mut night, said) = pump_turned_up();
    let mut question = said[0].notice.clone();
    (question.kind, question.number, question.priority) = (NoticeKind::Query, 900, Priority::Now);
    night.event(lost(&question, "ann"));
    let said = night.minutes(1);
    let [told] = passed_on(&said)[..] else { panic!("{:?}", told(&said)) };
    assert_eq!(told.notice.priority, Priority::Morning);
}

#[test]
fn what_reaches_several_people_not_is_one_message_and_a_lost_message_about_it_makes_no_other() {
    let (mut night, said) = pump_turned_up();
    let call = said[0].notice.clone();
    night.event(lost(&call, "ann"));
    night.event(lost(&call, "kim"));
    let said = night.minutes(1);
    let [told] = passed_on(&said)[..] else { panic!("{:?}", told(&said)) };
    assert_eq!(undelivered(told).missed, [missed("ann", Channel::Email), missed("kim", Channel::Email)]);
    night.event(lost(&told.notice, "lee"));
    let more = night.minutes(5);
    assert!(passed_on(&more).is_empty(), "{:?}", crate::told(&more));
}

#[test]
fn an_answer_to_the_message_about_a_call_answers_the_call() {
    let (mut night, said) = pump_turned_up();
    night.event(lost(&said[0].notice, "ann"));
    let said = night.minutes(1);
    night.answer(passed_on(&said)[0].notice.number);
    assert_eq!(told(&night.until("2027-04-20T19:30")), [], "somebody is on it");
}

#[test]
fn who_heard_of_a_call_only_because_it_was_lost_hears_the_all_clear() {
    let (mut night, said) = pump_turned_up();
    night.event(lost(&said[0].notice, "ann"));
    night.minutes(1);
    night.answer(said[0].notice.number);
    night.drum("a").draws(4.0);
    night.drum("a").holds(170.0);
    let said = night.minutes(90);
    let clear = of_kind(&said, NoticeKind::Withdrawn);
    assert_eq!(clear.first().map(|clear| clear.to.as_str()), Some("everyone"), "{:?}", told(&said));
}

#[test]
fn a_way_that_fails_for_what_does_not_hurry_is_told_once_a_day_and_each_call_is_told() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").draws(4.0);
    let said = night.until("2027-04-20T17:30");
    let evening = of_kind(&said, NoticeKind::EveningCheck)[0].notice.clone();
    let evening = &Notice { priority: Priority::Morning, ..evening };
    night.event(lost(evening, "kim"));
    assert_eq!(passed_on(&night.minutes(1)).len(), 1);
    night.event(lost(evening, "kim"));
    assert_eq!(passed_on(&night.minutes(1)).len(), 0, "told an hour ago");
    let call = Notice { priority: Priority::Now, ..evening.clone() };
    night.event(lost(&call, "kim"));
    assert_eq!(passed_on(&night.minutes(1)).len(), 1, "somebody waits for it");
    // After a restart it is known that people were told.
    night.restart(SignedDuration::from_mins(1));
    night.event(lost(evening, "kim"));
    assert_eq!(passed_on(&night.minutes(1)).len(), 0, "told before the restart");
}

#[test]
fn a_call_is_of_use_until_the_visit_and_an_all_clear_makes_it_needless() {
    let (mut night, said) = pump_turned_up();
    let call = said[0].notice.clone();
    assert_eq!(call.of_use_until(), night.at("2027-04-21T07:30"));
    night.event(lost(&call, "ann"));
    let passed = passed_on(&night.minutes(1))[0].notice.clone();
    assert!(call.is_settled_by_answer_to(&passed) && passed.is_settled_by_answer_to(&call));
    night.answer(call.number);
    night.drum("a").draws(4.0);
    night.drum("a").holds(170.0);
    let said = night.minutes(90);
    let clear = &of_kind(&said, NoticeKind::Withdrawn)[0].notice;
    assert!(clear.clears(&call) && clear.clears(&passed) && !call.clears(clear));
    // Long past, it isn't passed on to anybody.
    night.until("2027-04-21T08:00");
    night.event(lost(&call, "ann"));
    assert!(passed_on(&night.minutes(2)).is_empty());
}
