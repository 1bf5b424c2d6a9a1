//! MQTT out: an outbox of ours, since the library forgets what the broker hasn't taken.
//!
//! Two kinds of things go out. Of what is *retained*, only the latest value of a topic matters; it is
//! published again after each reconnect. A *request* goes out once and stays in the outbox, over any
//! number of connections, until the broker has taken or refused it. The task never waits for the
//! connection: requests to it return at once.

mod outbox;

use jiff::{SignedDuration, Timestamp};
use serde::Serialize;
use serde_json::{Value, json};
use tokio::sync::{mpsc, oneshot};

use claymark_clay::refill::sheet::Sheet;
use claymark_model::forecast::{Forecast, Subject};
use claymark_model::id::Id;
use claymark_words::doubt;

use crate::clock::TimeSource;
use crate::intake::link::BrokerClient;
use outbox::Outbox;

/// The latest value of a topic; an empty payload clears it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retained {
    /// Full topic.
    pub topic: String,
    /// JSON, or nothing.
    pub payload: Vec<u8>,
}

/// One message that must reach the broker.
#[derive(Debug)]
pub struct Request {
    /// Full topic.
    pub topic: String,
    /// As is.
    pub payload: Vec<u8>,
    /// Whether the broker keeps it.
    pub retain: bool,
    /// Answered when the broker has taken it; never while there is no connection.
    pub done: oneshot::Sender<Result<(), RefusedForGood>>,
}

/// The broker refuses it for good.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the broker refuses the message: {0}")]
pub struct RefusedForGood(pub String);

/// What the publisher hears from the connection.
pub enum ConnectionNews {
    /// A new connection.
    Up(BrokerClient),
    /// The broker has granted a subscription on it.
    Watching,
    /// A message of ours got this packet id, in the order of the requests.
    Sent(u16),
    /// The broker has taken a message, or refuses it.
    Taken {
        /// Its packet id.
        packet: u16,
        /// Why it is refused.
        refused: Option<String>,
    },
    /// The connection has ended.
    Down,
}

/// The publisher's last words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Farewell {
    /// That we have stopped.
    Stopped,
    /// None: we are back in a moment.
    Quiet,
}

/// The task that owns the outbox.
pub struct Publisher {
    clock: TimeSource,
    status_topic: String,
    inbox: Inbox,
    outbox: Outbox,
    client: Option<BrokerClient>,
}

/// What the publisher is told.
pub struct Inbox {
    /// From the connection.
    pub line: mpsc::Receiver<ConnectionNews>,
    /// From the engine.
    pub retained: mpsc::Receiver<Retained>,
    /// From those who tell people.
    pub requests: mpsc::Receiver<Request>,
}

impl Publisher {
    /// Prepares the task.
    #[must_use]
    pub fn new(clock: TimeSource, status_topic: String, inbox: Inbox) -> Self {
        Self { clock, status_topic, inbox, outbox: Outbox::default(), client: None }
    }

    /// Publishes until the farewell; then returns when the broker has taken everything, or when there is
    /// no connection.
    pub async fn run(mut self, mut farewell: oneshot::Receiver<Farewell>) {
        let farewell = loop {
            self.send();
            tokio::select! {
                Some(line) = self.inbox.line.recv() => self.hear(line),
                Some(retained) = self.inbox.retained.recv() => self.outbox.retain(retained),
                Some(request) = self.inbox.requests.recv() => self.outbox.request(request),
                farewell = &mut farewell => break farewell.unwrap_or(Farewell::Stopped),
            }
        };
        while let Ok(retained) = self.inbox.retained.try_recv() {
            self.outbox.retain(retained);
        }
        if farewell == Farewell::Stopped {
            self.outbox.retain(self.status("stopped"));
        }
        while self.client.is_some() && !self.outbox.is_empty() {
            self.send();
            match self.inbox.line.recv().await {
                Some(line) => self.hear(line),
                None => return,
            }
        }
    }

    fn hear(&mut self, line: ConnectionNews) {
        match line {
            ConnectionNews::Up(client) => {
                self.outbox.connection_is_new();
                self.client = Some(client);
            }
            ConnectionNews::Watching => self.outbox.retain(self.status("watching")),
            ConnectionNews::Sent(packet) => self.outbox.sent(packet),
            ConnectionNews::Taken { packet, refused } => self.outbox.taken(packet, refused),
            ConnectionNews::Down => self.client = None,
        }
    }

    /// As much as may be on the way at once.
    fn send(&mut self) {
        let Some(client) = &self.client else { return };
        while let Some(next) = self.outbox.next() {
            if client.publish(next.topic.to_owned(), next.payload.to_vec(), next.retain).is_err() {
                // It stays in the outbox as on the way; the next connection sends it anew.
                self.client = None;
                return;
            }
        }
    }

    fn status(&self, state: &str) -> Retained {
        let status = json!({ "state": state, "since": whole_seconds(self.clock.now()) });
        Retained { topic: self.status_topic.clone(), payload: status.to_string().into_bytes() }
    }
}

/// A forecast as it is published: its line, and until when it may be believed.
pub fn forecast(prefix: &str, forecast: &Forecast) -> Result<Retained, serde_json::Error> {
    believed(forecast_topic(prefix, &forecast.of), &forecast.line(doubt::unknown), forecast.at)
}

/// A refill sheet as it is published: its line, and until when it may be believed.
pub fn sheet(prefix: &str, sheet: &Sheet) -> Result<Retained, serde_json::Error> {
    believed(sheet_topic(prefix, &sheet.drum), &sheet.line(), sheet.at)
}

fn believed(topic: String, line: &impl Serialize, at: Timestamp) -> Result<Retained, serde_json::Error> {
    let mut line = serde_json::to_value(line)?;
    if let Value::Object(fields) = &mut line {
        let until = at.saturating_add(BELIEVED_FOR).unwrap_or(at);
        fields.insert("valid_until".to_owned(), json!(whole_seconds(until)));
    }
    Ok(Retained { topic, payload: serde_json::to_vec(&line)? })
}

fn sheet_topic(prefix: &str, drum: &Id) -> String {
    format!("{prefix}/drum/{drum}/refill")
}

fn forecast_topic(prefix: &str, of: &Subject) -> String {
    match of {
        Subject::Drum(drum) => format!("{prefix}/drum/{drum}/forecast"),
        Subject::Supply(pump) => format!("{prefix}/supply/{pump}/forecast"),
    }
}

/// Everything that is published of this.
#[must_use]
pub fn topics(prefix: &str, of: &Subject) -> Vec<String> {
    let sheet = match of {
        Subject::Drum(drum) => Some(sheet_topic(prefix, drum)),
        Subject::Supply(_) => None,
    };
    std::iter::once(forecast_topic(prefix, of)).chain(sheet).collect()
}

fn whole_seconds(at: Timestamp) -> Timestamp {
    Timestamp::from_second(at.as_second()).unwrap_or(at)
}

/// Forecasts come every 10 minutes: after two that didn't come, the last one is too old.
const BELIEVED_FOR: SignedDuration = SignedDuration::from_mins(20);
