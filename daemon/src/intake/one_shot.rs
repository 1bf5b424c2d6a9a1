//! One message, then goodbye: no session, no last will, a client id of its own, so that the daemon's
//! connection isn't touched.

use std::time::Duration;

use rumqttc::v5;

use super::{Protocol, Settings, TlsError, tls};

/// What the broker says to a message that it has taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It passes it on, or keeps it for a client that is away; MQTT 3.1.1 can't say more.
    Acknowledged,
    /// Nobody has subscribed (MQTT 5 only): the message is gone.
    NobodyListens,
}

/// Why the message isn't at the broker, or may not be.
#[derive(Debug, thiserror::Error)]
pub enum ErrandError {
    /// TLS can't be used.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// No connection.
    #[error("the broker {host}:{port} can't be reached: {why}")]
    Unreachable {
        /// Host.
        host: String,
        /// Port.
        port: u16,
        /// What the system says.
        why: String,
    },
    /// The broker doesn't want us.
    #[error("the broker {host}:{port} refuses the login: {why}")]
    LoginRefused {
        /// Host.
        host: String,
        /// Port.
        port: u16,
        /// What it says.
        why: String,
    },
    /// The broker doesn't want the message.
    #[error("the broker refuses the message on {topic}: {why}")]
    Denied {
        /// Topic.
        topic: String,
        /// What it says (MQTT 5 only).
        why: String,
    },
    /// The connection ended, or nothing was heard, before the broker had acknowledged.
    #[error("the broker {host}:{port} didn't acknowledge the message: {why}")]
    Unacknowledged {
        /// Host.
        host: String,
        /// Port.
        port: u16,
        /// What happened.
        why: String,
    },
}

/// Publishes at QoS 1, waits for the broker's word, and says goodbye.
pub fn publish(
    settings: &Settings,
    client_id: &str,
    topic: &str,
    payload: &[u8],
) -> Result<Taken, ErrandError> {
    let errand = Errand { settings, topic };
    match settings.protocol {
        Protocol::V311 => errand.v311(client_id, payload),
        Protocol::V5 => errand.v5(client_id, payload),
    }
}

struct Errand<'a> {
    settings: &'a Settings,
    topic: &'a str,
}

impl Errand<'_> {
    fn v311(&self, client_id: &str, payload: &[u8]) -> Result<Taken, ErrandError> {
        use rumqttc::{Client, Event, MqttOptions, Outgoing, Packet, QoS, Transport};
        let mut options = MqttOptions::new(client_id, &self.settings.host, self.settings.port);
        options.set_clean_session(true);
        if let Some(login) = &self.settings.login {
            options.set_credentials(&login.user, &login.password);
        }
        if let Some(tls) = &self.settings.tls {
            options.set_transport(Transport::tls_with_config(tls::client(tls)?.into()));
        }
        let (client, mut connection) = Client::new(options, REQUESTS);
        client
            .try_publish(self.topic, QoS::AtLeastOnce, false, payload)
            .map_err(|full| self.unacknowledged(&full))?;
        let mut connected = false;
        loop {
            let event = connection.recv_timeout(PATIENCE).map_err(|_silence| self.silent(connected))?;
            let event = event.map_err(|error| self.broken_v311(&error, connected))?;
            if matches!(event, Event::Incoming(Packet::PubAck(_))) {
                break;
            }
            connected |= matches!(event, Event::Incoming(Packet::ConnAck(_)));
        }
        // The message is there; how the goodbye goes changes nothing.
        if client.try_disconnect().is_ok() {
            while !matches!(
                connection.recv_timeout(PATIENCE),
                Err(_) | Ok(Err(_) | Ok(Event::Outgoing(Outgoing::Disconnect)))
            ) {}
        }
        Ok(Taken::Acknowledged)
    }

    fn v5(&self, client_id: &str, payload: &[u8]) -> Result<Taken, ErrandError> {
        use rumqttc::{Outgoing, Transport};
        use v5::mqttbytes::QoS;
        use v5::mqttbytes::v5::{Packet, PubAckReason};
        use v5::{Client, Event, MqttOptions};
        let mut options = MqttOptions::new(client_id, &self.settings.host, self.settings.port);
        options.set_clean_start(true);
        if let Some(login) = &self.settings.login {
            options.set_credentials(&login.user, &login.password);
        }
        if let Some(tls) = &self.settings.tls {
            options.set_transport(Transport::tls_with_config(tls::client(tls)?.into()));
        }
        let (client, mut connection) = Client::new(options, REQUESTS);
        let payload = payload.to_vec();
        client
            .try_publish(self.topic, QoS::AtLeastOnce, false, payload)
            .map_err(|full| self.unacknowledged(&full))?;
        let mut connected = false;
        let reason = loop {
            let event = connection.recv_timeout(PATIENCE).map_err(|_silence| self.silent(connected))?;
            let event = match event {
                Ok(event) => event,
                // Mosquitto 2.0.11 refuses a message and hangs up at once: its word was read with the end of
                // the connection, and waits behind it.
                Err(error) => match connection.eventloop.state.events.iter().find_map(acknowledged) {
                    Some(reason) => break reason,
                    None => return Err(self.broken_v5(&error, connected)),
                },
            };
            if let Some(reason) = acknowledged(&event) {
                break reason;
            }
            connected |= matches!(event, Event::Incoming(Packet::ConnAck(_)));
        };
        if client.try_disconnect().is_ok() {
            while !matches!(
                connection.recv_timeout(PATIENCE),
                Err(_) | Ok(Err(_) | Ok(Event::Outgoing(Outgoing::Disconnect)))
            ) {}
        }
        if reason == PubAckReason::Success {
            Ok(Taken::Acknowledged)
        } else if reason == PubAckReason::NoMatchingSubscribers {
            Ok(Taken::NobodyListens)
        } else {
            Err(ErrandError::Denied { topic: self.topic.to_owned(), why: format!("{reason:?}") })
        }
    }

    fn broken_v311(&self, error: &rumqttc::ConnectionError, connected: bool) -> ErrandError {
        if let rumqttc::ConnectionError::ConnectionRefused(code) = error {
            return self.login_refused(format!("{code:?}"));
        }
        self.broken(error, connected)
    }

    fn broken_v5(&self, error: &v5::ConnectionError, connected: bool) -> ErrandError {
        if let v5::ConnectionError::ConnectionRefused(code) = error {
            return self.login_refused(format!("{code:?}"));
        }
        self.broken(error, connected)
    }

    fn silent(&self, connected: bool) -> ErrandError {
        self.broken(&format!("nothing was heard for {} s", PATIENCE.as_secs()), connected)
    }

    fn broken(&self, why: &impl ToString, connected: bool) -> ErrandError {
        if connected { self.unacknowledged(why) } else { self.unreachable(why) }
    }

    fn unreachable(&self, why: &impl ToString) -> ErrandError {
        let Settings { host, port, .. } = self.settings;
        ErrandError::Unreachable { host: host.clone(), port: *port, why: why.to_string() }
    }

    fn login_refused(&self, why: String) -> ErrandError {
        let Settings { host, port, .. } = self.settings;
        ErrandError::LoginRefused { host: host.clone(), port: *port, why }
    }

    fn unacknowledged(&self, why: &impl ToString) -> ErrandError {
        let Settings { host, port, .. } = self.settings;
        ErrandError::Unacknowledged { host: host.clone(), port: *port, why: why.to_string() }
    }
}

/// The reason code of an acknowledgement.
fn acknowledged(event: &v5::Event) -> Option<v5::mqttbytes::v5::PubAckReason> {
    if let v5::Event::Incoming(v5::mqttbytes::v5::Packet::PubAck(word)) = event {
        Some(word.reason)
    } else {
        None
    }
}

/// A broker that doesn't answer for so long won't.
const PATIENCE: Duration = Duration::from_secs(10);
/// The message and the goodbye.
const REQUESTS: usize = 2;
