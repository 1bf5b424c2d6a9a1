//! One connection to the broker: the same few verbs for MQTT 3.1.1 and MQTT 5.
//!
//! A [`Link`] is opened for one connection and never reconnects: `rumqttc` would otherwise send old
//! acknowledgements on the new connection, and give out messages of the old one after its ConnAck. The
//! [`Client`] puts requests into a queue that the link's polling empties; all its verbs return at once,
//! because waiting for room in that queue from the task that polls would wait for ever.

use std::time::Duration;

use rumqttc::{Outgoing, mqttbytes, v5};

use super::{Protocol, Settings, TlsError, tls};

/// Sends on one connection; clones belong to the same one.
#[derive(Clone)]
pub enum Client {
    /// MQTT 3.1.1.
    V311(rumqttc::AsyncClient),
    /// MQTT 5.
    V5(v5::AsyncClient),
}

/// The connection is gone, or its queue is full, which ends it too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the connection to the broker has ended")]
pub struct LinkGone;

/// Receives on one connection.
pub enum Link {
    /// MQTT 3.1.1.
    V311(Box<rumqttc::EventLoop>),
    /// MQTT 5.
    V5(Box<v5::EventLoop>),
}

/// What is seen on a connection.
pub enum Seen {
    /// The broker accepted us; whether it still has our session.
    Connected {
        /// Whether the broker still has our session.
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
    /// An acknowledgement of ours went out.
    Acknowledged,
    /// The broker answered a ping.
    Alive,
    /// Our goodbye went out.
    Disconnected,
    /// Nothing that matters here.
    Other,
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
pub struct Delivered {
    /// Topic; bytes that aren't UTF-8 are replaced.
    pub topic: String,
    /// As sent.
    pub payload: Vec<u8>,
    /// The broker kept it from earlier.
    pub retained: bool,
    /// What acknowledges it.
    pub ack: Ack,
}

/// Acknowledges one message on the connection that delivered it.
pub enum Ack {
    /// MQTT 3.1.1.
    V311(rumqttc::AsyncClient, rumqttc::Publish),
    /// MQTT 5.
    V5(v5::AsyncClient, Box<v5::mqttbytes::v5::Publish>),
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
}

impl Client {
    /// Asks for these filters at QoS 1.
    pub fn subscribe(&self, filters: &[String]) -> Result<(), LinkGone> {
        match self {
            Self::V311(client) => {
                let filters = filters
                    .iter()
                    .map(|filter| rumqttc::SubscribeFilter::new(filter.clone(), rumqttc::QoS::AtLeastOnce));
                client.try_subscribe_many(filters).map_err(|_full_or_gone| LinkGone)
            }
            Self::V5(client) => {
                let filters = filters.iter().map(|filter| v5::mqttbytes::v5::Filter {
                    path: filter.clone(),
                    qos: v5::mqttbytes::QoS::AtLeastOnce,
                    // Retained messages once, not at each reconnect.
                    retain_forward_rule: v5::mqttbytes::v5::RetainForwardRule::OnNewSubscribe,
                    ..Default::default()
                });
                client.try_subscribe_many(filters).map_err(|_full_or_gone| LinkGone)
            }
        }
    }

    /// Publishes at QoS 1.
    pub fn publish(&self, topic: &str, payload: Vec<u8>, retain: bool) -> Result<(), LinkGone> {
        match self {
            Self::V311(client) => client
                .try_publish(topic, rumqttc::QoS::AtLeastOnce, retain, payload)
                .map_err(|_full_or_gone| LinkGone),
            Self::V5(client) => client
                .try_publish(topic, v5::mqttbytes::QoS::AtLeastOnce, retain, payload)
                .map_err(|_full_or_gone| LinkGone),
        }
    }

    /// Says goodbye after all earlier requests; the broker then keeps the last will to itself.
    pub fn disconnect(&self) -> Result<(), LinkGone> {
        match self {
            Self::V311(client) => client.try_disconnect().map_err(|_full_or_gone| LinkGone),
            Self::V5(client) => client.try_disconnect().map_err(|_full_or_gone| LinkGone),
        }
    }
}

impl Ack {
    /// Whether the broker waits for it: not at QoS 0.
    pub fn is_wanted(&self) -> bool {
        match self {
            Self::V311(_, publish) => publish.qos != rumqttc::QoS::AtMostOnce,
            Self::V5(_, publish) => publish.qos != v5::mqttbytes::QoS::AtMostOnce,
        }
    }

    /// Acknowledges; a message of QoS 0 wants none. On a connection that has ended this does nothing:
    /// the broker delivers the message again.
    pub fn send(self) -> Result<(), LinkGone> {
        match self {
            Self::V311(client, publish) => client.try_ack(&publish).map_err(|_full_or_gone| LinkGone),
            Self::V5(client, publish) => client.try_ack(&publish).map_err(|_full_or_gone| LinkGone),
        }
    }
}

impl Link {
    /// Prepares a connection; it is made by the first [`Link::next`].
    pub fn open(settings: &Settings, largest: u32) -> Result<(Client, Self), TlsError> {
        match settings.protocol {
            Protocol::V311 => {
                let (client, events) = rumqttc::AsyncClient::new(options_v311(settings, largest)?, REQUESTS);
                Ok((Client::V311(client), Self::V311(Box::new(events))))
            }
            Protocol::V5 => {
                let (client, events) = v5::AsyncClient::new(options_v5(settings, largest)?, REQUESTS);
                Ok((Client::V5(client), Self::V5(Box::new(events))))
            }
        }
    }

    /// Waits for the next thing on this connection. Give up waiting only to give up the connection:
    /// a request that is half written would be lost.
    pub async fn next(&mut self, client: &Client) -> Result<Seen, Broken> {
        match (self, client) {
            (Self::V311(events), Client::V311(client)) => match events.poll().await {
                Ok(event) => Ok(seen_v311(client, event)),
                Err(error) => Err(broken_v311(&error)),
            },
            (Self::V5(events), Client::V5(client)) => match events.poll().await {
                Ok(event) => Ok(seen_v5(client, event)),
                Err(error) => Err(broken_v5(&error)),
            },
            (Self::V311(_), Client::V5(_)) | (Self::V5(_), Client::V311(_)) => {
                Err(Broken::Lost("a client of another connection was used".to_owned()))
            }
        }
    }

    /// How often the broker must hear from us; MQTT 5 brokers may ask for another value than ours.
    pub fn keep_alive(&self) -> Duration {
        match self {
            Self::V311(events) => events.mqtt_options.keep_alive(),
            Self::V5(events) => events.options.keep_alive(),
        }
    }
}

fn options_v311(settings: &Settings, largest: u32) -> Result<rumqttc::MqttOptions, TlsError> {
    let mut options = rumqttc::MqttOptions::new(&settings.client_id, &settings.host, settings.port);
    let largest = usize::try_from(largest).unwrap_or(usize::MAX);
    options
        .set_clean_session(false)
        .set_manual_acks(true)
        .set_keep_alive(KEEP_ALIVE)
        .set_inflight(OUTGOING_IN_FLIGHT)
        .set_max_packet_size(largest, largest)
        .set_last_will(rumqttc::LastWill::new(
            settings.status_topic(),
            STOPPED,
            rumqttc::QoS::AtLeastOnce,
            true,
        ));
    if let Some(login) = &settings.login {
        options.set_credentials(&login.user, &login.password);
    }
    if let Some(tls) = &settings.tls {
        options.set_transport(rumqttc::Transport::tls_with_config(tls::client(tls)?.into()));
    }
    Ok(options)
}

fn options_v5(settings: &Settings, largest: u32) -> Result<v5::MqttOptions, TlsError> {
    let mut options = v5::MqttOptions::new(&settings.client_id, &settings.host, settings.port);
    let expiry = u32::try_from(settings.session_expiry.as_secs()).unwrap_or(u32::MAX);
    let receive_maximum = u16::try_from(settings.queue).unwrap_or(u16::MAX).max(1);
    let will = v5::mqttbytes::v5::LastWill::new(
        settings.status_topic(),
        STOPPED,
        v5::mqttbytes::QoS::AtLeastOnce,
        true,
        Some(v5::mqttbytes::v5::LastWillProperties {
            delay_interval: Some(WILL_DELAY_S),
            payload_format_indicator: None,
            message_expiry_interval: None,
            content_type: None,
            response_topic: None,
            correlation_data: None,
            user_properties: Vec::new(),
        }),
    );
    // No topic alias maximum is set, so none may be used: rumqttc would keep aliases over a reconnect.
    options
        .set_clean_start(false)
        .set_session_expiry_interval(Some(expiry))
        .set_manual_acks(true)
        .set_keep_alive(KEEP_ALIVE)
        .set_receive_maximum(Some(receive_maximum))
        .set_max_packet_size(Some(largest))
        .set_outgoing_inflight_upper_limit(OUTGOING_IN_FLIGHT)
        .set_last_will(will);
    if let Some(login) = &settings.login {
        options.set_credentials(&login.user, &login.password);
    }
    if let Some(tls) = &settings.tls {
        options.set_transport(rumqttc::Transport::tls_with_config(tls::client(tls)?.into()));
    }
    Ok(options)
}

fn seen_v311(client: &rumqttc::AsyncClient, event: rumqttc::Event) -> Seen {
    use rumqttc::Packet;
    match event {
        rumqttc::Event::Outgoing(outgoing) => seen_outgoing(&outgoing),
        rumqttc::Event::Incoming(packet) => {
            if let Packet::Publish(mut publish) = packet {
                let topic = std::mem::take(&mut publish.topic);
                let payload = Vec::from(std::mem::take(&mut publish.payload));
                let retained = publish.retain;
                Seen::Arrived(Delivered { topic, payload, retained, ack: Ack::V311(client.clone(), publish) })
            } else if let Packet::PubAck(ack) = packet {
                Seen::Taken { packet: ack.pkid, refused: None }
            } else if let Packet::ConnAck(answer) = packet {
                Seen::Connected { session_present: answer.session_present }
            } else if let Packet::SubAck(answer) = packet {
                Seen::Subscribed(answer.return_codes.into_iter().map(grant_v311).collect())
            } else if let Packet::PingResp = packet {
                Seen::Alive
            } else {
                Seen::Other
            }
        }
    }
}

fn seen_v5(client: &v5::AsyncClient, event: v5::Event) -> Seen {
    use v5::mqttbytes::v5::{Packet, PubAckReason};
    match event {
        v5::Event::Outgoing(outgoing) => seen_outgoing(&outgoing),
        v5::Event::Incoming(packet) => {
            if let Packet::Publish(mut publish) = packet {
                let topic = String::from_utf8_lossy(&std::mem::take(&mut publish.topic)).into_owned();
                let payload = Vec::from(std::mem::take(&mut publish.payload));
                let retained = publish.retain;
                publish.properties = None;
                let ack = Ack::V5(client.clone(), Box::new(publish));
                Seen::Arrived(Delivered { topic, payload, retained, ack })
            } else if let Packet::PubAck(ack) = packet {
                let taken = matches!(ack.reason, PubAckReason::Success | PubAckReason::NoMatchingSubscribers);
                Seen::Taken { packet: ack.pkid, refused: (!taken).then(|| format!("{:?}", ack.reason)) }
            } else if let Packet::ConnAck(answer) = packet {
                Seen::Connected { session_present: answer.session_present }
            } else if let Packet::SubAck(answer) = packet {
                Seen::Subscribed(answer.return_codes.into_iter().map(grant_v5).collect())
            } else if let Packet::PingResp(_) = packet {
                Seen::Alive
            } else {
                Seen::Other
            }
        }
    }
}

fn seen_outgoing(outgoing: &Outgoing) -> Seen {
    match outgoing {
        Outgoing::Publish(packet) => Seen::Sent(*packet),
        Outgoing::PubAck(_) => Seen::Acknowledged,
        Outgoing::Disconnect => Seen::Disconnected,
        Outgoing::Subscribe(_)
        | Outgoing::Unsubscribe(_)
        | Outgoing::PubRec(_)
        | Outgoing::PubRel(_)
        | Outgoing::PubComp(_)
        | Outgoing::PingReq
        | Outgoing::PingResp
        | Outgoing::AwaitAck(_) => Seen::Other,
    }
}

fn grant_v311(code: rumqttc::SubscribeReasonCode) -> Grant {
    match code {
        rumqttc::SubscribeReasonCode::Success(rumqttc::QoS::AtMostOnce) => Grant::AtMostOnce,
        rumqttc::SubscribeReasonCode::Success(rumqttc::QoS::AtLeastOnce | rumqttc::QoS::ExactlyOnce) => {
            Grant::AtLeastOnce
        }
        rumqttc::SubscribeReasonCode::Failure => Grant::Refused("no reason given".to_owned()),
    }
}

fn grant_v5(code: v5::mqttbytes::v5::SubscribeReasonCode) -> Grant {
    use v5::mqttbytes::{QoS, v5::SubscribeReasonCode};
    if let SubscribeReasonCode::Success(granted) = code {
        match granted {
            QoS::AtMostOnce => Grant::AtMostOnce,
            QoS::AtLeastOnce | QoS::ExactlyOnce => Grant::AtLeastOnce,
        }
    } else {
        Grant::Refused(format!("{code:?}"))
    }
}

fn broken_v311(error: &rumqttc::ConnectionError) -> Broken {
    if let rumqttc::ConnectionError::MqttState(rumqttc::StateError::Deserialization(
        mqttbytes::Error::PayloadSizeLimitExceeded(bytes),
    )) = error
    {
        Broken::TooLarge { bytes: *bytes }
    } else {
        Broken::Lost(error.to_string())
    }
}

fn broken_v5(error: &v5::ConnectionError) -> Broken {
    use v5::mqttbytes::v5::DisconnectReasonCode;
    if let v5::ConnectionError::MqttState(v5::StateError::ServerDisconnect { reason_code, .. }) = error
        && *reason_code == DisconnectReasonCode::SessionTakenOver
    {
        Broken::TakenOver
    } else if let v5::ConnectionError::MqttState(v5::StateError::Deserialization(
        v5::mqttbytes::Error::PayloadSizeLimitExceeded { pkt_size, .. },
    )) = error
    {
        Broken::TooLarge { bytes: *pkt_size }
    } else {
        Broken::Lost(error.to_string())
    }
}

/// What the last will says; it can't know the time.
const STOPPED: &str = r#"{"state":"stopped"}"#;

/// A connection on which nothing is heard for 1.5 times this is dead.
const KEEP_ALIVE: Duration = Duration::from_secs(30);

/// A short break doesn't make the broker say that we have stopped.
const WILL_DELAY_S: u32 = 10;

/// Requests that may wait to be written, acknowledgements mostly: more packet ids there aren't, so the
/// queue can't fill.
const REQUESTS: usize = 65_535;

/// rumqttc stops taking requests, acknowledgements included, when so many messages of ours wait for the
/// broker's word; [`crate::publish`] keeps well below it.
const OUTGOING_IN_FLIGHT: u16 = 100;
