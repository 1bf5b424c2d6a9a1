//! Plays the part of InfluxDB 2 that Claymark uses, since no such server could be had: it takes line protocol
//! (read by a parser that isn't ours), keeps the points, and answers the questions that Claymark asks.
//!
//! It is no InfluxDB: a question of any other form than Claymark's is refused. Answers are written after
//! InfluxData's documentation "Annotated CSV", and on demand as awkwardly as that allows.

mod answer;
mod points;
mod question;

use std::io::Read;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::routing::post;
use flate2::read::GzDecoder;
use serde_json::{Value, json};

pub use answer::Style;
use points::AllPoints;
use question::ParsedQuestion;

/// A running server; it stops when it is dropped.
pub struct FluxServer {
    address: SocketAddr,
    bucket: Arc<Bucket>,
    // Its tasks end with it.
    _serving: tokio::runtime::Runtime,
}

struct Bucket {
    style: Style,
    points: Mutex<AllPoints>,
    asked: Mutex<Vec<String>>,
}

impl FluxServer {
    /// Starts it on a free port.
    ///
    /// # Panics
    /// When this machine refuses.
    #[must_use]
    pub fn start(style: Style) -> Self {
        let bucket = Arc::new(Bucket { style, points: Mutex::default(), asked: Mutex::default() });
        let serving = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .expect("a runtime can be made");
        let listener =
            serving.block_on(tokio::net::TcpListener::bind("127.0.0.1:0")).expect("a free port can be had");
        let address = listener.local_addr().expect("a bound listener has an address");
        let router = Router::new()
            .route("/api/v2/write", post(write))
            .route("/api/v2/query", post(query))
            .layer(axum::extract::DefaultBodyLimit::disable())
            .with_state(Arc::clone(&bucket));
        serving.spawn(async move { axum::serve(listener, router).await });
        Self { address, bucket, _serving: serving }
    }

    /// Where it is.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// How many points it holds.
    ///
    /// # Panics
    /// When a request has panicked.
    #[must_use]
    pub fn points(&self) -> usize {
        self.bucket.points.lock().expect("no request has panicked").count()
    }

    /// The questions so far.
    ///
    /// # Panics
    /// When a request has panicked.
    #[must_use]
    pub fn asked(&self) -> Vec<String> {
        self.bucket.asked.lock().expect("no request has panicked").clone()
    }
}

/// Its only organisation's only token.
pub const TOKEN: &str = "invented-token";

async fn write(State(bucket): State<Arc<Bucket>>, headers: HeaderMap, body: Bytes) -> (StatusCode, String) {
    if let Err(refusal) = known(&headers) {
        return refusal;
    }
    let mut text = String::new();
    let packed = headers.get("content-encoding").is_some_and(|encoding| encoding == "gzip");
    let read = if packed {
        GzDecoder::new(&body[..]).read_to_string(&mut text)
    } else {
        (&body[..]).read_to_string(&mut text)
    };
    let kept = read
        .map_err(|error| error.to_string())
        .and_then(|_| bucket.points.lock().expect("no request has panicked").write(&text));
    match kept {
        Ok(()) => (StatusCode::NO_CONTENT, String::new()),
        Err(message) => invalid(&message),
    }
}

async fn query(State(bucket): State<Arc<Bucket>>, headers: HeaderMap, body: Bytes) -> (StatusCode, String) {
    if let Err(refusal) = known(&headers) {
        return refusal;
    }
    let Some(flux) = serde_json::from_slice::<Value>(&body)
        .ok()
        .and_then(|body| Some(body.get("query")?.as_str()?.to_owned()))
    else {
        return invalid("the body is no query");
    };
    bucket.asked.lock().expect("no request has panicked").push(flux.clone());
    match ParsedQuestion::parse(&flux) {
        Err(message) => invalid(&message),
        Ok(question) => {
            let tables = bucket.points.lock().expect("no request has panicked").answer(&question);
            (StatusCode::OK, bucket.style.write(&tables, &question))
        }
    }
}

fn known(headers: &HeaderMap) -> Result<(), (StatusCode, String)> {
    let right = format!("Token {TOKEN}");
    if headers.get("authorization").is_some_and(|found| found.as_bytes() == right.as_bytes()) {
        Ok(())
    } else {
        let message = json!({ "code": "unauthorized", "message": "unauthorized access" });
        Err((StatusCode::UNAUTHORIZED, message.to_string()))
    }
}

fn invalid(message: &str) -> (StatusCode, String) {
    (StatusCode::BAD_REQUEST, json!({ "code": "invalid", "message": message }).to_string())
}
