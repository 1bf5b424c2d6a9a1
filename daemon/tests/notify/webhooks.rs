//! Signed webhooks, taken by the receiver that `deploy/` ships, and by a server that does what it shouldn't.

use std::fs;

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::IntoResponse;
use axum::routing::post;
use claymark::notify::{Address, Settings, Webhook};
use claymark::post::WebAddress;
use claymark_notice::Priority;
use claymark_store::batch::{Channel, DeliveryState, Issued};
use claymark_tests::certificates;
use claymark_tests::receiver::WebhookReceiver;
use claymark_tests::wait::now;
use jiff::SignedDuration;
use serde_json::Value;
use tempfile::TempDir;
use tokio::sync::mpsc;

use crate::office::{Office, address, at, notice, settings};

const SECRET: &str = "0123456789abcdef0123456789abcdef";

fn by_webhook(url: &str, secret: &str, ca_pem: Option<Vec<u8>>) -> Settings {
    let webhook = Webhook { address: WebAddress::parse(url).unwrap(), ca_pem, secret: secret.to_owned() };
    let mut settings = settings(1);
    settings.addresses = vec![Address { webhook: Some(webhook), ..address("on-call", None, false) }];
    settings
}

/// The office's clock is far from that of the receiver, which refuses what is so old.
#[tokio::test]
async fn the_shipped_receiver_refuses_another_secret_and_what_is_old() {
    let receiver = WebhookReceiver::start(SECRET, None);
    let url = format!("http://127.0.0.1:{}/", receiver.port());
    for secret in ["another secret, as long", SECRET] {
        let mut office = Office::open(by_webhook(&url, secret, None), vec![]);
        office.tell(notice(7, Priority::Now)).await;
        let (_, _, why) = office.try_again().await;
        assert_eq!(why, "HTTP 401");
        office.close().await;
    }
    assert_eq!(receiver.taken(), Vec::<String>::new());
}

/// By the real clock.
fn just_now(number: u64) -> Issued {
    let mut issued = notice(number, Priority::Now);
    // Before the office opened: its clock stands still.
    issued.notice.at = now() - SignedDuration::from_mins(1);
    issued
}

#[tokio::test]
async fn it_takes_a_notice_once_by_its_own_certificate_and_a_copy_counts_as_taken() {
    let dir = TempDir::new().unwrap();
    certificates::make(dir.path());
    let ca = fs::read(dir.path().join("ca.pem")).unwrap();
    let receiver = WebhookReceiver::start(SECRET, Some(dir.path()));
    let url = format!("https://localhost:{}/", receiver.port());
    for _ in 0..2 {
        // A second office knows nothing of the first: so it is after a crash.
        let mut office = Office::open_now(by_webhook(&url, SECRET, Some(ca.clone())), vec![]);
        let mut issued = just_now(7);
        issued.subject = "Drum A\r\nX-Evil: yes – $(reboot)".to_owned();
        office.tell(issued).await;
        let done = office.outcome().await;
        assert_eq!(done.channel, Channel::Webhook);
        assert!(matches!(done.state, DeliveryState::Sent { .. }), "{done:?}");
        office.close().await;
    }
    let taken = receiver.taken();
    let [body] = taken.as_slice() else { panic!("{taken:?}") };
    let body: Value = serde_json::from_str(body).unwrap();
    assert_eq!((&body["contact"], &body["number"]), (&"on-call".into(), &7.into()));
    assert_eq!(body["subject"], "Drum A\r\nX-Evil: yes – $(reboot)");
    assert!(body["short"].as_str().unwrap().ends_with("Notice 7."), "{body}");

    // Nobody vouches for it but its own authority.
    let mut office = Office::open_now(by_webhook(&url, SECRET, None), vec![]);
    office.tell(just_now(8)).await;
    let DeliveryState::Pending { last_error, .. } = office.outcome().await.state else { panic!("sent") };
    assert!(last_error.unwrap().contains("certificate"));
    office.close().await;
}

#[tokio::test]
async fn no_redirect_is_followed_and_headers_hold_ids_only() {
    let (seen, mut requests) = mpsc::unbounded_channel();
    let router = Router::new().route("/hook", post(redirecting)).fallback(post(elsewhere)).with_state(seen);
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}/hook", listener.local_addr().unwrap());
    let server = tokio::spawn(async move { axum::serve(listener, router).await });
    let mut office = Office::open(by_webhook(&url, SECRET, None), vec![]);
    let mut issued = notice(7, Priority::Now);
    issued.subject = "x\r\nClaymark-Evil: 1".to_owned();
    office.tell(issued).await;
    let DeliveryState::GivenUp { why, .. } = office.outcome().await.state else { panic!("followed") };
    assert!(why.contains("307") && why.contains("/elsewhere"), "{why}");
    let headers: HeaderMap = requests.recv().await.unwrap();
    let ours: Vec<_> = headers.keys().filter(|name| name.as_str().starts_with("claymark")).collect();
    assert_eq!(ours, ["claymark-time", "claymark-id", "claymark-signature"]);
    assert_eq!(headers["claymark-id"], "alder-bend.7.on-call");
    assert_eq!(headers["claymark-time"], at(0).as_second().to_string());
    assert!(requests.try_recv().is_err(), "nothing came elsewhere");
    office.close().await;
    server.abort();
}

async fn redirecting(
    State(seen): State<mpsc::UnboundedSender<HeaderMap>>,
    headers: HeaderMap,
) -> impl IntoResponse {
    seen.send(headers).unwrap();
    (StatusCode::TEMPORARY_REDIRECT, [(header::LOCATION, "/elsewhere")])
}

async fn elsewhere(State(seen): State<mpsc::UnboundedSender<HeaderMap>>, headers: HeaderMap) {
    seen.send(headers).unwrap();
}
