//! The connection to the mailbox: IMAP over TLS, one mail after the other, then waiting for the next.

use std::sync::Arc;
use std::time::Duration;

use async_imap::extensions::idle::IdleResponse;
use async_imap::types::UnsolicitedResponse;
use async_imap::{Client, Session};
use futures_util::TryStreamExt as _;
use jiff::Timestamp;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;
use tokio_rustls::rustls::pki_types::ServerName;

use super::Settings;
use crate::intake::tls;

/// An open mailbox.
pub(super) struct Mailbox {
    session: Session<TlsStream<TcpStream>>,
    /// Whether the server tells of new mail by itself.
    idles: bool,
}

/// Why it can't be read.
#[derive(Debug, thiserror::Error)]
pub(super) enum MailboxError {
    /// No connection, or no TLS.
    #[error("{0}")]
    Unreachable(String),
    /// The server refuses.
    #[error(transparent)]
    Imap(#[from] async_imap::error::Error),
    /// Nothing was heard.
    #[error("the mail server doesn't answer")]
    Silent,
}

impl Mailbox {
    /// Connects, logs in and opens the folder.
    pub(super) async fn open(settings: &Settings) -> Result<Self, MailboxError> {
        answered(async {
            let unreachable = |why: &dyn std::fmt::Display| MailboxError::Unreachable(why.to_string());
            let trusted = tls::client(&settings.tls).map_err(|error| unreachable(&error))?;
            let name = ServerName::try_from(settings.host.clone()).map_err(|error| unreachable(&error))?;
            let address = (settings.host.as_str(), settings.port);
            let plain = TcpStream::connect(address).await.map_err(|error| unreachable(&error))?;
            let sealed = TlsConnector::from(Arc::new(trusted)).connect(name, plain).await;
            let mut client = Client::new(sealed.map_err(|error| unreachable(&error))?);
            let greeting = client.read_response().await.map_err(|error| unreachable(&error))?;
            greeting.ok_or_else(|| unreachable(&"the mail server hangs up at once"))?;
            let login = client.login(&settings.login.user, &settings.login.password).await;
            let mut session = login.map_err(|(error, _client)| error)?;
            session.select(&settings.folder).await?;
            let idles = session.capabilities().await?.has_str("IDLE");
            Ok(Self { session, idles })
        })
        .await
    }

    /// What nobody has read, of that day and later, the oldest first.
    pub(super) async fn unread(&mut self, since: Timestamp) -> Result<Vec<u32>, MailboxError> {
        // What was said before the search is found by it.
        while self.session.unsolicited_responses.try_recv().is_ok() {}
        let day = since.strftime("%d-%b-%Y");
        let found =
            answered(async { Ok(self.session.uid_search(format!("UNSEEN SINCE {day}")).await?) }).await?;
        let mut uids: Vec<u32> = found.into_iter().collect();
        uids.sort_unstable();
        Ok(uids)
    }

    /// The beginning of a mail; empty where it is gone.
    pub(super) async fn fetch(&mut self, uid: u32) -> Result<Vec<u8>, MailboxError> {
        answered(async {
            let query = format!("(UID BODY.PEEK[]<0.{MOST_READ}>)");
            let fetched: Vec<_> = self.session.uid_fetch(uid.to_string(), query).await?.try_collect().await?;
            let mail = fetched.iter().find(|mail| mail.uid == Some(uid)).and_then(|mail| mail.body());
            Ok(mail.unwrap_or_default().to_vec())
        })
        .await
    }

    /// Nobody looks at it again.
    pub(super) async fn mark_read(&mut self, uid: u32) -> Result<(), MailboxError> {
        answered(async {
            let stored = self.session.uid_store(uid.to_string(), "+FLAGS.SILENT (\\Seen)").await?;
            let _flags: Vec<_> = stored.try_collect().await?;
            Ok(())
        })
        .await
    }

    /// Waits until something is new, or for a while: a connection that has died in silence is found so.
    pub(super) async fn wait(mut self) -> Result<Self, MailboxError> {
        if !self.idles {
            tokio::time::sleep(LOOK).await;
            answered(async { Ok(self.session.noop().await?) }).await?;
            return Ok(self);
        }
        let said = self.session.unsolicited_responses.clone();
        let mut idle = self.session.idle();
        answered(async { Ok(idle.init().await?) }).await?;
        // A mail that came between the search and now is told before the waiting begins.
        let came = std::iter::from_fn(|| said.try_recv().ok());
        if came.into_iter().any(|said| matches!(said, UnsolicitedResponse::Exists(_))) {
            let session = answered(async { Ok(idle.done().await?) }).await?;
            return Ok(Self { session, idles: true });
        }
        let (waiting, _interrupt) = idle.wait_with_timeout(IDLE);
        match waiting.await? {
            IdleResponse::NewData(_) | IdleResponse::Timeout | IdleResponse::ManualInterrupt => {}
        }
        let session = answered(async { Ok(idle.done().await?) }).await?;
        Ok(Self { session, idles: true })
    }
}

async fn answered<T>(work: impl Future<Output = Result<T, MailboxError>>) -> Result<T, MailboxError> {
    tokio::time::timeout(PATIENCE, work).await.map_err(|_elapsed| MailboxError::Silent)?
}

const PATIENCE: Duration = Duration::from_secs(30);
/// RFC 2177 has 29 minutes at most (from memory); routers forget a silent connection sooner.
const IDLE: Duration = Duration::from_secs(4 * 60);
/// Where the server doesn't tell.
const LOOK: Duration = Duration::from_secs(20);
/// More than anybody types above a quoted notice.
const MOST_READ: u32 = 64 * 1024;
