//! The page: the room at a glance, each drum, what stands, and the log in the hand; HTML made here, readable without scripts.
//!
//! - [`asks`]: what it asks of the engine; `feed`: how the room stands, asked once for all who look;
//! - `look`: the pages; `live`: how they stay as the room is; `hand`: what people answer and write down;
//! - `view`: what the templates set; `vessel`, `course`: its drawings;
//! - [`gate`]: whether it may be served so, and by which way people come in; `listener`: how many at once, and for how long;
//! - `doors`: who may ask what; `names`: by which name; `visitor`: who asks; [`porter`]: who is logged in (`sessions`) and who
//!   guesses (`guesses`); `login`: in and out; `link`: an answer by the link in a message; `api`: the same as JSON.
//!
//! It has its own tasks and asks the engine by messages: no page that hangs holds a warning up.

mod api;
pub mod asks;
mod course;
mod doors;
mod feed;
pub mod gate;
mod guesses;
mod hand;
mod link;
mod listener;
mod live;
mod login;
mod look;
pub mod names;
pub mod porter;
mod sessions;
mod vessel;
mod view;
mod visitor;

use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, mpsc, watch};
use tokio_util::sync::CancellationToken;

use claymark_model::site::Site;

use crate::clock::TimeSource;
use crate::notify::AnswerLinks;
use crate::replies::Reply;
use crate::snapshot::Snapshot;
use crate::users::Users;
use asks::PageAsk;
use feed::RoomFeed;
use gate::{CertificateFiles, OpenGate, UsersPlace};
use listener::Entrance;
use login::Cookies;
use names::{PageAddress, PageNames};
use porter::Porter;

/// Where it is served.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// An address of this machine; any but loopback needs users, and TLS or a proxy.
    pub listen: SocketAddr,
    /// Under which address others reach it.
    pub address: Option<PageAddress>,
    /// Who may log in.
    pub users: UsersPlace,
    /// HTTPS by ourselves.
    pub tls: Option<CertificateFiles>,
    /// Proxies, which have HTTPS; nobody else is answered.
    pub behind: Vec<IpAddr>,
    /// What the tokens of links are made from; `None`: there are none.
    pub links: Option<String>,
}

impl Settings {
    /// By which links messages are answered: where others know an address, and there is a secret to make tokens from.
    #[must_use]
    pub fn answer_links(&self) -> Option<AnswerLinks> {
        let (address, secret) = (self.address.as_ref()?, self.links.clone()?);
        Some(AnswerLinks { origin: address.origin(), secret })
    }
}

/// What it is made from.
pub struct PageSource {
    /// The room's description.
    pub site: Arc<Site>,
    /// What Claymark publishes; names the log.
    pub prefix: String,
    /// Where history is read.
    pub store: PathBuf,
    /// Where it is served, and for whom.
    pub settings: Settings,
    /// Who is logged in.
    pub porter: Arc<Porter>,
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
    names: Arc<PageNames>,
    behind: Arc<[IpAddr]>,
    users: watch::Receiver<Arc<UsersNow>>,
    porter: Arc<Porter>,
    links: Option<Arc<str>>,
    clock: TimeSource,
    feed: Arc<RoomFeed>,
    asks: mpsc::Sender<PageAsk>,
    replies: mpsc::Sender<Reply>,
    /// One for each page that stays open.
    open: Arc<Semaphore>,
    stop: CancellationToken,
}

/// Who may log in, as the file has it now.
#[derive(Debug, Clone, PartialEq, Eq)]
enum UsersNow {
    /// Nobody has to.
    NotAsked,
    /// These.
    Known(Users),
    /// The file can't be used: nobody.
    Unknown,
}

impl Desk {
    fn cookies(&self) -> Cookies {
        Cookies::new(self.names.are_secure())
    }
}

/// Serves it until `stop`.
pub async fn serve((listener, gate): (TcpListener, OpenGate), source: PageSource, stop: CancellationToken) {
    let PageSource { site, prefix, store, settings, porter, clock, snapshot, asks, replies } = source;
    let OpenGate { tls, users } = gate;
    let (tell, users) = watch::channel(Arc::new(users.map_or(UsersNow::NotAsked, UsersNow::Known)));
    let way = (tls.is_some(), !settings.behind.is_empty());
    let desk = Desk {
        feed: Arc::new(RoomFeed::new(asks.clone(), snapshot, clock.clone())),
        site,
        prefix: prefix.into(),
        store: Arc::new(store),
        names: Arc::new(PageNames::new(settings.listen, settings.address.clone(), way)),
        behind: settings.behind.clone().into(),
        users,
        porter,
        links: settings.links.as_deref().map(Arc::from),
        clock,
        asks,
        replies,
        open: Arc::new(Semaphore::new(OPEN_PAGES)),
        stop: stop.clone(),
    };
    let entrance = Entrance { listener, tls, behind: settings.behind.clone() };
    tokio::select! {
        () = listener::serve(entrance, router(desk), stop) => {}
        () = follow_users(settings, tell) => {}
    }
}

/// Whoever is added may log in at once, and whoever is taken out is out. Looks at the file off the threads that poll, and
/// never twice at a time: a disk that hangs holds up nothing else.
async fn follow_users(settings: Settings, tell: watch::Sender<Arc<UsersNow>>) {
    loop {
        tokio::time::sleep(LOOKS_AT_USERS).await;
        let looked = settings.clone();
        let Ok(found) = tokio::task::spawn_blocking(move || gate::users(&looked)).await else { continue };
        let asked = **tell.borrow() != UsersNow::NotAsked;
        let now = match found {
            Ok(Some(users)) => UsersNow::Known(users),
            // Who had to log in isn't let in because a file has gone.
            Ok(None) if asked => UsersNow::Unknown,
            Ok(None) => UsersNow::NotAsked,
            Err(why) => {
                if **tell.borrow() != UsersNow::Unknown {
                    let (what, remedy) = claymark_words::doors::closed(&settings.listen.to_string(), &why);
                    tracing::error!("nobody can log in at the page: {what} {remedy}");
                }
                UsersNow::Unknown
            }
        };
        tell.send_if_modified(|known| {
            let changed = **known != now;
            if changed {
                *known = Arc::new(now);
            }
            changed
        });
    }
}

fn router(desk: Desk) -> Router {
    Router::new()
        .route("/", get(look::room))
        .route("/wall", get(look::wall))
        .route("/drum/{id}", get(look::drum))
        .route("/notice/{number}", get(look::notice))
        .route("/log", get(look::log).post(hand::log))
        .route("/answer", post(hand::answer::answer))
        .route("/decline", post(hand::answer::decline))
        .route("/shelve", post(hand::answer::shelve))
        .route("/answer-by-link/{number}/{contact}/{token}", get(link::look).post(link::press))
        .route("/login", get(login::ask).post(login::log_in))
        .route("/logout", post(login::log_out))
        .route("/screen/{token}", get(login::screen))
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

/// A login that was made is good within that.
const LOOKS_AT_USERS: Duration = Duration::from_secs(2);
