//! The pipeline, live: messages in, batches to the store, notices to people, receipts to the broker.
//!
//! One task owns the pipeline. It takes what arrives, lets the pipeline decide at once, and keeps what
//! came of it in a batch. One commit is on the way at a time; what arrives meanwhile is the next batch.
//! Readings that come slowly wait for each other in it ([`Gather`]).
//! Only when a batch is on the disk are its messages acknowledged, in the order of delivery. Notices and
//! forecasts go out at once *and* into the batch: a full disk can't silence them.
//!
//! The task waits for nobody: what others have no room for now stays here until they have.

mod asked;
mod backlog;
mod gather;
mod reach;
mod storing;

use std::collections::{BTreeMap, VecDeque};
use std::pin::Pin;
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::Sleep;
use tokio_util::sync::CancellationToken;

use claymark_notice::keeping::ClockStep;
use claymark_notice::link::{Link, Trouble};
use claymark_room::Event;

use crate::clock::{Alarm, LONGEST_NAP, TimeSource};
use crate::forward::Behind;
use crate::intake::Arrival;
use crate::keeper::{CommitOutcome, Keeper, News};
use crate::message::Message;
use crate::notify;
use crate::page::asks::PageAsk;
use crate::pipeline::{Output, Pipeline};
use crate::publish::{self, Retained};
use crate::pulse::Pulse;
use crate::record::Recorder;
use crate::replies::Reply;
use crate::snapshot::{CountsSinceStart, Snapshot};
use backlog::Backlog;
pub use gather::Gather;

/// The task that owns the pipeline.
pub struct Engine {
    pipeline: Pipeline,
    clock: TimeSource,
    prefix: String,
    ports: Ports,
    /// What goes into the next commit.
    backlog: Backlog,
    /// When it goes.
    gather: Gather,
    /// When it was last written down that the broker session stands.
    session_noted: Timestamp,
    on_the_way: Option<CommitOnTheWay>,
    /// Rings when a failed commit is to be tried again.
    retry: Option<Pin<Box<Sleep>>>,
    failures: u32,
    store_news: watch::Receiver<Vec<News>>,
    /// Whether messages were heard that nobody keeps.
    heard: bool,
    /// Rings when it is time to look at the clock, whatever arrives meanwhile.
    nap: Alarm,
    /// Notices and answers that `notify` has no room for yet.
    to_notify: VecDeque<notify::Word>,
    /// The latest of each topic that the publisher has no room for yet.
    to_publish: BTreeMap<String, Vec<u8>>,
    /// A notice that reached nobody may stand at the broker.
    stands_undelivered: bool,
    snapshot: Snapshot,
    /// How many repetitions the pipeline had counted when it was last asked.
    repeated: u64,
    /// Everything up to then has been decided; messages can't arrive before it.
    reached: Timestamp,
    /// By the clock, and by the time that nobody sets.
    last_look: (Timestamp, SignedDuration),
}

/// Where things come from and go to.
pub struct Ports {
    /// From the intake.
    pub arrivals: mpsc::Receiver<Arrival>,
    /// Answers by mail and from the page.
    pub replies: mpsc::Receiver<Reply>,
    /// From the page.
    pub asks: mpsc::Receiver<PageAsk>,
    /// What became of deliveries.
    pub outcomes: mpsc::Receiver<notify::Outcome>,
    /// To the store's thread.
    pub keeper: Keeper,
    /// To people.
    pub notices: mpsc::Sender<notify::Word>,
    /// To the broker.
    pub retained: mpsc::Sender<Retained>,
    /// Whether forwarding has fallen behind; changes are told to people.
    pub behind: watch::Receiver<Option<Behind>>,
    /// Tells the intake whether anything can be kept.
    pub keeping: watch::Sender<bool>,
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
    Stopped(CountsSinceStart),
    /// The clock was set, forward by so much or back: begin anew from the store, as it is then.
    ClockStepped(SignedDuration, CountsSinceStart),
    /// Something can be kept again: what was only heard comes once more, so begin anew from the store.
    KeepsAgain(CountsSinceStart),
}

/// How a shift begins.
#[derive(Debug, Default)]
pub struct Opening {
    /// Counted so far.
    pub counts: CountsSinceStart,
    /// The clock was set by so much just before.
    pub stepped: Option<SignedDuration>,
    /// Why nothing can be kept yet.
    pub store_trouble: Option<String>,
    /// At the start of the program: the last time that the watch is known to have stood.
    pub stood: Option<Timestamp>,
}

struct CommitOnTheWay {
    outcome: oneshot::Receiver<CommitOutcome>,
    /// Rings when the disk should have answered long ago; `None` once that was told.
    late: Option<Alarm>,
    /// Its receipts; its batch is with the store's thread.
    backlog: Backlog,
}

/// What woke the task.
enum Woken {
    Saved(Option<CommitOutcome>),
    RetryDue,
    DiskLate,
    StoreNews,
    Gathered,
    Notified,
    Published,
    Delivered(notify::Outcome),
    Replied(Reply),
    Asked(PageAsk),
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
        clock: TimeSource,
        prefix: String,
        ports: Ports,
        mut gather: Gather,
        opening: Opening,
    ) -> Self {
        let now = clock.now();
        if !clock.goes_by_itself() {
            gather.stop();
        }
        let mut store_news = ports.keeper.news();
        // What became of it before this shift is told as well.
        store_news.mark_changed();
        let mut engine = Self {
            store_news,
            prefix,
            ports,
            backlog: Backlog::default(),
            gather,
            session_noted: Timestamp::MIN,
            on_the_way: None,
            retry: None,
            failures: 0,
            heard: false,
            nap: clock.alarm(LONGEST_NAP),
            to_notify: VecDeque::new(),
            to_publish: BTreeMap::new(),
            stands_undelivered: true,
            snapshot: Snapshot::new(opening.counts),
            repeated: 0,
            reached: now,
            last_look: (now, clock.steady()),
            pipeline,
            clock,
        };
        if let Some(since) = opening.stood {
            engine.event(Event::WasAway { since });
        }
        if let Some(by) = opening.stepped {
            engine.event(Event::ClockStepped(ClockStep { by, at: now }));
        }
        if let Some(why) = opening.store_trouble {
            engine.store_fails(why);
        }
        engine
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
                Woken::Saved(outcome) => {
                    self.saved(outcome);
                    if self.heard && self.snapshot.store_trouble.is_none() {
                        self.finish().await;
                        return Ended::KeepsAgain(self.snapshot.counts);
                    }
                }
                Woken::RetryDue => self.retry = None,
                Woken::DiskLate => self.disk_is_late(),
                Woken::StoreNews => self.hear_of_the_store(),
                Woken::Gathered | Woken::Notified | Woken::Published => {}
                Woken::Delivered(outcome) => self.heard_of_delivery(outcome),
                Woken::Replied(reply) => self.replied(reply),
                Woken::Asked(ask) => self.asked(ask),
                Woken::Forwarding => self.hear_of_forwarding(),
                Woken::Arrived(0) | Woken::Stop => break,
                Woken::Arrived(_) => {
                    for arrival in arrived.drain(..) {
                        self.take(arrival);
                    }
                    self.collect();
                    // Else each commit shows how things stand.
                    if self.snapshot.store_trouble.is_some() {
                        self.show();
                    }
                }
                Woken::ClockDue => {
                    if let Err(step) = self.look_at_the_clock() {
                        self.finish().await;
                        return Ended::ClockStepped(step, self.snapshot.counts);
                    }
                }
            }
        }
        self.finish().await;
        Ended::Stopped(self.snapshot.counts)
    }

    /// Waits for the next thing to do. Arrivals come before deadlines: a message that arrived before a
    /// deadline is handled before it. The nap comes before both: no flood of messages puts it off.
    async fn woken(&mut self, arrived: &mut Vec<Arrival>) -> Woken {
        // A message of the same millisecond still comes before the deadline.
        let after =
            |deadline: Timestamp| deadline.saturating_add(SignedDuration::from_millis(1)).unwrap_or(deadline);
        let wake_at =
            self.pipeline.next_deadline().map_or(Timestamp::MAX, |(deadline, _why)| after(deadline));
        tokio::select! {
            biased;
            () = self.ports.stop.cancelled() => Woken::Stop,
            () = &mut self.nap => Woken::ClockDue,
            answered = answer(&mut self.on_the_way) => answered,
            () = rings(&mut self.retry) => Woken::RetryDue,
            () = self.gather.rings() => Woken::Gathered,
            Ok(room) = self.ports.notices.reserve(), if !self.to_notify.is_empty() => {
                if let Some(word) = self.to_notify.pop_front() {
                    room.send(word);
                }
                Woken::Notified
            }
            Ok(room) = self.ports.retained.reserve(), if !self.to_publish.is_empty() => {
                if let Some((topic, payload)) = self.to_publish.pop_first() {
                    room.send(Retained { topic, payload });
                }
                Woken::Published
            }
            Some(outcome) = self.ports.outcomes.recv() => Woken::Delivered(outcome),
            Some(reply) = self.ports.replies.recv() => Woken::Replied(reply),
            Some(ask) = self.ports.asks.recv() => Woken::Asked(ask),
            // Without a forwarder its sender is gone, and this never comes.
            Ok(()) = self.ports.behind.changed() => Woken::Forwarding,
            Ok(()) = self.store_news.changed() => Woken::StoreNews,
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
            Arrival::Heard(message) => self.hear(message),
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
            Arrival::Link(link) => {
                if matches!(link, Link::Down(Trouble::TakenOver { .. })) {
                    self.snapshot.counts.taken_over += 1;
                }
                self.event(Event::Link(link));
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

    /// What is only heard is decided on, not kept: once something can be kept, the broker delivers it again, and the
    /// watch begins anew from the store so that everything comes in its order.
    fn hear(&mut self, message: Message) {
        self.heard = true;
        self.reached = message.received_at.max(self.reached);
        self.snapshot.counts.messages += 1;
        self.pipeline.advance_before(self.reached);
        self.collect();
        self.pipeline.message(&Message { received_at: self.reached, ..message });
        let mut output = self.pipeline.take_output();
        self.snapshot.note(&output.batch);
        output.batch = output.batch.decided();
        self.carry(output);
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

    /// Lets deadlines pass. The error is by how much the clock was set since the last look: too much to go on.
    fn look_at_the_clock(&mut self) -> Result<(), SignedDuration> {
        self.nap = self.clock.alarm(LONGEST_NAP);
        let (now, steady) = (self.clock.now(), self.clock.steady());
        let (then, steady_then) = std::mem::replace(&mut self.last_look, (now, steady));
        let step = now.duration_since(then).saturating_sub(steady.saturating_sub(steady_then));
        if step > FAR_FORWARD || step < -LITTLE_BACK {
            tracing::warn!(from = %then, to = %now, ?step, "the clock was set: starting anew from the store");
            return Err(step);
        }
        if step.abs() > SMALL_STEP {
            tracing::warn!(from = %then, to = %now, ?step, "the clock was set");
            self.snapshot.counts.clock_steps += 1;
            // Before the deadlines that only the step has brought.
            self.pipeline.event(self.reached, Event::ClockStepped(ClockStep { by: step, at: now }));
        }
        self.reached = self.reached.max(now);
        self.pipeline.advance_before(self.reached);
        self.collect();
        self.show();
        Ok(())
    }

    /// Takes everything that the pipeline has to say.
    fn collect(&mut self) {
        let output = self.pipeline.take_output();
        let repeated = self.pipeline.counters().duplicates;
        self.snapshot.counts.duplicates += repeated.saturating_sub(self.repeated);
        self.repeated = repeated;
        self.snapshot.counts.unreadable = self.pipeline.counters().unreadable;
        self.snapshot.note(&output.batch);
        self.snapshot.skill = self.pipeline.room().known().skill().clone();
        self.carry(output);
    }

    fn carry(&mut self, output: Output) {
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
        self.to_notify.extend(output.batch.answers.iter().cloned().map(notify::Word::Answer));
        self.to_notify.extend(output.issued.into_iter().map(Box::new).map(notify::Word::Notice));
        self.backlog.add(output.batch);
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
            // A disk that hangs mustn't hold up the next shift: what isn't acknowledged comes again.
            let Woken::Saved(outcome) = answer(&mut self.on_the_way).await else { return };
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

/// The store's answer, or that it is late, once; never without a commit on the way.
async fn answer(on_the_way: &mut Option<CommitOnTheWay>) -> Woken {
    let Some(CommitOnTheWay { outcome, late, .. }) = on_the_way else { return std::future::pending().await };
    let Some(alarm) = late else { return Woken::Saved(outcome.await.ok()) };
    tokio::select! {
        biased;
        outcome = outcome => Woken::Saved(outcome.ok()),
        () = alarm => {
            *late = None;
            Woken::DiskLate
        }
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

/// Time servers correct a clock by less than this without our noticing.
const SMALL_STEP: SignedDuration = SignedDuration::from_secs(10);

/// Set back by less, time stands still for the room until the clock has caught up; by more, it begins anew from the store.
const LITTLE_BACK: SignedDuration = SignedDuration::from_mins(2);

/// Set forward by more, there is too much to catch up with: a clock that had stood at 1970.
const FAR_FORWARD: SignedDuration = SignedDuration::from_hours(24);
