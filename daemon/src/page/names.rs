//! By which names the page is asked, and from which of its own pages a form may come.
//!
//! A page of the network that is open in somebody's browser could ask us, too. It names another host, or another origin, and
//! is refused.

use std::net::{IpAddr, SocketAddr};

use axum::http::header::ORIGIN;
use axum::http::{HeaderMap, HeaderName, Uri};

/// Under which address others reach the page: `https://claymark.example.org`, with or without a port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageAddress {
    /// As browsers write it in `Host`.
    authority: String,
    /// Whether it is HTTPS.
    encrypted: bool,
}

/// Why a text is no such address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAPageAddress {
    /// It has a path, a login, or no host.
    #[error("this isn't an address such as https://claymark.example.org:8443, without a path behind it")]
    Form,
    /// It would travel unencrypted to another machine.
    #[error("passwords and answers would travel so that others can read them")]
    InTheClear,
}

impl PageAddress {
    /// Reads an address.
    pub fn parse(text: &str) -> Result<Self, NotAPageAddress> {
        let uri: Uri = text.parse().map_err(|_no_address| NotAPageAddress::Form)?;
        let (Some(scheme), Some(authority)) = (uri.scheme_str(), uri.authority()) else {
            return Err(NotAPageAddress::Form);
        };
        let host = authority.host();
        let is_bare = matches!(uri.path(), "" | "/") && uri.query().is_none() && !text.contains(['@', '#']);
        let encrypted = match scheme {
            "https" => true,
            "http" => false,
            _ => return Err(NotAPageAddress::Form),
        };
        if !is_bare || host.is_empty() {
            return Err(NotAPageAddress::Form);
        }
        let name = host.trim_matches(['[', ']']);
        let is_here = name == "localhost" || name.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback());
        if !encrypted && !is_here {
            return Err(NotAPageAddress::InTheClear);
        }
        let usual = if encrypted { 443 } else { 80 };
        let port = authority.port_u16().filter(|port| *port != usual);
        let host = host.to_ascii_lowercase();
        let authority = port.map_or_else(|| host.clone(), |port| format!("{host}:{port}"));
        Ok(Self { authority, encrypted })
    }

    /// Whether it is HTTPS.
    #[must_use]
    pub fn is_encrypted(&self) -> bool {
        self.encrypted
    }

    /// Without a slash at its end.
    #[must_use]
    pub fn origin(&self) -> String {
        format!("{}://{}", if self.encrypted { "https" } else { "http" }, self.authority)
    }
}

/// All names of one page.
#[derive(Debug, Clone)]
pub(super) struct PageNames {
    /// Of this machine for itself.
    own: Vec<String>,
    /// For others.
    address: Option<PageAddress>,
    /// Whether the address bar may say anything: users log in, and no address is written down.
    any: bool,
    /// Whether what we serve is HTTPS by ourselves.
    tls: bool,
    /// Whether a proxy in front of us has it.
    proxied: bool,
}

impl PageNames {
    pub(super) fn new(
        listen: SocketAddr,
        address: Option<PageAddress>,
        (tls, proxied): (bool, bool),
    ) -> Self {
        let usual = if tls { 443 } else { 80 };
        let with_port = |name: &str| format!("{name}:{}", listen.port());
        let mut own: Vec<String> = OUR_NAMES.into_iter().map(with_port).collect();
        if listen.port() == usual {
            own.extend(OUR_NAMES.map(str::to_owned));
        }
        let any = address.is_none() && (proxied || !listen.ip().is_loopback());
        Self { own, address, any, tls, proxied }
    }

    /// Whether a name is one of ours.
    pub(super) fn are_asked(&self, host: &str) -> bool {
        let host = host.to_ascii_lowercase();
        self.own.contains(&host)
            || self.address.as_ref().is_some_and(|address| address.authority == host)
            || self.any && !host.is_empty()
    }

    /// Whether cookies go out over HTTPS alone.
    pub(super) fn are_secure(&self) -> bool {
        self.address.as_ref().map_or(self.tls || self.proxied, |address| address.encrypted || self.tls)
    }

    /// Whether a form was sent by a page of ours, which was asked by the name `host`.
    pub(super) fn sent(&self, headers: &HeaderMap, host: &str) -> bool {
        let text = |name: &HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
        let Some(origin) = text(&ORIGIN) else {
            return text(&HeaderName::from_static("sec-fetch-site")) == Some("same-origin");
        };
        let scheme = if self.tls { "https" } else { "http" };
        let same = origin == format!("{scheme}://{host}");
        // A proxy speaks plainly to us, and others reach it by HTTPS; it may ask us by another name than it was asked by.
        let by_proxy = self.proxied && self.any && origin == format!("https://{host}");
        let known = self.address.as_ref().is_some_and(|address| address.origin() == origin);
        same || by_proxy || known
    }
}

const OUR_NAMES: [&str; 3] = ["127.0.0.1", "localhost", "[::1]"];

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    fn names(listen: &str, address: Option<&str>, way: (bool, bool)) -> PageNames {
        let address = address.map(|address| PageAddress::parse(address).unwrap());
        PageNames::new(listen.parse().unwrap(), address, way)
    }

    fn with(name: &'static str, value: &'static str) -> HeaderMap {
        let mut headers = HeaderMap::new();
        headers.insert(name, HeaderValue::from_static(value));
        headers
    }

    #[test]
    fn only_this_machine_by_its_own_name_is_answered() {
        let here = names("127.0.0.1:8080", None, (false, false));
        for (host, ours) in [
            ("127.0.0.1:8080", true),
            ("localhost:8080", true),
            ("[::1]:8080", true),
            ("localhost", false),
            ("localhost:8081", false),
            ("barn.example.org:8080", false),
            ("127.0.0.1.example.org:8080", false),
            ("", false),
        ] {
            assert_eq!(here.are_asked(host), ours, "{host}");
        }
        assert!(!here.are_secure());
    }

    #[test]
    fn others_ask_by_the_address_that_is_written_down() {
        let wide = names("0.0.0.0:8443", Some("https://Barn.example.org:8443/"), (true, false));
        for (host, ours) in [
            ("barn.example.org:8443", true),
            ("BARN.example.org:8443", true),
            ("localhost:8443", true),
            ("barn.example.org", false),
            ("rebound.example.org:8443", false),
        ] {
            assert_eq!(wide.are_asked(host), ours, "{host}");
        }
        assert!(wide.are_secure());
        let unnamed = names("0.0.0.0:8443", None, (true, false));
        assert!(unnamed.are_asked("192.0.2.5:8443") && !unnamed.are_asked(""));
    }

    #[test]
    fn a_form_of_another_page_changes_nothing() {
        let (here, host) = (names("127.0.0.1:8080", None, (false, false)), "localhost:8080");
        assert!(here.sent(&with("origin", "http://localhost:8080"), host));
        assert!(here.sent(&with("sec-fetch-site", "same-origin"), host));
        for (name, value) in [
            ("origin", "https://elsewhere.example.org"),
            ("origin", "http://localhost:8081"),
            ("origin", "https://localhost:8080"),
            ("origin", "null"),
            ("sec-fetch-site", "cross-site"),
            ("accept", "*/*"),
        ] {
            assert!(!here.sent(&with(name, value), host), "{name}: {value}");
        }
        let tls = names("0.0.0.0:8443", None, (true, false));
        assert!(tls.sent(&with("origin", "https://192.0.2.5:8443"), "192.0.2.5:8443"));
        assert!(!tls.sent(&with("origin", "http://192.0.2.5:8443"), "192.0.2.5:8443"));
        // A proxy that asks us by our own name.
        let proxied = names("127.0.0.1:8080", Some("https://barn.example.org"), (false, true));
        assert!(proxied.sent(&with("origin", "https://barn.example.org"), "127.0.0.1:8080"));
        assert!(!proxied.sent(&with("origin", "https://other.example.org"), "127.0.0.1:8080"));
        assert!(proxied.are_secure());
    }

    #[test]
    fn an_address_has_no_path_no_login_and_no_open_way_to_another_machine() {
        let origin = |text: &str| PageAddress::parse(text).map(|address| address.origin());
        assert_eq!(origin("https://Barn.example.org").unwrap(), "https://barn.example.org");
        assert_eq!(origin("https://barn.example.org:443/").unwrap(), "https://barn.example.org");
        assert_eq!(origin("https://192.0.2.5:8443").unwrap(), "https://192.0.2.5:8443");
        assert_eq!(origin("http://localhost:8080").unwrap(), "http://localhost:8080");
        assert_eq!(origin("http://[::1]:8080").unwrap(), "http://[::1]:8080");
        assert_eq!(origin("http://barn.example.org"), Err(NotAPageAddress::InTheClear));
        for bad in [
            "",
            "barn.example.org",
            "ftp://barn.example.org",
            "https://barn.example.org/room",
            "https://a:b@barn.example.org",
            "https://barn.example.org/?x",
            "https://barn.example.org/#x",
        ] {
            assert_eq!(origin(bad), Err(NotAPageAddress::Form), "{bad}");
        }
    }
}
