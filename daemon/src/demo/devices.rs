//! The devices and people of the demo as one MQTT client: publishes at QoS 1, in order.

use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet, QoS};
use tokio::sync::watch;
use tokio::task::JoinHandle;

use crate::message::Message;

/// The publishing end.
pub struct Devices {
    client: AsyncClient,
    task: JoinHandle<()>,
    watching: watch::Receiver<bool>,
}

/// The broker in this process can't be talked to.
#[derive(Debug, thiserror::Error)]
#[error("the demo's broker doesn't take messages: {0}")]
pub struct NoBroker(String);

impl Devices {
    /// Connects, and looks at `status_topic` to learn when the daemon is ready.
    pub async fn connect(port: u16, status_topic: &str) -> Result<Self, NoBroker> {
        let mut options = MqttOptions::new("devices", "127.0.0.1", port);
        options.set_keep_alive(Duration::from_secs(60));
        options.set_inflight(INFLIGHT);
        let (client, events) = AsyncClient::new(options, usize::from(INFLIGHT));
        let (tell, watching) = watch::channel(false);
        let task = tokio::spawn(poll(events, tell));
        client
            .subscribe(status_topic, QoS::AtLeastOnce)
            .await
            .map_err(|error| NoBroker(error.to_string()))?;
        Ok(Self { client, task, watching })
    }

    /// Returns once the daemon says that it is watching.
    pub async fn daemon_watches(&mut self) -> Result<(), NoBroker> {
        let watches = self.watching.wait_for(|watching| *watching).await;
        watches.map(drop).map_err(|gone| NoBroker(gone.to_string()))
    }

    /// Hands a message to the broker.
    pub async fn publish(&self, message: &Message) -> Result<(), NoBroker> {
        self.client
            .publish(&message.topic, QoS::AtLeastOnce, false, message.payload.clone())
            .await
            .map_err(|error| NoBroker(error.to_string()))
    }

    /// Ends the connection.
    pub fn stop(self) {
        self.task.abort();
    }
}

/// Keeps the connection going; the broker may not listen yet when it is first tried.
async fn poll(mut events: EventLoop, tell: watch::Sender<bool>) {
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::Publish(status))) => {
                let watches = String::from_utf8_lossy(&status.payload).contains(r#""state":"watching""#);
                tell.send_replace(watches);
            }
            Ok(_other) => {}
            Err(error) => {
                tracing::debug!("the demo's devices aren't connected: {error}");
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        }
    }
}

const INFLIGHT: u16 = 200;
