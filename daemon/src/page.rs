//! The page: the room at a glance, each drum, what stands, and the log in the hand; HTML made here, readable without scripts.
//!
//! - [`asks`]: what it asks of the engine; `feed`: how the room stands, asked once for all who look;
//! - `look`: the pages; `live`: how they stay as the room is; `hand`: what people answer and write down;
//! - `view`: what the templates set; `vessel`, `course`: its drawings;
//! - `doors`: who may ask from where; `listener`: how many at once, and for how long; `api`: the same as JSON.
//!
//! It has its own tasks and asks the engine by messages: no page that hangs holds a warning up.

mod api;
pub mod asks;
mod course;
mod doors;
mod feed;
mod hand;
mod listener;
mod live;
mod look;
mod vessel;
mod view;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, mpsc, watch};
use tokio_util::sync::CancellationToken;

use claymark_model::site::Site;

use crate::clock::TimeSource;
use crate::replies::Reply;
use crate::snapshot::Snapshot;
use asks::PageAsk;
use feed::RoomFeed;

/// Where it is served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// An address of this machine; any but loopback isn't opened, since the page knows no users.
    pub listen: SocketAddr,
}

/// What it is made from.
pub struct PageSource {
    /// The room's description.
    pub site: Arc<Site>,
    /// What Claymark publishes; names the log.
    pub prefix: String,
    /// Where history is read.
    pub store: PathBuf,
    /// Where it is served; other names of this machine aren't answered.
    pub listen: SocketAddr,
    /// Tells the time.
    pub clock: TimeSource,
    /// The engine's state.
    pub snapshot: watch::Receiver<Arc<Snapshot>>,
    /// To the engine.
    pub asks: mpsc::Sender<PageAsk>,
    /// Answers to the engine.
    pub replies: mpsc::Sender<Reply>,
}

/// What every handler has.
#[derive(Clone)]
struct Desk {
    site: Arc<Site>,
    prefix: Arc<str>,
    store: Arc<PathBuf>,
    listen: SocketAddr,
    clock: TimeSource,
    feed: Arc<RoomFeed>,
    asks: mpsc::Sender<PageAsk>,
    replies: mpsc::Sender<Reply>,
    /// One for each page that stays open.
    open: Arc<Semaphore>,
    stop: CancellationToken,
}

/// Serves it until `stop`.
pub async fn serve(listener: TcpListener, source: PageSource, stop: CancellationToken) {
    let PageSource { site, prefix, store, listen, clock, snapshot, asks, replies } = source;
    let desk = Desk {
        feed: Arc::new(RoomFeed::new(asks.clone(), snapshot, clock.clone())),
        site,
        prefix: prefix.into(),
        store: Arc::new(store),
        listen,
        clock,
        asks,
        replies,
        open: Arc::new(Semaphore::new(OPEN_PAGES)),
        stop: stop.clone(),
    };
    listener::serve(listener, router(desk), stop).await;
}

fn router(desk: Desk) -> Router {
    Router::new()
        .route("/", get(look::room))
        .route("/wall", get(look::wall))
        .route("/drum/{id}", get(look::drum))
        .route("/notice/{number}", get(look::notice))
        .route("/log", get(look::log).post(hand::log))
        .route("/answer", post(hand::answer))
        .route("/light/{light}", get(look::light))
        .route("/live/{part}", get(live::live))
        .route("/live/drum/{id}", get(live::drum))
        .route("/page.css", get(look::style))
        .route("/page.js", get(look::script))
        .route("/api/v1/room", get(api::room))
        .route("/api/v1/forecasts", get(api::forecasts))
        .route("/api/v1/sheets", get(api::sheets))
        .route("/api/v1/openapi.json", get(api::description))
        .fallback(look::nothing)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(middleware::from_fn_with_state(desk.clone(), doors::door))
        .with_state(desk)
}

/// A form of ours has a tenth of that.
const LARGEST_BODY: usize = 16 * 1024;

/// Pages that stay open at once.
const OPEN_PAGES: usize = 256;
