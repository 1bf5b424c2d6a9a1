//! A server that takes the data and says nothing may have the mail: repeated, but ever more rarely, and told.

use std::time::Duration;

use claymark::notify::{Outcome, Settings};
use claymark_notice::Priority;
use claymark_store::batch::{Channel, Delivery, DeliveryState};
use claymark_tests::mail::MailServer;

use crate::office::{Office, at, id, notice, pending, settings};

/// Long enough for the answer of a server that gives one.
fn impatient(port: u16) -> Settings {
    let mut settings = settings(port);
    settings.smtp.as_mut().unwrap().patience.data = Duration::from_secs(1);
    settings
}

fn unanswered(delivery: &Delivery) -> (u32, i64, &str) {
    let DeliveryState::Unanswered { times, next_try, last_error, .. } = &delivery.state else {
        panic!("{delivery:?}")
    };
    (*times, next_try.duration_since(at(0)).as_mins(), last_error.as_deref().unwrap_or_default())
}

#[tokio::test]
async fn a_server_that_takes_the_mail_and_never_answers_gets_it_four_times_at_growing_distances() {
    let server = MailServer::start(&["--data", "silence;hangup;silence"]);
    let mut office = Office::open(impatient(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    for expected in [(1, 2), (2, 2 + 10), (3, 2 + 10 + 30)] {
        let delivery = office.outcome().await;
        let (times, minutes, why) = unanswered(&delivery);
        assert_eq!((times, minutes), expected, "{why}");
        assert_eq!(server.mail().header("Message-ID"), "<alder-bend.7.on-call@barn.example>");
        office.stepper.advance_to(at(minutes * 60));
    }
    let DeliveryState::GivenUp { why, .. } = office.outcome().await.state else { panic!("not given up") };
    assert!(why.contains("4 times") && why.contains("may have arrived"), "{why}");
    assert_eq!(server.mail().header("Message-ID"), "<alder-bend.7.on-call@barn.example>");
    let Outcome::Undelivered { notice, missed, .. } = office.other().await else {
        panic!("others aren't told")
    };
    assert_eq!((notice.number, missed.tried_on), (7, true), "told when it first failed");
    let Outcome::Undelivered { notice, missed, told_before } = office.other().await else {
        panic!("others aren't told")
    };
    assert_eq!((notice.number, missed.contact, missed.may_have_it), (7, id("on-call"), true));
    assert!(told_before && !missed.tried_on);
    assert!(matches!(office.other().await, Outcome::ReachedNobody(_)));
    office.close().await;
    assert_eq!(server.mails(), [], "no fifth");
}

#[tokio::test]
async fn that_the_server_may_have_it_is_kept_before_it_can_have_it() {
    let server = MailServer::start(&["--data", "silence"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let Some(Outcome::Delivery(before)) = office.outcomes.recv().await else { panic!("nothing is said") };
    assert_eq!(unanswered(&before), (1, 2, ""));
    // The mail goes out only while this thread isn't blocked.
    let mail = tokio::task::spawn_blocking(move || server.mail()).await.unwrap();
    assert_eq!(mail.header("Subject"), "Notice 7");
}

#[tokio::test]
async fn after_a_restart_it_goes_on_counting() {
    let server = MailServer::start(&["--data", "silence"]);
    let taken = |number, times| {
        let state = DeliveryState::Unanswered { attempts: 9, times, next_try: at(60), last_error: None };
        let delivery = Delivery { state, ..pending(number, "on-call", Channel::Email) };
        (notice(number, Priority::Now), delivery)
    };
    let mut office = Office::open(impatient(server.port()), vec![taken(7, 3), taken(8, 4)]);
    office.stepper.advance_to(at(60));
    let mut given_up = Vec::new();
    for _ in 0..2 {
        let delivery = office.outcome().await;
        assert!(
            matches!(&delivery.state, DeliveryState::GivenUp { why, .. } if why.contains("may have arrived"))
        );
        given_up.push(delivery.notice);
    }
    given_up.sort_unstable();
    assert_eq!(given_up, [7, 8]);
    assert_eq!(server.mail().header("Subject"), "Notice 7");
    office.close().await;
    assert_eq!(server.mails(), [], "what went out four times doesn't go out once more");
}

#[tokio::test]
async fn a_refusal_after_the_data_is_an_answer() {
    let server = MailServer::start(&["--data", "451 4.3.0 full;554 5.7.1 not wanted"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let (attempts, _, error) = office.try_again().await;
    assert!(attempts == 1 && error.contains("451"), "{error}");
    let DeliveryState::GivenUp { why, .. } = office.outcome().await.state else { panic!("not given up") };
    assert!(why.contains("554"), "{why}");
    let Outcome::Undelivered { missed, .. } = office.other().await else { panic!("others aren't told") };
    assert!(!missed.may_have_it);
    office.close().await;
}

#[tokio::test]
async fn a_server_that_hangs_before_its_greeting_is_tried_each_minute_and_gets_one_mail() {
    let server = MailServer::start(&[]);
    let mut settings = settings(server.port());
    server.signal("STOP");
    settings.smtp.as_mut().unwrap().patience.dialogue = Duration::from_secs(1);
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let DeliveryState::Pending { attempts, next_try, last_error } = office.outcome().await.state else {
        panic!("it isn't pending");
    };
    assert_eq!((attempts, next_try), (1, at(60)));
    assert!(last_error.is_some_and(|error| error.contains("no answer")));
    server.signal("CONT");
    office.stepper.advance_to(next_try);
    assert_eq!(office.outcome().await.state, DeliveryState::Sent { at: next_try, attempts: 2 });
    office.close().await;
    assert_eq!(server.mail().header("Subject"), "Notice 7");
    assert_eq!(server.mails(), []);
}
