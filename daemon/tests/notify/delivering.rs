//! Retried until delivered, each contact and way on its own.

use std::fs;

use claymark::notify::{Outcome, Security, Smtp};
use claymark::publish::RefusedForGood;
use claymark_notice::{Audience, Priority};
use claymark_store::batch::{Channel, DeliveryState};
use jiff::SignedDuration;
use tempfile::TempDir;

use crate::office::{Office, address, at, evening_check, id, login, notice, pending, settings};
use claymark_tests::certificates;
use claymark_tests::mail::MailServer;

#[tokio::test]
async fn a_temporary_refusal_is_tried_again_a_minute_later_and_then_delivered() {
    let server = MailServer::start(&["--rcpt", "451 4.3.0 greylisted;451 4.3.0 greylisted;250 OK"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let (attempts, next, error) = office.try_again().await;
    assert_eq!((attempts, next), (1, SignedDuration::from_mins(1)));
    assert!(error.contains("451") && error.contains("greylisted"), "{error}");
    let (attempts, next, _) = office.try_again().await;
    assert_eq!((attempts, next), (2, SignedDuration::from_mins(2)));
    let done = office.outcome().await;
    assert_eq!((done.notice, done.contact, done.channel), (7, id("on-call"), Channel::Email));
    assert_eq!(done.state, DeliveryState::Sent { at: at(120), attempts: 3 });
    assert_eq!(server.refusal(), "451 4.3.0 greylisted");
    assert_eq!(server.refusal(), "451 4.3.0 greylisted");
    assert_eq!(server.mail().to, ["on-call@barn.example"]);
    office.close().await;
}

#[tokio::test]
async fn a_refusal_for_good_is_given_up_at_once_and_told() {
    let server = MailServer::start(&["--rcpt", "550 5.1.1 nobody of that name"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let DeliveryState::GivenUp { at: when, why, .. } = office.outcome().await.state else {
        panic!("not given up")
    };
    assert_eq!(when, at(0));
    assert!(why.contains("550") && why.contains("nobody of that name"), "{why}");
    office.close().await;
}

#[tokio::test]
async fn a_server_that_is_down_gets_the_notice_when_it_is_up_again() {
    let port = MailServer::start(&[]).port();
    let mut office = Office::open(settings(port), vec![]);
    office.tell(notice(7, Priority::Morning)).await;
    let (_, _, error) = office.try_again().await;
    assert!(error.to_lowercase().contains("refused"), "{error}");
    let DeliveryState::Pending { attempts, next_try, .. } = office.outcome().await.state else {
        panic!("not pending")
    };
    assert_eq!((attempts, next_try), (2, at(60 + 120)));
    let server = MailServer::start(&["--port", &port.to_string()]);
    office.stepper.advance_to(next_try);
    assert_eq!(office.outcome().await.state, DeliveryState::Sent { at: next_try, attempts: 3 });
    assert_eq!(server.mail().header("Subject"), "Notice 7");
    office.close().await;
}

#[tokio::test]
async fn what_is_of_no_use_any_more_is_given_up_and_never_sent() {
    let port = MailServer::start(&[]).port();
    let mut office = Office::open(settings(port), vec![]);
    office.tell(evening_check(7, at(3 * 3600))).await;
    let (_, _, error) = office.try_again().await;
    assert!(error.to_lowercase().contains("refused"), "{error}");
    office.outcome().await;
    office.stepper.advance_to(at(3 * 3600));
    let DeliveryState::GivenUp { at: when, why, .. } = office.outcome().await.state else {
        panic!("not given up")
    };
    assert_eq!(when, at(3 * 3600));
    assert!(why.starts_with("it is of no use any more 3 h after it was decided; attempts: 2"), "{why}");
    assert!(why.to_lowercase().contains("refused"), "{why}");
    let Outcome::Undelivered { missed, .. } = office.other().await else { panic!("others aren't told") };
    assert_eq!((missed.contact, missed.may_have_it), (id("on-call"), false));
    assert!(matches!(office.other().await, Outcome::ReachedNobody(issued) if issued.notice.number == 7));
    // The server is there again, too late.
    let server = MailServer::start(&["--port", &port.to_string()]);
    office.tell(notice(8, Priority::Now)).await;
    assert_eq!(office.outcome().await.notice, 8);
    assert_eq!(server.mail().header("Subject"), "Notice 8");
    office.close().await;
}

#[tokio::test]
async fn a_call_of_the_day_before_yesterday_is_not_sent_after_a_restart() {
    let server = MailServer::start(&[]);
    let old = (evening_check(7, at(-3600)), pending(7, "on-call", Channel::Email));
    let new = (notice(8, Priority::Now), pending(8, "on-call", Channel::Email));
    let mut office = Office::open(settings(server.port()), vec![old, new]);
    office.stepper.advance_to(at(2 * 86_400));
    let given_up = office.outcome().await;
    assert_eq!(given_up.notice, 7);
    assert!(matches!(given_up.state, DeliveryState::GivenUp { .. }), "{given_up:?}");
    assert_eq!(office.outcome().await.notice, 8);
    assert_eq!(server.mail().header("Subject"), "Notice 8");
    office.close().await;
}

#[tokio::test]
async fn a_dead_mail_server_does_not_hold_up_the_broker_nor_one_contact_another() {
    // It takes the connection and says nothing: the attempt hangs.
    let silent = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let mut settings = settings(silent.local_addr().unwrap().port());
    settings.addresses =
        vec![address("on-call", Some("on-call@barn.example"), true), address("tablet", None, true)];
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let mut topics = Vec::new();
    for _ in 0..2 {
        let request = office.requests.recv().await.unwrap();
        request.done.send(Ok(())).unwrap();
        topics.push(request.topic);
        let done = office.outcome().await;
        assert_eq!(
            (done.channel, done.state),
            (Channel::Mqtt, DeliveryState::Sent { at: at(0), attempts: 1 })
        );
    }
    topics.sort();
    assert_eq!(topics, ["claymark/alder-bend/notice/on-call", "claymark/alder-bend/notice/tablet"]);
    drop(silent);
    office.close().await;
}

#[tokio::test]
async fn the_broker_gets_the_notice_as_one_json_object() {
    let mut settings = settings(1);
    settings.addresses = vec![address("tablet", None, true)];
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let request = office.requests.recv().await.unwrap();
    assert_eq!(
        String::from_utf8(request.payload).unwrap(),
        r#"{"number":7,"at":"2027-04-20T14:00:00Z","kind":"runout","cause":"runout:a","drum":"a","#
            .to_owned()
            + r#""priority":"now","replaces":null,"to":null,"call":null,"be_there_by":null,"subject":"Notice 7","text":"Go.\n"}"#
    );
    request.done.send(Err(RefusedForGood("not authorised".to_owned()))).unwrap();
    let DeliveryState::GivenUp { why, .. } = office.outcome().await.state else { panic!("not given up") };
    assert!(why.contains("not authorised"), "{why}");
    office.close().await;
}

#[tokio::test]
async fn what_the_store_still_has_to_deliver_goes_on_after_a_restart() {
    let server = MailServer::start(&[]);
    let resumed = vec![(notice(7, Priority::Now), pending(7, "on-call", Channel::Email))];
    let mut office = Office::open(settings(server.port()), resumed);
    // The room may hand the same notice in once more: it is the same letter.
    office.tell(notice(7, Priority::Now)).await;
    office.tell(notice(8, Priority::Now)).await;
    assert_eq!(office.outcome().await.notice, 8);
    office.stepper.advance_to(at(60));
    let done = office.outcome().await;
    assert_eq!((done.notice, done.state), (7, DeliveryState::Sent { at: at(60), attempts: 4 }));
    assert_eq!(
        [server.mail(), server.mail()].map(|mail| mail.header("Subject").to_owned()),
        ["Notice 8", "Notice 7"]
    );
    office.close().await;
}

#[tokio::test]
async fn a_notice_that_was_replaced_before_it_could_be_delivered_is_not_sent_after_its_successor() {
    let server = MailServer::start(&["--rcpt", "451 4.3.0 later;250 OK"]);
    let mut office = Office::open(settings(server.port()), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    office.outcome().await;
    let mut next = notice(8, Priority::Now);
    next.notice.replaces = Some(7);
    office.tell(next).await;
    let given_up = office.outcome().await;
    assert_eq!(given_up.notice, 7);
    assert!(
        matches!(given_up.state, DeliveryState::GivenUp { why, .. } if why.contains("notice 8 replaced it"))
    );
    assert_eq!(office.outcome().await.notice, 8);
    assert_eq!(server.refusal(), "451 4.3.0 later");
    assert_eq!(server.mail().header("Subject"), "Notice 8");
    office.close().await;
}

#[tokio::test]
async fn only_the_contact_that_a_notice_is_for_gets_it() {
    let server = MailServer::start(&[]);
    let mut settings = settings(server.port());
    settings.addresses.push(address("second", Some("second@barn.example"), false));
    let mut office = Office::open(settings, vec![]);
    let mut one = notice(7, Priority::Now);
    one.notice.to = Audience::one(id("second"));
    office.tell(one).await;
    assert_eq!(office.outcome().await.contact, id("second"));
    office.tell(notice(8, Priority::Now)).await;
    let mut both = [office.outcome().await.contact, office.outcome().await.contact];
    both.sort();
    assert_eq!(both, [id("on-call"), id("second")]);
    assert_eq!(server.mail().to, ["second@barn.example"]);
    office.close().await;
}

#[tokio::test]
async fn starttls_and_tls_trust_only_the_given_authority_and_log_in() {
    let dir = TempDir::new().unwrap();
    certificates::make(dir.path());
    let ours = |name: &str| dir.path().join(name);
    let (cert, key) = (ours("server.pem"), ours("server.key"));
    let (cert, key) = (cert.to_str().unwrap(), key.to_str().unwrap());
    for (security, more) in [(Security::StartTls, None), (Security::Tls, Some("--tls"))] {
        let mut arguments = vec!["--cert", cert, "--key", key, "--login", "barn:secret"];
        arguments.extend(more);
        let server = MailServer::start(&arguments);
        let mut settings = settings(server.port());
        let plain = settings.smtp.take().unwrap();
        let ca_pem = Some(fs::read(ours("ca.pem")).unwrap());
        let host = "localhost".to_owned();
        let good = Smtp { host, security, ca_pem, login: Some(login("barn", "secret")), ..plain.clone() };

        settings.smtp = Some(good.clone());
        let mut office = Office::open(settings.clone(), vec![]);
        office.tell(notice(7, Priority::Now)).await;
        assert_eq!(
            office.outcome().await.state,
            DeliveryState::Sent { at: at(0), attempts: 1 },
            "{security:?}"
        );
        let mail = server.mail();
        assert_eq!((mail.tls, mail.login.as_deref()), (true, Some("barn")));
        office.close().await;

        let system_roots_only = Smtp { ca_pem: None, ..good.clone() };
        let wrong_password = Smtp { login: Some(login("barn", "guess")), ..good };
        for (wrong, expected) in [(system_roots_only, "certificate"), (wrong_password, "535")] {
            settings.smtp = Some(wrong);
            let mut office = Office::open(settings.clone(), vec![]);
            office.tell(notice(7, Priority::Now)).await;
            let (_, _, error) = office.try_again().await;
            assert!(error.contains(expected), "{error}");
            assert!(!error.contains("guess"), "{error}");
            office.close().await;
        }
    }
}

#[tokio::test]
async fn a_server_without_starttls_never_sees_the_mail() {
    let server = MailServer::start(&[]);
    let mut settings = settings(server.port());
    settings.smtp.as_mut().unwrap().security = Security::StartTls;
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let (_, _, error) = office.try_again().await;
    assert!(error.contains("STARTTLS"), "{error}");
    office.close().await;
}

#[tokio::test]
async fn nothing_travels_in_the_clear_to_another_machine() {
    let mut settings = settings(25);
    settings.smtp.as_mut().unwrap().host = "mail.barn.example".to_owned();
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let (_, _, error) = office.try_again().await;
    assert!(error.contains("in the clear"), "{error}");
    office.close().await;
}
