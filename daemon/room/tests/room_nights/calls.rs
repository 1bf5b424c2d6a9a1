//! Who is called again, when, and what a promise is worth.

use claymark_notice::query::About;
use claymark_notice::{Call, Content, NoticeKind, Urgency};
use jiff::SignedDuration;

use crate::night::HeardNotice;
use crate::{calling, of_kind, pump_turned_up, told};

#[test]
fn without_an_answer_people_are_called_by_the_time_that_is_left() {
    let (mut night, mut said) = pump_turned_up();
    said.extend(night.until("2027-04-21T07:00"));
    let calls: Vec<_> = of_kind(&said, NoticeKind::Runout);
    let by = |call: &HeardNotice| calling(call).urgency.by();
    let (hours_left, danger): (Vec<&HeardNotice>, Vec<&HeardNotice>) =
        calls.iter().partition(|call| matches!(calling(call).urgency, Urgency::By { .. }));
    for name in ["ann", "kim", "lee"] {
        let called = |calls: &[&HeardNotice]| calls.iter().filter(|call| call.to == name).count();
        let first_or_worse = |call: &&&HeardNotice| call.to == name && calling(call).call == Call::Worse;
        let worse = hours_left.iter().filter(first_or_worse).count();
        assert!(called(&hours_left) <= 2 + worse, "{name}, {:?}", told(&said));
        assert!(called(&danger) >= 2, "{name}, {:?}", told(&said));
    }
    for pair in calls.windows(2) {
        let (one, other) = (pair[0], pair[1]);
        assert_eq!(other.notice.replaces, Some(one.notice.number), "one cause, one message");
        if calling(other).call == Call::Worse {
            continue;
        }
        let pause = other.notice.at.duration_since(one.notice.at);
        let most = if danger.iter().any(|call| call.notice.number == one.notice.number) { 30 } else { 121 };
        assert!(pause <= SignedDuration::from_mins(most), "{pause:#} after {}", one.clock);
        assert!(pause >= SignedDuration::from_mins(10), "{pause:#} after {}", one.clock);
        assert_eq!(calling(other).earlier.as_ref().map(|earlier| earlier.at), Some(one.notice.at));
    }
    let first_danger = danger.first().expect("nobody came");
    let left = by(first_danger).map(|by| by.duration_since(first_danger.notice.at));
    assert!(left.is_some_and(|left| left >= SignedDuration::from_mins(80)), "{left:?}");
}

#[test]
fn a_call_says_when_the_next_one_comes_and_it_does() {
    let (mut night, mut said) = pump_turned_up();
    said.extend(night.until("2027-04-21T07:00"));
    let calls: Vec<_> = of_kind(&said, NoticeKind::Runout);
    let mut kept = 0;
    for pair in calls.windows(2) {
        let Some(later) = &calling(pair[0]).later else { continue };
        if calling(pair[1]).call == Call::Worse || pair[1].notice.at < later.at {
            continue;
        }
        assert!(
            pair[1].notice.at.duration_since(later.at) <= SignedDuration::from_mins(1),
            "{}",
            pair[1].clock
        );
        assert_eq!(pair[1].notice.to, later.to, "{}", pair[1].clock);
        kept += 1;
    }
    assert!(kept > 10, "{kept} of {}", calls.len());
}

#[test]
fn a_promise_that_is_not_kept_calls_whoever_gave_it_and_the_next_person() {
    let (mut night, said) = pump_turned_up();
    night.answer_by(said[0].notice.number, Some("kim"), None);
    let by = calling(&said[0]).urgency.by().expect("somebody must be there by then");
    let mut calls = night.until("2027-04-21T07:00");
    calls.retain(|call| call.notice.kind == NoticeKind::Runout);
    let worse = calls.iter().take_while(|call| calling(call).call == Call::Worse).count();
    let broken = &calls[worse];
    assert_eq!(calling(broken).call, Call::PromiseBroken, "{:?}", told(&calls));
    assert_eq!(broken.to, "kim and lee");
    assert!(broken.notice.at.duration_since(by).abs() <= SignedDuration::from_mins(45), "{}", broken.clock);
    assert_eq!(calling(broken).broken.as_ref().and_then(|broken| broken.by.clone()), Some("kim".to_owned()));
    // From then on nobody is left in silence.
    for pair in calls[worse..].windows(2) {
        let pause = pair[1].notice.at.duration_since(pair[0].notice.at);
        assert!(pause <= SignedDuration::from_mins(30), "{pause:#} after {}", pair[0].clock);
    }
}

#[test]
fn a_promise_has_its_own_time_and_one_that_is_too_late_is_told_back_at_once() {
    let (mut night, said) = pump_turned_up();
    let by = calling(&said[0]).urgency.by().expect("somebody must be there by then");
    let there_by = by + SignedDuration::from_mins(30);
    let mut back = night.answer_by(said[0].notice.number, Some("ann"), Some(there_by));
    back.extend(night.minutes(12));
    let query = of_kind(&back, NoticeKind::Query);
    let Content::Query(queries) = &query[0].notice.content else { panic!() };
    let About::TooLate { notice, needed_by, .. } = &queries.first[0].about else { panic!("{queries:?}") };
    assert_eq!((*notice, query[0].to.as_str()), (said[0].notice.number, "ann"));
    assert!(needed_by.duration_since(by).abs() <= SignedDuration::from_hours(2));
    let next = of_kind(&back, NoticeKind::Runout)[0];
    assert_eq!((next.to.as_str(), calling(next).call), ("kim", Call::Next), "{:?}", told(&back));
    // Whoever can come at some time only, when somebody must come at once, stands in nobody's place.
    let (mut night, mut calls) = pump_turned_up();
    calls.extend(night.until("2027-04-21T01:30"));
    let danger = calls.iter().rfind(|call| call.notice.kind == NoticeKind::Runout).expect("it was called");
    assert!(matches!(calling(danger).urgency, Urgency::Danger { .. }), "{:?}", told(&calls));
    let hours_later = night.now + SignedDuration::from_hours(9);
    let mut back = night.answer_by(danger.notice.number, Some("ann"), Some(hours_later));
    back.extend(night.minutes(2));
    assert_eq!(of_kind(&back, NoticeKind::Query).len(), 1, "{:?}", told(&back));
    let next = of_kind(&back, NoticeKind::Runout)[0];
    assert_eq!((next.to.as_str(), calling(next).call), ("kim", Call::Next), "{:?}", told(&back));
    let later = night.minutes(60);
    assert!(of_kind(&later, NoticeKind::Runout).len() >= 2, "and on: {:?}", told(&later));
    // In time: nobody is called before then.
    let (mut night, said) = pump_turned_up();
    night.answer_by(said[0].notice.number, Some("ann"), Some(night.now + SignedDuration::from_mins(50)));
    let calls = night.minutes(49);
    assert!(
        of_kind(&calls, NoticeKind::Runout).iter().all(|call| calling(call).call == Call::Worse),
        "{:?}",
        told(&calls)
    );
    let broken = night.minutes(3);
    assert_eq!(calling(of_kind(&broken, NoticeKind::Runout)[0]).call, Call::PromiseBroken);
}

#[test]
fn whoever_is_there_sooner_takes_the_promise_over_and_whoever_comes_later_does_not() {
    let sooner = |first: i64, second: i64| {
        let (mut night, said) = pump_turned_up();
        let number = said[0].notice.number;
        let minutes = SignedDuration::from_mins;
        night.answer_by(number, Some("kim"), Some(night.now + minutes(first)));
        night.answer_by(number, Some("lee"), Some(night.now + minutes(second)));
        let calls = night.minutes(first.max(second) + 10);
        let broken = calls
            .iter()
            .find(|call| call.notice.kind == NoticeKind::Runout && calling(call).call == Call::PromiseBroken);
        let broken = broken.unwrap_or_else(|| panic!("nobody came: {:?}", told(&calls)));
        calling(broken).broken.as_ref().and_then(|promise| promise.by.clone())
    };
    assert_eq!(sooner(60, 30).as_deref(), Some("lee"));
    assert_eq!(sooner(30, 60).as_deref(), Some("kim"));
}
