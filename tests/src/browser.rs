//! A browser that keeps cookies and sends the forms that it was shown, over HTTP or HTTPS.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::sync::Arc;

use rustls::pki_types::ServerName;
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};

use crate::wait::PATIENCE;
use crate::web::{WebAnswer, form_body, read};

/// One browser.
pub struct Browser {
    port: u16,
    tls: Option<Arc<ClientConfig>>,
    /// As the server's name stands in the address bar, with its port.
    pub host: String,
    /// Where forms say that they come from.
    pub origin: String,
    /// What it keeps.
    pub cookies: BTreeMap<String, String>,
    /// More lines for each request's head.
    pub more: String,
    /// The token of the form that it saw last.
    pub form: String,
}

impl Browser {
    /// Over HTTP, at this machine.
    #[must_use]
    pub fn new(port: u16) -> Self {
        let host = format!("localhost:{port}");
        Self {
            port,
            tls: None,
            origin: format!("http://{host}"),
            host,
            cookies: BTreeMap::new(),
            more: String::new(),
            form: String::new(),
        }
    }

    /// Over HTTPS; trusts that authority.
    ///
    /// # Panics
    /// When there is no certificate in the file.
    #[must_use]
    pub fn with_tls(port: u16, ca: &Path) -> Self {
        let mut roots = RootCertStore::empty();
        let pem = fs::read(ca).expect("readable");
        for certificate in rustls_pemfile::certs(&mut pem.as_slice()) {
            roots.add(certificate.expect("PEM")).expect("a certificate");
        }
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .expect("TLS 1.2 and 1.3")
            .with_root_certificates(roots)
            .with_no_client_auth();
        let plain = Self::new(port);
        Self { tls: Some(Arc::new(config)), origin: format!("https://{}", plain.host), ..plain }
    }

    /// Opens a page.
    ///
    /// # Panics
    /// When nobody answers.
    pub fn get(&mut self, path: &str) -> WebAnswer {
        self.ask("GET", path, "", None)
    }

    /// Sends a form as it was shown, with its token.
    ///
    /// # Panics
    /// When nobody answers.
    pub fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> WebAnswer {
        let token = self.form.clone();
        let own = [("csrf", token.as_str())].into_iter().filter(|(_, token)| !token.is_empty());
        let fields: Vec<_> = fields.iter().copied().chain(own).collect();
        self.post_bare(path, &fields)
    }

    /// Sends these fields and no others.
    ///
    /// # Panics
    /// When nobody answers.
    pub fn post_bare(&mut self, path: &str, fields: &[(&str, &str)]) -> WebAnswer {
        let origin = format!("Origin: {}\r\n", self.origin);
        self.ask("POST", path, &origin, Some(form_body(fields)))
    }

    /// Opens the door, logs in, and is where it was led to.
    ///
    /// # Panics
    /// When nobody answers.
    pub fn log_in(&mut self, name: &str, password: &str) -> WebAnswer {
        let door = self.get("/login");
        assert_eq!(door.status, 200, "{}", door.body);
        self.post("/login", &[("name", name), ("password", password), ("to", "/")])
    }

    fn ask(&mut self, method: &str, path: &str, more: &str, body: Option<String>) -> WebAnswer {
        let kept: Vec<String> = self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
        let cookies =
            if kept.is_empty() { String::new() } else { format!("Cookie: {}\r\n", kept.join("; ")) };
        let form = body.as_ref().map_or_else(String::new, |body| {
            format!("Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n", body.len())
        });
        let (host, own) = (&self.host, &self.more);
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{cookies}{more}{own}{form}\r\n"
        );
        let answer = self.exchange(&(head + &body.unwrap_or_default()));
        self.keep(&answer);
        answer
    }

    fn exchange(&self, request: &str) -> WebAnswer {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).expect("the page is served");
        stream.set_read_timeout(Some(PATIENCE)).expect("a socket can wait");
        match &self.tls {
            None => talk(stream, request),
            Some(config) => {
                let name = ServerName::try_from("localhost").expect("a name");
                let connection = ClientConnection::new(Arc::clone(config), name).expect("TLS can begin");
                talk(StreamOwned::new(connection, stream), request)
            }
        }
    }

    fn keep(&mut self, answer: &WebAnswer) {
        for line in answer.head.lines() {
            let Some((name, value)) = line.split_once(':') else { continue };
            let Some((cookie, rest)) = value.trim().split_once('=') else { continue };
            if !name.eq_ignore_ascii_case("set-cookie") {
                continue;
            }
            let kept = rest.split(';').next().unwrap_or_default();
            if rest.contains("Max-Age=0") {
                self.cookies.remove(cookie);
            } else {
                self.cookies.insert(cookie.to_owned(), kept.to_owned());
            }
        }
        if let Some((_, after)) = answer.body.split_once("name=\"csrf\" value=\"") {
            self.form = after.split('"').next().unwrap_or_default().to_owned();
        }
    }
}

fn talk(mut stream: impl Read + Write, request: &str) -> WebAnswer {
    stream.write_all(request.as_bytes()).expect("the page takes a request");
    stream.flush().expect("the page takes a request");
    read(stream)
}
