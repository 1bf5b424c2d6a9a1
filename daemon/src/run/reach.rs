//! The tasks that tell people, hear their replies, and call whoever watches from outside.

use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use claymark_store::batch::{Delivery, Issued};

use super::Settings;
use super::process::Process;
use crate::notify::{self, Notifier, Outcome, Word};
use crate::page;
use crate::page::asks::PageAsk;
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

/// A port that is taken, or an address that others could read, costs the page, not the watch.
pub(super) async fn serve_page(
    process: &Process,
    settings: &Settings,
    (asks, replies): (mpsc::Sender<PageAsk>, mpsc::Sender<Reply>),
) -> Option<TaskWithStop> {
    let page::Settings { listen } = settings.page.clone()?;
    if !listen.ip().is_loopback() {
        tracing::error!(
            "the page isn't served: {listen} could be read from other machines, and it knows no users yet; everything \
             else goes on. Write a loopback address under [page]"
        );
        return None;
    }
    match TcpListener::bind(listen).await {
        Ok(listener) => {
            let stop = CancellationToken::new();
            let source = page::PageSource {
                site: Arc::new(settings.site.clone()),
                prefix: settings.intake.prefix.clone(),
                store: settings.store.clone(),
                listen,
                clock: process.clock.clone(),
                snapshot: process.snapshot.subscribe(),
                asks,
                replies,
            };
            Some((tokio::spawn(page::serve(listener, source, stop.clone())), stop))
        }
        Err(error) => {
            tracing::error!("the page can't be served on {listen}: {error}; everything else goes on");
            None
        }
    }
}

/// The store notes each minute or so that the watch stands.
const WORTH_SAYING: SignedDuration = SignedDuration::from_mins(3);
