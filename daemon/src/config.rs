//! The site file: read, checked, and turned into each module's settings.
//!
//! All mistakes are reported at once. The file's own structure stays in here: what leaves are checked
//! settings, and secrets only inside the one setting that needs them.

mod broker;
mod calls;
mod fish;
mod influx;
mod keeping;
mod list;
mod mistake;
mod people;
mod quality;
mod replies;
mod room;
mod roster;
mod secrets;
mod sensors;
mod sign_of_life;
mod stock;
mod summary;
mod table;
mod topics;
mod value;
mod vessels;
mod ways;

use std::path::{Path, PathBuf};

use toml::de::DeTable;

use claymark_model::site::Site;

use self::mistake::Findings;
pub use self::mistake::Mistakes;
use self::replies::ReplyMailbox;
pub use self::secrets::Secrets;
use self::sensors::SoundSensors;
pub use self::summary::describe;
use self::table::Table;
use crate::run::Settings;
use crate::{decode, intake, notify};

/// A site file without mistakes.
pub struct SiteFile {
    /// What the daemon runs on.
    pub settings: Settings,
    /// What is allowed, but people should know.
    pub warnings: Mistakes,
}

/// Why there are no settings.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file can't be read at all.
    #[error("the site file {path} can't be read: {source}")]
    Unreadable {
        /// Which.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// It can be read, but not used.
    #[error("the site file has {} to mend", count(.0.len(), "mistake"))]
    Mistakes(Mistakes),
}

/// What a site file refers to, and what it is called.
#[derive(Debug, Clone)]
pub struct Surroundings {
    /// For messages.
    pub name: String,
    /// Relative paths start here.
    pub folder: PathBuf,
    /// Where the service manager has put credentials.
    pub credentials: Option<PathBuf>,
    /// What to do about passwords.
    pub secrets: Secrets,
}

/// Reads and checks the file at `path`.
pub fn read(path: &Path, secrets: Secrets) -> Result<SiteFile, ConfigError> {
    let unreadable = |source| ConfigError::Unreadable { path: path.to_owned(), source };
    let text = std::fs::read_to_string(path).map_err(unreadable)?;
    let folder = std::path::absolute(path).map_err(unreadable)?;
    let around = Surroundings {
        name: path.display().to_string(),
        folder: folder.parent().map(Path::to_owned).unwrap_or(folder),
        credentials: std::env::var_os("CREDENTIALS_DIRECTORY").map(PathBuf::from),
        secrets,
    };
    parse(&text, &around).map_err(ConfigError::Mistakes)
}

/// Checks the text of a site file; it may name files, which are looked at.
pub fn parse(text: &str, around: &Surroundings) -> Result<SiteFile, Mistakes> {
    let (document, syntax_errors) = DeTable::parse_recoverable(text);
    let shown = secrets::paint_over(text, document.get_ref());
    let findings = Findings::new(&syntax_errors, text);
    let settings = settings(Table::whole(&findings, document.get_ref()), around);
    let (mistakes, warnings) = findings.into_parts();
    match settings {
        Some(settings) if mistakes.is_empty() => {
            Ok(SiteFile { settings, warnings: Mistakes::new(&around.name, &shown, warnings) })
        }
        Some(_) | None => Err(Mistakes::new(&around.name, &shown, mistakes)),
    }
}

/// `3 mistakes`, `1 mistake`.
pub(crate) fn count<N: TryInto<u64>>(number: N, thing: &str) -> String {
    let number = number.try_into().unwrap_or(u64::MAX);
    format!("{number} {thing}{}", if number == 1 { "" } else { "s" })
}

fn settings(file: Table<'_>, around: &Surroundings) -> Option<Settings> {
    let Described { site, sensors } = describe_site(&file);
    let broker = broker::broker(&file, around);
    if let Some(broker) = &broker {
        topics::check(file.findings, broker, &sensors);
    }
    let people = people::people(&file, around);
    let replies = replies::replies(&file, around);
    let keeping = keeping::keeping(&file, around);
    let forward = influx::influx(&file, around);
    let sign_of_life = sign_of_life::sign_of_life(&file, around);
    let (people_at, findings) = (file.key_span("contact"), file.findings);
    file.finish();

    let (site, people, keeping, forward) = (site?, people?, keeping?, forward?);
    let (replies, codes) = replies?.map(|ReplyMailbox { settings, codes }| (settings, codes)).unzip();
    let site = Site { contacts: people.contacts, ..site };
    roster::check_covered(findings, people_at, &site);
    let intake: intake::Settings = broker?.settings;
    Some(Settings {
        site,
        store: keeping.store,
        gather: keeping.gather,
        decode: decode::Settings {
            bindings: sensors.bound.into_iter().map(|bound| bound.binding).collect(),
            prefix: intake.prefix.clone(),
        },
        notify: notify::Settings {
            smtp: people.smtp,
            addresses: people.addresses,
            prefix: intake.prefix.clone(),
            replies: codes,
        },
        replies,
        sign_of_life: sign_of_life?,
        intake,
        record: keeping.record,
        forward,
        metrics: keeping.metrics,
        page: keeping.page,
        log: keeping.log,
    })
}

/// The room and what stands in it.
struct Described {
    /// Without the contacts; `None` after a mistake.
    site: Option<Site>,
    sensors: SoundSensors,
}

fn describe_site(file: &Table<'_>) -> Described {
    let general = room::general(file);
    let staff = room::staff(file);
    let units = room::units(file);
    let water = room::water(file);
    let clay = room::clay(file);
    let vessels = vessels::vessels(file, clay.as_ref());
    let batches = fish::batches(file, &vessels);
    let hand_checks = fish::hand_checks(file, &vessels);
    let stock = stock::stock(file);
    let calls = calls::calls(file);
    let sensors = sensors::sensors(file, &vessels);
    sensors::check_drums(file.findings, &vessels, &sensors);
    let site = || {
        let general = general?;
        Some(Site {
            id: general.id,
            name: general.name,
            time_zone: general.time_zone,
            elevation_m: general.elevation_m,
            units,
            staff: staff?,
            water: water?,
            batches,
            stock,
            hand_checks,
            clay: clay?,
            pumps: vessels.pumps.things,
            drums: vessels.drums.things,
            head_tank: vessels.head_tank?,
            tanks: vessels.tanks.things,
            sensors: sensors.bound.iter().map(|bound| bound.binding.sensor.clone()).collect(),
            contacts: Vec::new(),
            calls,
        })
    };
    Described { site: site(), sensors }
}

#[cfg(test)]
mod tests;
