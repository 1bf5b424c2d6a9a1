//! The server: writes, and questions in Flux.
//!
//! Writes go through the `influxdb2` crate, their body packed by us (the crate packs only what it formats
//! itself, and slowly). Answers to questions are taken as text: the crate's own decoder can panic on them.

use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

use flate2::Compression;
use flate2::write::GzEncoder;
use influxdb2::RequestError;
use influxdb2::api::write::TimestampPrecision;
use reqwest::header::{ACCEPT, AUTHORIZATION, CONTENT_ENCODING, CONTENT_TYPE, HOST, HeaderMap, HeaderValue};
use reqwest::{StatusCode, Url};

use crate::settings::Settings;
use crate::tunnel::Tunnel;

pub use crate::error::{ErrorRemedy, InfluxError};

/// One bucket of one server.
#[derive(Debug, Clone)]
pub struct Client {
    writer: influxdb2::Client,
    asker: reqwest::Client,
    url: Url,
    org: String,
    bucket: String,
    packs: bool,
    /// Where the server wants TLS.
    tunnel: Option<Arc<Tunnel>>,
}

impl Client {
    /// Prepares requests; nothing is sent yet. Must be called inside a runtime.
    pub fn new(settings: &Settings) -> Result<Self, InfluxError> {
        let packs = !settings.server.is_loopback();
        let setup = |error: &dyn std::error::Error| InfluxError::Setup(chain(error));
        let mut url = settings.server.url().clone();
        let mut headers = HeaderMap::new();
        let mut tunnel = None;
        if settings.server.is_encrypted() {
            let (host, port) = settings.server.host_and_port();
            let open = Tunnel::open(host, port, settings.ca_pem.as_deref())?;
            let known_as = settings.server.authority();
            headers.insert(HOST, HeaderValue::try_from(known_as).map_err(|error| setup(&error))?);
            url = Url::parse(&format!("http://{}/", open.entrance)).map_err(|error| setup(&error))?;
            tunnel = Some(Arc::new(open));
        }
        let asker = asker(settings, headers.clone(), &setup)?;
        if packs {
            headers.insert(CONTENT_ENCODING, HeaderValue::from_static("gzip"));
        }
        let builder = http(settings.timeout).default_headers(headers);
        let token = settings.token.reveal();
        let writer = influxdb2::ClientBuilder::with_builder(builder, url.as_str(), &settings.org, token)
            .build()
            .map_err(|error| setup(&error))?;
        Ok(Self {
            writer,
            asker,
            url,
            org: settings.org.clone(),
            bucket: settings.bucket.clone(),
            packs,
            tunnel,
        })
    }

    /// Writes lines of line protocol with times in milliseconds. Success means that the server took them, not
    /// that it kept each one.
    pub async fn write(&self, lines: &str) -> Result<(), InfluxError> {
        let body = if self.packs { pack(lines) } else { lines.as_bytes().to_vec() };
        self.writer
            .write_line_protocol_with_precision(
                &self.org,
                &self.bucket,
                body,
                TimestampPrecision::Milliseconds,
            )
            .await
            .map_err(|error| self.explained(error.into()))
    }

    /// Asks in Flux, with `{bucket}` standing for the bucket as a Flux text; the answer is annotated CSV
    /// (datatype, group, default).
    pub async fn query(&self, flux: &str) -> Result<String, InfluxError> {
        let question = flux.replace("{bucket}", &flux_text(&self.bucket));
        let body = serde_json::json!({
            "query": question,
            "type": "flux",
            "dialect": { "header": true, "delimiter": ",", "annotations": ["datatype", "group", "default"] },
        });
        let mut url = self.url.clone();
        url.set_path("/api/v2/query");
        url.query_pairs_mut().append_pair("org", &self.org);
        self.answer(self.asker.post(url).body(body.to_string())).await
    }

    /// Series as JSON lines, from a server that takes our writes but knows no Flux (victoria-metrics:
    /// "How to export data in JSON line format"); times in seconds, both ends included.
    pub async fn export(&self, series: &str, from: f64, to: f64) -> Result<String, InfluxError> {
        let mut url = self.url.clone();
        url.set_path("/api/v1/export");
        url.query_pairs_mut()
            .append_pair("match[]", series)
            .append_pair("start", &from.to_string())
            .append_pair("end", &to.to_string());
        self.answer(self.asker.get(url)).await
    }

    async fn answer(&self, request: reqwest::RequestBuilder) -> Result<String, InfluxError> {
        let whole = async {
            let answer = request.send().await?;
            let status = answer.status();
            Ok::<_, reqwest::Error>((status, answer.text().await?))
        };
        match whole.await {
            Ok((StatusCode::OK, text)) => Ok(text),
            Ok((status, text)) => Err(refused(status, &text)),
            Err(error) => Err(self.explained(error.into())),
        }
    }

    /// Behind a tunnel that broke, HTTP knows only that it broke.
    fn explained(&self, error: InfluxError) -> InfluxError {
        match (error, self.tunnel.as_ref().and_then(|tunnel| tunnel.trouble())) {
            (InfluxError::NoAnswer(_), Some(why)) => InfluxError::NoAnswer(why),
            (error, _) => error,
        }
    }
}

impl From<reqwest::Error> for InfluxError {
    fn from(error: reqwest::Error) -> Self {
        // The address stands in the site file; the message is for people.
        Self::NoAnswer(chain(&error.without_url()))
    }
}

impl From<RequestError> for InfluxError {
    fn from(error: RequestError) -> Self {
        match error {
            RequestError::ReqwestProcessing { source } => source.into(),
            RequestError::Http { status, text } => refused(status, &text),
            RequestError::Serializing { source } => Self::Setup(source.to_string()),
            RequestError::Deserializing { text } => Self::NoAnswer(text),
        }
    }
}

fn asker(
    settings: &Settings,
    mut headers: HeaderMap,
    setup: &impl Fn(&dyn std::error::Error) -> InfluxError,
) -> Result<reqwest::Client, InfluxError> {
    if !settings.token.is_none() {
        let token = format!("Token {}", settings.token.reveal());
        let mut secret = HeaderValue::try_from(token).map_err(|error| setup(&error))?;
        secret.set_sensitive(true);
        headers.insert(AUTHORIZATION, secret);
    }
    headers.insert(ACCEPT, HeaderValue::from_static("application/csv"));
    headers.insert(CONTENT_TYPE, HeaderValue::from_static("application/json"));
    http(settings.timeout).default_headers(headers).build().map_err(|error| setup(&error))
}

fn http(timeout: Duration) -> reqwest::ClientBuilder {
    reqwest::Client::builder()
        .timeout(timeout)
        .connect_timeout(timeout)
        .redirect(reqwest::redirect::Policy::none())
        // What the site file says holds, not what the environment says.
        .no_proxy()
}

fn pack(lines: &str) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::with_capacity(lines.len() / 4), Compression::fast());
    packer.write_all(lines.as_bytes()).expect("a Vec takes everything");
    packer.finish().expect("a Vec takes everything")
}

fn refused(status: StatusCode, text: &str) -> InfluxError {
    let line: String =
        text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST_ANSWER).collect();
    InfluxError::Refused { status: status.as_u16(), text: line.trim().to_owned() }
}

/// Its causes too: reqwest's own words are only "error sending request".
fn chain(error: &dyn std::error::Error) -> String {
    let mut words = error.to_string();
    let mut cause = error.source();
    while let Some(deeper) = cause {
        words = format!("{words}: {deeper}");
        cause = deeper.source();
    }
    words
}

/// A string literal. Flux language specification, "String literals".
#[must_use]
pub fn flux_text(text: &str) -> String {
    let mut literal = String::from('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => literal.extend(['\\', c]),
            '\n' => literal.push_str("\\n"),
            '\r' => literal.push_str("\\r"),
            '\t' => literal.push_str("\\t"),
            // `${` would begin an expression.
            '$' => literal.push_str("\\x24"),
            _ => literal.push(c),
        }
    }
    literal.push('"');
    literal
}

/// Of what the server says.
const LONGEST_ANSWER: usize = 300;
