//! Notices to people, by SMTP and MQTT, retried until they are delivered.

use claymark_core::id::Id;

use crate::intake::Login;

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
