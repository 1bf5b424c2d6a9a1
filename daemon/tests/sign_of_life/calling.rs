//! It calls while all parts move, and stops when any one of them hangs.

use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::routing::post;
use claymark::clock::{Stepper, TimeSource};
use claymark::post::WebAddress;
use claymark::pulse::{Pulse, Pulses};
use claymark::sign_of_life::{Ports, Settings, SignOfLife, UnwatchedSpan};
use claymark::snapshot::{Connection, CountsSinceStart, Snapshot};
use claymark_model::id::Id;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

const PATIENCE: std::time::Duration = std::time::Duration::from_secs(30);

/// The task, with all that it looks at in the test's hands, and who is called.
struct LifeRig {
    pulses: Pulses,
    snapshot: watch::Sender<Arc<Snapshot>>,
    replies: watch::Sender<Option<String>>,
    stepper: Stepper,
    now: Timestamp,
    calls: mpsc::UnboundedReceiver<(&'static str, Value)>,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl LifeRig {
    async fn new(gap: Option<UnwatchedSpan>) -> Self {
        let (called, calls) = mpsc::unbounded_channel();
        let router = Router::new()
            .route("/well", post(async |State(to): State<Called>, body: String| heard(&to, "/well", &body)))
            .route(
                "/failing",
                post(async |State(to): State<Called>, body: String| heard(&to, "/failing", &body)),
            )
            .with_state(called);
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        tokio::spawn(async move { axum::serve(listener, router).await });
        let address = |path: &str| WebAddress::parse(&format!("http://127.0.0.1:{port}{path}")).unwrap();
        let settings =
            Settings { address: address("/well"), failing: Some(address("/failing")), ca_pem: None };
        let now = "2027-04-20T14:00:00Z".parse().unwrap();
        let (clock, stepper) = TimeSource::stepped(now);
        let pulses = Pulses::default();
        let connection = Connection::Watching { since: now, refused: Vec::new() };
        let snapshot = watch::Sender::new(Arc::new(Snapshot {
            connection,
            ..Snapshot::new(CountsSinceStart::default())
        }));
        let replies = watch::Sender::new(None);
        let stop = CancellationToken::new();
        let ports = Ports {
            snapshot: snapshot.subscribe(),
            pulses: pulses.clone(),
            replies: replies.subscribe(),
            keeper: None,
            stop: stop.clone(),
        };
        let task = tokio::spawn(SignOfLife::new(settings, Id::new("barn").unwrap(), gap, clock, ports).run());
        // It waits from now on.
        tokio::task::yield_now().await;
        Self { pulses, snapshot, replies, stepper, now, calls, stop, task }
    }

    /// So many seconds, five at a time, in each of which these parts move; the calls that came.
    async fn seconds(&mut self, seconds: i64, moving: &[&Pulse]) -> Vec<(&'static str, Value)> {
        for _ in 0..seconds / 5 {
            moving.iter().for_each(|pulse| pulse.beat());
            self.now += SignedDuration::from_secs(5);
            let looks = self.pulses.looks.count();
            self.stepper.advance_to(self.now);
            let looked = async {
                while self.pulses.looks.count() == looks {
                    tokio::task::yield_now().await;
                }
            };
            tokio::time::timeout(PATIENCE, looked).await.expect("it looks, and calls");
        }
        std::iter::from_fn(|| self.calls.try_recv().ok()).collect()
    }

    async fn close(self) {
        self.stop.cancel();
        self.task.await.unwrap();
    }
}

type Called = mpsc::UnboundedSender<(&'static str, Value)>;

fn heard(to: &Called, path: &'static str, body: &str) {
    to.send((path, serde_json::from_str(body).unwrap())).unwrap();
}

#[tokio::test]
async fn it_calls_each_minute_while_all_moves_and_says_what_gap_there_was() {
    let gap = UnwatchedSpan {
        from: "2027-04-20T12:00:00Z".parse().unwrap(),
        to: "2027-04-20T14:00:00Z".parse().unwrap(),
    };
    let mut rig = LifeRig::new(Some(gap)).await;
    let Pulses { engine, intake, store, .. } = rig.pulses.clone();
    let calls = rig.seconds(185, &[&engine, &intake, &store]).await;
    assert_eq!(calls.len(), 4, "{calls:?}");
    assert_eq!(
        calls[0],
        (
            "/well",
            json!({"site": "barn", "at": "2027-04-20T14:00:05Z", "state": "well", "why": null,
                   "gap": {"from": "2027-04-20T12:00:00Z", "to": "2027-04-20T14:00:00Z"}})
        )
    );
    rig.close().await;
}

#[tokio::test]
async fn with_any_one_part_hung_the_calls_stop() {
    let hung = |hung: usize| async move {
        let mut rig = LifeRig::new(None).await;
        let Pulses { engine, intake, store, .. } = rig.pulses.clone();
        let mut moving = vec![&engine, &intake, &store];
        assert_eq!(rig.seconds(60, &moving).await.len(), 1);
        moving.remove(hung);
        // It moved lately, for two minutes more.
        let before = rig.seconds(125, &moving).await.len();
        let after = rig.seconds(300, &moving).await.len();
        rig.close().await;
        (before, after)
    };
    for part in 0..3 {
        let (before, after) = hung(part).await;
        assert!(before >= 1 && after == 0, "part {part}: {before}, then {after}");
    }
}

#[tokio::test]
async fn where_something_was_sent_a_channel_must_have_moved() {
    let mut rig = LifeRig::new(None).await;
    let Pulses { engine, intake, store, begun, ended, .. } = rig.pulses.clone();
    let calls = rig.seconds(300, &[&engine, &intake, &store, &begun]).await;
    assert_eq!(calls.len(), 0, "attempts begin and none ends: {calls:?}");
    let calls = rig.seconds(60, &[&engine, &intake, &begun, &ended]).await;
    assert_eq!(calls.len(), 1, "{calls:?}");
    rig.close().await;
}

#[tokio::test]
async fn what_fails_is_said_at_the_other_address() {
    let mut rig = LifeRig::new(None).await;
    let Pulses { engine, intake, store, .. } = rig.pulses.clone();
    let moving = [&engine, &intake, &store];
    rig.snapshot.send_modify(|snapshot| {
        let why = "connection refused".to_owned();
        *snapshot = Arc::new(Snapshot { connection: Connection::Down { why }, ..Snapshot::clone(snapshot) });
    });
    rig.replies.send_replace(Some("no login".to_owned()));
    let calls = rig.seconds(60, &moving).await;
    let [("/failing", call)] = calls.as_slice() else { panic!("{calls:?}") };
    assert_eq!(call["state"], "failing");
    assert_eq!(call["why"], "not watching: connection refused; replies by mail aren't read: no login");
    rig.close().await;
}
