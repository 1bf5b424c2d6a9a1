//! What the store keeps, once more in InfluxDB: page by page from the journal, through any outage.
//!
//! One task. It reads the journal's oldest page, sends it, and has the store's thread take away what the
//! server took: that is the position, and it outlives us. Killed at any moment, the next one sends at most
//! the last page again, which changes nothing there. It waits for nobody, and nobody waits for it.

mod behind;
mod recount;

use std::path::PathBuf;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use rand::rngs::StdRng;
use rand::{SeedableRng as _, rng};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use claymark_influx::line::Lines;
use claymark_influx::send::{Sent, send};
use claymark_influx::source::{Page, PointSource, hour_of};
use claymark_influx::{Client, Settings as Influx, site};
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_store::journal::Rejected;
use claymark_words::outbound;

use crate::clock::TimeSource;
use crate::intake::pause::Pauses;
use crate::keeper::Keeper;
pub use behind::Behind;
use recount::{on_disk, recount};

/// A checked `[influx]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The server.
    pub influx: Influx,
    /// People are told when something has waited for so long.
    pub lag_limit: SignedDuration,
}

/// How it goes, for metrics.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Progress {
    /// Points that the server took.
    pub points: u64,
    /// Points that it refused, or that couldn't be written.
    pub rejected: u64,
    /// Attempts that failed.
    pub failures: u64,
    /// Readings that the server took and, by the last count, doesn't hold.
    pub missing: u64,
    /// When the oldest of what waits arrived; `None`: nothing waits.
    pub oldest: Option<Timestamp>,
    /// What stands in the way now.
    pub trouble: Option<String>,
}

/// Where things come from and go to.
pub struct Ports {
    /// The store's file, for reading.
    pub store: PathBuf,
    /// Takes away what has been forwarded.
    pub keeper: Keeper,
    /// For metrics.
    pub progress: watch::Sender<Progress>,
    /// For people; sent again only when it changes.
    pub behind: watch::Sender<Option<Behind>>,
    /// Ends the task; a page on the way is sent again next time.
    pub stop: CancellationToken,
}

/// The task.
pub struct Forwarder {
    settings: Settings,
    site: Site,
    clock: TimeSource,
    ports: Ports,
    progress: Progress,
    pauses: Pauses,
    client: Option<Client>,
    /// Lent out while the disk is read.
    source: Option<PointSource>,
    /// When the last site was written.
    site_written: Option<Timestamp>,
    /// When to count again.
    count_due: Timestamp,
    /// The earliest reading that was sent since the last count.
    uncounted: Option<Timestamp>,
    /// Since when the server lacks what it took.
    lacking: Option<Timestamp>,
    told: LastTold,
}

/// What people were told last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LastTold {
    Nothing,
    Behind,
    CaughtUp,
}

/// What one step came to.
enum ForwardStep {
    /// More waits.
    More,
    /// Nothing does, or little.
    Idle,
    /// It didn't go through.
    Stuck(String),
}

impl Forwarder {
    /// Prepares the task.
    #[must_use]
    pub fn new(settings: Settings, site: Site, clock: TimeSource, ports: Ports) -> Self {
        let count_due = clock.now().saturating_add(FIRST_COUNT).unwrap_or(Timestamp::MAX);
        Self {
            settings,
            site,
            clock,
            ports,
            progress: Progress::default(),
            pauses: Pauses::default(),
            client: None,
            source: None,
            site_written: None,
            count_due,
            uncounted: None,
            lacking: None,
            told: LastTold::Nothing,
        }
    }

    /// Forwards until it is asked to stop.
    pub async fn run(mut self) {
        let stop = self.ports.stop.clone();
        let mut rng = StdRng::from_rng(&mut rng());
        loop {
            let step = tokio::select! {
                biased;
                () = stop.cancelled() => return,
                step = self.step() => step,
            };
            let pause = match step {
                ForwardStep::More => Duration::ZERO,
                ForwardStep::Idle => GATHERING,
                ForwardStep::Stuck(why) => {
                    self.stuck(why);
                    self.pauses.next(&mut rng)
                }
            };
            self.ports.progress.send_replace(self.progress.clone());
            self.tell();
            let pause = SignedDuration::try_from(pause).unwrap_or(SignedDuration::ZERO);
            let until = self.clock.now().saturating_add(pause).unwrap_or(Timestamp::MAX);
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                () = self.clock.sleep_until(until) => {}
            }
        }
    }

    /// One page, all the way; when none waits, what is due beside.
    async fn step(&mut self) -> ForwardStep {
        match self.page().await {
            Ok(true) => ForwardStep::More,
            Ok(false) => match self.beside().await {
                Ok(()) => ForwardStep::Idle,
                Err(why) => ForwardStep::Stuck(why),
            },
            Err(why) => ForwardStep::Stuck(why),
        }
    }

    /// One page, all the way; whether more waits.
    async fn page(&mut self) -> Result<bool, String> {
        let client = self.client().await?;
        let page =
            on_disk(&mut self.source, PointSource::next_page).await?.map_err(|error| error.to_string())?;
        let Some(page) = page else {
            self.progress.oldest = None;
            return Ok(false);
        };
        self.progress.oldest = page.oldest;
        match send(&client, &page.lines).await {
            Sent::NotNow(error) => Err(error.to_string()),
            Sent::Taken { refused } => {
                let refused = refused.into_iter().map(|line| (line.line, line.reason));
                let unwritable =
                    page.unwritable.iter().map(|point| (point.about.clone(), point.reason.clone()));
                let at = self.clock.now();
                let rejected =
                    refused.chain(unwritable).map(|(point, reason)| Rejected { at, point, reason }).collect();
                self.settle(&page, rejected).await?;
                Ok(page.full)
            }
        }
    }

    /// Both ends, opened when they are wanted first.
    async fn client(&mut self) -> Result<Client, String> {
        let client = match self.client.take() {
            Some(client) => client,
            None => Client::new(&self.settings.influx).map_err(|error| error.to_string())?,
        };
        self.client = Some(client.clone());
        if self.source.is_none() {
            self.source = Some(open(self.ports.store.clone(), self.site.id.clone()).await?);
        }
        Ok(client)
    }

    /// The site once a day, and the counts.
    async fn beside(&mut self) -> Result<(), String> {
        let client = self.client().await?;
        let now = self.clock.now();
        if self.site_written.is_none_or(|written| now.duration_since(written) >= SITE_EVERY) {
            let mut lines = Lines::default();
            site::push(&mut lines, &self.site, now).map_err(|bad| bad.to_string())?;
            if let Sent::NotNow(error) = send(&client, &lines).await {
                return Err(error.to_string());
            }
            self.site_written = Some(now);
        }
        if self.count_due <= now {
            self.count(&client, now).await;
        }
        Ok(())
    }

    /// A count that can't be made is made later; what was sent is there as far as the server says.
    async fn count(&mut self, client: &Client, now: Timestamp) {
        self.count_due = now.saturating_add(COUNT_EVERY).unwrap_or(Timestamp::MAX);
        let ago = |duration| now.saturating_sub(duration).unwrap_or(Timestamp::MIN);
        let from = self.uncounted.unwrap_or(now).min(ago(COUNTED_ANYHOW)).max(ago(COUNTED_AT_MOST));
        let to = hour_of(ago(SignedDuration::from_hours(1)));
        match recount(client, &mut self.source, &self.site.id, hour_of(from), to).await {
            Err(why) => tracing::warn!("what arrived in InfluxDB can't be counted: {why}"),
            Ok(found) => {
                if found.mended > 0 {
                    let readings = found.mended;
                    tracing::warn!(readings, "InfluxDB had taken readings and lost them: sent again");
                }
                if found.missing > 0 {
                    let readings = found.missing;
                    tracing::error!(readings, "InfluxDB takes readings and doesn't keep them");
                }
                self.progress.missing = found.missing;
                self.lacking = found.since;
                self.uncounted = None;
            }
        }
    }

    /// Has the position moved behind a page that the server took.
    async fn settle(&mut self, page: &Page, rejected: Vec<Rejected>) -> Result<(), String> {
        let lost = rejected.len();
        if let Some(first) = rejected.first() {
            tracing::warn!(
                points = lost,
                first = %first.point,
                "points were refused and are kept aside: {}",
                first.reason
            );
        }
        match self.ports.keeper.forwarded(page.upto, rejected).await {
            Some(Ok(())) => {}
            Some(Err(error)) => return Err(error.to_string()),
            None => return Err("the store's thread has ended".to_owned()),
        }
        let count = |number: usize| u64::try_from(number).unwrap_or(u64::MAX);
        self.progress.rejected += count(lost);
        self.progress.points += count(page.lines.len() + page.unwritable.len() - lost);
        if let Some((first, _)) = page.span {
            self.uncounted = Some(self.uncounted.map_or(first, |earliest| earliest.min(first)));
        }
        self.pauses.reset();
        if self.progress.trouble.take().is_some() {
            tracing::info!("forwarding goes on");
        }
        if page.full {
            // What is being caught up with isn't counted before the server has had time to show it.
            let later = self.clock.now().saturating_add(FIRST_COUNT).unwrap_or(Timestamp::MAX);
            self.count_due = self.count_due.max(later);
        } else {
            self.progress.oldest = None;
        }
        Ok(())
    }

    fn stuck(&mut self, why: String) {
        self.progress.failures += 1;
        if self.progress.trouble.as_ref() != Some(&why) {
            tracing::warn!("what is kept can't be forwarded now, it waits: {why}");
        }
        self.progress.trouble = Some(why);
    }

    /// People hear of it when something has waited too long or is lacking there, and when all is well.
    fn tell(&mut self) {
        let behind = match (self.progress.oldest, self.lacking) {
            (Some(since), _) if self.clock.now().duration_since(since) >= self.settings.lag_limit => {
                let why = self.progress.trouble.clone();
                Some(Behind { since, why: why.unwrap_or_else(|| outbound::MORE_COMES_IN.to_owned()) })
            }
            (None, Some(since)) => Some(Behind { since, why: outbound::NOT_KEPT_THERE.to_owned() }),
            (None, None) if self.progress.trouble.is_none() => None,
            (None | Some(_), None | Some(_)) => return,
        };
        let told = if behind.is_some() { LastTold::Behind } else { LastTold::CaughtUp };
        if told != self.told {
            self.told = told;
            self.ports.behind.send_replace(behind);
        }
    }
}

async fn open(store: PathBuf, site: Id) -> Result<PointSource, String> {
    let opened = tokio::task::spawn_blocking(move || PointSource::open(&store, site)).await;
    opened.map_err(|fault| fault.to_string())?.map_err(|error| error.to_string())
}

/// So long readings are gathered before the next page: most flags are settled by then, and go out once.
const GATHERING: Duration = Duration::from_secs(10);

/// Readers of the bucket look for a site of today; retention takes away older ones.
const SITE_EVERY: SignedDuration = SignedDuration::from_hours(12);

/// By then a server has done what it does after a start.
const FIRST_COUNT: SignedDuration = SignedDuration::from_mins(10);
const COUNT_EVERY: SignedDuration = SignedDuration::from_hours(6);
/// What was sent before a restart is counted once more.
const COUNTED_ANYHOW: SignedDuration = SignedDuration::from_hours(48);
/// Older readings may lie beyond the bucket's retention.
const COUNTED_AT_MOST: SignedDuration = SignedDuration::from_hours(31 * 24);
