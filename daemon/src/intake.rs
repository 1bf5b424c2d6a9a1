//! MQTT in: a persistent session, QoS 1, acknowledged only after the commit.
//!
//! One task, [`Intake::run`], owns the connection and does nothing else. It hands each message on with
//! its [`Receipt`]; whoever has put the message on disk acknowledges it, in the order of delivery. Messages
//! that wait for their receipt are counted against [`Settings::queue`], since the broker's flow control
//! can't be trusted: when no room is left, nothing more is read; if that lasts for a keep-alive, the
//! connection is closed on purpose, so that the broker keeps the rest where it keeps it well.

pub mod hearing;
pub mod link;
pub mod one_shot;
pub(crate) mod pause;
mod rival;
mod task;
pub(crate) mod tls;

use jiff::{SignedDuration, Timestamp};
use tokio::sync::{OwnedSemaphorePermit, mpsc, watch};
use tokio_util::sync::CancellationToken;

use claymark_notice::link::Link;

use crate::message::Message;
use crate::publish::ConnectionNews;
use crate::pulse::Pulse;
use crate::snapshot::Connection;
use link::BrokerClient;
pub use task::Intake;
pub use tls::TlsError;

/// Which MQTT is spoken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Protocol {
    /// MQTT 3.1.1.
    V311,
    /// MQTT 5.
    V5,
}

/// User and password.
#[derive(Clone, PartialEq, Eq)]
pub struct Login {
    /// User.
    pub user: String,
    /// Password: never shown, never logged.
    pub password: String,
}

/// What the connection to the broker needs.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// Host name or address.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// 1 to 23 of 0-9, a-z, A-Z (MQTT-3.1.3-5): accepted by every server.
    pub client_id: String,
    /// 5 unless the broker is old.
    pub protocol: Protocol,
    /// Topic filters.
    pub subscribe: Vec<String>,
    /// What Claymark publishes stands below it; `<prefix>/log` and `<prefix>/answer` are read back.
    pub prefix: String,
    /// Who we are.
    pub login: Option<Login>,
    /// TLS; `None` is plain TCP.
    pub tls: Option<Tls>,
    /// How long the broker keeps our session while we are away.
    pub session_expiry: SignedDuration,
    /// Larger packets are not accepted; set the broker's `message_size_limit` below it.
    pub max_packet_bytes: u32,
    /// Messages that may wait for their commit; well under 65 535.
    pub queue: usize,
}

/// How the broker is recognised.
#[derive(Clone, PartialEq, Eq)]
pub struct Tls {
    /// PEM of the own certificate authority; `None`: the system's roots.
    pub ca_pem: Option<Vec<u8>>,
}

/// What messages are taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taking {
    /// To be kept, and acknowledged when they are.
    ToKeep,
    /// To be watched only, while nothing can be kept: on a connection of its own, which the broker forgets.
    ToHear,
}

/// What comes in, in order.
pub enum Arrival {
    /// A message; acknowledge it when it is on disk.
    Message(Message, Receipt),
    /// A message that nobody keeps: the broker holds it for the session that waits, and delivers it once more.
    Heard(Message),
    /// A message of our own that a filter brought back: nothing but its acknowledgement is wanted.
    Echo(Receipt),
    /// The broker had forgotten our session.
    SessionLost {
        /// The last time that it is known to have stood.
        since: Timestamp,
    },
    /// The connection is another than before.
    Connection(Connection),
    /// What of it matters to people.
    Link(Link),
}

/// Acknowledges one message; dropped without it, the broker delivers the message again.
pub struct Receipt {
    client: BrokerClient,
    /// None at QoS 0, which wants no acknowledgement.
    packet: Option<u16>,
    place: QueuePlace,
}

/// A message's place in the queue, given back when it is dropped.
pub struct QueuePlace {
    _room: OwnedSemaphorePermit,
    _space: OwnedSemaphorePermit,
}

/// Where things go.
pub struct Ports {
    /// To the engine; with room for all of [`Settings::queue`] and some more.
    pub arrivals: mpsc::Sender<Arrival>,
    /// To the publisher.
    pub line: mpsc::Sender<ConnectionNews>,
    /// Whether anything can be kept.
    pub keeping: watch::Receiver<bool>,
    /// Tells the watchdog that this task is alive.
    pub pulse: Pulse,
}

/// How the task ends, in two steps.
#[derive(Clone, Default)]
pub struct Stop {
    /// From now on messages are left to the broker.
    pub take_no_more: CancellationToken,
    /// Everything was acknowledged and published: say goodbye.
    pub disconnect: CancellationToken,
}

impl Settings {
    /// Where our state stands, retained.
    #[must_use]
    pub fn status_topic(&self) -> String {
        format!("{}/status", self.prefix)
    }

    /// The client id of the connection that only hears; accepted by every server, too.
    fn hearing_id(&self) -> String {
        let own: String = self.client_id.chars().take(CLIENT_ID_CHARS - HEARING.len()).collect();
        own + HEARING
    }

    /// Whether a connection can be prepared at all: a CA file that can't be used is told at once, not when
    /// the broker is first reached.
    pub fn check(&self) -> Result<(), TlsError> {
        self.tls.as_ref().map_or(Ok(()), |tls| tls::client(tls).map(drop))
    }

    /// What is asked for: the site's filters, the field log and the answers.
    fn filters(&self) -> Vec<String> {
        let own = ["log", "answer"].map(|leaf| format!("{}/{leaf}", self.prefix));
        self.subscribe.iter().cloned().chain(own).collect()
    }

    /// Whether a topic is one that only we publish to.
    fn is_ours(&self, topic: &str) -> bool {
        let leaf = topic.strip_prefix(self.prefix.as_str()).and_then(|rest| rest.strip_prefix('/'));
        leaf.is_some_and(|leaf| leaf != "log" && leaf != "answer")
    }
}

impl Receipt {
    /// Whether the broker keeps the message open until it is acknowledged.
    #[must_use]
    pub fn is_awaited(&self) -> bool {
        self.packet.is_some()
    }

    /// The message is on disk, or kept aside: the broker may forget it. On a connection that has ended
    /// this does nothing, and the broker delivers the message again.
    pub fn acknowledge(self) {
        let Some(packet) = self.packet else { return };
        if self.client.acknowledge(packet, self.place).is_err() {
            tracing::debug!("the connection ended before a message could be acknowledged");
        }
    }
}

/// MQTT-3.1.3-5.
const CLIENT_ID_CHARS: usize = 23;

const HEARING: &str = "Hears";
