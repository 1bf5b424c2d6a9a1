//! Whether the page may be served where the site file wants it, and by which gate people come in.
//!
//! To this machine alone it needs nothing. Whoever wants others to reach it says who they are (users) and sees to it that
//! nobody reads along: by TLS of its own, or behind a proxy that has TLS, and then nobody but that proxy is answered.

use std::fs;
use std::io;
use std::net::IpAddr;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustls::ServerConfig;
use tokio_rustls::TlsAcceptor;

use claymark_notice::doors::PageClosed;
use claymark_notice::query::{About, Query};
use jiff::Timestamp;

use super::Settings;
use crate::users::Users;
use crate::users::file::{self, UsersError};

/// A certificate of one's own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CertificateFiles {
    /// PEM, the server's own first.
    pub cert: PathBuf,
    /// PEM; for its owner and group alone.
    pub key: PathBuf,
}

/// Where the users stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsersPlace {
    /// There.
    pub file: PathBuf,
    /// The site file names it: then it must be there.
    pub named: bool,
}

/// How people come in.
pub struct OpenGate {
    pub(super) tls: Option<TlsAcceptor>,
    /// Nobody has to log in while there are none.
    pub(super) users: Option<Users>,
}

/// A page that isn't served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotServed {
    /// Where it would be.
    pub listen: String,
    /// Why not.
    pub why: PageClosed,
}

impl NotServed {
    /// For the people.
    #[must_use]
    pub fn told(self, at: Timestamp) -> Query {
        let Self { listen, why } = self;
        Query { at, by: None, about: About::PageClosed { listen, why } }
    }
}

impl Settings {
    /// Whether others than this machine reach it.
    #[must_use]
    pub fn is_for_others(&self) -> bool {
        !self.listen.ip().is_loopback() || !self.behind.is_empty()
    }

    /// Whether somebody must log in, whatever else.
    fn needs_users(&self) -> bool {
        self.is_for_others() || self.users.named
    }
}

/// Looks at the files that it needs.
pub fn open(settings: &Settings) -> Result<OpenGate, PageClosed> {
    if !settings.listen.ip().is_loopback() && settings.tls.is_none() && settings.behind.is_empty() {
        return Err(PageClosed::InTheClear);
    }
    let users = users(settings)?;
    let tls = settings.tls.as_ref().map(acceptor).transpose();
    let tls = tls.map_err(|why| PageClosed::Certificate { why })?;
    Ok(OpenGate { tls, users })
}

/// Who may log in; `None`: nobody has to.
pub(super) fn users(settings: &Settings) -> Result<Option<Users>, PageClosed> {
    let path = &settings.users.file;
    let nobody = || PageClosed::NoUsers { file: path.display().to_string() };
    match file::read(path) {
        Ok(users) if users.accounts.is_empty() && settings.is_for_others() => Err(nobody()),
        Ok(users) => Ok(Some(users)),
        Err(UsersError::Missing(_)) if settings.needs_users() => Err(nobody()),
        Err(UsersError::Missing(_)) => Ok(None),
        Err(error) => Err(PageClosed::Users { why: error.to_string() }),
    }
}

fn acceptor(files: &CertificateFiles) -> Result<TlsAcceptor, String> {
    let of = |path: &Path| {
        let path = path.display().to_string();
        move |error: io::Error| format!("{path}: {error}")
    };
    let cert = fs::read(&files.cert).map_err(of(&files.cert))?;
    let chain: Result<Vec<_>, _> = rustls_pemfile::certs(&mut cert.as_slice()).collect();
    let chain = chain.map_err(of(&files.cert))?;
    let mode = fs::metadata(&files.key).map_err(of(&files.key))?.mode() & 0o777;
    if mode & FOR_OTHERS != 0 {
        return Err(format!(
            "{} may be read by everyone on this machine (mode {mode:03o})",
            files.key.display()
        ));
    }
    let key = fs::read(&files.key).map_err(of(&files.key))?;
    let key = rustls_pemfile::private_key(&mut key.as_slice()).map_err(of(&files.key))?;
    let key = key.ok_or_else(|| format!("{} holds no key", files.key.display()))?;
    // Named, not the process's default: nothing has to be installed first.
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .and_then(|builder| builder.with_no_client_auth().with_single_cert(chain, key))
        .map_err(|error| format!("{}: {error}", files.cert.display()))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(TlsAcceptor::from(Arc::new(config)))
}

/// Whether whoever connects is answered at all.
pub(super) fn lets_in(behind: &[IpAddr], peer: IpAddr) -> bool {
    behind.is_empty() || behind.contains(&peer.to_canonical())
}

/// Read, written or run by users who are neither the owner nor in the group.
const FOR_OTHERS: u32 = 0o007;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::users::secret::{KeptPassword, KeptToken};
    use crate::users::{Account, PageRole, WallScreen};

    fn settings(listen: &str, dir: &Path) -> Settings {
        let users = UsersPlace { file: dir.join("users.toml"), named: false };
        Settings {
            listen: listen.parse().unwrap(),
            address: None,
            users,
            tls: None,
            behind: Vec::new(),
            links: None,
        }
    }

    fn account() -> Account {
        Account { name: "Aino".to_owned(), role: PageRole::Log, password: KeptPassword::nobodys() }
    }

    fn closed(settings: &Settings) -> Option<PageClosed> {
        open(settings).err()
    }

    #[test]
    fn this_machine_needs_nothing_and_others_need_users_and_a_closed_way() {
        let dir = tempfile::tempdir().unwrap();
        let here = settings("127.0.0.1:8080", dir.path());
        let gate = open(&here).ok().unwrap();
        assert!(gate.users.is_none() && gate.tls.is_none());
        let wide = settings("0.0.0.0:8080", dir.path());
        assert_eq!(closed(&wide), Some(PageClosed::InTheClear));
        let behind = Settings { behind: vec!["192.0.2.7".parse().unwrap()], ..wide.clone() };
        assert!(matches!(closed(&behind), Some(PageClosed::NoUsers { .. })));
        let proxy_here = Settings { behind: vec!["127.0.0.1".parse().unwrap()], ..here.clone() };
        assert!(matches!(closed(&proxy_here), Some(PageClosed::NoUsers { .. })));
        let named = Settings { users: UsersPlace { named: true, ..here.users.clone() }, ..here.clone() };
        assert!(matches!(closed(&named), Some(PageClosed::NoUsers { .. })));

        let file = &here.users.file;
        let screen = WallScreen { name: "hall".to_owned(), token: KeptToken::of("abc") };
        file::write(file, &Users { accounts: Vec::new(), screens: vec![screen] }).unwrap();
        assert!(
            matches!(closed(&behind), Some(PageClosed::NoUsers { .. })),
            "a screen alone answers nothing"
        );
        file::write(file, &Users { accounts: vec![account()], screens: Vec::new() }).unwrap();
        assert!(open(&here).ok().unwrap().users.is_some(), "who makes users wants them asked for");
        assert_eq!(closed(&behind), None);
        assert_eq!(closed(&proxy_here), None);
        assert_eq!(closed(&wide), Some(PageClosed::InTheClear), "users alone don't keep it closed");
    }

    #[test]
    fn a_certificate_that_cannot_be_used_is_named() {
        let dir = tempfile::tempdir().unwrap();
        let wide = settings("0.0.0.0:8443", dir.path());
        file::write(&wide.users.file, &Users { accounts: vec![account()], screens: Vec::new() }).unwrap();
        claymark_tests::certificates::make(dir.path());
        let with = |cert: &str, key: &str| {
            let files = CertificateFiles { cert: dir.path().join(cert), key: dir.path().join(key) };
            Settings { tls: Some(files), ..wide.clone() }
        };
        let why = |settings: &Settings| match closed(settings) {
            Some(PageClosed::Certificate { why }) => why,
            other => format!("{other:?}"),
        };
        let key = dir.path().join("server.key");
        let mode =
            |mode| fs::set_permissions(&key, std::os::unix::fs::PermissionsExt::from_mode(mode)).unwrap();
        mode(0o644);
        assert!(why(&with("server.pem", "server.key")).contains("mode 644"));
        mode(0o600);
        assert_eq!(closed(&with("server.pem", "server.key")), None);
        fs::copy(dir.path().join("server.pem"), dir.path().join("no.key")).unwrap();
        fs::set_permissions(dir.path().join("no.key"), std::os::unix::fs::PermissionsExt::from_mode(0o600))
            .unwrap();
        assert!(why(&with("server.pem", "no.key")).contains("holds no key"));
        assert!(why(&with("no.pem", "server.key")).contains("no.pem"));
        assert!(why(&with("ca.pem", "server.key")).contains("ca.pem"), "the key of another certificate");
    }

    #[test]
    fn nobody_but_the_proxy_is_answered_behind_one() {
        let [proxy, other]: [IpAddr; 2] = ["192.0.2.7", "192.0.2.8"].map(|ip| ip.parse().unwrap());
        assert!(lets_in(&[], other) && lets_in(&[proxy], proxy) && !lets_in(&[proxy], other));
        assert!(lets_in(&[proxy], "::ffff:192.0.2.7".parse().unwrap()));
    }
}
