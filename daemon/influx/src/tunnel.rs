//! TLS to the server, by a tunnel inside this process.
//!
//! The HTTP library under `influxdb2` brings either OpenSSL or a TLS with known holes. So it speaks plain HTTP
//! to a port of this process on the loopback, and from there on it is rustls, as towards the broker. The token
//! passes the loopback only inside this process's own connection.

use std::net::SocketAddr;
use std::sync::Arc;

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::pki_types::ServerName;
use tokio_rustls::rustls::{ClientConfig, RootCertStore, crypto};
use tokio_util::sync::{CancellationToken, DropGuard};

use crate::error::InfluxError;

/// An open tunnel; it closes when it is dropped.
#[derive(Debug)]
pub(crate) struct Tunnel {
    /// Where plain HTTP is taken.
    pub(crate) entrance: SocketAddr,
    trouble: watch::Receiver<Option<String>>,
    _open: DropGuard,
}

impl Tunnel {
    /// Opens one to `host:port`; must be called inside a runtime.
    pub(crate) fn open(host: &str, port: u16, ca_pem: Option<&[u8]>) -> Result<Self, InfluxError> {
        let setup = |words: String| InfluxError::Setup(words);
        let connector = TlsConnector::from(Arc::new(trusting(ca_pem)?));
        let name = ServerName::try_from(host.trim_start_matches('[').trim_end_matches(']').to_owned())
            .map_err(|error| setup(format!("'{host}' can't be in a certificate: {error}")))?;
        let listener = std::net::TcpListener::bind(("127.0.0.1", 0))
            .and_then(|listener| listener.set_nonblocking(true).map(|()| listener))
            .and_then(TcpListener::from_std)
            .map_err(|error| setup(format!("no port on the loopback: {error}")))?;
        let entrance = listener.local_addr().map_err(|error| setup(error.to_string()))?;
        let stop = CancellationToken::new();
        let target = (host.trim_start_matches('[').trim_end_matches(']').to_owned(), port);
        let (said, trouble) = watch::channel(None);
        let way = TunnelPath { connector, name, target, said };
        tokio::spawn(stop.clone().run_until_cancelled_owned(serve(listener, way)));
        Ok(Self { entrance, trouble, _open: stop.drop_guard() })
    }

    /// What went wrong with the last connection, if anything did.
    pub(crate) fn trouble(&self) -> Option<String> {
        self.trouble.borrow().clone()
    }
}

/// What every connection needs.
#[derive(Clone)]
struct TunnelPath {
    connector: TlsConnector,
    name: ServerName<'static>,
    target: (String, u16),
    said: watch::Sender<Option<String>>,
}

async fn serve(listener: TcpListener, way: TunnelPath) {
    while let Ok((plain, _)) = listener.accept().await {
        let way = way.clone();
        tokio::spawn(async move {
            let carried = way.carry(plain).await;
            // Whoever waits for an answer sees only that the connection broke.
            way.said.send_replace(carried.err().map(|error| error.to_string()));
        });
    }
}

impl TunnelPath {
    async fn carry(&self, mut plain: TcpStream) -> std::io::Result<()> {
        let server = TcpStream::connect((self.target.0.as_str(), self.target.1)).await?;
        let mut sealed = self.connector.connect(self.name.clone(), server).await?;
        copy_bidirectional(&mut plain, &mut sealed).await?;
        Ok(())
    }
}

/// A client that trusts the given authority, or else those of the system.
fn trusting(ca_pem: Option<&[u8]>) -> Result<ClientConfig, InfluxError> {
    let setup = |words: String| InfluxError::Setup(words);
    let mut roots = RootCertStore::empty();
    match ca_pem {
        Some(mut pem) => {
            for certificate in rustls_pemfile::certs(&mut pem) {
                let certificate = certificate.map_err(|error| setup(format!("ca_file: {error}")))?;
                roots.add(certificate).map_err(|error| setup(format!("ca_file: {error}")))?;
            }
        }
        None => {
            roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        }
    }
    if roots.is_empty() {
        return Err(setup("no authority is known that could vouch for the server".to_owned()));
    }
    // Named, not the process's default: nothing has to be installed first.
    Ok(ClientConfig::builder_with_provider(Arc::new(crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(|error| setup(error.to_string()))?
        .with_root_certificates(roots)
        .with_no_client_auth())
}
