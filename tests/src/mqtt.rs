//! MQTT clients for tests: one that publishes and waits for the broker's word, one that listens.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use rumqttc::{Client, Connection, Event, MqttOptions, Outgoing, Packet, QoS};

use crate::wait::{latest, left};

/// Publishes at QoS 1.
pub struct TestPublisher {
    client: Client,
    connection: Connection,
}

/// Hears everything that a filter lets through.
pub struct Listener {
    connection: Connection,
    /// Only so that the connection doesn't end.
    _client: Client,
    heard: VecDeque<HeardMessage>,
}

/// Hears in the background, from its making to its end, whatever the test does meanwhile.
pub struct Ear {
    client: Client,
    heard: Arc<Mutex<Vec<HeardMessage>>>,
}

/// A message as a listener heard it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeardMessage {
    /// Its topic.
    pub topic: String,
    /// Its payload; tests publish UTF-8.
    pub payload: String,
    /// The broker kept it from earlier.
    pub retained: bool,
}

impl TestPublisher {
    /// Connects without a password.
    #[must_use]
    pub fn connect(port: u16) -> Self {
        Self::with(options("publisher", port))
    }

    /// Connects in another way.
    #[must_use]
    pub fn with(options: MqttOptions) -> Self {
        let (client, connection) = Client::new(options, REQUESTS);
        Self { client, connection }
    }

    /// Publishes messages and returns when the broker has taken them all.
    ///
    /// # Panics
    /// When it doesn't.
    pub fn publish(&mut self, messages: &[(String, Vec<u8>)]) {
        for messages in messages.chunks(REQUESTS / 2) {
            for (topic, payload) in messages {
                let sent = self.client.try_publish(topic, QoS::AtLeastOnce, false, payload.clone());
                sent.expect("half of the queue is free");
            }
            let (latest, mut missing) = (latest(), messages.len());
            while missing > 0 {
                if let Event::Incoming(Packet::PubAck(_)) = next(&mut self.connection, latest) {
                    missing -= 1;
                }
            }
        }
    }

    /// Publishes one message that the broker keeps.
    ///
    /// # Panics
    /// When the broker doesn't take it.
    pub fn publish_retained(&mut self, topic: &str, payload: &str) {
        self.client.try_publish(topic, QoS::AtLeastOnce, true, payload).expect("the queue is free");
        let latest = latest();
        while !matches!(next(&mut self.connection, latest), Event::Incoming(Packet::PubAck(_))) {}
    }
}

impl Listener {
    /// Subscribes to a filter, and returns when the broker has granted it.
    ///
    /// # Panics
    /// When it doesn't.
    #[must_use]
    pub fn subscribe(port: u16, filter: &str) -> Self {
        Self::with(options("listener", port), filter)
    }

    /// Subscribes on a connection made in another way.
    ///
    /// # Panics
    /// When the broker doesn't grant it.
    #[must_use]
    pub fn with(options: MqttOptions, filter: &str) -> Self {
        let (client, mut connection) = Client::new(options, REQUESTS);
        client.try_subscribe(filter, QoS::AtLeastOnce).expect("the queue is free");
        let mut heard = VecDeque::new();
        let latest = latest();
        loop {
            let event = next(&mut connection, latest);
            if matches!(event, Event::Incoming(Packet::SubAck(_))) {
                break;
            }
            heard.extend(heard_in(event));
        }
        Self { connection, _client: client, heard }
    }

    /// Waits for a message that `wanted` accepts; earlier ones are let go.
    ///
    /// # Panics
    /// When none comes.
    pub fn hears(&mut self, wanted: impl Fn(&HeardMessage) -> bool) -> HeardMessage {
        let latest = latest();
        loop {
            while let Some(heard) = self.heard.pop_front() {
                if wanted(&heard) {
                    return heard;
                }
            }
            let event = next(&mut self.connection, latest);
            self.heard.extend(heard_in(event));
        }
    }
}

impl Ear {
    /// Subscribes to a filter, and returns when the broker has granted it.
    ///
    /// # Panics
    /// When it doesn't.
    #[must_use]
    pub fn listen(port: u16, filter: &str) -> Self {
        let Listener { mut connection, _client: client, heard } = Listener::subscribe(port, filter);
        let heard = Arc::new(Mutex::new(Vec::from(heard)));
        let all = Arc::clone(&heard);
        std::thread::spawn(move || {
            while let Ok(Ok(event)) = connection.recv() {
                all.lock().unwrap_or_else(PoisonError::into_inner).extend(heard_in(event));
            }
        });
        Self { client, heard }
    }

    /// All that came so far.
    #[must_use]
    pub fn heard(&self) -> Vec<HeardMessage> {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl Drop for Ear {
    fn drop(&mut self) {
        self.client.try_disconnect().ok();
    }
}

/// A client on this machine whose id nobody else has.
#[must_use]
pub fn options(role: &str, port: u16) -> MqttOptions {
    let unique = crate::wait::free_port();
    let mut options = MqttOptions::new(format!("{role}{unique}"), "127.0.0.1", port);
    options.set_max_packet_size(LARGEST, LARGEST).set_keep_alive(Duration::from_secs(60));
    options
}

fn heard_in(event: Event) -> Option<HeardMessage> {
    let Event::Incoming(Packet::Publish(publish)) = event else { return None };
    let payload = String::from_utf8_lossy(&publish.payload).into_owned();
    Some(HeardMessage { topic: publish.topic, payload, retained: publish.retain })
}

/// The next event; pings are none, and don't prolong the waiting either.
fn next(connection: &mut Connection, latest: Instant) -> Event {
    loop {
        let left = left(latest);
        let event = connection.recv_timeout(left).expect("it comes while we wait");
        let event = event.expect("the connection stands");
        if !matches!(event, Event::Outgoing(Outgoing::PingReq) | Event::Incoming(Packet::PingResp)) {
            return event;
        }
    }
}

const REQUESTS: usize = 200;
const LARGEST: usize = 32 * 1024 * 1024;
