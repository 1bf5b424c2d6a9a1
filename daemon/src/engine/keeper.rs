//! The thread that owns the store for writing: one commit at a time, each answered.

use std::thread;

use tokio::sync::{mpsc, oneshot};

use claymark_core::site::Site;
use claymark_store::batch::Batch;
use claymark_store::journal::Rejected;
use claymark_store::{Committed, StoreError, Writer};

/// Reaches the thread.
#[derive(Clone)]
pub struct Keeper(mpsc::Sender<Order>);

/// What became of a commit; the batch comes back either way.
pub struct Outcome {
    /// What was to be kept.
    pub batch: Box<Batch>,
    /// Whether it is on the disk.
    pub result: Result<Committed, StoreError>,
}

enum Order {
    Commit { batch: Box<Batch>, answer: oneshot::Sender<Outcome> },
    Site { site: Box<Site>, answer: oneshot::Sender<Result<(), StoreError>> },
    Journal { wanted: bool, answer: oneshot::Sender<Result<(), StoreError>> },
    Forwarded { upto: u64, rejected: Vec<Rejected>, answer: oneshot::Sender<Result<(), StoreError>> },
}

impl Keeper {
    /// Starts the thread; it ends, and lets the store go, when all keepers are gone.
    pub fn start(writer: Writer) -> std::io::Result<(Self, thread::JoinHandle<()>)> {
        // One commit at a time is on the way; the other places are for the forwarder, and between shifts.
        let (orders, inbox) = mpsc::channel(3);
        let thread = thread::Builder::new().name("store".to_owned()).spawn(move || keep(writer, inbox))?;
        Ok((Self(orders), thread))
    }

    /// Starts a commit; the answer comes when it is on the disk, or isn't. Only one may be on the way.
    pub fn commit(&self, batch: Box<Batch>) -> oneshot::Receiver<Outcome> {
        let (answer, outcome) = oneshot::channel();
        if self.0.try_send(Order::Commit { batch, answer }).is_err() {
            tracing::error!("the store's thread has ended: nothing is kept any more");
        }
        outcome
    }

    /// Goes on with a changed site; `None` when the thread has ended.
    pub async fn set_site(&self, site: Site) -> Option<Result<(), StoreError>> {
        let (answer, outcome) = oneshot::channel();
        self.0.send(Order::Site { site: Box::new(site), answer }).await.ok()?;
        outcome.await.ok()
    }

    /// Notes from now on what is written, for the forwarder, or stops it; `None` when the thread has ended.
    pub async fn keep_journal(&self, wanted: bool) -> Option<Result<(), StoreError>> {
        let (answer, outcome) = oneshot::channel();
        self.0.send(Order::Journal { wanted, answer }).await.ok()?;
        outcome.await.ok()
    }

    /// Takes away what has been forwarded; one at a time. `None` when the thread has ended.
    pub async fn forwarded(&self, upto: u64, rejected: Vec<Rejected>) -> Option<Result<(), StoreError>> {
        let (answer, outcome) = oneshot::channel();
        self.0.send(Order::Forwarded { upto, rejected, answer }).await.ok()?;
        outcome.await.ok()
    }
}

fn keep(mut writer: Writer, mut orders: mpsc::Receiver<Order>) {
    while let Some(order) = orders.blocking_recv() {
        let heard = match order {
            Order::Commit { batch, answer } => {
                let result = writer.commit(&batch);
                answer.send(Outcome { batch, result }).is_ok()
            }
            Order::Site { site, answer } => answer.send(writer.set_site(&site)).is_ok(),
            Order::Journal { wanted, answer } => answer.send(writer.keep_journal(wanted)).is_ok(),
            Order::Forwarded { upto, rejected, answer } => {
                answer.send(writer.forwarded(upto, &rejected)).is_ok()
            }
        };
        if !heard {
            tracing::debug!("nobody waited for the store's answer");
        }
    }
}
