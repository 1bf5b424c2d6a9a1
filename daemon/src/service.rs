//! Logs, systemd and signals.

use std::sync::Arc;
use std::time::Duration;

use sd_notify::NotifyState;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

use crate::pulse::Pulses;
use crate::snapshot::{Connection, Snapshot};

/// What can't be set up.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The log filter.
    #[error(
        "the log level '{filter}' can't be understood ({source}). Write for instance \"info\" or \"warn,claymark=debug\""
    )]
    LogFilter {
        /// As written.
        filter: String,
        /// Why.
        source: tracing_subscriber::filter::ParseError,
    },
    /// Signal handlers.
    #[error("signals can't be received: {0}")]
    Signals(#[from] std::io::Error),
}

/// Starts the log: to the journal with its fields when systemd connects us to it, else plain lines on
/// standard error. Logging that was started before stays as it is.
pub fn start_log(filter: &str) -> Result<(), ServiceError> {
    let parsed = EnvFilter::try_new(filter)
        .map_err(|source| ServiceError::LogFilter { filter: filter.to_owned(), source })?;
    let journal = std::env::var_os("JOURNAL_STREAM").and_then(|_stream| tracing_journald::layer().ok());
    let registry = tracing_subscriber::registry().with(parsed);
    let started = match journal {
        Some(journal) => registry.with(journal).try_init(),
        None => {
            let plain = tracing_subscriber::fmt::layer().with_writer(std::io::stderr).with_ansi(false);
            registry.with(plain).try_init()
        }
    };
    if let Err(already) = started {
        tracing::debug!("the log keeps its settings until a restart: {already}");
    }
    Ok(())
}

/// SIGTERM and SIGINT cancel `shutdown`; SIGHUP reads the site file again with `reload`, and a good one
/// goes to `reloads`. Must be called inside the runtime; the future ends with `shutdown`.
pub fn signals<S: Send + 'static>(
    shutdown: CancellationToken,
    reload: impl Fn() -> Result<S, String> + Send + 'static,
    reloads: mpsc::Sender<S>,
) -> Result<impl Future<Output = ()> + Send + 'static, ServiceError> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    Ok(async move {
        loop {
            tokio::select! {
                _ = terminate.recv() => shutdown.cancel(),
                _ = interrupt.recv() => shutdown.cancel(),
                () = shutdown.cancelled() => return,
                _ = hang_up.recv() => match reload() {
                    Ok(settings) => {
                        if reloads.send(settings).await.is_err() {
                            return;
                        }
                    }
                    Err(why) => tracing::error!("the site file is wrong, going on with the old one: {why}"),
                },
            }
        }
    })
}

/// Tells systemd how we are: ready once subscribed (or after half a minute, with the reason), alive as long
/// as both loops move, stopping at the end. Without systemd nothing is told.
pub async fn tell_systemd(
    mut snapshot: watch::Receiver<Arc<Snapshot>>,
    pulses: Pulses,
    shutdown: CancellationToken,
) {
    let half = sd_notify::watchdog_enabled().map(|interval| interval / 2);
    let mut look = tokio::time::interval(half.unwrap_or(LOOK));
    let mut late = std::pin::pin!(tokio::time::sleep(READY_AT_LATEST));
    let mut ready = false;
    let mut last_status = String::new();
    let mut seen = (0, 0);
    loop {
        tokio::select! {
            () = shutdown.cancelled() => {
                tell(&[NotifyState::Stopping]);
                return;
            }
            changed = snapshot.changed() => if changed.is_err() { return },
            () = &mut late, if !ready => {
                ready = true;
                tell(&[NotifyState::Ready]);
            }
            _ = look.tick(), if half.is_some() => {
                let now = (pulses.intake.count(), pulses.engine.count());
                if now.0 != seen.0 && now.1 != seen.1 {
                    tell(&[NotifyState::Watchdog]);
                }
                seen = now;
            }
        }
        let (status, watching) = status(&snapshot.borrow());
        if watching && !ready {
            ready = true;
            tell(&[NotifyState::Ready]);
        }
        if status != last_status {
            tell(&[NotifyState::Status(&status)]);
            last_status = status;
        }
    }
}

/// One line for `systemctl status`, and whether we are subscribed.
pub(crate) fn status(snapshot: &Snapshot) -> (String, bool) {
    let (mut line, watching) = match &snapshot.connection {
        Connection::Watching { refused, .. } if refused.is_empty() => (WATCHING.to_owned(), true),
        Connection::Watching { refused, .. } => {
            (format!("watching, but the broker refuses {}", refused.join("; ")), true)
        }
        Connection::Down { why } => (format!("not watching: {why}"), false),
    };
    if let Some(trouble) = &snapshot.store_trouble {
        line.push_str("; readings are not kept: ");
        line.push_str(trouble);
    }
    (line, watching)
}

fn tell(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::warn!("systemd can't be told how we are: {error}");
    }
}

/// All is well.
pub(crate) const WATCHING: &str = "watching";

/// A start without a broker is still a start: nobody is helped by a restart loop.
const READY_AT_LATEST: Duration = Duration::from_secs(30);
const LOOK: Duration = Duration::from_secs(30);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::CountsSinceStart;

    fn snapshot(connection: Connection) -> Snapshot {
        Snapshot { connection, ..Snapshot::new(CountsSinceStart::default()) }
    }

    #[test]
    fn the_status_line_never_says_watching_alone_when_something_is_wrong() {
        let since = jiff::Timestamp::UNIX_EPOCH;
        let good = snapshot(Connection::Watching { since, refused: vec![] });
        assert_eq!(status(&good), ("watching".to_owned(), true));
        let refused =
            snapshot(Connection::Watching { since, refused: vec!["x/#: NotAuthorized".to_owned()] });
        assert_eq!(status(&refused).0, "watching, but the broker refuses x/#: NotAuthorized");
        let full = Snapshot { store_trouble: Some("the disk is full".to_owned()), ..good };
        assert_eq!(status(&full).0, "watching; readings are not kept: the disk is full");
    }
}
