//! `claymark backfill` and `claymark check --connect`: the central database, asked from the command line.

use std::io::Write as _;
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use jiff::{SignedDuration, Timestamp};

use claymark_influx::audit::{held, kept, lacking};
use claymark_influx::client::InfluxError;
use claymark_influx::line::Lines;
use claymark_influx::send::{Refused, Sent, send};
use claymark_influx::source::{PointSource, SourceError};
use claymark_influx::{Client, site};

use super::CommandFailure;
use super::moment::back_to;
use crate::clock::TimeSource;
use crate::config::{self, Secrets, count};
use crate::run::Settings;

/// What `claymark backfill` takes.
#[derive(Debug, Args)]
pub(super) struct BackfillCommand {
    /// The site file
    #[arg(long, value_name = "FILE", default_value = super::DEFAULT_SITE_FILE)]
    config: PathBuf,
    /// From when on: 2027-04-01, "2027-04-01 06:00" or RFC 3339
    #[arg(long, value_name = "TIME")]
    from: String,
    /// Just before when; now, if left out
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
}

/// Sends a range again; whatever is there already stays as it is.
pub(super) fn backfill(asked: &BackfillCommand) -> Result<(), CommandFailure> {
    let settings = config::read(&asked.config, Secrets::Needed)?.settings;
    let now = TimeSource::system().now();
    let zone = &settings.site.time_zone;
    let from = back_to(&asked.from, now, zone)?;
    let to = asked.to.as_ref().map_or(Ok(now), |to| back_to(to, now, zone))?;
    if from >= to {
        return Err(CommandFailure::Wrong {
            what: "--from isn't before --to.".to_owned(),
            remedy: "Nothing was sent; write the earlier time after --from.".to_owned(),
        });
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let sent = runtime.block_on(send_again(&settings, from, to))?;
    writeln!(std::io::stdout(), "{} sent to {}.", count(sent.points, "point"), sent.server)?;
    if sent.missing > 0 {
        return Err(CommandFailure::Failed {
            what: format!("The server took all of it, but doesn't hold {}.", count(sent.missing, "reading")),
            remedy: "Look at the server's log, and at the retention of its bucket.".to_owned(),
        });
    }
    match sent.refused.first() {
        None => Ok(()),
        Some(first) => Err(CommandFailure::Failed {
            what: format!(
                "{} left out, the first because {}: {}",
                count(sent.refused.len(), "point was"),
                first.reason,
                first.line
            ),
            remedy: "All others are there. What is older than the bucket's retention can't be.".to_owned(),
        }),
    }
}

#[derive(Default)]
struct SentAgain {
    server: String,
    points: usize,
    refused: Vec<Refused>,
    missing: u64,
}

async fn send_again(
    settings: &Settings,
    from: Timestamp,
    to: Timestamp,
) -> Result<SentAgain, CommandFailure> {
    let (client, mut source) = open(settings)?;
    let mut done = SentAgain { server: client_name(settings), ..SentAgain::default() };
    let style = ProgressStyle::with_template("{msg} {wide_bar} {percent} %, {eta} left");
    let style = style.expect("the template is fixed and right");
    let minutes = u64::try_from(to.duration_since(from).as_secs() / 60).unwrap_or(0);
    let bar = ProgressBar::new(minutes).with_style(style).with_message("sending");
    let mut start = from;
    while start < to {
        let end = start.saturating_add(STEP).unwrap_or(to).min(to);
        let page = source.range(start, end)?;
        done.points += page.lines.len();
        done.refused.extend(deliver(&client, &page.lines).await?);
        done.refused.extend(
            page.unwritable.into_iter().map(|point| Refused { line: point.about, reason: point.reason }),
        );
        bar.inc(u64::try_from(STEP.as_mins()).unwrap_or(0));
        start = end;
    }
    let mut lines = Lines::default();
    if site::push(&mut lines, &settings.site, TimeSource::system().now()).is_ok() {
        deliver(&client, &lines).await?;
    }
    bar.finish_and_clear();
    // A server may take points and drop them; one that can't be asked has been told of by `check --connect`.
    if done.refused.is_empty() {
        let here = kept(&source, from, to)?;
        for _ in 0..LOOKS {
            let Ok(there) = held(&client, &settings.site.id, from, to).await else { break };
            done.missing = lacking(&here, &there);
            if done.missing == 0 {
                break;
            }
            tokio::time::sleep(BETWEEN_LOOKS).await;
        }
    }
    Ok(done)
}

async fn deliver(client: &Client, lines: &Lines) -> Result<Vec<Refused>, CommandFailure> {
    match send(client, lines).await {
        Sent::Taken { refused } => Ok(refused),
        Sent::NotNow(error) => Err(CommandFailure::Failed {
            what: format!("Backfilling stopped: {error}."),
            remedy: format!("{} Then run it again: nothing is doubled.", error.advice()),
        }),
    }
}

/// Says whether the server lets us write and read, and what to do if not.
pub(super) fn connect(settings: &Settings) -> Result<(), CommandFailure> {
    if settings.forward.is_none() {
        writeln!(std::io::stdout(), "There is no [influx]: everything is kept here alone.")?;
        return Ok(());
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let server = client_name(settings);
        let Some(forward) = &settings.forward else { return Ok(()) };
        if forward.influx.token.is_none() {
            return Err(CommandFailure::Failed {
                what: format!("{server} can't be tried: the token can't be read by you."),
                remedy: "Run this as the user that runs Claymark.".to_owned(),
            });
        }
        let client = Client::new(&forward.influx).map_err(|error| refused(&server, "tried", &error))?;
        // The site itself is a point that is written each day anyhow.
        let mut lines = Lines::default();
        let now = TimeSource::system().now();
        site::push(&mut lines, &settings.site, now).map_err(|bad| CommandFailure::Failed {
            what: format!("The site can't be written as a point: {bad}."),
            remedy: String::new(),
        })?;
        client.write(lines.text()).await.map_err(|error| refused(&server, "written to", &error))?;
        writeln!(std::io::stdout(), "{server} takes what is written.")?;
        let hour = now.saturating_sub(SignedDuration::from_hours(1)).unwrap_or(now);
        match held(&client, &settings.site.id, hour, now).await {
            Ok(there) => {
                let readings = there.values().sum::<u64>();
                writeln!(
                    std::io::stdout(),
                    "It can be read: it holds {} of the last hour.",
                    count(readings, "reading")
                )?;
                Ok(())
            }
            Err(error) => Err(CommandFailure::Failed {
                what: format!("{server} can be written to, but not read: {error}."),
                remedy: "Forwarding works; counting what arrived and reports from there don't. Let the token read the bucket, too.".to_owned(),
            }),
        }
    })
}

fn open(settings: &Settings) -> Result<(Client, PointSource), CommandFailure> {
    let Some(forward) = &settings.forward else {
        return Err(CommandFailure::Wrong {
            what: "The site file has no [influx].".to_owned(),
            remedy: "Add it as config/site.toml shows, then try again.".to_owned(),
        });
    };
    let client =
        Client::new(&forward.influx).map_err(|error| refused(&client_name(settings), "tried", &error))?;
    Ok((client, PointSource::open(&settings.store, settings.site.id.clone())?))
}

fn client_name(settings: &Settings) -> String {
    let server = settings.forward.as_ref().map(|forward| forward.influx.server.to_string());
    format!("InfluxDB at {}", server.unwrap_or_default())
}

fn refused(server: &str, done: &str, error: &InfluxError) -> CommandFailure {
    CommandFailure::Failed {
        what: format!("{server} can't be {done}: {error}."),
        remedy: error.advice().to_owned(),
    }
}

impl From<SourceError> for CommandFailure {
    fn from(error: SourceError) -> Self {
        match error {
            SourceError::Store(error) => error.into(),
            SourceError::Sensor(bad) => Self::Failed { what: bad.to_string(), remedy: String::new() },
        }
    }
}

/// Some ten thousand points of a large room.
const STEP: SignedDuration = SignedDuration::from_mins(10);

/// Some servers show only after half a minute what they took.
const LOOKS: u32 = 30;
const BETWEEN_LOOKS: Duration = Duration::from_secs(2);
