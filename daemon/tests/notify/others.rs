//! A call that doesn't get through is told to others at once, and by the ways that are left.

use claymark::notify::Outcome;
use claymark_notice::Priority;
use claymark_store::batch::{Channel, DeliveryState};
use claymark_tests::mail::MailServer;

use crate::office::{Office, address, at, id, notice, settings};

#[tokio::test]
async fn a_call_that_fails_is_told_at_once_though_it_goes_on_being_tried() {
    let server = MailServer::start(&["--rcpt", "451 4.3.0 later;451 4.3.0 later;250 OK"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let (_, next, _) = office.try_again().await;
    let Outcome::Undelivered { missed, told_before: false, .. } = office.other().await else {
        panic!("not told")
    };
    assert!(missed.why.contains("451"), "{missed:?}");
    assert_eq!((missed.contact, missed.tried_on, next.as_mins()), (id("on-call"), true, 1));
    office.try_again().await;
    assert!(matches!(office.outcome().await.state, DeliveryState::Sent { .. }));
    // The next thing that is said is of the next notice: nobody is told twice of one call.
    let mut soon = notice(8, Priority::Soon);
    soon.subject = "later".to_owned();
    office.tell(soon).await;
    assert_eq!(office.outcome().await.notice, 8);
    office.close().await;
}

#[tokio::test]
async fn what_does_not_hurry_is_told_when_it_is_given_up_and_not_before() {
    let port = MailServer::start(&[]).port();
    let mut office = Office::open(settings(port), vec![]);
    office.tell(notice(7, Priority::Soon)).await;
    let (_, _, why) = office.try_again().await;
    assert!(why.to_lowercase().contains("refused"), "{why}");
    assert!(matches!(office.outcome().await.state, DeliveryState::Pending { .. }), "still down");
    let server = MailServer::start(&["--port", &port.to_string(), "--rcpt", "550 no"]);
    office.stepper.advance_to(at(3600));
    assert!(matches!(office.outcome().await.state, DeliveryState::GivenUp { .. }));
    let Outcome::Undelivered { missed, told_before: false, .. } = office.other().await else {
        panic!("not told")
    };
    assert!(!missed.tried_on);
    assert_eq!(server.refusal(), "550 no");
    office.close().await;
}

#[tokio::test]
async fn a_call_that_hangs_at_the_broker_is_told_after_half_a_minute() {
    let mut settings = settings(1);
    settings.addresses = vec![address("lamp", None, true)];
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let request = office.requests.recv().await.unwrap();
    office.stepper.advance_to(at(30));
    let Outcome::Undelivered { notice, missed, told_before: false } = office.other().await else {
        panic!("not told")
    };
    assert_eq!((notice.number, missed.channel, missed.tried_on), (7, Channel::Mqtt, true));
    // The broker is there again.
    request.done.send(Ok(())).unwrap();
    assert_eq!(office.outcome().await.state, DeliveryState::Sent { at: at(30), attempts: 1 });
    office.close().await;
}
