//! What a connection is made from, and what goes over it, whatever the protocol.

use std::sync::Arc;
use std::time::Duration;

use rumqttc::tokio_rustls::TlsConnector;
use rumqttc::tokio_rustls::client::TlsStream;
use rustls::ClientConfig;
use rustls::pki_types::ServerName;
use tokio::net::TcpStream;
use tokio_util::either::Either;

use super::{Broken, Delivered, Grant};
use crate::intake::{Login, Protocol, Settings, Taking, TlsError, tls};

/// What a connection is made from.
pub struct ConnectionPlan {
    pub host: String,
    pub port: u16,
    pub protocol: Protocol,
    pub client_id: String,
    /// Whether the broker keeps messages for us until we acknowledge them.
    pub kept: bool,
    pub login: Option<Login>,
    /// Where the last will goes; `None`: nobody misses us.
    pub status_topic: Option<String>,
    pub session_expiry_s: u32,
    /// Messages that the broker may send before the first is acknowledged.
    pub receive_maximum: u16,
    /// The largest packet that is accepted.
    pub largest: u32,
    tls: Option<Arc<ClientConfig>>,
}

impl ConnectionPlan {
    pub fn new(settings: &Settings, largest: u32, taking: Taking) -> Result<Self, TlsError> {
        let tls = settings.tls.as_ref().map(tls::client).transpose()?;
        Ok(Self {
            host: settings.host.clone(),
            port: settings.port,
            protocol: settings.protocol,
            client_id: match taking {
                Taking::ToKeep => settings.client_id.clone(),
                Taking::ToHear => settings.hearing_id(),
            },
            kept: taking == Taking::ToKeep,
            login: settings.login.clone(),
            status_topic: Some(settings.status_topic()),
            session_expiry_s: u32::try_from(settings.session_expiry.as_secs()).unwrap_or(u32::MAX),
            receive_maximum: u16::try_from(settings.queue).unwrap_or(u16::MAX).max(1),
            largest,
            tls: tls.map(Arc::new),
        })
    }

    /// Seconds.
    pub fn keep_alive_s(&self) -> u16 {
        u16::try_from(super::KEEP_ALIVE.as_secs()).unwrap_or(u16::MAX)
    }

    pub async fn tcp(&self) -> Result<TcpStream, Broken> {
        let connect = TcpStream::connect((self.host.as_str(), self.port));
        let no_host = |_elapsed| Broken::Lost("the machine of the broker doesn't answer".to_owned());
        let tcp = tokio::time::timeout(FOR_CONNECTING, connect).await.map_err(no_host)?;
        let tcp = tcp.map_err(|error| lost(&error))?;
        // Acknowledgements are small, and written in one go already.
        tcp.set_nodelay(true).map_err(|error| lost(&error))?;
        Ok(tcp)
    }

    pub async fn socket(&self, tcp: TcpStream) -> Result<Socket, Broken> {
        let Some(tls) = &self.tls else { return Ok(Either::Left(tcp)) };
        let name = ServerName::try_from(self.host.clone()).map_err(|error| lost(&error))?;
        let stream = TlsConnector::from(Arc::clone(tls)).connect(name, tcp).await;
        Ok(Either::Right(Box::new(stream.map_err(|error| Broken::Lost(format!("TLS: {error}")))?)))
    }
}

/// How the broker accepted us.
pub struct Accepted {
    pub session_present: bool,
    /// Our messages that may be open at a time.
    pub receive_maximum: usize,
    /// Another keep-alive than ours.
    pub keep_alive: Option<Duration>,
}

/// What the broker says once it has accepted us.
pub enum Incoming {
    Message(Delivered),
    Granted(Vec<Grant>),
    Taken { packet: u16, refused: Option<String> },
    Pong,
    Goodbye(Broken),
    Unasked(&'static str),
}

/// What we say once we are accepted.
pub enum Outgoing {
    Subscribe { packet: u16, filters: Vec<String>, kept: bool },
    Publish { packet: u16, topic: String, payload: Vec<u8>, retain: bool },
    Acknowledge { packet: u16 },
    Ping,
    Disconnect,
}

pub type Socket = Either<TcpStream, Box<TlsStream<TcpStream>>>;

pub fn closed() -> Broken {
    Broken::Closed
}

pub fn lost(error: &dyn std::fmt::Display) -> Broken {
    Broken::Lost(error.to_string())
}

/// An end that the broker, or the network, made.
pub fn ended(error: &std::io::Error) -> Broken {
    use std::io::ErrorKind::{BrokenPipe, ConnectionAborted, ConnectionReset, UnexpectedEof};
    let closed = matches!(error.kind(), BrokenPipe | ConnectionAborted | ConnectionReset | UnexpectedEof);
    if closed { Broken::Closed } else { lost(error) }
}

/// What the last will says; it can't know the time.
pub const STOPPED: &str = r#"{"state":"stopped"}"#;

/// A name that isn't found, a host that swallows everything, a TLS handshake that hangs.
pub const FOR_CONNECTING: Duration = Duration::from_secs(5);
