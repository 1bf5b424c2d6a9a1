//! `claymark plan`, `stock`, `checks`: the days ahead, the clay on the floor, and checks by hand.

use std::io::Write as _;

use clap::Args;
use jiff::{SignedDuration, Timestamp};

use claymark_core::fieldlog::Deed;
use claymark_core::site::{Sensor, Site};
use claymark_core::verify::parts::{self, Before, Pair, Parts};
use claymark_core::verify::{self, Catch, Comparison, Incomparable};
use claymark_store::{Reader, StoreError};
use claymark_words::{caution, checks, planning, stock};

use super::past::Standing;
use super::{Failure, SiteFile};
use crate::run::Settings;

/// The days ahead.
#[derive(Debug, Args)]
pub(super) struct Plan {
    #[command(flatten)]
    when: When,
    /// How many days, today included
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(i32).range(1..=60))]
    days: i32,
}

/// The room as it stands, or as it stood.
#[derive(Debug, Args)]
pub(super) struct When {
    #[command(flatten)]
    site_file: SiteFile,
    /// As it stood then: 14:30, "2027-04-20 14:30" or RFC 3339; now, if left out
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

pub(super) fn plan(asked: Plan) -> Result<(), Failure> {
    let standing = read(&asked.when)?;
    let days = standing.room().days_ahead(standing.now, asked.days);
    say(&planning::page(&standing.settings.site, standing.room().clouding().as_ref(), &days))
}

pub(super) fn stock(asked: When) -> Result<(), Failure> {
    let standing = read(&asked)?;
    let site = &standing.settings.site;
    if site.stock.is_none() {
        return Err(Failure::Wrong {
            what: "the site file has no [stock].".to_owned(),
            remedy: "Count the bags and write them there, as the example site file shows.".to_owned(),
        });
    }
    let Some(known) = standing.room().stock(standing.now) else {
        return Err(Failure::Failed {
            what: "how much clay will be used isn't known.".to_owned(),
            remedy: "Write ntu_per_mg_l under [clay] and a [[batch]] with its plan, or log the clay of a week of refills."
                .to_owned(),
        });
    };
    say(&stock::page(site, &known, site.date_at(standing.now)))
}

pub(super) fn checks(asked: When) -> Result<(), Failure> {
    let standing = read(&asked)?;
    let site = &standing.settings.site;
    let overdue = standing.room().overdue_checks(standing.now);
    let late = checks::overdue(site, &overdue, standing.now);
    let mut text = match (site.hand_checks.len(), late.len()) {
        (0, _) => "The site file asks for no check by hand: see [[hand_check]] in the example.\n".to_owned(),
        (all, 0) => format!("All {all} checks by hand were made in time.\n"),
        (all, late) => format!("{late} of {all} checks by hand are overdue.\n"),
    };
    for line in late {
        text += &format!("- {line}\n");
    }
    say(&text)
}

/// Says it, or that the store can't be read from here: the entry is with the broker all the same.
pub(super) fn comment(settings: &Settings, deed: &Deed, at: Timestamp) -> Result<(), Failure> {
    match verdict(settings, deed, at) {
        Ok(lines) => say(&lines.into_iter().map(|line| line + "\n").collect::<String>()),
        Err(why) => say(&format!("It can't be held against the sensor from here: {why}.\n")),
    }
}

/// What is said to what was just written down: a check by hand is judged, a delivery has its caution.
///
/// The sensor's value is shown only now, so that nobody reads it off before measuring.
fn verdict(settings: &Settings, deed: &Deed, at: Timestamp) -> Result<Vec<String>, StoreError> {
    let site = &settings.site;
    match deed {
        Deed::FlowCheck { volume: Some(volume), seconds: Some(seconds), .. } => {
            Ok(Catch::of(*volume, *seconds).as_ref().map(checks::catch).unwrap_or_default())
        }
        Deed::Delivery { .. } => Ok(vec![caution::NEW_CLAY.to_owned()]),
        Deed::GrabSample { .. } => {
            let store = Reader::open(&settings.store)?;
            let mut lines = Vec::new();
            for sensor in verify::sensors_of(site, deed) {
                let read = read_near(&store, sensor, at)?;
                let compared = verify::compare(sensor, deed, read).unwrap_or(Err(Incomparable::Silent));
                lines.extend(checks::sample(site, sensor, compared));
                if let Ok(compared) = compared {
                    lines.extend(after_a_wipe(&store, site, sensor, (&compared, at))?);
                }
            }
            Ok(lines)
        }
        Deed::FlowCheck { .. }
        | Deed::Refill { .. }
        | Deed::PumpSetting { .. }
        | Deed::InUse { .. }
        | Deed::Cleaning { .. }
        | Deed::Dip { .. }
        | Deed::Wipe { .. }
        | Deed::TubeChange { .. }
        | Deed::ClogCleared { .. }
        | Deed::Fish { .. }
        | Deed::Note { .. } => Ok(Vec::new()),
    }
}

/// Where the sensor was wiped and sampled shortly before: which part of the difference was dirt.
fn after_a_wipe(
    store: &Reader,
    site: &Site,
    sensor: &Sensor,
    (compared, at): (&Comparison, Timestamp),
) -> Result<Vec<String>, StoreError> {
    let log = store.log(at - parts::TOGETHER, at)?;
    let Some(before) = Before::of(site, sensor, &log, at) else { return Ok(Vec::new()) };
    let Some(read) = read_near(store, sensor, before.at)? else { return Ok(Vec::new()) };
    let after = Pair { hand: compared.hand, sensor: compared.sensor };
    let found = Parts::of(Pair { hand: before.hand, sensor: read }, after);
    Ok(checks::parts(site, sensor, before.wiped_at, (found, compared.allowed)))
}

/// The middle of the sensor's usable readings about that time.
fn read_near(store: &Reader, sensor: &Sensor, at: Timestamp) -> Result<Option<f64>, StoreError> {
    let known = store.sensors()?.into_iter().find(|known| known.in_site && known.id == sensor.id);
    let Some(known) = known else { return Ok(None) };
    let reach = verify::NEAR + SignedDuration::from_secs(1);
    let mut readings = Vec::new();
    for reading in store.readings(&[known.key], at - reach, at + reach) {
        let reading = reading?;
        if reading.flag.usable() {
            readings.push((reading.reading.at, reading.reading.value));
        }
    }
    Ok(verify::read_near(&readings, at))
}

fn read(when: &When) -> Result<Standing, Failure> {
    let standing = Standing::read(&when.site_file.config, when.at.as_deref())?;
    if let Some(stale) = standing.stale() {
        writeln!(std::io::stderr(), "{stale}")?;
    }
    Ok(standing)
}

fn say(text: &str) -> Result<(), Failure> {
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use claymark_core::fieldlog::LogEntry;
    use claymark_core::id::Id;
    use claymark_core::site::Place;
    use claymark_store::Writer;
    use claymark_store::batch::Batch;

    use super::*;
    use crate::cli::past::tests::day;

    fn sample(value: f64) -> Deed {
        Deed::GrabSample {
            place: Some(Place::Tank(Id::new("t1").unwrap())),
            quantity: Some("turbidity".to_owned()),
            value: Some(value),
            unit: Some("NTU".to_owned()),
        }
    }

    #[test]
    fn a_sample_after_a_wipe_tells_dirt_from_drift() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        let [sampled, wiped, again]: [Timestamp; 3] =
            ["2027-04-17T12:00:00Z", "2027-04-17T12:05:00Z", "2027-04-17T12:40:00Z"]
                .map(|at| at.parse().unwrap());
        let sensor = verify::sensors_of(&settings.site, &sample(0.0)).next().unwrap();
        let read = |at| {
            let store = Reader::open(&settings.store).unwrap();
            read_near(&store, sensor, at).unwrap().unwrap()
        };
        // Six too low before the wipe, one too low after it, whatever the water did meanwhile.
        let (before, after) = (sample(read(sampled) + 6.0), sample(read(again) + 1.0));
        let alone = verdict(&settings, &after, again).unwrap().join("\n");
        assert!(!alone.contains("Before it was wiped"), "{alone}");
        let entry =
            |at, deed| LogEntry { key: format!("{at}"), at, received_at: at, by: None, replaces: None, deed };
        let wipe = Deed::Wipe { sensor: Some(sensor.id.clone()) };
        let batch = Batch { log: vec![entry(sampled, before), entry(wiped, wipe)], ..Batch::default() };
        Writer::open(&settings.store, &settings.site).unwrap().commit(&batch).unwrap();
        let told = verdict(&settings, &after, again).unwrap().join(" ");
        assert!(
            told.contains(
                "Before it was wiped at 15:05 dirt made it read 5.0 NTU too low; the sensor itself still reads 1.0 NTU too \
                 low. Dirt is the larger part"
            ),
            "{told}"
        );
    }
}
