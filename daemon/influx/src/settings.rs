//! Where the server is, and who we are there.

use std::fmt;
use std::time::Duration;

use reqwest::Url;

/// A checked `[influx]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The server.
    pub server: Server,
    /// Organisation.
    pub org: String,
    /// Bucket.
    pub bucket: String,
    /// Lets us write to the bucket, and read from it.
    pub token: Token,
    /// PEM of the own certificate authority; `None`: the system's roots.
    pub ca_pem: Option<Vec<u8>>,
    /// How long a request may take.
    pub timeout: Duration,
}

/// `http://host:port` or `https://host:port`, nothing behind it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Server(Url);

/// Why a text is no server's address. The text itself may hold a password, so no error repeats it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAServer {
    /// It can't be read.
    #[error("this isn't an address such as http://127.0.0.1:8086")]
    NoAddress,
    /// Something else than HTTP, or no host.
    #[error("the address must begin with http:// or https:// and name a host")]
    NoHost,
    /// Somebody's name, mostly with the password.
    #[error("there is a name or a password in the address")]
    Login,
    /// A path, a query or a fragment.
    #[error("the address must end with the host or its port")]
    MoreBehind,
}

impl NotAServer {
    /// What to do about it, in sentences.
    #[must_use]
    pub fn remedy(self) -> &'static str {
        match self {
            Self::NoAddress | Self::NoHost => "Write it with the port: \"https://influx.example.org:8086\".",
            Self::Login => {
                "Take out everything up to the @, put an API token into a file of its own (token_file), and change \
                 the password, since it has been written down here."
            }
            Self::MoreBehind => {
                "Write \"https://influx.example.org:8086\" and nothing behind it: org and bucket have keys of \
                 their own. Change what was secret in it, since it has been written down here."
            }
        }
    }
}

impl Server {
    /// Reads the address.
    pub fn parse(text: &str) -> Result<Self, NotAServer> {
        // Before all else: an unescaped / or # in a password makes the rest look like something else.
        if text.contains('@') {
            return Err(NotAServer::Login);
        }
        let url = Url::parse(text).map_err(|_may_hold_a_secret| NotAServer::NoAddress)?;
        if !matches!(url.scheme(), "http" | "https") || url.host_str().is_none_or(str::is_empty) {
            return Err(NotAServer::NoHost);
        }
        if url.path() != "/" || url.query().is_some() || url.fragment().is_some() {
            return Err(NotAServer::MoreBehind);
        }
        Ok(Self(url))
    }

    /// Whether it is this machine.
    #[must_use]
    pub fn is_loopback(&self) -> bool {
        let host = self.0.host_str().unwrap_or_default();
        let ip = host.trim_start_matches('[').trim_end_matches(']').parse::<std::net::IpAddr>();
        host == "localhost" || ip.is_ok_and(|ip| ip.is_loopback())
    }

    /// Whether what is sent there can't be read on the way.
    #[must_use]
    pub fn is_encrypted(&self) -> bool {
        self.0.scheme() == "https"
    }

    pub(crate) fn host_and_port(&self) -> (&str, u16) {
        (self.0.host_str().unwrap_or_default(), self.0.port_or_known_default().unwrap_or(443))
    }

    /// As it stands in a `Host` header.
    pub(crate) fn authority(&self) -> String {
        let host = self.0.host_str().unwrap_or_default();
        self.0.port().map_or_else(|| host.to_owned(), |port| format!("{host}:{port}"))
    }

    pub(crate) fn url(&self) -> &Url {
        &self.0
    }
}

impl fmt::Display for Server {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.as_str().trim_end_matches('/'))
    }
}

/// Never shown.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl Token {
    /// `None`: empty, or not fit for a header.
    #[must_use]
    pub fn new(text: &str) -> Option<Self> {
        let fit = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_graphic());
        fit.then(|| Self(text.to_owned()))
    }

    /// Stands where there is none to be read: the server will refuse us.
    #[must_use]
    pub fn none() -> Self {
        Self(String::new())
    }

    /// Whether it stands for none.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.0.is_empty()
    }

    pub(crate) fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(hidden)")
    }
}
