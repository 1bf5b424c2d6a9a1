//! The tasks that tell people, hear their replies, and call whoever watches from outside.

use std::sync::Arc;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use claymark_notice::doors::PageClosed;
use claymark_store::batch::{Delivery, Issued};

use super::Settings;
use super::process::Process;
use crate::notify::{self, Notifier, Outcome, Word};
use crate::page;
use crate::page::asks::PageAsk;
use crate::page::gate::{self, NotServed, OpenGate};
use crate::publish::Request;
use crate::replies::{self, Replies, Reply};
use crate::sign_of_life::{self, SignOfLife, UnwatchedSpan};

/// A running task, and what ends it.
pub(super) type TaskWithStop = (JoinHandle<()>, CancellationToken);

/// Tells people; `pending` is what the store still has to deliver.
pub(super) fn notifier(
    process: &Process,
    settings: &Settings,
    pending: Vec<(Issued, Delivery)>,
    (words, outcomes, publish): (mpsc::Receiver<Word>, mpsc::Sender<Outcome>, mpsc::Sender<Request>),
) -> TaskWithStop {
    let stop = CancellationToken::new();
    let (begun, ended) = (process.pulses.begun.clone(), process.pulses.ended.clone());
    let ports = notify::Ports { words, outcomes, publish, begun, ended, stop: stop.clone() };
    let (site, clock) = (&settings.site, process.clock.clone());
    let notifier = Notifier::new(site, settings.notify.clone(), pending, clock, ports);
    (tokio::spawn(notifier.run()), stop)
}

/// How long nobody watched before this start, as far as the store tells; said in the log, too.
fn gap(stood: Option<Timestamp>, now: Timestamp) -> Option<UnwatchedSpan> {
    let from = stood.filter(|stood| now.duration_since(*stood) > WORTH_SAYING)?;
    let minutes = now.duration_since(from).as_mins();
    tracing::warn!(%from, "nobody has watched for {minutes} min before this start");
    Some(UnwatchedSpan { from, to: now })
}

/// Calls whoever watches from outside, where somebody does.
pub(super) fn call_outside(
    process: &Process,
    settings: &Settings,
    stood: Option<Timestamp>,
) -> Option<TaskWithStop> {
    let gap = *process.gap.get_or_init(|| gap(stood, process.clock.now()));
    let wanted = settings.sign_of_life.clone()?;
    let stop = CancellationToken::new();
    let ports = sign_of_life::Ports {
        snapshot: process.snapshot.subscribe(),
        pulses: process.pulses.clone(),
        replies: process.replies_trouble.subscribe(),
        keeper: Some(process.keeper.clone()),
        stop: stop.clone(),
    };
    let task = SignOfLife::new(wanted, settings.site.id.clone(), gap, process.clock.clone(), ports);
    Some((tokio::spawn(task.run()), stop))
}

/// Reads the mailbox of replies, where there is one.
pub(super) fn read_replies(
    process: &Process,
    settings: &Settings,
    replies: mpsc::Sender<Reply>,
    publish: mpsc::Sender<Request>,
) -> Option<TaskWithStop> {
    let wanted = settings.replies.clone()?;
    let stop = CancellationToken::new();
    let trouble = process.replies_trouble.clone();
    let ports = replies::Ports { replies, publish, trouble, stop: stop.clone() };
    let task =
        Replies::new(wanted, settings.site.clone(), settings.notify.clone(), process.clock.clone(), ports);
    Some((tokio::spawn(task.run()), stop))
}

/// What stands against the page costs the page, not the watch; people are told of it.
pub(super) async fn serve_page(
    process: &Process,
    settings: &Settings,
    (asks, replies): (mpsc::Sender<PageAsk>, mpsc::Sender<Reply>),
) -> Result<Option<TaskWithStop>, NotServed> {
    let Some(wanted) = settings.page.clone() else { return Ok(None) };
    let listen = wanted.listen.to_string();
    let closed = |why| {
        let (what, remedy) = claymark_words::doors::closed(&listen, &why);
        tracing::error!("{what} Everything else goes on. To do: {remedy}");
        NotServed { listen: listen.clone(), why }
    };
    let entrance = entrance(&wanted).await.map_err(closed)?;
    let stop = CancellationToken::new();
    let source = page::PageSource {
        site: Arc::new(settings.site.clone()),
        prefix: settings.intake.prefix.clone(),
        store: settings.store.clone(),
        settings: wanted,
        porter: Arc::clone(&process.porter),
        clock: process.clock.clone(),
        snapshot: process.snapshot.subscribe(),
        asks,
        replies,
    };
    Ok(Some((tokio::spawn(page::serve(entrance, source, stop.clone())), stop)))
}

async fn entrance(wanted: &page::Settings) -> Result<(TcpListener, OpenGate), PageClosed> {
    let looked = wanted.clone();
    let gate = tokio::task::spawn_blocking(move || gate::open(&looked));
    let gate = match tokio::time::timeout(FOR_THE_FILES, gate).await {
        Ok(Ok(gate)) => gate?,
        Ok(Err(fault)) => return Err(PageClosed::Users { why: fault.to_string() }),
        Err(_late) => return Err(PageClosed::Users { why: "the disk doesn't answer".to_owned() }),
    };
    let bound = TcpListener::bind(wanted.listen).await;
    let listener = bound.map_err(|error| PageClosed::NotBound { why: error.to_string() })?;
    Ok((listener, gate))
}

/// A disk that gives nothing for so long hangs.
const FOR_THE_FILES: Duration = Duration::from_secs(5);

/// The store notes each minute or so that the watch stands.
const WORTH_SAYING: SignedDuration = SignedDuration::from_mins(3);
