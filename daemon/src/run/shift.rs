//! One shift: all tasks from the recall of the past to an orderly end.

use std::path::PathBuf;
use std::thread;
use std::time::Duration;

use jiff::SignedDuration;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinHandle;
use tokio::time::Sleep;
use tokio_util::sync::CancellationToken;

use super::process::Process;
use super::reach::{self, TaskWithStop};
use super::recall::{self, Past};
use super::{RunError, Settings, joined};
use crate::engine::{self, Ended, Engine, Gather, Opening};
use crate::forward::{self, Behind, Forwarder, Progress};
use crate::intake::{self, Intake, Stop};
use crate::metrics;
use crate::publish::{Farewell, Inbox, Publisher, Retained};
use crate::record::Recorder;
use crate::snapshot::CountsSinceStart;

/// Why a shift is over.
pub enum Over {
    /// The daemon ends.
    Shutdown,
    /// The site file has changed.
    Reload(Box<Settings>, CountsSinceStart),
    /// Begin anew: the clock was set by so much.
    ClockStepped(SignedDuration, CountsSinceStart),
    /// Begin anew: something can be kept again, and the broker delivers again what was only heard.
    KeepsAgain(CountsSinceStart),
}

/// The tasks of a shift, and what ends each of them, in the order in which they end.
struct Tasks {
    notifier: TaskWithStop,
    engine: (JoinHandle<Ended>, CancellationToken),
    publisher: (JoinHandle<()>, oneshot::Sender<Farewell>),
    intake: (JoinHandle<()>, Stop),
    forwarder: Option<TaskWithStop>,
    replies: Option<TaskWithStop>,
    sign_of_life: Option<TaskWithStop>,
    metrics: Option<TaskWithStop>,
    page: Option<TaskWithStop>,
    recorder: Option<thread::JoinHandle<()>>,
}

/// Works one shift.
pub async fn shift(
    process: &Process,
    settings: &Settings,
    reloads: &mut mpsc::Receiver<Settings>,
    (mut opening, past): (Opening, PathBuf),
) -> Result<Over, RunError> {
    let past = recall::recall(process, settings, past).await;
    opening.store_trouble =
        opening.store_trouble.take().or_else(|| process.snapshot.borrow().store_trouble.clone());
    // A shift that follows another one ends no gap.
    opening.stood = past.session_seen.filter(|_| process.gap.get().is_none());
    let mut tasks = start(process, settings, past, opening).await?;
    let new = tokio::select! {
        () = process.shutdown.cancelled() => None,
        Some(new) = reloads.recv() => Some(new),
        ended = &mut tasks.engine.0 => return after_engine(process, settings, tasks, ended).await,
    };
    let farewell = if new.is_none() { Farewell::Stopped } else { Farewell::Quiet };
    let ended = end(tasks, farewell).await?;
    let counts = match ended {
        Ended::Stopped(counts) | Ended::ClockStepped(_, counts) | Ended::KeepsAgain(counts) => counts,
    };
    Ok(new.map_or(Over::Shutdown, |new| Over::Reload(Box::new(new), counts)))
}

/// The engine ends by itself only when it must begin anew, or when the store's thread is gone.
async fn after_engine(
    process: &Process,
    settings: &Settings,
    tasks: Tasks,
    ended: Result<Ended, tokio::task::JoinError>,
) -> Result<Over, RunError> {
    let ended = ended.map_err(|fault| RunError::Fault(fault.to_string()))?;
    let began_anew = !matches!(ended, Ended::Stopped(_));
    let rest = Tasks { engine: (tokio::spawn(std::future::ready(ended)), CancellationToken::new()), ..tasks };
    let farewell = if began_anew { Farewell::Quiet } else { Farewell::Stopped };
    match end(rest, farewell).await? {
        Ended::ClockStepped(by, counts) => Ok(Over::ClockStepped(by, counts)),
        Ended::KeepsAgain(counts) => Ok(Over::KeepsAgain(counts)),
        Ended::Stopped(_) if process.shutdown.is_cancelled() => Ok(Over::Shutdown),
        Ended::Stopped(_) => {
            Err(RunError::Fault(format!("the thread that writes {}", settings.store.display())))
        }
    }
}

async fn start(
    process: &Process,
    settings: &Settings,
    past: Past,
    opening: Opening,
) -> Result<Tasks, RunError> {
    let (arrivals, arrived) = mpsc::channel(settings.intake.queue + CONNECTION_EVENTS);
    let (line, heard) = mpsc::channel(CHANNEL);
    let (retained, retained_inbox) = mpsc::channel(CHANNEL);
    let (keeping, heard_keeping) = watch::channel(true);
    let (requests, requests_inbox) = mpsc::channel(CHANNEL);
    let (notices, notices_inbox) = mpsc::channel(CHANNEL);
    let (outcomes, outcomes_inbox) = mpsc::channel(CHANNEL);
    let clock = &process.clock;

    let stop = Stop::default();
    let ports =
        intake::Ports { arrivals, line, keeping: heard_keeping, pulse: process.pulses.intake.clone() };
    let intake = Intake::new(settings.intake.clone(), clock.clone(), ports, stop.clone(), past.session_seen)?;
    let (recorder, recorder_thread) = recorder(settings).unzip();

    let inbox = Inbox { line: heard, retained: retained_inbox, requests: requests_inbox };
    let (farewell, last_words) = oneshot::channel();
    let publisher = Publisher::new(clock.clone(), settings.intake.status_topic(), inbox);

    let (replies_out, replies) = mpsc::channel(CHANNEL);
    let (asks_out, asks) = mpsc::channel(CHANNEL);
    let page = reach::serve_page(process, settings, (asks_out, replies_out.clone())).await;
    let replies_task = reach::read_replies(process, settings, replies_out, requests.clone());
    let notifier = reach::notifier(process, settings, past.pending, (notices_inbox, outcomes, requests));

    clear(&retained, past.gone);
    let (behind, heard_behind) = watch::channel(None);
    let (forwarder, progress) = forward(process, settings, behind).unzip();
    let engine_stop = CancellationToken::new();
    let ports = engine::Ports {
        arrivals: arrived,
        replies,
        asks,
        outcomes: outcomes_inbox,
        keeper: process.keeper.clone(),
        notices,
        retained,
        behind: heard_behind,
        keeping,
        recorder,
        snapshot: process.snapshot.clone(),
        pulse: process.pulses.engine.clone(),
        stop: engine_stop.clone(),
    };
    let gather = Gather::new(settings.gather, settings.intake.queue, settings.intake.protocol);
    let prefix = settings.intake.prefix.clone();
    let engine = Engine::new(past.pipeline, clock.clone(), prefix, ports, gather, opening);

    Ok(Tasks {
        notifier,
        engine: (tokio::spawn(engine.run()), engine_stop),
        publisher: (tokio::spawn(publisher.run(last_words)), farewell),
        intake: (tokio::spawn(intake.run()), stop),
        forwarder,
        replies: replies_task,
        sign_of_life: reach::call_outside(process, settings, past.session_seen),
        metrics: serve_metrics(process, settings, progress).await,
        page,
        recorder: recorder_thread,
    })
}

/// Clears what was published of things that have left the site file.
fn clear(retained: &mpsc::Sender<Retained>, gone: Vec<String>) {
    for topic in gone {
        // Nobody takes anything out yet, and there is room for far more topics than a room has drums.
        if retained.try_send(Retained { topic, payload: Vec::new() }).is_err() {
            tracing::warn!(
                "more old topics than can be cleared at once; the rest is cleared at the next start"
            );
            break;
        }
    }
}

/// A recording that can't be made costs the recording, not the watch.
fn recorder(settings: &Settings) -> Option<(Recorder, thread::JoinHandle<()>)> {
    let record = settings.record.clone()?;
    let dir = record.dir.clone();
    match Recorder::start(record) {
        Ok(started) => Some(started),
        Err(error) => {
            let dir = dir.display();
            tracing::error!(
                "messages can't be recorded in {dir}: {error}; everything else goes on. Check [record]"
            );
            None
        }
    }
}

type ForwardingTask = (TaskWithStop, watch::Receiver<Progress>);

fn forward(
    process: &Process,
    settings: &Settings,
    behind: watch::Sender<Option<Behind>>,
) -> Option<ForwardingTask> {
    let wanted = settings.forward.clone()?;
    let stop = CancellationToken::new();
    let (progress, seen) = watch::channel(Progress::default());
    let (store, keeper) = (settings.store.clone(), process.keeper.clone());
    let ports = forward::Ports { store, keeper, progress, behind, stop: stop.clone() };
    let forwarder = Forwarder::new(wanted, settings.site.clone(), process.clock.clone(), ports);
    Some(((tokio::spawn(forwarder.run()), stop), seen))
}

/// A port that is taken costs the metrics, not the watch.
async fn serve_metrics(
    process: &Process,
    settings: &Settings,
    forwarding: Option<watch::Receiver<Progress>>,
) -> Option<TaskWithStop> {
    let listen = settings.metrics.as_ref()?.listen;
    match TcpListener::bind(listen).await {
        Ok(listener) => {
            let stop = CancellationToken::new();
            let source = metrics::MetricsSource {
                snapshot: process.snapshot.subscribe(),
                sensors: settings.site.sensors.as_slice().into(),
                forwarding,
                replies: settings.replies.as_ref().map(|_| process.replies_trouble.subscribe()),
            };
            Some((tokio::spawn(metrics::serve(listener, source, stop.clone())), stop))
        }
        Err(error) => {
            tracing::error!("metrics can't be served on {listen}: {error}; everything else goes on");
            None
        }
    }
}

/// Ends the tasks so that nothing in hand is lost: no more messages, the last words of deliveries, the last
/// commit and its receipts, the last publications, goodbye to the broker.
async fn end(tasks: Tasks, farewell: Farewell) -> Result<Ended, RunError> {
    let Tasks {
        notifier,
        engine,
        publisher,
        intake,
        forwarder,
        replies,
        sign_of_life,
        metrics,
        page,
        recorder,
    } = tasks;
    let [replied_by, delivered_by, kept_by, published_by, gone_by] =
        [REPLIED_BY, DELIVERED_BY, KEPT_BY, PUBLISHED_BY, GONE_BY].map(tokio::time::sleep);
    let [forwarded_by, silent_by, served_by] = [DONE_BY; 3].map(tokio::time::sleep);
    let page_by = tokio::time::sleep(REPLIED_BY);
    intake.1.take_no_more.cancel();
    if let Some((task, stop)) = replies {
        stop.cancel();
        finish("replies by mail", task, replied_by).await?;
    }
    if let Some((task, stop)) = page {
        stop.cancel();
        finish("the page", task, page_by).await?;
    }
    notifier.1.cancel();
    finish("notices", notifier.0, delivered_by).await?;
    engine.1.cancel();
    let ended = finish("the last commit", engine.0, kept_by).await?;
    if publisher.1.send(farewell).is_err() {
        tracing::debug!("the publisher has ended before");
    }
    if finish("publishing", publisher.0, published_by).await?.is_some() {
        intake.1.disconnect.cancel();
        finish("the goodbye to the broker", intake.0, gone_by).await?;
    } else {
        // Without a goodbye the broker says by itself, by the last will, that we have stopped.
        intake.0.abort();
    }
    for (what, task, until) in [
        ("forwarding", forwarder, forwarded_by),
        ("the sign of life", sign_of_life, silent_by),
        ("metrics", metrics, served_by),
    ] {
        if let Some((task, stop)) = task {
            stop.cancel();
            finish(what, task, until).await?;
        }
    }
    if let Some(thread) = recorder {
        joined("the thread that records", thread).await?;
    }
    Ok(ended.unwrap_or_else(|| Ended::Stopped(CountsSinceStart::default())))
}

/// Waits for a task, but not for ever: at a stop a dead disk or broker must not hold us up. What wasn't
/// acknowledged comes again.
async fn finish<T>(what: &str, mut task: JoinHandle<T>, until: Sleep) -> Result<Option<T>, RunError> {
    tokio::select! {
        done = &mut task => done.map(Some).map_err(|fault| RunError::Fault(fault.to_string())),
        () = until => {
            tracing::warn!("stopping without waiting for {what} any longer");
            task.abort();
            Ok(None)
        }
    }
}

const CHANNEL: usize = 256;

/// The intake tells the engine of no more connections than this while one batch of messages is taken.
const CONNECTION_EVENTS: usize = 16;

/// From the beginning of a stop, which must be over within 5 s. What one leaves of its time the next ones have.
const REPLIED_BY: Duration = Duration::from_millis(400);
const DELIVERED_BY: Duration = Duration::from_millis(2_500);
const KEPT_BY: Duration = Duration::from_millis(3_700);
const PUBLISHED_BY: Duration = Duration::from_millis(4_200);
const GONE_BY: Duration = Duration::from_millis(4_500);
const DONE_BY: Duration = Duration::from_millis(4_800);
