//! What is refused for good is said, so that others can be told; what isn't needed any more is dropped in silence.

use claymark::notify::{Outcome, Word};
use claymark::publish::RefusedForGood;
use claymark_notice::content::{Because, Content, Withdrawn};
use claymark_notice::{Answer, Audience, Missed, Priority, Undelivered};
use claymark_store::batch::{Channel, DeliveryState, Issued};
use claymark_tests::mail::MailServer;

use crate::office::{Office, address, at, evening_check, id, notice, settings};

/// `number` passes `lost` on.
fn passes_on(number: u64, lost: &Issued, missed: Vec<Missed>) -> Issued {
    let mut issued = notice(number, Priority::Now);
    issued.notice.content =
        Content::Undelivered(Box::new(Undelivered { notice: lost.notice.clone(), missed }));
    issued
}

#[tokio::test]
async fn a_refusal_is_said_with_the_servers_words_and_the_other_way_of_the_same_contact_still_goes() {
    let server = MailServer::start(&["--rcpt", "550 5.1.1 nobody of that name"]);
    let mut settings = settings(server.port());
    settings.addresses = vec![address("on-call", Some("on-call@barn.example"), true)];
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    office.requests.recv().await.unwrap().done.send(Ok(())).unwrap();
    let mut states = [office.outcome().await, office.outcome().await].map(|delivery| delivery.state);
    states.sort_by_key(|state| matches!(state, DeliveryState::Sent { .. }));
    assert!(matches!(&states, [DeliveryState::GivenUp { .. }, DeliveryState::Sent { .. }]), "{states:?}");
    let Outcome::Undelivered { notice: lost, missed, told_before: false } = office.other().await else {
        panic!("not said")
    };
    assert_eq!((lost.number, &missed.contact, missed.channel), (7, &id("on-call"), Channel::Email));
    assert!(missed.why.contains("550") && missed.why.contains("nobody of that name"), "{missed:?}");

    // What tells of it goes by MQTT only: the mail was just refused.
    office.tell(passes_on(8, &notice(7, Priority::Now), vec![missed])).await;
    let request = office.requests.recv().await.unwrap();
    assert_eq!(request.topic, "claymark/alder-bend/notice/on-call");
    request.done.send(Ok(())).unwrap();
    let done = office.outcome().await;
    assert_eq!((done.notice, done.channel), (8, Channel::Mqtt));
    office.close().await;
    assert_eq!(server.refusal(), "550 5.1.1 nobody of that name");
    assert_eq!(server.mails(), []);
}

#[tokio::test]
async fn what_every_way_refuses_has_reached_nobody() {
    let server = MailServer::start(&["--rcpt", "550 5.7.1 relaying denied"]);
    let mut settings = settings(server.port());
    settings.addresses =
        vec![address("on-call", Some("on-call@barn.example"), false), address("lamp", None, true)];
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let request = office.requests.recv().await.unwrap();
    request.done.send(Err(RefusedForGood("not authorised".to_owned()))).unwrap();
    for _ in 0..2 {
        assert!(matches!(office.outcome().await.state, DeliveryState::GivenUp { .. }));
    }
    let mut ways = Vec::new();
    let nobody = loop {
        match office.other().await {
            Outcome::Undelivered { missed, .. } => ways.push(missed.channel),
            Outcome::ReachedNobody(issued) => break issued,
            Outcome::Delivery(delivery) => panic!("{delivery:?}"),
        }
    };
    ways.sort();
    assert_eq!((nobody.notice.number, ways), (7, vec![Channel::Email, Channel::Mqtt]));
    office.close().await;
}

#[tokio::test]
async fn what_the_broker_did_not_take_in_time_is_not_published_later() {
    let mut settings = settings(1);
    settings.addresses = vec![address("lamp", None, true)];
    let mut office = Office::open(settings, vec![]);
    office.tell(evening_check(7, at(3 * 3600))).await;
    let request = office.requests.recv().await.unwrap();
    office.stepper.advance_to(at(3 * 3600));
    let DeliveryState::Pending { last_error, .. } = office.outcome().await.state else {
        panic!("not pending")
    };
    assert!(last_error.is_some_and(|error| error.contains("broker hasn't taken it")));
    assert!(matches!(office.outcome().await.state, DeliveryState::GivenUp { .. }));
    assert!(request.done.is_closed(), "the outbox forgets it");
    office.close().await;
}

#[tokio::test]
async fn a_notice_for_which_there_is_no_way_has_reached_nobody() {
    let mut office = Office::open(settings(1), vec![]);
    let mut gone = notice(7, Priority::Now);
    gone.notice.to = Audience::one(id("gone"));
    office.tell(gone).await;
    assert!(matches!(office.other().await, Outcome::ReachedNobody(issued) if issued.notice.number == 7));
    office.close().await;
}

#[tokio::test]
async fn once_somebody_is_on_it_nobody_else_is_called() {
    let server = MailServer::start(&["--rcpt", "451 4.3.0 later"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    office.outcome().await;
    let answer = Answer { notice: 7, by: Some("kim".to_owned()), at: at(30), there_by: None };
    office.words.send(Word::Answer(answer)).await.unwrap();
    let DeliveryState::GivenUp { why, .. } = office.outcome().await.state else { panic!("not given up") };
    assert!(why.contains("was answered"), "{why}");
    // Nothing was lost, so nothing more is said of it.
    office.tell(notice(8, Priority::Now)).await;
    assert_eq!(office.outcome().await.notice, 8);
    office
        .words
        .send(Word::Answer(Answer { notice: 8, by: None, at: at(31), there_by: None }))
        .await
        .unwrap();
    assert_eq!(office.outcome().await.notice, 8);
    office.close().await;
}

#[tokio::test]
async fn an_all_clear_stops_a_call_that_had_gone_to_somebody_else() {
    let server = MailServer::start(&["--rcpt", "451 4.3.0 later;250 OK"]);
    let mut settings = settings(server.port());
    settings.addresses.push(address("kim", Some("kim@barn.example"), false));
    let mut office = Office::open(settings, vec![]);
    let mut call = notice(7, Priority::Now);
    call.notice.to = Audience::one(id("on-call"));
    office.tell(call).await;
    office.outcome().await;
    let mut clear = notice(9, Priority::Morning);
    clear.notice.to = Audience::one(id("kim"));
    clear.notice.replaces = Some(8);
    let because = Because::StoreWorks { since: at(0) };
    clear.notice.content = Content::Withdrawn(Box::new(Withdrawn { told_at: at(0), because }));
    office.tell(clear).await;
    let given_up = office.outcome().await;
    assert_eq!((given_up.notice, given_up.contact), (7, id("on-call")));
    assert_eq!(office.outcome().await.notice, 9);
    assert_eq!(server.refusal(), "451 4.3.0 later");
    assert_eq!(server.mail().to, ["kim@barn.example"]);
    office.close().await;
}
