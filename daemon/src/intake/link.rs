//! One connection to the broker: the same few verbs for MQTT 3.1.1 and MQTT 5.
//!
//! The packets are `rumqttc`'s, the loop is ours. Its own event loop writes one acknowledgement for each
//! ten messages that it reads while a backlog comes in: after an outage tens of thousands of stored
//! messages stay unacknowledged (40 000 after 53 000 messages, measured with Mosquitto 2.0.11), and each
//! break of the connection brings them all again. Here acknowledgements go first, and nothing is read
//! while there is no room.
//!
//! A [`BrokerLink`] is opened for one connection and never reconnects, so that nothing of an old connection
//! can be sent on a new one. A [`BrokerClient`] puts what it asks for into a queue, at once or not at all: the
//! task that empties the queue may ask, too. The queue holds more than can be asked for at a time.

mod plan;
mod v311;
mod v5;
mod wire;

use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::{Interval, MissedTickBehavior};

use super::{QueuePlace, Settings, Taking, TlsError};
use plan::{Accepted, ConnectionPlan, Incoming, Outgoing};
use wire::Wire;

/// Sends on one connection; clones belong to the same one.
#[derive(Clone)]
pub struct BrokerClient(mpsc::Sender<Ask>);

/// The connection is gone, or its queue is full, which ends it too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the connection to the broker has ended")]
pub struct LinkGone;

enum Ask {
    Acknowledge { packet: u16, place: QueuePlace },
    Subscribe(Vec<String>),
    Publish(ToPublish),
    Disconnect,
}

struct ToPublish {
    topic: String,
    payload: Vec<u8>,
    retain: bool,
}

/// Receives on one connection, and writes what its clients ask for.
pub struct BrokerLink {
    plan: ConnectionPlan,
    wire: Option<Wire>,
    asks: mpsc::Receiver<Ask>,
    /// Seen, but not yet given out.
    seen: VecDeque<LinkEvent>,
    /// Packet ids of ours that the broker hasn't answered.
    open: BTreeSet<u16>,
    last_packet: u16,
    /// What the broker's receive maximum doesn't let out yet.
    held_back: VecDeque<ToPublish>,
    receive_maximum: usize,
    keep_alive: Duration,
    pings: Interval,
    /// Pings that went out since anything was heard.
    unheard: u32,
}

/// What is seen on a connection.
#[derive(Debug, PartialEq, Eq)]
pub enum LinkEvent {
    /// The broker accepted us.
    Connected {
        /// Whether it still has our session.
        session_present: bool,
    },
    /// The answer to the subscription, in the order of its filters.
    Subscribed(Vec<Grant>),
    /// A message.
    Arrived(Delivered),
    /// A message of ours got this packet id and went out; in the order of the requests.
    Sent(u16),
    /// The broker has taken over a message of ours, or refuses it for good.
    Taken {
        /// Its packet id.
        packet: u16,
        /// Why the broker refuses it.
        refused: Option<String>,
    },
    /// The broker answered a ping.
    Alive,
    /// Something of ours went out, acknowledgements mostly: there may be room again.
    Wrote,
    /// Our goodbye went out.
    Disconnected,
}

/// What the broker granted for one filter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Grant {
    /// Messages are kept for us until we acknowledge them.
    AtLeastOnce,
    /// Messages may be lost on the way.
    AtMostOnce,
    /// Nothing, and why.
    Refused(String),
}

/// A message as the broker delivered it.
#[derive(Debug, PartialEq, Eq)]
pub struct Delivered {
    /// Topic; bytes that aren't UTF-8 are replaced.
    pub topic: String,
    /// As sent.
    pub payload: Vec<u8>,
    /// The broker kept it from earlier.
    pub retained: bool,
    /// What acknowledges it; at QoS 0 nothing does.
    pub packet: Option<u16>,
}

/// Why a connection ended.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Broken {
    /// Another client connected with our client id.
    #[error("another client has connected with our client id")]
    TakenOver,
    /// A packet is larger than we accept.
    #[error("a packet of {bytes} bytes is larger than we accept")]
    TooLarge {
        /// Its size, as far as it is known.
        bytes: usize,
    },
    /// Anything else.
    #[error("{0}")]
    Lost(String),
    /// The broker ended a connection without saying why.
    #[error("the broker closed the connection")]
    Closed,
    /// The connection is made, and nothing is heard on it.
    #[error("{0}: it is slow, paused or hangs")]
    Silent(&'static str),
}

impl BrokerClient {
    /// Asks for these filters: at QoS 1, or at QoS 0 where nothing is to be kept.
    pub fn subscribe(&self, filters: Vec<String>) -> Result<(), LinkGone> {
        self.ask(Ask::Subscribe(filters))
    }

    /// Publishes at QoS 1.
    pub fn publish(&self, topic: String, payload: Vec<u8>, retain: bool) -> Result<(), LinkGone> {
        self.ask(Ask::Publish(ToPublish { topic, payload, retain }))
    }

    /// Acknowledges a message; its place is free again when that is written.
    pub fn acknowledge(&self, packet: u16, place: QueuePlace) -> Result<(), LinkGone> {
        self.ask(Ask::Acknowledge { packet, place })
    }

    /// Says goodbye after everything that was asked for before; the broker then keeps the last will to
    /// itself.
    pub fn disconnect(&self) -> Result<(), LinkGone> {
        self.ask(Ask::Disconnect)
    }

    fn ask(&self, ask: Ask) -> Result<(), LinkGone> {
        self.0.try_send(ask).map_err(|_full_or_gone| LinkGone)
    }
}

impl BrokerLink {
    /// Prepares a connection; it is made by the first [`BrokerLink::next`].
    pub fn open(settings: &Settings, largest: u32, taking: Taking) -> Result<(BrokerClient, Self), TlsError> {
        let (client, asks) = mpsc::channel(settings.queue + OTHER_ASKS);
        let mut pings = tokio::time::interval(KEEP_ALIVE / 2);
        pings.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let link = Self {
            plan: ConnectionPlan::new(settings, largest, taking)?,
            wire: None,
            asks,
            seen: VecDeque::new(),
            open: BTreeSet::new(),
            last_packet: 0,
            held_back: VecDeque::new(),
            receive_maximum: usize::from(u16::MAX),
            keep_alive: KEEP_ALIVE,
            pings,
            unheard: 0,
        };
        Ok((BrokerClient(client), link))
    }

    /// The same for somebody who only asks something: without a session and without a last will.
    pub fn open_to_ask(settings: &Settings) -> Result<(BrokerClient, Self), TlsError> {
        let (client, mut link) = Self::open(settings, settings.max_packet_bytes, Taking::ToHear)?;
        link.plan.status_topic = None;
        Ok((client, link))
    }

    /// How often the broker must hear from us; an MQTT 5 broker may ask for another value than ours.
    pub fn keep_alive(&self) -> Duration {
        self.keep_alive
    }

    /// Waits for the next thing on this connection; messages are read only when there is room for one.
    ///
    /// Give up waiting only to give up the connection: a packet that is half written would be lost.
    pub async fn next(&mut self, room: bool) -> Result<LinkEvent, Broken> {
        loop {
            if let Some(seen) = self.seen.pop_front() {
                return Ok(seen);
            }
            let Some(wire) = &mut self.wire else {
                let (wire, accepted) = Wire::connect(&self.plan).await?;
                self.wire = Some(wire);
                self.accepted(&accepted);
                continue;
            };
            tokio::select! {
                // Acknowledgements first.
                biased;
                Some(ask) = self.asks.recv() => self.serve(ask).await?,
                _ = self.pings.tick() => self.ping(room).await?,
                incoming = wire.next(), if room => self.heard(incoming?)?,
            }
        }
    }

    fn accepted(&mut self, accepted: &Accepted) {
        if let Some(asked) = accepted.keep_alive {
            self.keep_alive = asked;
            self.pings = tokio::time::interval(asked.max(Duration::from_secs(2)) / 2);
            self.pings.set_missed_tick_behavior(MissedTickBehavior::Delay);
        }
        // The first tick of an interval comes at once.
        self.pings.reset();
        self.receive_maximum = accepted.receive_maximum;
        self.seen.push_back(LinkEvent::Connected { session_present: accepted.session_present });
    }

    /// Writes what was asked for, and what else waits, in one go.
    async fn serve(&mut self, first: Ask) -> Result<(), Broken> {
        let mut next = Some(first);
        let mut wrote = 0;
        while let Some(ask) = next {
            self.write(ask).await?;
            wrote += 1;
            next = if wrote < ASKS_AT_ONCE { self.asks.try_recv().ok() } else { None };
        }
        self.flush().await?;
        self.seen.push_back(LinkEvent::Wrote);
        Ok(())
    }

    async fn write(&mut self, ask: Ask) -> Result<(), Broken> {
        match ask {
            Ask::Acknowledge { packet, place } => {
                self.feed(Outgoing::Acknowledge { packet }).await?;
                drop(place);
            }
            Ask::Subscribe(filters) => {
                let packet = self.new_packet();
                let kept = self.plan.kept;
                self.feed(Outgoing::Subscribe { packet, filters, kept }).await?;
            }
            Ask::Publish(publish) => {
                self.held_back.push_back(publish);
                self.let_out().await?;
            }
            Ask::Disconnect => {
                self.feed(Outgoing::Disconnect).await?;
                self.seen.push_back(LinkEvent::Disconnected);
            }
        }
        Ok(())
    }

    /// As many of our messages as the broker's receive maximum allows.
    async fn let_out(&mut self) -> Result<(), Broken> {
        while self.open.len() < self.receive_maximum {
            let Some(ToPublish { topic, payload, retain }) = self.held_back.pop_front() else { break };
            let packet = self.new_packet();
            self.feed(Outgoing::Publish { packet, topic, payload, retain }).await?;
            self.open.insert(packet);
            self.seen.push_back(LinkEvent::Sent(packet));
        }
        Ok(())
    }

    fn heard(&mut self, incoming: Incoming) -> Result<(), Broken> {
        self.unheard = 0;
        match incoming {
            Incoming::Message(delivered) => self.seen.push_back(LinkEvent::Arrived(delivered)),
            Incoming::Granted(grants) => self.seen.push_back(LinkEvent::Subscribed(grants)),
            Incoming::Pong => self.seen.push_back(LinkEvent::Alive),
            Incoming::Taken { packet, refused } => {
                self.open.remove(&packet);
                self.seen.push_back(LinkEvent::Taken { packet, refused });
            }
            Incoming::Goodbye(broken) => return Err(broken),
            Incoming::Unasked(what) => {
                return Err(Broken::Lost(format!("the broker sent a {what} that nobody asked for")));
            }
        }
        Ok(())
    }

    /// Says that we are alive, and looks whether the broker is; while nothing is read that can't be known.
    async fn ping(&mut self, room: bool) -> Result<(), Broken> {
        if self.unheard >= UNHEARD_PINGS {
            return Err(Broken::Silent("the broker doesn't answer any more"));
        }
        self.unheard = if room { self.unheard + 1 } else { 0 };
        self.let_out().await?;
        self.feed(Outgoing::Ping).await?;
        self.flush().await
    }

    /// An id that no open packet of ours has.
    fn new_packet(&mut self) -> u16 {
        loop {
            self.last_packet = self.last_packet.checked_add(1).unwrap_or(1);
            if !self.open.contains(&self.last_packet) {
                return self.last_packet;
            }
        }
    }

    async fn feed(&mut self, packet: Outgoing) -> Result<(), Broken> {
        match &mut self.wire {
            Some(wire) => wire.feed(packet).await,
            None => Err(Broken::Lost("not connected".to_owned())),
        }
    }

    async fn flush(&mut self) -> Result<(), Broken> {
        match &mut self.wire {
            Some(wire) => wire.flush().await,
            None => Err(Broken::Lost("not connected".to_owned())),
        }
    }
}

/// A connection on which nothing is heard for 1.5 times this is dead to the broker. We ping at half of it.
const KEEP_ALIVE: Duration = Duration::from_secs(30);

/// A broker that is silent for so many pings is dead to us.
const UNHEARD_PINGS: u32 = 2;

/// Written before the connection is flushed once.
const ASKS_AT_ONCE: usize = 512;

/// Beside one acknowledgement for each place in the queue: what [`crate::publish`] has on the way,
/// subscriptions and the goodbye.
const OTHER_ASKS: usize = 64;
