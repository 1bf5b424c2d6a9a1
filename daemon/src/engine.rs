//! The pipeline, live: messages in, batches to the store, notices to people, receipts to the broker.
//!
//! One task owns the pipeline. It takes what arrives, lets the pipeline decide at once, and keeps what
//! came of it in a batch. One commit is on the way at a time; what arrives meanwhile is the next batch.
//! Readings that come slowly wait for each other in it ([`Gather`]).
//! Only when a batch is on the disk are its messages acknowledged, in the order of delivery. Notices and
//! forecasts go out at once *and* into the batch: a full disk can't silence them.
//!
//! The task waits for nobody: what others have no room for now stays here until they have.

mod backlog;
mod gather;
mod keeper;
mod snapshot;

use std::collections::{BTreeMap, VecDeque};
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::Sleep;
use tokio_util::sync::CancellationToken;

use claymark_core::quarantine::Reason;
use claymark_core::room::Event;
use claymark_store::batch::{Batch, Delivery, Issued};
use claymark_store::{Committed, StoreError};

use crate::clock::{Clock, LONGEST_NAP};
use crate::forward::Behind;
use crate::intake::{Arrival, Connection};
use crate::message::Message;
use crate::pipeline::Pipeline;
use crate::publish::{self, Retained};
use crate::record::Recorder;
use crate::service::Pulse;
use backlog::Backlog;
pub use gather::Gather;
pub use keeper::{Keeper, Outcome};
pub use snapshot::{Counts, Last, Snapshot};

/// The task that owns the pipeline.
pub struct Engine {
    pipeline: Pipeline,
    clock: Clock,
    prefix: String,
    ports: Ports,
    /// What goes into the next commit.
    backlog: Backlog,
    /// When it goes.
    gather: Gather,
    /// When it was last written down that the broker session stands.
    session_noted: Timestamp,
    on_the_way: Option<OnTheWay>,
    /// Rings when a failed commit is to be tried again.
    retry: Option<Pin<Box<Sleep>>>,
    failures: u32,
    /// Notices that `notify` has no room for yet.
    to_notify: VecDeque<Issued>,
    /// The latest of each topic that the publisher has no room for yet.
    to_publish: BTreeMap<String, Vec<u8>>,
    snapshot: Snapshot,
    /// How many repetitions the pipeline had counted when it was last asked.
    repeated: u64,
    /// Everything up to then has been decided; messages can't arrive before it.
    reached: Timestamp,
    last_look: Timestamp,
}

/// Where things come from and go to.
pub struct Ports {
    /// From the intake.
    pub arrivals: mpsc::Receiver<Arrival>,
    /// What became of deliveries.
    pub outcomes: mpsc::Receiver<Delivery>,
    /// To the store's thread.
    pub keeper: Keeper,
    /// To people.
    pub notices: mpsc::Sender<Issued>,
    /// To the broker.
    pub retained: mpsc::Sender<Retained>,
    /// Whether forwarding has fallen behind; changes are told to people.
    pub behind: watch::Receiver<Option<Behind>>,
    /// To the recording, where one is wanted.
    pub recorder: Option<Recorder>,
    /// For all to see.
    pub snapshot: watch::Sender<Arc<Snapshot>>,
    /// Tells the watchdog that this task is alive.
    pub pulse: Pulse,
    /// From then on nothing more is taken.
    pub stop: CancellationToken,
}

/// How the task ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ended {
    /// It was asked to.
    Stopped(Counts),
    /// The clock was set back: what has been decided lies in the future, so begin anew from the store.
    ClockSetBack(Counts),
}

struct OnTheWay {
    outcome: oneshot::Receiver<Outcome>,
    /// Its receipts; its batch is with the store's thread.
    backlog: Backlog,
}

/// What woke the task.
enum Woken {
    Saved(Option<Outcome>),
    RetryDue,
    Gathered,
    Notified,
    Published,
    Delivered(Delivery),
    Arrived(usize),
    ClockDue,
    Forwarding,
    Stop,
}

impl Engine {
    /// Prepares the task with a pipeline that has been told the past.
    #[must_use]
    pub fn new(
        pipeline: Pipeline,
        clock: Clock,
        prefix: String,
        ports: Ports,
        mut gather: Gather,
        counts: Counts,
    ) -> Self {
        let now = clock.now();
        if !clock.goes_by_itself() {
            gather.stop();
        }
        Self {
            pipeline,
            clock,
            prefix,
            ports,
            backlog: Backlog::default(),
            gather,
            session_noted: Timestamp::MIN,
            on_the_way: None,
            retry: None,
            failures: 0,
            to_notify: VecDeque::new(),
            to_publish: BTreeMap::new(),
            snapshot: Snapshot::new(counts),
            repeated: 0,
            reached: now,
            last_look: now,
        }
    }

    /// Runs until it is asked to stop, and finishes what is in hand.
    pub async fn run(mut self) -> Ended {
        let mut arrived = Vec::with_capacity(ARRIVALS);
        // The pipeline may have something to say as soon as it has been told the past.
        self.collect();
        loop {
            self.commit();
            self.ports.pulse.beat();
            match self.woken(&mut arrived).await {
                Woken::Saved(outcome) => self.saved(outcome),
                Woken::RetryDue => self.retry = None,
                Woken::Gathered | Woken::Notified | Woken::Published => {}
                Woken::Delivered(delivery) => {
                    self.backlog.add(Batch { deliveries: vec![delivery], ..Batch::default() });
                }
                Woken::Forwarding => self.hear_of_forwarding(),
                Woken::Arrived(0) | Woken::Stop => break,
                Woken::Arrived(_) => {
                    for arrival in arrived.drain(..) {
                        self.take(arrival);
                    }
                    self.collect();
                }
                Woken::ClockDue => {
                    if !self.look_at_the_clock() {
                        self.finish().await;
                        return Ended::ClockSetBack(self.snapshot.counts);
                    }
                }
            }
        }
        self.finish().await;
        Ended::Stopped(self.snapshot.counts)
    }

    /// Waits for the next thing to do. Arrivals come before deadlines: a message that arrived before a
    /// deadline is handled before it.
    async fn woken(&mut self, arrived: &mut Vec<Arrival>) -> Woken {
        let soon = self.clock.now().saturating_add(NAP).unwrap_or(Timestamp::MAX);
        let wake_at = self.pipeline.next_deadline().map_or(soon, |(deadline, _why)| {
            // A message of the same millisecond still comes before the deadline.
            deadline.saturating_add(SignedDuration::from_millis(1)).unwrap_or(deadline).min(soon)
        });
        tokio::select! {
            biased;
            () = self.ports.stop.cancelled() => Woken::Stop,
            outcome = answer(&mut self.on_the_way) => Woken::Saved(outcome),
            () = rings(&mut self.retry) => Woken::RetryDue,
            () = self.gather.rings() => Woken::Gathered,
            Ok(room) = self.ports.notices.reserve(), if !self.to_notify.is_empty() => {
                if let Some(issued) = self.to_notify.pop_front() {
                    room.send(issued);
                }
                Woken::Notified
            }
            Ok(room) = self.ports.retained.reserve(), if !self.to_publish.is_empty() => {
                if let Some((topic, payload)) = self.to_publish.pop_first() {
                    room.send(Retained { topic, payload });
                }
                Woken::Published
            }
            Some(delivery) = self.ports.outcomes.recv() => Woken::Delivered(delivery),
            // Without a forwarder its sender is gone, and this never comes.
            Ok(()) = self.ports.behind.changed() => Woken::Forwarding,
            count = self.ports.arrivals.recv_many(arrived, ARRIVALS) => Woken::Arrived(count),
            () = self.clock.sleep_until(wake_at) => Woken::ClockDue,
        }
    }

    fn take(&mut self, arrival: Arrival) {
        match arrival {
            Arrival::Message(message, receipt) => {
                self.take_message(message);
                self.backlog.receipts.push(receipt);
                self.backlog.messages += 1;
            }
            Arrival::Echo(receipt) => self.backlog.receipts.push(receipt),
            Arrival::SessionLost { since } => {
                self.snapshot.counts.sessions_lost += 1;
                self.event(Event::SessionLost { since });
            }
            Arrival::Connection(connection) => {
                self.gather.reconnected(!self.backlog.is_empty());
                self.snapshot.connection = connection;
                self.show();
            }
        }
    }

    fn take_message(&mut self, mut message: Message) {
        // Two clocks' worth of care: a clock that is set back a little, and a deadline that was handled
        // while this message stood in the queue.
        message.received_at = message.received_at.max(self.reached);
        self.reached = message.received_at;
        self.gather.arrived(message.received_at);
        self.snapshot.counts.messages += 1;
        if let Some(recorder) = &self.ports.recorder
            && recorder.record(&message).is_err()
        {
            self.snapshot.counts.not_recorded += 1;
        }
        self.pipeline.advance_before(message.received_at);
        self.pipeline.message(&message);
    }

    fn event(&mut self, event: Event) {
        let now = self.clock.now().max(self.reached);
        self.reached = now;
        self.pipeline.advance_before(now);
        self.pipeline.event(now, event);
    }

    fn hear_of_forwarding(&mut self) {
        let behind = self.ports.behind.borrow_and_update().clone();
        self.event(match behind {
            Some(Behind { since, why }) => Event::NotForwarded { since, why },
            None => Event::Forwarded,
        });
        self.collect();
    }

    /// Lets deadlines pass; false when the clock was set back too far to go on.
    fn look_at_the_clock(&mut self) -> bool {
        let now = self.clock.now();
        if self.last_look.duration_since(now) > SMALL_STEP_BACK {
            tracing::warn!(from = %self.last_look, to = %now, "the clock was set back: starting anew from the store");
            return false;
        }
        self.last_look = now;
        self.reached = self.reached.max(now);
        self.pipeline.advance_before(self.reached);
        self.collect();
        self.show();
        true
    }

    /// Takes everything that the pipeline has to say.
    fn collect(&mut self) {
        let output = self.pipeline.take_output();
        let repeated = self.pipeline.counters().duplicates;
        self.snapshot.counts.duplicates += repeated.saturating_sub(self.repeated);
        self.repeated = repeated;
        self.snapshot.note(&output.batch);
        self.snapshot.skill = self.pipeline.room().skill().clone();
        let forecasts = output.forecasts.iter().map(|forecast| publish::forecast(&self.prefix, forecast));
        let sheets = output.sheets.iter().map(|sheet| publish::sheet(&self.prefix, sheet));
        for written in forecasts.chain(sheets) {
            match written {
                Ok(Retained { topic, payload }) => {
                    self.to_publish.insert(topic, payload);
                }
                Err(error) => tracing::error!("a forecast or a sheet can't be written as JSON: {error}"),
            }
        }
        self.to_notify.extend(output.issued);
        self.backlog.add(output.batch);
    }

    /// Starts a commit, if there is something to keep and no other is on the way.
    fn commit(&mut self) {
        if self.on_the_way.is_some() || self.retry.is_some() || self.backlog.is_empty() {
            return;
        }
        if !self.gather.ready(self.clock.now(), self.backlog.presses(), self.backlog.open()) {
            self.show();
            return;
        }
        self.note_session(SESSION_NOTED_EVERY);
        let mut backlog = std::mem::take(&mut self.backlog);
        let batch = Box::new(std::mem::take(&mut backlog.batch));
        self.on_the_way = Some(OnTheWay { outcome: self.ports.keeper.commit(batch), backlog });
    }

    /// Writes down that the broker session stands, unless that was done less than `every` ago.
    fn note_session(&mut self, every: SignedDuration) {
        let now = self.clock.now();
        if let Connection::Watching { .. } = self.snapshot.connection
            && now.duration_since(self.session_noted).abs() >= every
        {
            self.backlog.batch.session_seen = Some(now);
            self.session_noted = now;
        }
    }

    fn saved(&mut self, outcome: Option<Outcome>) {
        let Some(OnTheWay { backlog, .. }) = self.on_the_way.take() else { return };
        match outcome {
            Some(Outcome { result: Ok(committed), .. }) => self.kept(backlog, &committed),
            Some(Outcome { batch, result: Err(error) }) => {
                self.not_kept(Backlog { batch: *batch, ..backlog }, &error)
            }
            None => {
                // Only a panic ends that thread before us; without it nothing may be acknowledged.
                tracing::error!("the store's thread has ended: stopping, the broker keeps what comes");
                self.ports.stop.cancel();
            }
        }
        self.show();
    }

    fn kept(&mut self, backlog: Backlog, committed: &Committed) {
        let counts = &mut self.snapshot.counts;
        counts.commits += 1;
        counts.stored += u64::try_from(committed.stored).unwrap_or(u64::MAX);
        counts.duplicates += u64::try_from(committed.duplicates).unwrap_or(u64::MAX);
        let conflicts = u64::try_from(committed.conflicts.len()).unwrap_or(u64::MAX);
        if conflicts > 0 {
            *counts.quarantined.entry(Reason::Conflict).or_default() += conflicts;
        }
        for receipt in backlog.receipts {
            receipt.acknowledge();
        }
        self.gather.acknowledged(self.clock.now());
        self.clock.settled(backlog.messages);
        if self.failures > 0 {
            tracing::info!("the store works again");
            self.failures = 0;
            self.snapshot.store_trouble = None;
            self.event(Event::StoreWorks);
            self.collect();
        }
    }

    fn not_kept(&mut self, mut failed: Backlog, error: &StoreError) {
        let why = error.to_string();
        self.snapshot.counts.failed_commits += 1;
        if self.failures == 0 {
            tracing::error!("a commit failed, nothing is lost yet: {why}");
            self.event(Event::StoreFailed { why: why.clone() });
            self.collect();
        }
        self.snapshot.store_trouble = Some(why);
        failed.append(std::mem::take(&mut self.backlog));
        failed.trim();
        self.backlog = failed;
        self.gather.hurry();
        let pause = FIRST_RETRY.saturating_mul(2_u32.saturating_pow(self.failures)).min(LAST_RETRY);
        self.failures = self.failures.saturating_add(1);
        self.retry = Some(Box::pin(tokio::time::sleep(pause)));
    }

    /// Commits and acknowledges what is in hand. A store that fails now gets no second chance: what
    /// wasn't acknowledged, the broker keeps.
    async fn finish(&mut self) {
        self.ports.arrivals.close();
        while let Some(arrival) = self.ports.arrivals.recv().await {
            self.take(arrival);
        }
        self.collect();
        self.retry = None;
        self.gather.stop();
        self.note_session(SignedDuration::ZERO);
        self.commit();
        while self.on_the_way.is_some() {
            let outcome = answer(&mut self.on_the_way).await;
            self.saved(outcome);
            self.commit();
        }
    }

    fn show(&mut self) {
        let on_the_way = self.on_the_way.as_ref().map_or(0, |on_the_way| on_the_way.backlog.messages);
        self.snapshot.waiting = self.backlog.messages + on_the_way;
        self.ports.snapshot.send_replace(Arc::new(self.snapshot.clone()));
    }
}

/// The store's answer; never without a commit on the way. `None`: its thread has ended.
async fn answer(on_the_way: &mut Option<OnTheWay>) -> Option<Outcome> {
    match on_the_way {
        Some(on_the_way) => (&mut on_the_way.outcome).await.ok(),
        None => std::future::pending().await,
    }
}

async fn rings(alarm: &mut Option<Pin<Box<Sleep>>>) {
    match alarm {
        Some(sleep) => sleep.await,
        None => std::future::pending().await,
    }
}

/// How many arrivals are taken before the pipeline is asked what came of them.
const ARRIVALS: usize = 256;

const NAP: SignedDuration = SignedDuration::from_secs(LONGEST_NAP.as_secs().cast_signed());

/// Time servers correct a clock by less than this without our noticing.
const SMALL_STEP_BACK: SignedDuration = SignedDuration::from_secs(60);

/// A page for each commit saved; after a crash a loss of the session is told from so much earlier on.
const SESSION_NOTED_EVERY: SignedDuration = SignedDuration::from_secs(60);

const FIRST_RETRY: Duration = Duration::from_secs(1);
const LAST_RETRY: Duration = Duration::from_secs(30);
