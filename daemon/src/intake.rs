//! MQTT in: a persistent session, QoS 1, acknowledged only after the commit.

use jiff::SignedDuration;

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
