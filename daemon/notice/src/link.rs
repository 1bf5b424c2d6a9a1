//! How the connection to the broker stands, as far as people must know it.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// What is known of the connection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// Subscribed.
    Up,
    /// Not, or not any more.
    Down(Trouble),
}

/// Why there is no connection: what was seen, not what is supposed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "trouble", rename_all = "kebab-case")]
pub enum Trouble {
    /// No connection is made: nobody listens, the name isn't found, TLS or login are refused.
    Unreachable {
        /// What the system or the broker said.
        why: String,
    },
    /// The connection is made, or was there, and nothing is heard on it: the broker is slow, paused or hangs.
    Unanswering,
    /// The broker closed it.
    Closed,
    /// We closed it: too many messages wait for the disk, and the broker keeps the rest.
    NoRoom,
    /// Another client connected with our client id (MQTT 5 section 3.1.4: reason code 0x8E).
    TakenOver {
        /// The last time that our session is known to have stood.
        since: Timestamp,
        /// The client id.
        client_id: String,
        /// The broker said so; else it closed connection after connection soon after each was made.
        certain: bool,
    },
}

/// A connection that is down.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkDown {
    /// Since when.
    pub since: Timestamp,
    /// The newest reason.
    pub trouble: Trouble,
}
