//! Who is called at which hour, who has the night, and what the morning is told.

use claymark_model::calendar::Shift;
use claymark_model::calls::WeeklyTime;
use claymark_model::fieldlog::Deed;
use claymark_model::roster::{CallHours, OtherVisit, Role, VisitDay, WeekDay};
use claymark_model::site::Site;
use claymark_notice::handover::TestCall;
use claymark_notice::{Content, NoticeKind, Priority};
use jiff::civil::time;

use crate::night::{HeardNotice, RoomNight, id};
use crate::{calling, of_kind, told};

/// A pump is turned up without a word at ten past six of the evening of 20 April 2027, a Tuesday.
fn turned_up(change: impl FnOnce(&mut Site)) -> (RoomNight, Vec<HeardNotice>) {
    let mut night = RoomNight::begin_where("2027-04-20T08:00", change);
    night.drum("a").holds(150.0).draws(4.0);
    night.drum("b").holds(170.0).draws(4.0);
    let mut said = night.until("2027-04-20T18:10");
    night.drum("a").draws(14.0);
    said.extend(night.until("2027-04-21T04:00"));
    (night, said)
}

fn nobody_but(site: &mut Site, name: &str, change: impl FnOnce(&mut claymark_model::site::Contact)) {
    change(site.contacts.iter_mut().find(|contact| contact.id.as_str() == name).expect("they are there"));
}

#[test]
fn who_is_not_on_is_not_called() {
    let (_, said) = turned_up(|site| {
        nobody_but(site, "ann", |ann| ann.role = Role::Day);
        nobody_but(site, "lee", |lee| {
            let days = vec![WeekDay::Tue];
            lee.hours = vec![CallHours { days, from: time(23, 0, 0, 0), to: time(7, 0, 0, 0) }];
        });
    });
    let check = of_kind(&said, NoticeKind::EveningCheck)[0];
    assert_eq!(check.to, "kim", "whoever is on reads it: {:?}", told(&said));
    let calls = of_kind(&said, NoticeKind::Runout);
    assert!(calls.iter().all(|call| call.to != "ann" && call.to != "everyone"), "{:?}", told(&said));
    let before_eleven = |call: &&&HeardNotice| call.clock.as_str() < "04-20 23:00";
    assert!(calls.iter().filter(before_eleven).all(|call| call.to == "kim"), "{:?}", told(&said));
    assert!(calls.iter().any(|call| call.to == "lee"), "{:?}", told(&said));
}

#[test]
fn who_is_there_for_danger_only_is_called_when_it_is_danger() {
    let (_, said) = turned_up(|site| nobody_but(site, "ann", |ann| ann.only_danger = true));
    let check = of_kind(&said, NoticeKind::EveningCheck)[0];
    assert_eq!(check.to, "kim and lee");
    let calls = of_kind(&said, NoticeKind::Runout);
    let danger =
        |call: &&&HeardNotice| matches!(calling(call).urgency, claymark_notice::Urgency::Danger { .. });
    assert!(calls.iter().filter(|call| !danger(call)).all(|call| call.to != "ann"), "{:?}", told(&said));
    assert!(calls.iter().filter(danger).any(|call| call.to == "ann"), "{:?}", told(&said));
}

#[test]
fn a_visit_at_another_time_is_what_drums_must_last_to() {
    // 24 April 2027 is a Saturday: nobody comes before nine, and a drum doesn't last the hour beyond.
    let night = |visits: Vec<OtherVisit>| {
        let mut night = RoomNight::begin_where("2027-04-23T12:00", |site| site.staff.other_visits = visits);
        // 146.25 L above the heel at five in the afternoon, at 8.5 L/h: dry at 10:12.
        night.drum("a").holds(200.75).draws(8.5);
        night.drum("b").holds(170.0).draws(1.0);
        let said = night.until("2027-04-23T17:01");
        let Content::EveningCheck(check) = &said[0].notice.content else { panic!("{:?}", told(&said)) };
        (check.visit.at, check.drums[0].verdict)
    };
    use claymark_notice::content::Verdict;
    let (usual, lasts) = night(Vec::new());
    let nine = OtherVisit { on: VisitDay::Each(WeekDay::Sat), at: Some(time(9, 0, 0, 0)) };
    let (saturday, short) = night(vec![nine]);
    assert_eq!(saturday.duration_since(usual).as_mins(), 90);
    assert_eq!((lasts, short), (Verdict::Lasts, Verdict::MayNotLast));
}

#[test]
fn the_night_is_whose_answer_comes_and_unanswered_the_next_person_is_asked() {
    let asks = |site: &mut Site| site.staff.confirm_by = Some(time(17, 45, 0, 0));
    let mut night = RoomNight::begin_where("2027-04-20T08:00", asks);
    night.drum("a").holds(170.0).draws(4.0);
    night.drum("b").holds(165.0).draws(4.0);
    let said = night.until("2027-04-20T18:30");
    let seen = told(&said);
    assert_eq!(
        seen,
        [
            ("04-20 17:00", NoticeKind::EveningCheck, "everyone"),
            ("04-20 17:45", NoticeKind::Handover, "kim"),
            ("04-20 18:15", NoticeKind::Handover, "lee"),
        ]
    );
    night.answer_by(said[2].notice.number, Some("lee"), None);
    assert_eq!(told(&night.until("2027-04-20T20:00")), []);
    night.drum("a").draws(16.0);
    let calls = night.until("2027-04-20T21:00");
    let first = of_kind(&calls, NoticeKind::Runout)[0];
    let tonight = first.notice.tonight.as_ref().expect("the site asks for it");
    assert_eq!((first.to.as_str(), tonight.person.as_str()), ("lee", "lee"));
    assert!(tonight.confirmed.is_some());

    // The twin: whoever answers the evening message at once has the night, and nobody else is asked.
    let mut night = RoomNight::begin_where("2027-04-20T08:00", asks);
    night.drum("a").holds(170.0).draws(4.0);
    night.drum("b").holds(165.0).draws(4.0);
    let said = night.until("2027-04-20T17:10");
    night.answer_by(said[0].notice.number, Some("kim"), None);
    assert_eq!(told(&night.until("2027-04-21T07:29")), []);
}

#[test]
fn a_night_that_is_given_to_somebody_is_theirs_for_that_night() {
    let mut night = RoomNight::begin_where("2027-04-20T08:00", |site| {
        site.staff.confirm_by = Some(time(17, 45, 0, 0));
        nobody_but(site, "lee", |lee| lee.role = Role::Day);
    });
    night.drum("a").holds(170.0).draws(4.0);
    night.drum("b").holds(165.0).draws(4.0);
    night.until("2027-04-20T15:00");
    night.log(Deed::Tonight { person: Some(id("lee")) });
    let said = night.until("2027-04-20T17:50");
    let Content::EveningCheck(check) = &said[0].notice.content else { panic!("{:?}", told(&said)) };
    assert_eq!(check.first_called, Some(id("lee")));
    // Somebody else gave it to them, so they are asked whether they know; unanswered, the next one is.
    assert_eq!((said[1].notice.kind, said[1].to.as_str()), (NoticeKind::Handover, "ann"));
    let next = night.until("2027-04-21T17:50");
    let evening = of_kind(&next, NoticeKind::EveningCheck)[0];
    let Content::EveningCheck(check) = &evening.notice.content else { panic!() };
    assert_eq!(check.first_called, Some(id("ann")), "the night after is anybody's");
}

#[test]
fn the_morning_says_what_was_told_who_answered_and_what_to_look_at_first() {
    let mut night = RoomNight::begin_where("2027-04-20T08:00", |site| {
        site.staff.morning = Some(time(7, 0, 0, 0));
    });
    night.drum("a").holds(150.0).draws(4.0);
    night.drum("b").holds(170.0).draws(4.0);
    night.until("2027-04-20T18:10");
    night.drum("a").draws(14.0);
    let calls = night.until_said("2027-04-20T18:45");
    night.answer_by(calls[0].notice.number, Some("kim"), None);
    night.drum("a").pours(100.0);
    let said = night.until("2027-04-21T07:01");
    let morning = said.last().expect("the morning's word");
    assert_eq!((morning.clock.as_str(), morning.notice.kind), ("04-21 07:00", NoticeKind::Morning));
    let Content::Morning(word) = &morning.notice.content else { panic!() };
    let cause = word.told.iter().find(|cause| cause.kind == NoticeKind::Runout).expect("it was told");
    assert_eq!((cause.drum.clone(), cause.first), (Some(id("a")), calls[0].notice.number));
    let (by, _) = cause.answered.clone().expect("kim answered");
    assert_eq!(by.as_deref(), Some("kim"));
    assert!(cause.over.is_some(), "the drum was filled: {cause:?}");
    assert!(matches!(night.room.known().site().shift(night.now), Shift::Away { .. }));

    // The twin: after a quiet night it says so.
    let mut night = RoomNight::begin_where("2027-04-20T08:00", |site| {
        site.staff.morning = Some(time(7, 0, 0, 0));
    });
    night.drum("a").holds(170.0).draws(2.0);
    night.drum("b").holds(165.0).draws(2.0);
    let said = night.until("2027-04-21T07:01");
    let Content::Morning(word) = &said[1].notice.content else { panic!("{:?}", told(&said)) };
    assert!(word.told.is_empty() && word.standing.is_empty(), "{word:?}");
    assert_eq!(said[1].notice.priority, Priority::Morning);
}

#[test]
fn each_week_everybody_is_asked_for_an_answer_and_told_who_gave_none() {
    let weekly = WeeklyTime { day: WeekDay::Wed, at: time(14, 0, 0, 0) };
    let mut night = RoomNight::begin_where("2027-04-20T15:00", |site| site.calls.test = Some(weekly));
    night.drum("a").holds(170.0).draws(1.0);
    night.drum("b").holds(165.0).draws(1.0);
    let said = night.until("2027-04-21T14:01");
    let test = of_kind(&said, NoticeKind::TestCall)[0];
    assert_eq!((test.clock.as_str(), test.notice.kind), ("04-21 14:00", NoticeKind::TestCall));
    assert_eq!(test.to, "ann and kim and lee");
    night.answer_by(test.notice.number, Some("Kim"), None);
    night.answer_by(test.notice.number, Some("lee"), None);
    let said = night.until("2027-04-21T15:01");
    let result = of_kind(&said, NoticeKind::TestCall)[0];
    let Content::TestCall(TestCall::Answered { by, silent, .. }) = &result.notice.content else {
        panic!("{:?}", told(&said))
    };
    assert_eq!(
        (by.as_slice(), silent.as_slice()),
        ([id("kim"), id("lee")].as_slice(), [id("ann")].as_slice())
    );
    let next = night.until("2027-04-22T14:30");
    assert!(of_kind(&next, NoticeKind::TestCall).is_empty(), "once a week: {:?}", told(&next));
}
