//! The socket with packets on it, in either protocol.

use std::time::Duration;

use futures_util::{SinkExt, StreamExt};
use tokio_util::codec::Framed;

use super::plan::{Accepted, ConnectionPlan, FOR_CONNECTING, Incoming, Outgoing, Socket, closed};
use super::{Broken, v5, v311};
use crate::intake::Protocol;

/// A connection that the broker has accepted.
pub enum Wire {
    V311(Framed<Socket, v311::Codec>),
    V5(Framed<Socket, v5::Codec>),
}

impl Wire {
    /// Connects, and waits until the broker accepts us.
    pub async fn connect(plan: &ConnectionPlan) -> Result<(Self, Accepted), Broken> {
        let tcp = plan.tcp().await?;
        let greet = async {
            let socket = plan.socket(tcp).await?;
            match plan.protocol {
                Protocol::V311 => {
                    let (framed, accepted) = v311::connect(socket, plan).await?;
                    Ok((Self::V311(framed), accepted))
                }
                Protocol::V5 => {
                    let (framed, accepted) = v5::connect(socket, plan).await?;
                    Ok((Self::V5(framed), accepted))
                }
            }
        };
        // The system takes connections for a broker that is stopped, so this is the broker's own silence.
        let no_answer = |_elapsed| Broken::Silent("the broker takes the connection and doesn't answer");
        tokio::time::timeout(FOR_CONNECTING, greet).await.map_err(no_answer)?
    }

    /// The next packet; giving up waiting loses nothing.
    pub async fn next(&mut self) -> Result<Incoming, Broken> {
        match self {
            Self::V311(framed) => match framed.next().await {
                Some(packet) => packet.map(v311::incoming).map_err(|error| v311::broken(&error)),
                None => Err(closed()),
            },
            Self::V5(framed) => match framed.next().await {
                Some(packet) => packet.map(v5::incoming).map_err(|error| v5::broken(&error)),
                None => Err(closed()),
            },
        }
    }

    /// Writes a packet into the buffer.
    pub async fn feed(&mut self, packet: Outgoing) -> Result<(), Broken> {
        let fed = async {
            match self {
                Self::V311(framed) => {
                    framed.feed(v311::outgoing(packet)).await.map_err(|error| v311::broken(&error))
                }
                Self::V5(framed) => {
                    framed.feed(v5::outgoing(packet)).await.map_err(|error| v5::broken(&error))
                }
            }
        };
        tokio::time::timeout(FOR_WRITING, fed).await.map_err(stuck)?
    }

    /// Sends the buffer.
    pub async fn flush(&mut self) -> Result<(), Broken> {
        let flushed = async {
            match self {
                Self::V311(framed) => framed.flush().await.map_err(|error| v311::broken(&error)),
                Self::V5(framed) => framed.flush().await.map_err(|error| v5::broken(&error)),
            }
        };
        tokio::time::timeout(FOR_WRITING, flushed).await.map_err(stuck)?
    }
}

fn stuck(_elapsed: tokio::time::error::Elapsed) -> Broken {
    Broken::Silent("the broker takes nothing any more")
}

const FOR_WRITING: Duration = Duration::from_secs(10);
