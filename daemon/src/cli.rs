//! The command line.

mod alarms;
mod answer;
mod asked;
mod by_hand;
mod clay;
mod demo;
mod entry;
mod failure;
mod happened;
mod influx;
mod meant;
mod moment;
mod names;
mod outlook;
pub mod past;
mod planning;
mod status;
mod told;
mod try_contact;

use std::io::{IsTerminal as _, Write as _};
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use jiff::Timestamp;

use claymark_model::fieldlog::Deed;
use claymark_model::site::Site;
use claymark_words::{fieldlog, typed};

pub use self::failure::CommandFailure;
use self::moment::moment;
use crate::clock::TimeSource;
use crate::config::{self, ConfigError, Secrets, count};
use crate::intake::one_shot::Taken;
use crate::replay;
use crate::run::{self, RunError, Settings};
use crate::say::{self, Saying, Signature};
use crate::service;

/// Keeps watch over a larval rearing room whose water is kept cloudy with clay
///
/// Will each clay drum last until the next visit, and if not, when does it run out and what must be added?
/// Claymark reads the sensors over MQTT, keeps every reading, and tells people in time. It advises only: it
/// switches nothing and is no life-support control.
#[derive(Debug, Parser)]
#[command(version, propagate_version = true, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// See it work: an invented hatchery, nine days of readings, warnings and the week's report
    ///
    /// The broker is inside, nothing needs to be installed, and nothing is sent to anybody.
    Demo(demo::DemoCommand),
    /// Keep watch: take readings, keep them, forecast, and tell people in time
    Run(SiteFileFlag),
    /// Say what a site file describes, or every mistake in it and how to mend it
    Check(CheckCommand),
    /// Feed recorded messages through everything, with the recording's clock
    ///
    /// Leaves forecasts.ndjson, notices.ndjson and claymark.db in a folder; the same messages give the same
    /// files. Nothing is sent to anybody.
    Replay(ReplayCommand),
    /// What to add to a drum: the refill sheet, from what is left in it
    Mix(clay::MixCommand),
    /// How to set both levers, the pump and the strength, for a turbidity
    Dose(clay::DoseCommand),
    /// How long to wait after a change before measuring, and what each tank will show
    Wait(clay::WaitCommand),
    /// What a drum does when its air fails, and how to tell
    Settle(clay::SettleCommand),
    /// Will each drum last until the next visit, and what would make it last
    ///
    /// Reads the store, beside a running Claymark or without one: nothing is changed and nothing is sent.
    Outlook(outlook::OutlookCommand),
    /// What happened to the drums by what the sensors say, with the evidence and what to check
    ///
    /// Refills, changed draws, clogs, leaks, stuck sensors and run-outs, whether or not anybody wrote them down;
    /// and failures that were told. Reads the store: nothing is changed and nothing is sent.
    Happened(happened::HappenedCommand),
    /// Tell how much people were called, beside what they can bear
    Alarms(alarms::AlarmsCommand),
    /// Send readings and all else of a time range to InfluxDB again; what is there stays as it is
    Backfill(influx::BackfillCommand),
    /// What the coming days need by the rearing plan: water, slurry, refills, clay
    Plan(planning::PlanCommand),
    /// The clay on the dry floor: how long it lasts, when to order and how much
    Stock(past::When),
    /// Which checks by hand are overdue, and what the last ones found
    Checks(past::When),
    /// Write into the field log what was done
    ///
    /// Leave out what nobody knows. A correction is a new entry with --replaces and the key of the wrong one.
    Log(LogCommand),
    /// Give this night, or the one that comes, to somebody: they are called first
    Tonight(TonightCommand),
    /// Call nobody for a notice until then, for a reason; what endangers fish can't be shelved
    Shelve(ShelveCommand),
    /// Say "I'm on it" to a notice: it stops being repeated
    Answer(answer::AnswerCommand),
    /// What went to whom, when it arrived, and who answered
    Told(told::ToldCommand),
    /// Whether the room is watched: ends with 0 if so, with 1 if not
    ///
    /// Looks at the age of the newest forecast, in the store or at the broker; for a script, or whoever wonders.
    Status(status::StatusCommand),
    /// Send a test by each way of a contact, and wait for the answer
    ///
    /// Run it as the user that runs Claymark, so that it reads the same secrets and reaches the same devices. It ends with 0
    /// when each way took the test and the contact answered.
    TryContact(try_contact::TryCommand),
}

#[derive(Debug, Args)]
struct SiteFileFlag {
    /// The site file
    #[arg(long, global = true, value_name = "FILE", default_value = DEFAULT_SITE_FILE)]
    config: PathBuf,
}

#[derive(Debug, Args)]
struct CheckCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// Also try whether InfluxDB can be written to and read, and say what to do if not
    #[arg(long)]
    connect: bool,
}

#[derive(Debug, Args)]
struct ReplayCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// The recorded messages: NDJSON, compressed if its name ends in .zst
    #[arg(long, value_name = "FILE")]
    messages: PathBuf,
    /// The folder for the results
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Go on until then (RFC 3339), instead of ending with the last message
    #[arg(long, value_name = "TIME")]
    until: Option<Timestamp>,
}

#[derive(Debug, Args)]
struct LogCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// When it was done: 14:30, "2027-04-20 14:30" or RFC 3339; now, if left out
    #[arg(long, global = true, value_name = "TIME")]
    at: Option<String>,
    /// Who did it
    #[arg(long, global = true, value_name = "NAME")]
    by: Option<String>,
    /// The key of the entry that this one replaces
    #[arg(long, global = true, value_name = "KEY")]
    replaces: Option<String>,
    /// The figures are right as they stand: don't ask about what can hardly be
    #[arg(long, global = true)]
    sure: bool,
    /// Print what was sent as JSON, and not as a sentence
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    kind: entry::EntryKind,
}

#[derive(Debug, Args)]
struct TonightCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// Who is called first: id or name of a contact
    person: String,
    /// Who says so; somebody who gives the night to themselves has confirmed it with that
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Print what was sent as JSON, and not as a sentence
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Args)]
struct ShelveCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    #[command(flatten)]
    shelf: entry::ShelfFlags,
    /// Who says so
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Print what was sent as JSON, and not as a sentence
    #[arg(long)]
    json: bool,
}

impl From<ShelveCommand> for LogCommand {
    fn from(ShelveCommand { site_file, shelf, by, json }: ShelveCommand) -> Self {
        let kind = entry::EntryKind::Shelve(shelf);
        Self { site_file, at: None, by, replaces: None, sure: false, json, kind }
    }
}

impl From<TonightCommand> for LogCommand {
    fn from(TonightCommand { site_file, person, by, json }: TonightCommand) -> Self {
        let kind = entry::EntryKind::Tonight { person };
        Self { site_file, at: None, by, replaces: None, sure: false, json, kind }
    }
}

impl Cli {
    /// Does what was asked for.
    pub fn run(self) -> Result<(), CommandFailure> {
        match self.command {
            Command::Demo(asked) => demo::run(asked),
            Command::Run(SiteFileFlag { config }) => keep_watch(config),
            Command::Check(asked) => check(&asked),
            Command::Backfill(asked) => influx::backfill(&asked),
            Command::Replay(asked) => replay(asked),
            Command::Outlook(asked) => Ok(std::io::stdout().write_all(asked.text()?.as_bytes())?),
            Command::Happened(asked) => Ok(std::io::stdout().write_all(asked.text()?.as_bytes())?),
            Command::Alarms(asked) => Ok(std::io::stdout().write_all(asked.text()?.as_bytes())?),
            Command::Mix(asked) => clay::mix(asked),
            Command::Dose(asked) => clay::dose(asked),
            Command::Wait(asked) => clay::wait(asked),
            Command::Settle(asked) => clay::settle(asked),
            Command::Plan(asked) => planning::plan(asked),
            Command::Stock(asked) => planning::stock(asked),
            Command::Checks(asked) => by_hand::checks(asked),
            Command::Log(log) => write_down(log),
            Command::Tonight(asked) => write_down(asked.into()),
            Command::Shelve(asked) => write_down(asked.into()),
            Command::Answer(asked) => answer::run(asked),
            Command::Told(asked) => told::run(&asked),
            Command::Status(asked) => status::run(&asked),
            Command::TryContact(asked) => try_contact::run(&asked),
        }
    }
}

impl LogCommand {
    fn parts(self, site: &Site, now: Timestamp, key: String) -> Result<(Deed, Signature), CommandFailure> {
        let at = self.at.map(|typed| moment(&typed, now, &site.time_zone)).transpose()?;
        let Self { by, replaces, sure, .. } = self;
        let signature = Signature { key, at: at.unwrap_or(now), by, replaces, sure };
        Ok((self.kind.deed(site, now)?, signature))
    }
}

/// Sends an entry, after asking about what can hardly be meant.
fn write_down(log: LogCommand) -> Result<(), CommandFailure> {
    let settings = config::read(&log.site_file.config, Secrets::Needed)?.settings;
    let (sure, json) = (log.sure, log.json);
    let for_granted = log.kind.takes_unit_of_clay_for_granted();
    let now = TimeSource::system().now();
    let (deed, signature) = log.parts(&settings.site, now, fresh_key())?;
    let at = signature.at;
    asked::figures::possible(&settings.site, &deed, &signature)?;
    if !sure {
        asked::ask(&settings, (&deed, at, now), for_granted)?;
    }
    let told = entry_told(&settings.site, (&deed, &signature), now);
    say(&settings, &Saying::entry(&settings.intake.prefix, &deed, signature), &told, json)?;
    by_hand::comment(&settings, &deed, at)
}

/// Whoever panics takes the whole process down, after a word in the log: half a daemon is worse than none,
/// and the service manager starts a new one.
pub fn abort_on_panic() {
    std::panic::set_hook(Box::new(|panic| {
        tracing::error!("Claymark has a fault and stops: {panic}");
        let said = writeln!(std::io::stderr(), "Claymark has a fault and stops: {panic}");
        // Nobody is left to hear that stderr is closed.
        drop(said);
        std::process::abort();
    }));
}

fn keep_watch(path: PathBuf) -> Result<(), CommandFailure> {
    let settings = config::read(&path, Secrets::Needed)?.settings;
    service::start_log(&settings.log).map_err(RunError::from)?;
    let runtime = tokio::runtime::Runtime::new()?;
    let reload = move || match config::read(&path, Secrets::Needed) {
        Ok(file) => Ok(file.settings),
        Err(ConfigError::Mistakes(mistakes)) => Err(mistakes.render(false)),
        Err(unreadable @ ConfigError::Unreadable { .. }) => Err(unreadable.to_string()),
    };
    let result = runtime.block_on(run::serve(settings, reload));
    // Work that still hangs in a dead disk must not hold the process.
    runtime.shutdown_background();
    Ok(result?)
}

fn check(asked: &CheckCommand) -> Result<(), CommandFailure> {
    let path = &asked.site_file.config;
    let file = config::read(path, Secrets::LookedAt)?;
    let warnings = file.warnings.render(std::io::stderr().is_terminal());
    std::io::stderr().write_all(warnings.as_bytes())?;
    let mut out = std::io::stdout();
    out.write_all(typed::lines(&config::describe(&file.settings)).as_bytes())?;
    let warned = count(file.warnings.len(), "warning");
    writeln!(out, "\n{}: no mistakes, {warned}", path.display())?;
    if asked.connect {
        writeln!(out)?;
        influx::connect(&file.settings)?;
    }
    Ok(())
}

fn replay(asked: ReplayCommand) -> Result<(), CommandFailure> {
    let site = config::read(&asked.site_file.config, Secrets::Left)?.settings;
    let ReplayCommand { messages, out, until, .. } = asked;
    let told = replay::replay(replay::Settings { site, messages, out: out.clone(), until })?;
    writeln!(
        std::io::stdout(),
        "{} gave {}, {} and {}; {} kept aside. See {}.",
        count(told.messages, "message"),
        count(told.readings, "new reading"),
        count(told.forecasts, "forecast"),
        count(told.notices, "notice"),
        count(told.quarantined, "record"),
        out.display(),
    )?;
    Ok(())
}

/// The entry as a sentence, in the site's units and by its clock.
fn entry_told(site: &Site, (deed, signature): (&Deed, &Signature), now: Timestamp) -> String {
    let Signature { key, at, by, replaces, sure: _ } = signature;
    let replaced = replaces.as_ref().map(|key| format!(" It replaces {key}.")).unwrap_or_default();
    let entry = fieldlog::entry(site, now, (deed, *at, by.as_deref()));
    format!("{entry}{replaced} To correct it: --replaces {key}")
}

fn say(settings: &Settings, saying: &Saying, told: &str, json: bool) -> Result<(), CommandFailure> {
    match say::publish(&settings.intake, saying)? {
        Taken::Acknowledged if json => Ok(writeln!(std::io::stdout(), "{}", saying.payload)?),
        Taken::Acknowledged => {
            Ok(writeln!(std::io::stdout(), "The broker has taken this: {}", typed::line(told))?)
        }
        Taken::NobodyListens => Err(CommandFailure::Failed {
            what: format!("nobody listens on {}: what was sent is lost.", saying.topic),
            remedy: "Start Claymark (systemctl start claymark), then send it again.".to_owned(),
        }),
    }
}

/// Long enough that no two entries of a site share one, short enough to be typed for a correction.
fn fresh_key() -> String {
    format!("{:016x}", rand::random::<u64>())
}

const DEFAULT_SITE_FILE: &str = "/etc/claymark/site.toml";

#[cfg(test)]
pub(crate) mod tests;
