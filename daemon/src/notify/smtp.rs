//! Hands one mail to the mail server, and says whether trying again makes sense.
//!
//! Until the server says that the data may come, a repeat can do no harm. Once they are on their way and no answer
//! comes, the server may have the mail: that is told apart.

use std::error::Error as _;
use std::net::IpAddr;
use std::time::Duration;

use lettre::Message;
use lettre::address::Envelope;
use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{AsyncSmtpConnection, Certificate, CertificateStore, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Rcpt};
use lettre::transport::smtp::extension::{ClientId, MailParameter};

use super::schedule::Attempt;
use super::{Security, Smtp};

/// One attempt on a connection of its own; `on_data` is waited for just before the data go out.
pub(super) async fn send(server: &Smtp, message: &Message, on_data: impl Future<Output = ()>) -> Attempt {
    let patience = server.patience;
    let envelope = message.envelope();
    let mut connection = match tokio::time::timeout(patience.dialogue, dialogue(server, envelope)).await {
        Ok(Ok(connection)) => connection,
        Ok(Err(MailRefusal::ByServer(error))) => return judge(&error),
        // Somebody mends the site file or the certificate; the notice must still be there then.
        Ok(Err(MailRefusal::ByUs(why))) => return Attempt::Later(why),
        Err(_elapsed) => {
            return Attempt::Later(format!("no answer within {} s", patience.dialogue.as_secs()));
        }
    };
    on_data.await;
    match tokio::time::timeout(patience.data, connection.message(&message.formatted())).await {
        Ok(Ok(_taken)) => {
            // It is taken, whatever becomes of the goodbye.
            if tokio::time::timeout(GOODBYE, connection.quit()).await.is_err() {
                tracing::debug!("the mail server doesn't say goodbye");
            }
            Attempt::Accepted
        }
        Ok(Err(error)) if error.status().is_some() => judge(&error),
        Ok(Err(error)) => Attempt::Unanswered(chain(&error)),
        Err(_elapsed) => Attempt::Unanswered(format!("no answer within {} s", patience.data.as_secs_f64())),
    }
}

/// Why the data didn't go out.
enum MailRefusal {
    ByServer(Error),
    ByUs(String),
}

impl From<Error> for MailRefusal {
    fn from(error: Error) -> Self {
        Self::ByServer(error)
    }
}

/// From the connection to the word that the data may come.
async fn dialogue(server: &Smtp, envelope: &Envelope) -> Result<AsyncSmtpConnection, MailRefusal> {
    if server.security == Security::None && !on_this_machine(&server.host) {
        let host = &server.host;
        return Err(MailRefusal::ByUs(format!(
            "mail to {host} would travel in the clear: set security to tls or starttls"
        )));
    }
    let hello = ClientId::default();
    let from_the_start = match server.security {
        Security::Tls => Some(tls(server).map_err(MailRefusal::ByUs)?),
        Security::StartTls | Security::None => None,
    };
    let address = (server.host.as_str(), server.port);
    let mut connection =
        AsyncSmtpConnection::connect_tokio1(address, Some(FOR_CONNECTING), &hello, from_the_start, None)
            .await?;
    if server.security == Security::StartTls {
        connection.starttls(tls(server).map_err(MailRefusal::ByUs)?, &hello).await?;
    }
    if let Some(login) = &server.login {
        let credentials = Credentials::new(login.user.clone(), login.password.clone());
        connection.auth(DEFAULT_MECHANISMS, &credentials).await?;
    }
    // Addresses beyond ASCII need the extension of RFC 6531; a server without it says so.
    let ascii = envelope.to().iter().chain(envelope.from()).all(|address| address.to_string().is_ascii());
    let parameters = if ascii { Vec::new() } else { vec![MailParameter::SmtpUtfEight] };
    connection.command(Mail::new(envelope.from().cloned(), parameters)).await?;
    for to in envelope.to() {
        connection.command(Rcpt::new(to.clone(), Vec::new())).await?;
    }
    connection.command(Data).await?;
    Ok(connection)
}

fn tls(server: &Smtp) -> Result<TlsParameters, String> {
    let mut builder = TlsParameters::builder(server.host.clone());
    if let Some(pem) = &server.ca_pem {
        let wrong =
            |error| format!("the mail server's certificate authority can't be read: {}", chain(&error));
        builder = builder
            .certificate_store(CertificateStore::None)
            .add_root_certificate(Certificate::from_pem(pem).map_err(wrong)?);
    }
    builder.build_rustls().map_err(|error| format!("TLS can't be set up: {}", chain(&error)))
}

fn on_this_machine(host: &str) -> bool {
    host == "localhost" || host.parse().is_ok_and(|address: IpAddr| address.is_loopback())
}

/// 5xx is for good (RFC 5321 section 4.2.1), except where it isn't about this mail: a wrong password or a
/// missing login is mended in the site file, and the notice must still be there then.
fn judge(error: &Error) -> Attempt {
    let why = chain(error);
    let about_login = error.status().is_some_and(|code| ABOUT_LOGIN.contains(&u16::from(code)));
    if error.is_permanent() && !about_login { Attempt::Never(why) } else { Attempt::Later(why) }
}

/// With what is behind it; the server's words, never ours.
fn chain(error: &Error) -> String {
    let mut why = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        let cause_text = cause.to_string();
        if !why.contains(&cause_text) {
            why = format!("{why}: {cause_text}");
        }
        source = cause.source();
    }
    why
}

/// RFC 4954 sections 4 and 6 (from memory): login required, mechanism too weak, login wrong,
/// encryption required.
const ABOUT_LOGIN: [u16; 4] = [530, 534, 535, 538];

const FOR_CONNECTING: Duration = Duration::from_secs(20);

/// The mail is taken; this only is polite.
const GOODBYE: Duration = Duration::from_secs(2);
