//! Listens at the broker for a while, on a connection of its own that the broker forgets: for the command line.

use super::link::{Broken, BrokerLink, Grant, LinkEvent};
use super::{Settings, TlsError};

/// An open connection that only listens.
pub struct Hearing(BrokerLink);

/// Why nothing can be heard.
#[derive(Debug, thiserror::Error)]
pub enum HearingError {
    /// TLS can't be used.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// The connection.
    #[error(transparent)]
    Broken(#[from] Broken),
    /// The broker doesn't let us.
    #[error("the broker doesn't let this login listen there: {0}")]
    Refused(String),
}

impl Hearing {
    /// Listens on these topics from now on.
    pub async fn open(settings: &Settings, filters: Vec<String>) -> Result<Self, HearingError> {
        let own = Settings { client_id: format!("h{:08x}", rand::random::<u32>()), ..settings.clone() };
        let (client, mut link) = BrokerLink::open_to_ask(&own)?;
        loop {
            match link.next(true).await? {
                LinkEvent::Connected { .. } => {
                    let asked = client.subscribe(filters.clone());
                    asked.map_err(|gone| Broken::Lost(gone.to_string()))?;
                }
                LinkEvent::Subscribed(grants) => {
                    let refused = grants.into_iter().find_map(|grant| match grant {
                        Grant::Refused(why) => Some(why),
                        Grant::AtLeastOnce | Grant::AtMostOnce => None,
                    });
                    return refused.map_or(Ok(Self(link)), |why| Err(HearingError::Refused(why)));
                }
                LinkEvent::Arrived(_)
                | LinkEvent::Sent(_)
                | LinkEvent::Taken { .. }
                | LinkEvent::Alive
                | LinkEvent::Wrote
                | LinkEvent::Disconnected => {}
            }
        }
    }

    /// The next message: its topic and payload.
    pub async fn next(&mut self) -> Result<(String, Vec<u8>), HearingError> {
        loop {
            if let LinkEvent::Arrived(heard) = self.0.next(true).await? {
                return Ok((heard.topic, heard.payload));
            }
        }
    }
}
