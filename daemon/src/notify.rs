//! Notices to people, by SMTP and MQTT, retried until they are delivered.
//!
//! One task owns all deliveries: what waits stands in a list, and the attempts go on side by side, at
//! most one at a time for each contact and way. So a dead mail server holds up nobody but the letters
//! that must go through it, and the most urgent of those goes first.
//!
//! An attempt that was cut short may have succeeded: the letter then goes again, with the same Message-ID.

pub mod line;
mod mail;
mod mqtt;
mod schedule;
mod smtp;

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt;
use futures_util::future::BoxFuture;
use futures_util::stream::FuturesUnordered;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use claymark_core::id::Id;
use claymark_core::notice::{Audience, Notice};
use claymark_core::site::Site;
use claymark_store::batch::{Channel, Delivery, DeliveryState, Issued};

use crate::clock::Clock;
use crate::intake::Login;
use crate::publish;
use schedule::Attempt;

/// Where one contact is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    /// The contact.
    pub contact: Id,
    /// For the To: line.
    pub name: String,
    /// Mail address; checked.
    pub email: Option<String>,
    /// Whether notices are also published below `<prefix>/notice/<contact>`.
    pub mqtt: bool,
}

/// How the connection to the mail server is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Security {
    /// TLS from the first byte (port 465).
    Tls,
    /// STARTTLS, required (port 587).
    StartTls,
    /// None: only to a server on this machine.
    None,
}

/// The mail server.
#[derive(Clone, PartialEq, Eq)]
pub struct Smtp {
    /// Host name.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// How it is protected.
    pub security: Security,
    /// PEM of the own certificate authority; `None`: the system's roots.
    pub ca_pem: Option<Vec<u8>>,
    /// Who we are.
    pub login: Option<Login>,
    /// The address that notices come from.
    pub from: String,
}

/// What sending needs.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// `None`: no mail is sent.
    pub smtp: Option<Smtp>,
    /// In the order of the site file.
    pub addresses: Vec<Address>,
    /// MQTT notices go below it.
    pub prefix: String,
}

impl Settings {
    /// By which ways each contact is reached, in the order of the site file.
    #[must_use]
    pub fn ways(&self) -> Ways {
        let of = |address: &Address| {
            let email = (self.smtp.is_some() && address.email.is_some()).then_some(Channel::Email);
            let mqtt = address.mqtt.then_some(Channel::Mqtt);
            let contact = address.contact.clone();
            [email, mqtt].into_iter().flatten().map(move |channel| (contact.clone(), channel))
        };
        Ways(self.addresses.iter().flat_map(of).collect())
    }

    fn address(&self, contact: &Id) -> Option<&Address> {
        self.addresses.iter().find(|address| address.contact == *contact)
    }
}

/// By which ways people are reached, without their addresses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ways(Vec<(Id, Channel)>);

impl Ways {
    /// The deliveries that a notice needs: to each contact that it is for, by each way to reach it.
    ///
    /// They belong into the commit that keeps the notice, so that a restart goes on with them.
    pub fn deliveries(&self, notice: &Notice) -> impl Iterator<Item = Delivery> {
        let wanted = |contact: &Id| match &notice.to {
            Audience::Everyone => true,
            Audience::Only(only) => only == contact,
        };
        self.0.iter().filter(move |(contact, _)| wanted(contact)).map(|(contact, channel)| Delivery {
            notice: notice.number,
            contact: contact.clone(),
            channel: *channel,
            state: DeliveryState::Pending { attempts: 0, next_try: notice.at, last_error: None },
        })
    }
}

/// Who writes, and with what.
#[derive(Clone)]
struct Sender {
    site: Id,
    site_name: String,
    time_zone: TimeZone,
    settings: Settings,
    publish: mpsc::Sender<publish::Request>,
    stop: CancellationToken,
}

/// The task that owns all deliveries.
pub struct Notifier {
    sender: Arc<Sender>,
    ways: Ways,
    clock: Clock,
    ports: Ports,
    waiting: Vec<Letter>,
    on_the_way: FuturesUnordered<BoxFuture<'static, (Letter, Attempt)>>,
    /// To whom, and by which way, something is on the way.
    busy: Vec<(Id, Channel)>,
    /// Outcomes that the engine has no room for yet.
    told: VecDeque<Delivery>,
}

/// Where things come from and go to.
pub struct Ports {
    /// Notices, from the engine.
    pub notices: mpsc::Receiver<Issued>,
    /// What became of deliveries, to the engine.
    pub outcomes: mpsc::Sender<Delivery>,
    /// To the broker.
    pub publish: mpsc::Sender<publish::Request>,
    /// From then on nothing new is begun.
    pub stop: CancellationToken,
}

/// One notice on its way to one contact by one channel.
#[derive(Debug, Clone)]
struct Letter {
    issued: Arc<Issued>,
    contact: Id,
    channel: Channel,
    attempts: u32,
    next_try: Timestamp,
}

/// What woke the task.
enum Woken {
    Notice(Issued),
    Attempted(Letter, Attempt),
    Told,
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
        clock: Clock,
        ports: Ports,
    ) -> Self {
        let ways = settings.ways();
        let sender = Arc::new(Sender {
            site: site.id.clone(),
            site_name: site.name.clone(),
            time_zone: site.time_zone.clone(),
            settings,
            publish: ports.publish.clone(),
            stop: ports.stop.clone(),
        });
        let mut notifier = Self {
            sender,
            ways,
            clock,
            ports,
            waiting: Vec::new(),
            on_the_way: FuturesUnordered::new(),
            busy: Vec::new(),
            told: VecDeque::new(),
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
            match self.woken().await {
                Woken::Notice(issued) => self.take(issued),
                Woken::Attempted(letter, attempt) => self.attempted(letter, attempt),
                Woken::Told | Woken::Due => {}
                Woken::Stop => break,
            }
        }
        if tokio::time::timeout(LAST_WORDS, self.finish()).await.is_err() {
            tracing::info!("stopped while notices were on the way: they go again after the next start");
        }
    }

    async fn woken(&mut self) -> Woken {
        let next = self.next_try();
        tokio::select! {
            () = self.ports.stop.cancelled() => Woken::Stop,
            Some(issued) = self.ports.notices.recv() => Woken::Notice(issued),
            Some((letter, attempt)) = self.on_the_way.next() => Woken::Attempted(letter, attempt),
            Ok(room) = self.ports.outcomes.reserve(), if !self.told.is_empty() => {
                if let Some(delivery) = self.told.pop_front() {
                    room.send(delivery);
                }
                Woken::Told
            }
            () = sleep_until(&self.clock, next) => Woken::Due,
        }
    }

    async fn finish(&mut self) {
        while let Some((letter, attempt)) = self.on_the_way.next().await {
            self.attempted(letter, attempt);
        }
        for delivery in std::mem::take(&mut self.told) {
            if self.ports.outcomes.send(delivery).await.is_err() {
                return;
            }
        }
    }

    fn take(&mut self, issued: Issued) {
        let issued = Arc::new(issued);
        self.drop_replaced(&issued);
        let deliveries: Vec<_> = self.ways.deliveries(&issued.notice).collect();
        for delivery in deliveries {
            self.accept(&issued, delivery);
        }
    }

    fn accept(&mut self, issued: &Arc<Issued>, delivery: Delivery) {
        let DeliveryState::Pending { attempts, next_try, .. } = delivery.state else { return };
        let Delivery { notice, contact, channel, .. } = delivery;
        let waits = |letter: &Letter| {
            letter.issued.notice.number == notice && letter.contact == contact && letter.channel == channel
        };
        if !self.waiting.iter().any(waits) {
            self.waiting.push(Letter { issued: Arc::clone(issued), contact, channel, attempts, next_try });
        }
    }

    /// A notice that wasn't delivered before another one replaced it would only confuse after that one.
    fn drop_replaced(&mut self, by: &Issued) {
        let Some(replaced) = by.notice.replaces else { return };
        let now = self.clock.now();
        let successors: Vec<_> = self.ways.deliveries(&by.notice).collect();
        let followed = |letter: &Letter| {
            letter.issued.notice.number == replaced
                && successors
                    .iter()
                    .any(|next| next.contact == letter.contact && next.channel == letter.channel)
        };
        for letter in self.waiting.extract_if(.., |letter| followed(letter)) {
            let why = format!("notice {} replaced it before it could be delivered", by.notice.number);
            self.told.push_back(letter.delivery(DeliveryState::GivenUp { at: now, why }));
        }
    }

    fn next_try(&self) -> Option<Timestamp> {
        let free = |letter: &&Letter| !self.is_busy(letter);
        self.waiting.iter().filter(free).map(|letter| letter.next_try).min()
    }

    /// Begins an attempt for each contact and way that is free and has a letter due, the most urgent first.
    fn begin_due(&mut self) {
        let now = self.clock.now();
        self.waiting.sort_by_key(|letter| {
            (schedule::urgency(letter.issued.notice.priority), letter.issued.notice.number)
        });
        while let Some(place) =
            self.waiting.iter().position(|letter| letter.next_try <= now && !self.is_busy(letter))
        {
            let letter = self.waiting.remove(place);
            self.busy.push((letter.contact.clone(), letter.channel));
            let sender = Arc::clone(&self.sender);
            self.on_the_way.push(Box::pin(async move {
                let attempt = sender.attempt(&letter).await;
                (letter, attempt)
            }));
        }
    }

    fn is_busy(&self, letter: &Letter) -> bool {
        self.busy.iter().any(|(contact, channel)| *contact == letter.contact && *channel == letter.channel)
    }

    fn attempted(&mut self, mut letter: Letter, attempt: Attempt) {
        self.busy.retain(|(contact, channel)| *contact != letter.contact || *channel != letter.channel);
        letter.attempts = letter.attempts.saturating_add(1);
        let notice = &letter.issued.notice;
        let Some(state) = schedule::after(attempt, notice, letter.attempts, self.clock.now()) else {
            return;
        };
        let (number, contact, way) = (notice.number, &letter.contact, letter.channel);
        match &state {
            DeliveryState::Sent { .. } => tracing::info!("notice {number} reached {contact} by {way:?}"),
            DeliveryState::GivenUp { why, .. } => {
                tracing::error!("notice {number} to {contact} by {way:?} is given up: {why}");
            }
            DeliveryState::Pending { next_try, last_error, .. } => {
                let why = last_error.as_deref().unwrap_or_default();
                tracing::warn!(%next_try, "notice {number} to {contact} by {way:?} isn't delivered yet: {why}");
            }
        }
        self.told.push_back(letter.delivery(state.clone()));
        if let DeliveryState::Pending { next_try, .. } = state {
            self.waiting.push(Letter { next_try, ..letter });
        }
    }
}

impl Letter {
    fn delivery(&self, state: DeliveryState) -> Delivery {
        Delivery {
            notice: self.issued.notice.number,
            contact: self.contact.clone(),
            channel: self.channel,
            state,
        }
    }
}

impl Sender {
    async fn attempt(&self, letter: &Letter) -> Attempt {
        let Some(address) = self.settings.address(&letter.contact) else {
            return Attempt::Never("the contact isn't in the site file any more".to_owned());
        };
        match letter.channel {
            Channel::Email => {
                let (Some(server), Some(to)) = (&self.settings.smtp, &address.email) else {
                    return Attempt::Never(
                        "the site file has no mail server, or no address, any more".to_owned(),
                    );
                };
                match mail::message(self, server, &address.name, to, letter) {
                    Ok(message) => smtp::send(server, message).await,
                    Err(why) => Attempt::Never(why),
                }
            }
            Channel::Mqtt => mqtt::send(self, letter).await,
        }
    }
}

async fn sleep_until(clock: &Clock, time: Option<Timestamp>) {
    match time {
        Some(time) => clock.sleep_until(time).await,
        None => std::future::pending().await,
    }
}

/// How long attempts may go on after `stop`; the whole daemon has 5 s.
const LAST_WORDS: Duration = Duration::from_secs(4);
