//! The task that owns the connection: connects, subscribes, hands messages on, reconnects.

use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use tokio::sync::Semaphore;
use tokio::time::Sleep;

use claymark_notice::link::{Link as State, Trouble};

use crate::snapshot::Connection;

use super::link::{Broken, BrokerClient, BrokerLink, Delivered, Grant, LinkEvent};
use super::pause::Pauses;
use super::rival::{RivalSuspicion, Rivalry};
use super::tls::TlsError;
use super::{Arrival, Ports, QueuePlace, Receipt, Settings, Stop, Taking};
use crate::clock::TimeSource;
use crate::message::Message;
use crate::publish::ConnectionNews;

/// The task that owns the connection.
pub struct Intake {
    settings: Settings,
    clock: TimeSource,
    ports: Ports,
    stop: Stop,
    room: Arc<Semaphore>,
    /// In KiB: a queue of large messages must not fill the memory.
    space: Arc<Semaphore>,
    pauses: Pauses,
    /// The last time that the session is known to have stood; `None` before the very first connection.
    stood: Option<Timestamp>,
    /// The largest packet that the next connection accepts.
    largest: u32,
    rivalry: Rivalry,
    /// Whether this connection was subscribed, or the last one had been.
    subscribed: bool,
    taking: Taking,
}

/// One connection's own state.
struct ConnectionState {
    client: BrokerClient,
    /// When to give up waiting for room.
    no_room: Option<Pin<Box<Sleep>>>,
    /// When to think that the broker sends no more before it gets acknowledgements, which nobody can give.
    stalled: Option<Pin<Box<Sleep>>>,
    /// When to subscribe again after a refusal.
    ask_again: Option<Pin<Box<Sleep>>>,
    connected: bool,
    said_goodbye: bool,
}

/// Why a connection is over.
enum Ending {
    Asked,
    NoRoom,
    /// Messages are to be taken for something else than before.
    Otherwise(Taking),
    Broken(Broken),
}

impl Intake {
    /// Prepares the task. `stood` is what the store remembers of the session.
    pub fn new(
        settings: Settings,
        clock: TimeSource,
        ports: Ports,
        stop: Stop,
        stood: Option<Timestamp>,
    ) -> Result<Self, TlsError> {
        settings.check()?;
        Ok(Self {
            room: Arc::new(Semaphore::new(settings.queue)),
            space: Arc::new(Semaphore::new(SPACE_KIB)),
            largest: settings.max_packet_bytes,
            rivalry: Rivalry::default(),
            subscribed: false,
            taking: Taking::ToKeep,
            pauses: Pauses::default(),
            settings,
            clock,
            ports,
            stop,
            stood,
        })
    }

    /// Connects, again and again, until it is asked to stop.
    pub async fn run(mut self) {
        while !self.stop.take_no_more.is_cancelled() {
            let began = self.clock.now();
            let ending = self.connection().await;
            self.tell_line(ConnectionNews::Down).await;
            if self.clock.now().duration_since(began) > GOOD_FOR {
                self.pauses.reset();
                self.rivalry.stood();
            }
            let pause = match ending {
                Ending::Asked => return,
                Ending::NoRoom => self.after_no_room().await,
                Ending::Otherwise(taking) => self.take_otherwise(taking),
                Ending::Broken(broken) => self.after_broken(broken).await,
            };
            self.wait(pause).await;
        }
    }

    /// One connection from its beginning to its end.
    async fn connection(&mut self) -> Ending {
        self.subscribed = false;
        let (client, mut link) = match BrokerLink::open(&self.settings, self.largest, self.taking) {
            Ok(opened) => opened,
            Err(error) => return Ending::Broken(Broken::Lost(error.to_string())),
        };
        let mut session = ConnectionState {
            client,
            no_room: None,
            stalled: None,
            ask_again: None,
            connected: false,
            said_goodbye: false,
        };
        loop {
            let seen = match self.next(&mut session, &mut link).await {
                Ok(seen) => seen,
                Err(ending) => return ending,
            };
            let ending = match seen {
                LinkEvent::Connected { session_present } => {
                    self.connected(&mut session, session_present).await
                }
                LinkEvent::Subscribed(grants) => self.subscribed(&mut session, &grants).await,
                LinkEvent::Arrived(delivered) => {
                    session.stalled = None;
                    self.arrived(&session, delivered).await;
                    None
                }
                LinkEvent::Sent(packet) => {
                    self.tell_line(ConnectionNews::Sent(packet)).await;
                    None
                }
                LinkEvent::Taken { packet, refused } => {
                    self.tell_line(ConnectionNews::Taken { packet, refused }).await;
                    None
                }
                LinkEvent::Disconnected => Some(Ending::Asked),
                LinkEvent::Alive | LinkEvent::Wrote => None,
            };
            if let Some(ending) = ending {
                return ending;
            }
        }
    }

    /// The next thing on the connection, or why it is over. The link is never given up half way, or a
    /// packet that is half written would be lost.
    async fn next(
        &mut self,
        session: &mut ConnectionState,
        link: &mut BrokerLink,
    ) -> Result<LinkEvent, Ending> {
        let room = self.has_room();
        let link_keep_alive = link.keep_alive();
        self.look_at_room(session, room, link_keep_alive)?;
        let mut seen = std::pin::pin!(link.next(room));
        let mut beat = tokio::time::interval(BEAT);
        loop {
            tokio::select! {
                seen = &mut seen => {
                    if matches!(seen, Ok(LinkEvent::Arrived(_) | LinkEvent::Alive)) && self.stood.is_some() && self.keeps() {
                        self.stood = Some(self.clock.now());
                    }
                    return seen.map_err(Ending::Broken);
                }
                _ = beat.tick() => self.ports.pulse.beat(),
                () = due(&mut session.no_room) => return Err(Ending::NoRoom),
                () = due(&mut session.stalled) => return Err(Ending::Otherwise(Taking::ToHear)),
                Ok(()) = self.ports.keeping.changed() => self.look_at_room(session, room, link_keep_alive)?,
                () = self.stop.take_no_more.cancelled(), if !session.connected => return Err(Ending::Asked),
                () = self.stop.disconnect.cancelled(), if !session.said_goodbye => {
                    session.said_goodbye = true;
                    session.client.disconnect().map_err(|_gone| Ending::Asked)?;
                }
                () = due(&mut session.ask_again) => {
                    session.client.subscribe(self.settings.filters()).map_err(|gone| lost(&gone))?;
                }
            }
        }
    }

    async fn connected(&mut self, session: &mut ConnectionState, session_present: bool) -> Option<Ending> {
        session.connected = true;
        if self.keeps() {
            self.rivalry.accepted(self.clock.now());
        }
        if !session_present
            && self.keeps()
            && let Some(since) = self.stood
        {
            tracing::warn!(%since, "the broker had forgotten our session: readings may be missing since then");
            self.tell(Arrival::SessionLost { since }).await;
        }
        // At each connection, whatever the broker says about the session: a session can lack them.
        if let Err(gone) = session.client.subscribe(self.settings.filters()) {
            return Some(lost(&gone));
        }
        self.tell_line(ConnectionNews::Up(session.client.clone())).await;
        None
    }

    async fn subscribed(&mut self, session: &mut ConnectionState, grants: &[Grant]) -> Option<Ending> {
        let filters = self.settings.filters();
        let mut refused = Vec::new();
        for (filter, grant) in filters.iter().zip(grants) {
            match grant {
                Grant::AtLeastOnce => {}
                Grant::AtMostOnce if !self.keeps() => {}
                Grant::AtMostOnce => refused.push(format!("{filter}: only at QoS 0")),
                Grant::Refused(why) => refused.push(format!("{filter}: {why}")),
            }
        }
        for filter in &refused {
            tracing::error!("the broker refuses a subscription, readings will be missing: {filter}");
        }
        session.ask_again = (!refused.is_empty()).then(|| Box::pin(tokio::time::sleep(ASK_AGAIN)));
        let since = self.clock.now();
        if self.keeps() {
            self.stood = Some(since);
            self.subscribed = true;
        }
        tracing::info!("watching: subscribed at {}:{}", self.settings.host, self.settings.port);
        if refused.len() < filters.len() {
            self.tell_line(ConnectionNews::Watching).await;
        }
        self.tell(Arrival::Connection(Connection::Watching { since, refused })).await;
        self.tell(Arrival::Link(State::Up)).await;
        None
    }

    async fn arrived(&mut self, session: &ConnectionState, delivered: Delivered) {
        if self.stop.take_no_more.is_cancelled() {
            return;
        }
        let Delivered { topic, payload, retained, packet } = delivered;
        if !self.keeps() {
            if !self.settings.is_ours(&topic) {
                let received_at = self.clock.arrival();
                self.tell(Arrival::Heard(Message { topic, payload, retained, received_at })).await;
            }
            return;
        }
        let Some(place) = self.place(payload.len()) else {
            tracing::error!("a message was read without room for it; the broker delivers it again");
            return;
        };
        let receipt = Receipt { client: session.client.clone(), packet, place };
        if self.settings.is_ours(&topic) {
            self.tell(Arrival::Echo(receipt)).await;
        } else {
            let received_at = self.clock.arrival();
            self.tell(Arrival::Message(Message { topic, payload, retained, received_at }, receipt)).await;
        }
    }

    fn keeps(&self) -> bool {
        self.taking == Taking::ToKeep
    }

    /// Messages that are only heard take no place.
    fn has_room(&self) -> bool {
        !self.keeps() || self.room.available_permits() > 0 && self.space.available_permits() > 0
    }

    /// How long a connection without room may stand; while nothing can be kept it is left for one that only hears, as
    /// is one on which the broker waits for acknowledgements, and that one when something can be kept again.
    fn look_at_room(
        &mut self,
        session: &mut ConnectionState,
        room: bool,
        patience: Duration,
    ) -> Result<(), Ending> {
        let keeping = *self.ports.keeping.borrow_and_update();
        match (self.taking, keeping) {
            (Taking::ToHear, true) => return Err(Ending::Otherwise(Taking::ToKeep)),
            (Taking::ToKeep, false) if !room => return Err(Ending::Otherwise(Taking::ToHear)),
            (Taking::ToKeep, false) if self.room.available_permits() < self.settings.queue => {
                session.stalled.get_or_insert_with(|| Box::pin(tokio::time::sleep(STALLED)));
            }
            (Taking::ToKeep | Taking::ToHear, _) => session.stalled = None,
        }
        if room {
            session.no_room = None;
        } else {
            session.no_room.get_or_insert_with(|| Box::pin(tokio::time::sleep(patience)));
        }
        Ok(())
    }

    fn take_otherwise(&mut self, taking: Taking) -> Duration {
        self.taking = taking;
        match taking {
            Taking::ToHear => tracing::warn!(
                "nothing can be kept: the broker holds the messages; until that is mended they are watched, not kept"
            ),
            Taking::ToKeep => tracing::info!("messages are kept again"),
        }
        Duration::ZERO
    }

    /// A place in the queue, which is free: nothing was read otherwise. A message larger than what is left
    /// takes all that is left.
    fn place(&self, bytes: usize) -> Option<QueuePlace> {
        let left = self.space.available_permits();
        let kib = u32::try_from((bytes / 1024).clamp(1, left.max(1))).ok()?;
        let room = Arc::clone(&self.room).try_acquire_owned().ok()?;
        let space = Arc::clone(&self.space).try_acquire_many_owned(kib).ok()?;
        Some(QueuePlace { _room: room, _space: space })
    }

    /// Waits until half of the queue is free: the broker keeps the messages meanwhile.
    async fn after_no_room(&mut self) -> Duration {
        let why = "too many messages wait for the disk: the connection is closed, the broker keeps the rest";
        tracing::warn!("{why}");
        self.tell(Arrival::Connection(Connection::Down { why: why.to_owned() })).await;
        self.tell(Arrival::Link(State::Down(Trouble::NoRoom))).await;
        let half = u32::try_from(self.settings.queue / 2).unwrap_or(u32::MAX);
        let mut keeping = self.ports.keeping.clone();
        let mut half_free = std::pin::pin!(Arc::clone(&self.room).acquire_many_owned(half));
        let mut beat = tokio::time::interval(BEAT);
        loop {
            tokio::select! {
                _room = &mut half_free => return Duration::ZERO,
                Ok(()) = keeping.changed() => {
                    if !*keeping.borrow_and_update() {
                        self.taking = Taking::ToHear;
                        return Duration::ZERO;
                    }
                }
                () = self.stop.take_no_more.cancelled() => return Duration::ZERO,
                _ = beat.tick() => self.ports.pulse.beat(),
            }
        }
    }

    async fn after_broken(&mut self, broken: Broken) -> Duration {
        let why = format!("no connection to {}:{}: {broken}", self.settings.host, self.settings.port);
        tracing::warn!("{why}");
        self.tell(Arrival::Connection(Connection::Down { why })).await;
        let rival = self.rivalry.ended(self.clock.now(), self.subscribed, &broken);
        if rival != RivalSuspicion::None {
            return self.after_takeover(rival == RivalSuspicion::Certain).await;
        }
        self.tell(Arrival::Link(State::Down(trouble(&broken)))).await;
        if let Broken::TooLarge { bytes } = broken {
            // The broker would deliver it again for ever. Taken once, it goes to quarantine.
            let bytes = u32::try_from(bytes).unwrap_or(u32::MAX);
            self.largest = bytes.saturating_add(PACKET_HEADER_BYTES).max(self.largest);
            tracing::error!(
                bytes,
                "a message larger than mqtt.max_packet_bytes is taken once, for the quarantine; \
                 set the broker's message_size_limit below it"
            );
            return Duration::ZERO;
        }
        self.pauses.next(&mut rand::rng())
    }

    async fn after_takeover(&mut self, certain: bool) -> Duration {
        let client_id = self.settings.client_id.clone();
        let pause = self.rivalry.pause(&mut rand::rng());
        let seen = if certain {
            "the broker says that another client uses our client id"
        } else {
            "the broker closes connection after connection soon after it was made: probably another client uses our \
             client id"
        };
        tracing::error!(
            client_id,
            pause_s = pause.as_secs(),
            "{seen}, and gets our messages. Stop it, or change mqtt.client_id"
        );
        let since = self.stood.unwrap_or_else(|| self.clock.now());
        let taken = Trouble::TakenOver { since, client_id, certain };
        self.tell(Arrival::Link(State::Down(taken))).await;
        pause
    }

    async fn wait(&mut self, pause: Duration) {
        let mut over = std::pin::pin!(tokio::time::sleep(pause));
        let mut beat = tokio::time::interval(BEAT);
        loop {
            tokio::select! {
                () = &mut over => return,
                () = self.stop.take_no_more.cancelled() => return,
                _ = beat.tick() => self.ports.pulse.beat(),
            }
        }
    }

    /// To the engine, which always takes what comes; once it has ended nothing is to be told any more.
    async fn tell(&self, arrival: Arrival) {
        if self.ports.arrivals.send(arrival).await.is_err() {
            tracing::debug!("the engine has ended");
        }
    }

    /// To the publisher, which always takes what comes.
    async fn tell_line(&self, line: ConnectionNews) {
        if self.ports.line.send(line).await.is_err() {
            tracing::debug!("the publisher has ended");
        }
    }
}

fn lost(why: &dyn std::fmt::Display) -> Ending {
    Ending::Broken(Broken::Lost(why.to_string()))
}

/// What people must know of it.
fn trouble(broken: &Broken) -> Trouble {
    match broken {
        Broken::Silent(_) => Trouble::Unanswering,
        Broken::Closed | Broken::TakenOver | Broken::TooLarge { .. } => Trouble::Closed,
        Broken::Lost(why) => Trouble::Unreachable { why: why.clone() },
    }
}

/// Returns once, when the alarm clock rings; never without one.
async fn due(alarm: &mut Option<Pin<Box<Sleep>>>) {
    match alarm {
        Some(sleep) => {
            sleep.await;
            *alarm = None;
        }
        None => std::future::pending().await,
    }
}

/// How often the watchdog hears from a task that waits.
const BEAT: Duration = Duration::from_secs(5);

/// After a connection that stood so long the pauses begin anew; one that falls at once doesn't count as a
/// success, or two clients with one id would throw each other out each second.
const GOOD_FOR: SignedDuration = SignedDuration::from_secs(60);

/// Type, flags and length, the most that stands before what the length counts (MQTT 5, 2.1).
const PACKET_HEADER_BYTES: u32 = 5;

/// Payloads that may wait for the disk, together.
const SPACE_KIB: usize = 64 * 1024;

/// A room in which nothing speaks for so long while messages wait for their acknowledgement: the broker waits, too.
const STALLED: Duration = Duration::from_secs(60);

/// A refused subscription is tried again after this: somebody may have mended the broker's rights.
const ASK_AGAIN: Duration = Duration::from_secs(60);
