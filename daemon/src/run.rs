//! Starts the tasks: the only place that makes channels and spawns.
//!
//! The store's thread lives as long as the daemon. Everything else lives for one *shift*, which begins with
//! telling a new pipeline the past from the store; a changed site file, a clock that was set, or a store that
//! works again after messages were only heard ends a shift as a stop does and begins the next one. The broker keeps what
//! arrives in between.
//!
//! Three things keep the watch from beginning: a wrong site file, a store that another daemon has, an address that can't be
//! had. Without a store it begins all the same, with what can be read or nothing, and says so.

mod process;
mod reach;
mod recall;
mod shift;

use std::path::PathBuf;
use std::sync::{Arc, OnceLock};
use std::thread;
use std::time::Duration;

use jiff::SignedDuration;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use claymark_model::site::Site;
use claymark_store::StoreError;

use crate::clock::TimeSource;
use crate::engine::Opening;
use crate::intake::TlsError;
use crate::keeper::Keeper;
use crate::pulse::Pulses;
use crate::service::{self, ServiceError};
use crate::snapshot::{CountsSinceStart, Snapshot};
use process::Process;
use shift::Over;

/// Everything that a running daemon needs, as built from a checked site file.
#[derive(Clone)]
pub struct Settings {
    /// The room.
    pub site: Site,
    /// The store's file.
    pub store: PathBuf,
    /// How long readings that come slowly may wait for a common commit; zero: not at all.
    pub gather: SignedDuration,
    /// MQTT.
    pub intake: crate::intake::Settings,
    /// Payloads.
    pub decode: crate::decode::Settings,
    /// People.
    pub notify: crate::notify::Settings,
    /// The mailbox of replies, when wanted.
    pub replies: Option<crate::replies::Settings>,
    /// Whoever watches us from outside, when wanted.
    pub sign_of_life: Option<crate::sign_of_life::Settings>,
    /// Recordings, when wanted.
    pub record: Option<crate::record::Settings>,
    /// InfluxDB, when wanted.
    pub forward: Option<crate::forward::Settings>,
    /// Metrics, when wanted.
    pub metrics: Option<crate::metrics::Settings>,
    /// The page, when wanted.
    pub page: Option<crate::page::Settings>,
    /// A `tracing` filter, for instance `info`.
    pub log: String,
}

/// Why the daemon ended, or didn't start.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// TLS to the broker.
    #[error("the connection to the broker can't be prepared: {0}. Check [mqtt] in the site file")]
    Tls(#[from] TlsError),
    /// Logs or signals.
    #[error(transparent)]
    Service(#[from] ServiceError),
    /// A thread couldn't be started.
    #[error("a thread can't be started: {0}")]
    Thread(#[source] std::io::Error),
    /// A part of the daemon has a fault.
    #[error(
        "a part of the daemon stopped by itself: {0}. Nothing that was acknowledged is lost; please report this"
    )]
    Fault(String),
}

/// Runs until `shutdown`; then finishes what is in hand.
pub async fn run(settings: Settings, clock: TimeSource, shutdown: CancellationToken) -> Result<(), RunError> {
    // Nobody changes the site file; the sender lives as long as we do.
    let (_no_reloads, reloads) = mpsc::channel(1);
    keep_watch(settings, clock, shutdown, reloads).await
}

/// Runs as a service: SIGTERM and SIGINT end it, SIGHUP reads the site file again with `reload`.
pub async fn serve(
    settings: Settings,
    reload: impl Fn() -> Result<Settings, String> + Send + 'static,
) -> Result<(), RunError> {
    let shutdown = CancellationToken::new();
    let (sender, reloads) = mpsc::channel(1);
    let signals = tokio::spawn(service::signals(shutdown.clone(), reload, sender)?);
    let result = keep_watch(settings, TimeSource::system(), shutdown.clone(), reloads).await;
    shutdown.cancel();
    signals.await.map_err(|fault| RunError::Fault(fault.to_string()))?;
    result
}

async fn keep_watch(
    settings: Settings,
    clock: TimeSource,
    shutdown: CancellationToken,
    mut reloads: mpsc::Receiver<Settings>,
) -> Result<(), RunError> {
    let (keeper, thread) = Keeper::start(settings.store.clone(), settings.site.clone(), clock.clone())
        .map_err(RunError::Thread)?;
    keeper.keep_journal(settings.forward.is_some()).await;
    let mut past = settings.store.clone();
    let store_trouble = opened(&keeper, &mut past).await?;
    let opening = Opening { store_trouble, ..Opening::default() };
    let pulses = Pulses::default();
    let snapshot = watch::Sender::new(Arc::new(Snapshot::new(CountsSinceStart::default())));
    let systemd = tokio::spawn(service::tell_systemd(snapshot.subscribe(), pulses.clone(), shutdown.clone()));
    let replies_trouble = watch::Sender::new(None);
    let gap = OnceLock::new();
    let process =
        Process { clock, shutdown: shutdown.clone(), keeper, pulses, snapshot, replies_trouble, gap };
    let result = shifts(&process, settings, (opening, past), &mut reloads).await;
    // Whatever ended the watch, systemd is told that it is over.
    shutdown.cancel();
    systemd.await.map_err(|fault| RunError::Fault(fault.to_string()))?;
    drop(process);
    joined("the store's thread", thread).await?;
    result
}

async fn shifts(
    process: &Process,
    mut settings: Settings,
    (mut opening, mut past): (Opening, PathBuf),
    reloads: &mut mpsc::Receiver<Settings>,
) -> Result<(), RunError> {
    loop {
        let past = std::mem::replace(&mut past, settings.store.clone());
        let over = shift::shift(process, &settings, reloads, (std::mem::take(&mut opening), past)).await?;
        match over {
            Over::Shutdown => return Ok(()),
            Over::ClockStepped(by, mut counts) => {
                counts.clock_steps += 1;
                opening = Opening { counts, stepped: Some(by), ..Opening::default() };
            }
            Over::KeepsAgain(counts) => opening = Opening { counts, ..Opening::default() },
            Over::Reload(new, counts) => {
                opening = Opening { counts, ..Opening::default() };
                if let Some(taken) = reload(process, &settings, *new).await? {
                    settings = taken;
                }
            }
        }
    }
}

/// A new site file, if it can be taken while running.
async fn reload(process: &Process, old: &Settings, new: Settings) -> Result<Option<Settings>, RunError> {
    if new.store != old.store {
        tracing::error!("another store needs a restart: going on with the old site file");
        return Ok(None);
    }
    if let Err(error) = new.intake.check() {
        tracing::error!("going on with the old site file, the new one's TLS can't be used: {error}");
        return Ok(None);
    }
    match process.keeper.set_site(new.site.clone()).await {
        Some(Ok(())) => {
            process.keeper.keep_journal(new.forward.is_some()).await;
            service::start_log(&new.log)?;
            tracing::info!("the site file was read again");
            Ok(Some(new))
        }
        Some(Err(error)) => {
            tracing::error!("going on with the old site file, the store can't keep the new one: {error}");
            Ok(None)
        }
        None => Err(RunError::Fault("the store's thread".to_owned())),
    }
}

/// Why the store can't be opened, if it can't: the watch begins all the same, unless another daemon has the store. Else
/// `past` is where the past can be read.
async fn opened(keeper: &Keeper, past: &mut PathBuf) -> Result<Option<String>, RunError> {
    match tokio::time::timeout(FOR_THE_STORE, keeper.open()).await {
        Ok(Some(Ok(there))) => {
            *past = there;
            Ok(None)
        }
        Ok(Some(Err(in_use @ StoreError::InUse { .. }))) => Err(in_use.into()),
        Ok(Some(Err(error))) => Ok(Some(error.to_string())),
        Ok(None) => Err(RunError::Fault("the store's thread".to_owned())),
        Err(_still) => Ok(Some(StoreError::Hangs.to_string())),
    }
}

/// Waits for a thread, but not for one that hangs in a dead disk: nothing that it still does was promised.
async fn joined(what: &str, thread: thread::JoinHandle<()>) -> Result<(), RunError> {
    let mut looks = tokio::time::interval(Duration::from_millis(5));
    for _ in 0..LOOKS_AT_A_THREAD {
        looks.tick().await;
        if thread.is_finished() {
            return thread.join().map_err(|_panic| RunError::Fault(what.to_owned()));
        }
    }
    tracing::warn!("stopping without waiting for {what} any longer");
    Ok(())
}

/// One second.
const LOOKS_AT_A_THREAD: u32 = 200;

/// Opening takes milliseconds; after a crash SQLite reads the log once.
const FOR_THE_STORE: Duration = Duration::from_secs(5);
