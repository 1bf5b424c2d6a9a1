//! Answers by mail: one is an answer as any other, once; one that takes no call off anybody changes nothing.

use claymark_notice::Answer;
use claymark_notice::register::Standing;
use claymark_room::Event;
use claymark_words::replies::NotTaken;

use super::door::{at, pipeline};
use crate::replies::ReplyOutcome;

fn by(name: &str, notice: u64, time: &str) -> Answer {
    Answer { notice, by: Some(name.to_owned()), at: at(time), there_by: None }
}

#[test]
fn a_reply_answers_once_and_not_what_is_over_or_never_was() {
    let mut pipeline = pipeline();
    pipeline.event(at("10:00:00"), Event::GoLive);
    pipeline.event(at("10:01:00"), Event::StoreFailed { why: "the disk is full".to_owned() });
    pipeline.advance_through(at("10:20:00"));
    let told = pipeline.take_output().issued;
    let number = told.iter().find(|issued| issued.notice.kind.calls()).expect("it calls").notice.number;

    let none = pipeline.reply(at("10:20:30"), by("Lead", number + 40, "10:20:30"));
    let ReplyOutcome::NotTaken(NotTaken::Standing { standing, .. }) = none else { panic!("{none:?}") };
    assert!(matches!(standing, Standing::Nonexistent | Standing::TooOld), "{standing:?}");
    assert!(pipeline.take_output().batch.answers.is_empty());

    let taken = pipeline.reply(at("10:21:00"), by("Lead", number, "10:21:00"));
    assert!(matches!(taken, ReplyOutcome::Taken { .. }), "{taken:?}");
    assert_eq!(pipeline.take_output().batch.answers, [by("Lead", number, "10:21:00")]);
    let again = pipeline.reply(at("10:40:00"), by("Lead", number, "10:40:00"));
    assert_eq!(again, ReplyOutcome::NotTaken(NotTaken::Used { notice: number }));
    let late = pipeline.reply(at("10:41:00"), by("Kim", number, "10:41:00"));
    let ReplyOutcome::NotTaken(NotTaken::Standing { standing: Standing::Answered { .. }, .. }) = late else {
        panic!("{late:?}")
    };

    pipeline.event(at("10:50:00"), Event::StoreWorks);
    pipeline.advance_through(at("11:40:00"));
    drop(pipeline.take_output());
    let over = pipeline.reply(at("11:41:00"), by("Kim", number, "11:41:00"));
    let ReplyOutcome::NotTaken(NotTaken::Standing { standing: Standing::Over { .. }, .. }) = over else {
        panic!("{over:?}")
    };
    let output = pipeline.take_output();
    assert!(output.batch.answers.is_empty() && output.issued.is_empty(), "{output:?}");
}
