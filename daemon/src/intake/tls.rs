//! TLS towards the broker: whom we trust.

use std::sync::Arc;

use rustls::{ClientConfig, RootCertStore};

use super::Tls;

/// Why TLS can't be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// The file of the certificate authority.
    #[error("the CA file can't be read as PEM: {0}")]
    Pem(std::io::Error),
    /// Nothing is trusted.
    #[error("no usable CA certificate was found")]
    NoCertificate,
    /// The library refuses.
    #[error("TLS can't be set up: {0}")]
    Rustls(#[from] rustls::Error),
}

/// A client that trusts the given authority, or else those of the system.
pub fn client(settings: &Tls) -> Result<ClientConfig, TlsError> {
    let mut roots = RootCertStore::empty();
    if let Some(pem) = &settings.ca_pem {
        for certificate in rustls_pemfile::certs(&mut pem.as_slice()) {
            roots.add(certificate.map_err(TlsError::Pem)?)?;
        }
    } else {
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    }
    if roots.is_empty() {
        return Err(TlsError::NoCertificate);
    }
    // Named, not the process's default: nothing has to be installed first.
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    Ok(ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_root_certificates(roots)
        .with_no_client_auth())
}
