//! Hands one mail to the mail server, and says whether trying again makes sense.

use std::error::Error as _;
use std::net::IpAddr;
use std::time::Duration;

use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, CertificateStore, Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};

use super::schedule::Attempt;
use super::{Security, Smtp};

/// One attempt on a connection of its own.
pub(super) async fn send(server: &Smtp, message: Message) -> Attempt {
    let transport = match transport(server) {
        Ok(transport) => transport,
        // Somebody mends the site file or the certificate; the notice must still be there then.
        Err(why) => return Attempt::Later(why),
    };
    match tokio::time::timeout(WHOLE_ATTEMPT, transport.send(message)).await {
        Ok(Ok(_accepted)) => Attempt::Accepted,
        Ok(Err(error)) => judge(&error),
        Err(_elapsed) => Attempt::Later(format!("no answer within {} s", WHOLE_ATTEMPT.as_secs())),
    }
}

fn transport(server: &Smtp) -> Result<AsyncSmtpTransport<Tokio1Executor>, String> {
    let tls = match server.security {
        Security::Tls => Tls::Wrapper(tls(server)?),
        Security::StartTls => Tls::Required(tls(server)?),
        Security::None if on_this_machine(&server.host) => Tls::None,
        Security::None => {
            let host = &server.host;
            return Err(format!("mail to {host} would travel in the clear: set security to tls or starttls"));
        }
    };
    let mut builder = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&server.host)
        .port(server.port)
        .tls(tls)
        .timeout(Some(ONE_ANSWER));
    if let Some(login) = &server.login {
        builder = builder.credentials(Credentials::new(login.user.clone(), login.password.clone()));
    }
    Ok(builder.build())
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

/// For each of the server's answers.
const ONE_ANSWER: Duration = Duration::from_secs(20);

/// A server that dribbles mustn't hold up the next letter.
const WHOLE_ATTEMPT: Duration = Duration::from_secs(60);
