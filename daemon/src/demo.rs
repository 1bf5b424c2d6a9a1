//! An invented hatchery, a broker inside the process, and the real daemon on a stepped clock.
//!
//! Nine days of messages arrive over real MQTT; the clock moves on only when everything that arrived is
//! on the disk and acknowledged, so that the same seed gives the same notices, however fast the machine is.
//!
//! - [`hatchery`]: messages in order of arrival, from `physics` (what is true), `instruments` (what they make
//!   of it), `staff` and `story` (who does what), `messages` (payloads);
//! - `site`: the site file; `broker` and `devices`: MQTT; `folder`: what is left behind; `report`: the week.

mod broker;
mod devices;
mod folder;
pub mod hatchery;
mod instruments;
mod messages;
mod pages;
mod physics;
mod report;
pub mod site;
pub mod staff;
pub mod story;

#[cfg(test)]
mod tests;

use std::path::PathBuf;

use indicatif::{ProgressBar, ProgressStyle};
use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use claymark_store::{Reader, StoreError};

use self::devices::{Devices, NoBroker};
use self::folder::Folder;
use self::hatchery::Hatchery;
use self::staff::Calendar;
use self::story::Story;
use crate::clock::{Stepper, TimeSource};
use crate::config::{self, ConfigError, Secrets};
use crate::message::Message;
use crate::run::{self, RunError};

pub use self::report::Report;

/// What the demo is asked for.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Ends after the report; else it goes on live.
    pub once: bool,
    /// The folder for all that it leaves.
    pub out: PathBuf,
    /// Everything that chance decides.
    pub seed: u64,
}

/// What came of it.
#[derive(Debug)]
pub struct DemoOutcome {
    /// Messages that arrived.
    pub messages: u64,
    /// Notices that were sent.
    pub notices: u64,
    /// The week's report.
    pub report: Report,
}

/// Why the demo stopped.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// A file or folder of its own.
    #[error("{path}: {source}")]
    File {
        /// Which.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The folder holds something that the demo didn't make.
    #[error("{0} holds a store that isn't a demo's; choose another folder for --out")]
    NotOurs(PathBuf),
    /// The broker can't be started.
    #[error("the demo's broker can't listen on this machine: {0}")]
    Broker(std::io::Error),
    /// MQTT.
    #[error(transparent)]
    Mqtt(#[from] NoBroker),
    /// The demo's own site file.
    #[error("the demo's site file is refused: {0}")]
    Site(#[from] ConfigError),
    /// The daemon ended.
    #[error("the daemon stopped: {0}")]
    Daemon(#[from] RunError),
    /// The daemon ended without saying why.
    #[error("the daemon stopped before the demo was over")]
    DaemonGone,
    /// The store can't be read.
    #[error("the store can't be read: {0}")]
    Store(#[from] StoreError),
    /// The page.
    #[error("the page can't be read: {0}")]
    Page(String),
    /// The report.
    #[error("the week's report wasn't made: {0}")]
    Report(String),
}

/// Runs the demo until its end, or until `stop`; `note` is told when the history has arrived.
pub async fn demo(
    settings: Settings,
    stop: CancellationToken,
    note: impl Fn(&str),
) -> Result<DemoOutcome, DemoError> {
    let folder = Folder::clear(settings.out.clone())?;
    let port = broker::start().map_err(DemoError::Broker)?;
    let real = TimeSource::system();
    let first_day = if settings.once { FIRST_DAY } else { days_before(real.now()) };
    let page = pages::free_address(!settings.once);
    let site_file = folder.write("site.toml", &site::file(port, page, first_day))?;
    let site = config::read(&site_file, Secrets::Left)?.settings;
    let zone = site.site.time_zone.clone();
    let calendar = Calendar::new(zone, first_day);
    let start = calendar.at(0, 8, 0);
    let end = if settings.once { calendar.at(DAYS, 8, 0) } else { whole_ticks(real.now()) };

    let mut hatchery = Hatchery::new(Story::new(calendar.clone()), start, settings.seed);
    let first = hatchery.live_until(start + WINDOW);
    let begins = first.first().map_or(start, |message| message.received_at);
    let (clock, stepper) = TimeSource::stepped(begins);
    let shutdown = CancellationToken::new();
    let status = site.intake.status_topic();
    let daemon = tokio::spawn(run::run(site.clone(), clock, shutdown.clone()));
    let mut devices = Devices::connect(port, &status).await?;
    let mut stage =
        DemoStage { folder, devices: &mut devices, stepper, daemon, heard_until: begins, messages: 0 };
    stage.daemon_watches().await?;
    stage.history(&mut hatchery, first, start + WINDOW, end, &stop).await?;
    if !settings.once && !stop.is_cancelled() {
        note(&format!("the history has arrived; the hatchery goes on live until Ctrl-C, on http://{page}/"));
        stage.live(&mut hatchery, &real, &stop).await?;
    }
    let DemoStage { mut folder, daemon, messages, .. } = stage;
    if let Err(error) = pages::leave(&folder, page).await {
        note(&error.to_string());
    }
    shutdown.cancel();
    daemon.await.map_err(|_panicked| DemoError::DaemonGone)??;
    devices.stop();
    let notices = folder.write_results()?;
    let report = report::week(&folder, end.to_zoned_datetime(site.site.time_zone).date())?;
    Ok(DemoOutcome { messages, notices, report })
}

/// Everything that moves while the demo runs.
struct DemoStage<'a> {
    folder: Folder,
    devices: &'a mut Devices,
    stepper: Stepper,
    daemon: JoinHandle<Result<(), RunError>>,
    /// Notices up to then have been heard by the people.
    heard_until: Timestamp,
    messages: u64,
}

impl DemoStage<'_> {
    async fn daemon_watches(&mut self) -> Result<(), DemoError> {
        tokio::select! {
            watches = self.devices.daemon_watches() => Ok(watches?),
            ended = &mut self.daemon => Err(gone(ended)),
        }
    }

    async fn history(
        &mut self,
        hatchery: &mut Hatchery,
        first: Vec<Message>,
        mut until: Timestamp,
        end: Timestamp,
        stop: &CancellationToken,
    ) -> Result<(), DemoError> {
        let bar = progress(until, end);
        let mut messages = first;
        while !stop.is_cancelled() {
            self.window(hatchery, &messages).await?;
            if until >= end {
                break;
            }
            self.stepper.advance_to(until);
            bar.inc(1);
            until = (until + WINDOW).min(end);
            messages = hatchery.live_until(until);
        }
        bar.finish_and_clear();
        Ok(())
    }

    async fn live(
        &mut self,
        hatchery: &mut Hatchery,
        real: &TimeSource,
        stop: &CancellationToken,
    ) -> Result<(), DemoError> {
        loop {
            let now = real.now();
            let messages = hatchery.live_until(whole_ticks(now));
            self.window(hatchery, &messages).await?;
            self.stepper.advance_to(now);
            tokio::select! {
                () = stop.cancelled() => return Ok(()),
                () = real.sleep_until(now + SignedDuration::from_secs(1)) => {}
            }
        }
    }

    /// Lets messages arrive, waits until all are kept, and lets the people hear of what the daemon said.
    ///
    /// A broker keeps the order within a filter only, so people's entries go alone.
    async fn window(&mut self, hatchery: &mut Hatchery, messages: &[Message]) -> Result<(), DemoError> {
        for alike in messages.chunk_by(|a, b| filter(a) == filter(b)) {
            for message in alike {
                self.folder.record(message)?;
                self.stepper.announce_arrival(message.received_at);
                self.devices.publish(message).await?;
            }
            tokio::select! {
                () = self.stepper.all_settled() => {}
                ended = &mut self.daemon => return Err(gone(ended)),
            }
        }
        self.messages += u64::try_from(messages.len()).unwrap_or(u64::MAX);
        let Some(last) = messages.last() else {
            return Ok(());
        };
        // What was decided before the last message came is on the disk with it.
        for issued in Reader::open(&self.folder.store())?.notices(self.heard_until, last.received_at)? {
            hatchery.hear(&issued.notice);
        }
        self.heard_until = last.received_at;
        Ok(())
    }
}

fn gone(ended: Result<Result<(), RunError>, tokio::task::JoinError>) -> DemoError {
    match ended {
        Ok(Err(error)) => DemoError::Daemon(error),
        Ok(Ok(())) | Err(_) => DemoError::DaemonGone,
    }
}

/// Which of the daemon's subscriptions brings the message.
fn filter(message: &Message) -> usize {
    [hatchery::LOG, hatchery::ANSWERS].iter().position(|topic| message.topic == *topic).unwrap_or(2)
}

fn days_before(now: Timestamp) -> Date {
    // A zone that this machine doesn't know is refused with the site file.
    let zone = TimeZone::get(site::ZONE).unwrap_or(TimeZone::UTC);
    let today = now.to_zoned_datetime(zone).date();
    today.checked_sub(i64::from(DAYS).days()).unwrap_or(today)
}

fn whole_ticks(now: Timestamp) -> Timestamp {
    let second = now.as_second();
    Timestamp::from_second(second - second.rem_euclid(10)).unwrap_or(now)
}

/// Hidden when nobody looks.
fn progress(from: Timestamp, to: Timestamp) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg} {wide_bar} {percent} %, {eta} left");
    let style = style.expect("the template is fixed and right");
    let windows = to.duration_since(from).as_secs() / WINDOW.as_secs();
    let bar = ProgressBar::new(u64::try_from(windows).unwrap_or(0));
    bar.with_style(style).with_message("nine days of the hatchery")
}

/// A Saturday; the Monday nine days later has a whole week behind it.
const FIRST_DAY: Date = date(2027, 4, 17);
const DAYS: i32 = 9;
/// Forecasts are made every ten minutes, so the clock needs no finer steps.
const WINDOW: SignedDuration = SignedDuration::from_mins(10);
