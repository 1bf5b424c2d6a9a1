//! Notices to people, by mail, MQTT, webhook and command, retried until they are delivered.
//!
//! One task owns all deliveries: what waits stands in a list, and the attempts go on side by side, at
//! most one at a time for each contact and way. So a dead mail server holds up nobody but the letters
//! that must go through it, and the most urgent of those goes first.
//!
//! A server that took the data and didn't answer may have the letter: it goes again, with the same Message-ID, after
//! growing pauses and at most a few times. Nothing is tried for longer than it is of use. What is given up is said
//! to the engine, so that others are told; a call that doesn't get through is said at once, and goes on being tried.

mod busy;
mod command;
mod letter;
pub mod line;
mod mail;
mod mqtt;
mod packet;
mod rounds;
mod schedule;
mod settings;
mod smtp;
mod trial;
mod webhook;

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt;
use futures_util::future::BoxFuture;
use futures_util::stream::FuturesUnordered;
use jiff::Timestamp;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use claymark_model::site::Site;
use claymark_notice::{Answer, Content, Missed, Notice};
use claymark_store::batch::{Channel, Delivery, DeliveryState, Issued};

use crate::clock::TimeSource;
use crate::publish;
use crate::pulse::Pulse;
use busy::BusyWays;
pub use command::LocalCommand;
use letter::Letter;
use packet::{Letterhead, Packet};
use rounds::{DeliveryEnd, Rounds};
use schedule::{Attempt, Tries};
pub use settings::{Address, ContactWays, Patience, ReplyCodes, Security, Settings, Smtp};
pub use trial::{Trial, write_back};
pub use webhook::Webhook;

/// What the task is told.
#[derive(Debug, Clone, PartialEq)]
pub enum Word {
    /// People must be told.
    Notice(Box<Issued>),
    /// Somebody is on it.
    Answer(Answer),
}

/// What became of what it was told.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// How far a delivery came.
    Delivery(Delivery),
    /// Somebody doesn't get a notice by a way: a call that doesn't get through now, or what was refused for good, tried
    /// often enough, or for too long.
    Undelivered {
        /// The notice.
        notice: Box<Notice>,
        /// Who doesn't get it, and how.
        missed: Missed,
        /// People were told of it when it first failed.
        told_before: bool,
    },
    /// A notice has reached nobody, by any way.
    ReachedNobody(Arc<Issued>),
}

/// Who writes, and with what.
#[derive(Clone)]
struct Sender {
    site: Site,
    settings: Settings,
    publish: mpsc::Sender<publish::Request>,
    outcomes: mpsc::Sender<Outcome>,
    clock: TimeSource,
    stop: CancellationToken,
}

/// The task that owns all deliveries.
pub struct Notifier {
    sender: Arc<Sender>,
    ways: ContactWays,
    clock: TimeSource,
    ports: Ports,
    waiting: Vec<Letter>,
    on_the_way: FuturesUnordered<BoxFuture<'static, (Letter, Attempt)>>,
    /// To whom, and by which way, something is on the way.
    busy: BusyWays,
    /// Outcomes that the engine has no room for yet.
    told: VecDeque<Outcome>,
    rounds: Rounds,
    /// The last notices, delivered or not: an answer to one can settle another.
    known: BTreeMap<u64, Arc<Issued>>,
}

/// Where things come from and go to.
pub struct Ports {
    /// Notices and answers, from the engine.
    pub words: mpsc::Receiver<Word>,
    /// What became of deliveries, to the engine.
    pub outcomes: mpsc::Sender<Outcome>,
    /// To the broker.
    pub publish: mpsc::Sender<publish::Request>,
    /// An attempt begins.
    pub begun: Pulse,
    /// An attempt is over.
    pub ended: Pulse,
    /// From then on nothing new is begun.
    pub stop: CancellationToken,
}

/// What woke the task.
enum NotifyWoken {
    Told(Word),
    Attempted(Letter, Attempt),
    MadeRoom,
    Due,
    Stop,
}

impl Notifier {
    /// Prepares the task; `pending` is what the store still has to deliver.
    #[must_use]
    pub fn new(
        site: &Site,
        settings: Settings,
        pending: Vec<(Issued, Delivery)>,
        clock: TimeSource,
        ports: Ports,
    ) -> Self {
        let ways = settings.ways();
        let sender = Arc::new(Sender {
            site: site.clone(),
            settings,
            publish: ports.publish.clone(),
            outcomes: ports.outcomes.clone(),
            clock: clock.clone(),
            stop: ports.stop.clone(),
        });
        let mut notifier = Self {
            sender,
            ways,
            clock,
            ports,
            waiting: Vec::new(),
            on_the_way: FuturesUnordered::new(),
            busy: BusyWays::default(),
            told: VecDeque::new(),
            rounds: Rounds::default(),
            known: BTreeMap::new(),
        };
        for (issued, delivery) in pending {
            notifier.accept(&Arc::new(issued), delivery);
        }
        notifier
    }

    /// Delivers until `stop`; then gives what is on the way a few seconds to end.
    pub async fn run(mut self) {
        loop {
            self.begin_due();
            self.tell_of_the_slow();
            match self.woken().await {
                NotifyWoken::Told(Word::Notice(issued)) => self.take(*issued),
                NotifyWoken::Told(Word::Answer(answer)) => self.answered(&answer),
                NotifyWoken::Attempted(letter, attempt) => self.attempted(letter, attempt),
                NotifyWoken::MadeRoom | NotifyWoken::Due => {}
                NotifyWoken::Stop => break,
            }
        }
        if tokio::time::timeout(LAST_WORDS, self.finish()).await.is_err() {
            tracing::info!("stopped while notices were on the way: they go again after the next start");
        }
    }

    async fn woken(&mut self) -> NotifyWoken {
        let next = self.next_try();
        tokio::select! {
            () = self.ports.stop.cancelled() => NotifyWoken::Stop,
            Some(word) = self.ports.words.recv() => NotifyWoken::Told(word),
            Some((letter, attempt)) = self.on_the_way.next() => NotifyWoken::Attempted(letter, attempt),
            Ok(room) = self.ports.outcomes.reserve(), if !self.told.is_empty() => {
                if let Some(outcome) = self.told.pop_front() {
                    room.send(outcome);
                }
                NotifyWoken::MadeRoom
            }
            () = sleep_until(&self.clock, next) => NotifyWoken::Due,
        }
    }

    async fn finish(&mut self) {
        while let Some((letter, attempt)) = self.on_the_way.next().await {
            self.attempted(letter, attempt);
        }
        for outcome in std::mem::take(&mut self.told) {
            if self.ports.outcomes.send(outcome).await.is_err() {
                return;
            }
        }
    }

    fn take(&mut self, issued: Issued) {
        let issued = Arc::new(issued);
        self.drop_replaced(&issued.notice);
        let deliveries: Vec<_> = self.ways.deliveries(&issued.notice).collect();
        // What only passes another notice on is left out: that one has reached nobody already.
        if deliveries.is_empty() && !matches!(issued.notice.content, Content::Undelivered(_)) {
            self.reached_nobody(&issued);
        }
        for delivery in deliveries {
            self.accept(&issued, delivery);
        }
    }

    fn accept(&mut self, issued: &Arc<Issued>, delivery: Delivery) {
        let number = delivery.notice;
        self.known.insert(number, Arc::clone(issued));
        if self.known.len() > KNOWN {
            self.known.pop_first();
        }
        let Some((tries, next_try)) = Tries::of(&delivery.state) else {
            if matches!(delivery.state, DeliveryState::Sent { .. }) {
                self.rounds.had_reached(number);
            }
            return;
        };
        let Delivery { contact, channel, .. } = delivery;
        let waits = |letter: &Letter| letter.notice().number == number && letter.goes(&contact, channel);
        if !self.waiting.iter().any(waits) {
            let (issued, last) = (Arc::clone(issued), String::new());
            self.rounds.begin(number);
            self.waiting.push(Letter { issued, contact, channel, tries, next_try, last, told: false });
        }
    }

    /// A notice that wasn't delivered before another one replaced it would only confuse after that one.
    fn drop_replaced(&mut self, by: &Notice) {
        let successors: Vec<_> = self.ways.deliveries(by).collect();
        let follows =
            |letter: &Letter| successors.iter().any(|next| letter.goes(&next.contact, next.channel));
        let needless = |letter: &Letter| {
            by.clears(letter.notice()) || (by.replaces == Some(letter.notice().number) && follows(letter))
        };
        let why = format!("notice {} replaced it before it could be delivered", by.number);
        self.drop_needless(needless, &why);
    }

    /// Somebody is on it: nobody else has to be called.
    fn answered(&mut self, answer: &Answer) {
        let answered = self.known.get(&answer.notice).cloned();
        let needless = |letter: &Letter| {
            let settled = |other: &Arc<Issued>| letter.notice().is_settled_by_answer_to(&other.notice);
            letter.notice().number == answer.notice || answered.as_ref().is_some_and(settled)
        };
        self.drop_needless(
            needless,
            &format!("notice {} was answered before it could be delivered", answer.notice),
        );
    }

    fn drop_needless(&mut self, needless: impl Fn(&Letter) -> bool, why: &str) {
        let now = self.clock.now();
        for letter in self.waiting.extract_if(.., |letter| needless(letter)) {
            let (number, contact, way) = (letter.notice().number, &letter.contact, letter.channel);
            tracing::info!("notice {number} to {contact} by {way:?} isn't needed any more: {why}");
            let (why, attempts) = (why.to_owned(), letter.tries.attempts);
            let state = DeliveryState::GivenUp { at: now, why, attempts };
            self.told.push_back(Outcome::Delivery(letter.delivery(state)));
            self.rounds.end(number, DeliveryEnd::Needless);
        }
    }

    fn next_try(&self) -> Option<Timestamp> {
        let free = |letter: &&Letter| !self.is_busy(letter);
        let due = self.waiting.iter().filter(free).map(Letter::due).min();
        due.into_iter().chain(self.busy.next_slow()).min()
    }

    /// Begins an attempt for each contact and way that is free and has a letter due, the most urgent first.
    fn begin_due(&mut self) {
        let now = self.clock.now();
        self.waiting
            .sort_by_key(|letter| (schedule::urgency(letter.notice().priority), letter.notice().number));
        while let Some(place) = self.first_due(now) {
            let letter = self.waiting.remove(place);
            if let Some(why) = schedule::give_up(letter.notice(), letter.tries, &letter.last, now) {
                let attempts = letter.tries.attempts;
                let state = DeliveryState::GivenUp { at: now, why: why.clone(), attempts };
                self.told.push_back(Outcome::Delivery(letter.delivery(state)));
                self.failed(&letter, &why);
                continue;
            }
            self.busy.begin(&letter, now);
            self.ports.begun.beat();
            let sender = Arc::clone(&self.sender);
            self.on_the_way.push(Box::pin(async move {
                let attempt = sender.attempt(&letter).await;
                (letter, attempt)
            }));
        }
    }

    /// What is of no use any more needn't wait for its way to be free.
    fn first_due(&self, now: Timestamp) -> Option<usize> {
        let due = |letter: &Letter| letter.due() <= now && !self.is_busy(letter);
        let over = |letter: &Letter| letter.notice().of_use_until() <= now;
        self.waiting.iter().position(|letter| due(letter) || over(letter))
    }

    fn is_busy(&self, letter: &Letter) -> bool {
        self.busy.holds(letter)
    }

    /// A call that hangs is told to others as one that fails is.
    fn tell_of_the_slow(&mut self) {
        for letter in self.busy.slow(self.clock.now()) {
            self.not_yet(&letter, SLOW);
        }
    }

    /// A call doesn't get through: others hear of it now, once, while it goes on being tried.
    fn not_yet(&mut self, letter: &Letter, why: &str) {
        let (notice, missed) = (Box::new(letter.notice().clone()), letter.missed(why, true));
        self.told.push_back(Outcome::Undelivered { notice, missed, told_before: false });
    }

    fn attempted(&mut self, mut letter: Letter, attempt: Attempt) {
        self.ports.ended.beat();
        letter.told |= self.busy.end(&letter);
        letter.tries = letter.tries.with(&attempt);
        let Some(state) = schedule::after(attempt, letter.notice(), letter.tries, self.clock.now()) else {
            return;
        };
        self.told.push_back(Outcome::Delivery(letter.delivery(state.clone())));
        if let DeliveryState::Pending { last_error, .. } | DeliveryState::Unanswered { last_error, .. } =
            &state
            && letter.presses()
            && !std::mem::replace(&mut letter.told, true)
        {
            self.not_yet(&letter, last_error.as_deref().unwrap_or_default());
        }
        let (number, contact, way) = (letter.notice().number, &letter.contact, letter.channel);
        match state {
            DeliveryState::Sent { .. } => {
                tracing::info!("notice {number} reached {contact} by {way:?}");
                self.rounds.end(number, DeliveryEnd::Reached);
            }
            DeliveryState::GivenUp { why, .. } => self.failed(&letter, &why),
            DeliveryState::Pending { next_try, last_error, .. } => {
                let why = last_error.unwrap_or_default();
                tracing::warn!(%next_try, "notice {number} to {contact} by {way:?} isn't delivered yet: {why}");
                self.waiting.push(Letter { next_try, last: why, ..letter });
            }
            DeliveryState::Unanswered { times, next_try, last_error, .. } => {
                let why = last_error.unwrap_or_default();
                tracing::warn!(
                    %next_try,
                    "notice {number} to {contact} by {way:?}: it was taken without an answer, it may have arrived \
                     ({times} of at most {} times): {why}",
                    schedule::MOST_UNANSWERED
                );
                self.waiting.push(Letter { next_try, last: why, ..letter });
            }
        }
    }

    /// Somebody won't get a notice by that way: others must hear of it.
    fn failed(&mut self, letter: &Letter, why: &str) {
        let (number, contact, way) = (letter.notice().number, &letter.contact, letter.channel);
        tracing::error!("notice {number} to {contact} by {way:?} is given up: {why}");
        let notice = Box::new(letter.notice().clone());
        let (missed, told_before) = (letter.missed(why, false), letter.told);
        self.told.push_back(Outcome::Undelivered { notice, missed, told_before });
        if self.rounds.end(number, DeliveryEnd::Failed) {
            self.reached_nobody(&letter.issued);
        }
    }

    fn reached_nobody(&mut self, issued: &Arc<Issued>) {
        let (number, subject) = (issued.notice.number, &issued.subject);
        tracing::error!("notice {number} has reached nobody by any way: {subject}");
        self.told.push_back(Outcome::ReachedNobody(Arc::clone(issued)));
    }
}

impl Sender {
    async fn attempt(&self, letter: &Letter) -> Attempt {
        let Some(address) = self.settings.address(&letter.contact) else {
            return Attempt::Never("the contact isn't in the site file any more".to_owned());
        };
        let packet = Packet::of(&self.site, letter, self.settings.replies.as_ref());
        match letter.channel {
            Channel::Email => {
                let (Some(server), Some(to)) = (&self.settings.smtp, &address.email) else {
                    return Attempt::Never(
                        "the site file has no mail server, or no address, any more".to_owned(),
                    );
                };
                match mail::message(&Letterhead::of(&self.site), server, (&address.name, to), &packet) {
                    Ok(message) => smtp::send(server, &message, self.data_go_out(letter)).await,
                    Err(why) => Attempt::Never(why),
                }
            }
            Channel::Mqtt => mqtt::send(self, letter, packet).await,
            Channel::Webhook => match &address.webhook {
                Some(webhook) => {
                    webhook::send(webhook, &packet, self.clock.now(), self.data_go_out(letter)).await
                }
                None => Attempt::Never("the site file has no webhook for the contact any more".to_owned()),
            },
            Channel::Command => match &address.command {
                Some(command) => {
                    let text = packet.for_command(command.short);
                    command::run(command, &text, command::PATIENCE, self.data_go_out(letter)).await
                }
                None => Attempt::Never("the site file has no command for the contact any more".to_owned()),
            },
        }
    }

    /// Has it kept that the other side may have it, before it can: a crash mustn't send it more often than we may.
    async fn data_go_out(&self, letter: &Letter) {
        let state = schedule::on_data(letter.notice(), letter.tries, self.clock.now());
        if self.outcomes.send(Outcome::Delivery(letter.delivery(state))).await.is_err() {
            tracing::debug!("the engine has ended");
        }
    }
}

async fn sleep_until(clock: &TimeSource, time: Option<Timestamp>) {
    match time {
        Some(time) => clock.sleep_until(time).await,
        None => std::future::pending().await,
    }
}

/// How long attempts may go on after `stop`; the whole daemon has 5 s.
const LAST_WORDS: Duration = Duration::from_secs(4);

/// What people are told of a call that hangs.
const SLOW: &str = "nothing was heard yet, neither yes nor no";

/// An answer comes within hours, and a bad night has no more notices.
const KNOWN: usize = 64;
