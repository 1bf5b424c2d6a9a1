//! Which numbers are known, over, or were probably meant.

use super::*;
use crate::content::{Because, ReadingsMissing, Withdrawn};
use crate::{Audience, Priority};

fn at(minute: i64) -> Timestamp {
    Timestamp::from_second(1_800_000_000 + minute * 60).unwrap()
}

fn notice(number: u64, kind: NoticeKind, replaces: Option<u64>, content: Content) -> Notice {
    Notice {
        number,
        at: at(i64::try_from(number).unwrap()),
        kind,
        cause: "c".to_owned(),
        drum: None,
        priority: Priority::Now,
        replaces,
        to: Audience::Everyone,
        calling: None,
        tonight: None,
        content,
    }
}

/// The register goes by kind and number; which facts a call carries is all the same to it.
fn call(number: u64, kind: NoticeKind, replaces: Option<u64>) -> Notice {
    let content = Content::ReadingsMissing(ReadingsMissing::SessionLost { since: at(0), until: at(0) });
    notice(number, kind, replaces, content)
}

fn over(number: u64, replaces: u64) -> Notice {
    let because = Because::StoreWorks { since: at(0) };
    let content = Content::Withdrawn(Box::new(Withdrawn { told_at: at(0), because }));
    notice(number, NoticeKind::Withdrawn, Some(replaces), content)
}

fn register(notices: &[Notice]) -> Register {
    let mut register = Register::default();
    notices.iter().for_each(|notice| register.issue(notice));
    register
}

fn answer(notice: u64, by: &str) -> Answer {
    Answer { notice, by: Some(by.to_owned()), at: at(100), there_by: None }
}

#[test]
fn a_number_that_no_notice_has_is_said_to_be_none_with_the_one_that_was_meant() {
    let register = register(&[call(46, NoticeKind::Runout, None), call(47, NoticeKind::Water, None)]);
    for number in [0, 48, 4711, 9_223_372_036_854_775_808, u64::MAX] {
        assert_eq!(register.standing(number, None), Standing::Nonexistent, "{number}");
    }
    assert_eq!(register.standing(3, None), Standing::TooOld);
    // One key too many; one wrong, where the newest is likelier; nothing alike, where the run-out is.
    assert_eq!(register.meant(4711), Some(47));
    assert_eq!(register.meant(48), Some(46));
    assert_eq!(register.meant(9), Some(46));
}

#[test]
fn what_was_told_again_is_answered_by_any_of_its_numbers_and_over_with_the_last() {
    let told = [call(1, NoticeKind::Runout, None), call(2, NoticeKind::Runout, Some(1))];
    let mut register = register(&told);
    assert_eq!((register.standing(1, None), register.standing(2, None)), (Standing::Open, Standing::Open));
    assert_eq!(register.meant(7), Some(2), "the newest of the two");
    register.answered(&answer(1, "Aino"));
    let by_aino = Standing::Answered { by: Some("Aino".to_owned()), at: at(100) };
    assert_eq!(register.standing(2, Some("Bo")), by_aino);
    assert_eq!(register.standing(2, Some("Aino")), Standing::Open, "she may say it twice");
    assert_eq!(register.meant(7), None);
    register.issue(&over(3, 2));
    for number in [1, 2] {
        assert_eq!(register.standing(number, Some("Aino")), Standing::Over { at: at(3) }, "{number}");
    }
    assert_eq!(register.standing(3, None), Standing::CallsNobody);
}

#[test]
fn what_is_told_after_an_answer_asks_anew() {
    let mut register = register(&[call(1, NoticeKind::Runout, None)]);
    register.answered(&answer(1, "Aino"));
    let again = Notice { at: at(200), ..call(2, NoticeKind::Runout, Some(1)) };
    register.issue(&again);
    assert_eq!(
        (register.standing(1, Some("Bo")), register.standing(2, Some("Bo"))),
        (Standing::Open, Standing::Open)
    );
    register.answered(&Answer { at: at(210), ..answer(2, "Bo") });
    let by_bo = Standing::Answered { by: Some("Bo".to_owned()), at: at(210) };
    assert_eq!(register.standing(1, Some("Aino")), by_bo);
    // Another answer takes nothing off Bo.
    register.answered(&Answer { at: at(211), ..answer(2, "Aino") });
    assert_eq!(register.standing(1, Some("Aino")), by_bo);
}

#[test]
fn an_answer_to_no_notice_answers_no_later_one_of_that_number() {
    let mut register = register(&[call(1, NoticeKind::Runout, None)]);
    register.answered(&answer(2, "Aino"));
    register.issue(&call(2, NoticeKind::Runout, None));
    assert_eq!(register.standing(2, Some("Bo")), Standing::Open);
}

#[test]
fn numbers_are_known_although_their_notices_cannot_be_read() {
    let mut register = register(&[]);
    register.numbered_up_to(9);
    assert_eq!(
        (register.standing(9, None), register.standing(10, None)),
        (Standing::TooOld, Standing::Nonexistent)
    );
}
