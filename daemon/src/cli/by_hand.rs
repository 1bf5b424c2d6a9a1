//! Checks by hand: which are overdue, what they found, and what is said to one that was just written down.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_clay::oxygen;
use claymark_clay::verify::parts::{self, Before, ComparedPair, Parts};
use claymark_clay::verify::{self, Catch, Comparison, Incomparable, Saturation};
use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::site::{Quantity, Sensor, Site};
use claymark_model::units::Celsius;
use claymark_store::{Reader, StoreError};
use claymark_words::{caution, checks};

use super::CommandFailure;
use super::past::{RoomAsOf, When};
use super::planning::{read, say};
use crate::run::Settings;

pub(super) fn checks(asked: When) -> Result<(), CommandFailure> {
    let standing = read(&asked)?;
    let site = &standing.settings.site;
    let overdue = standing.known().overdue_checks(standing.now);
    let late = checks::overdue(site, &overdue, standing.now);
    let mut text = match (site.hand_checks.len(), late.len()) {
        (0, _) => "The site file asks for no check by hand: see [[hand_check]] in the example.\n".to_owned(),
        (all, 0) => format!("All {all} checks by hand were made in time.\n"),
        (all, late) => format!("{late} of {all} checks by hand are overdue.\n"),
    };
    for line in late {
        text += &format!("- {line}\n");
    }
    let doubtful = standing.known().doubtful_catches(standing.now);
    for doubt in &doubtful {
        text += &format!("{}\n", checks::catch_doubt(site, standing.now, doubt));
    }
    text += &found(&standing)?;
    say(&text)
}

/// The last sample that each sensor was held against, and what came of it.
fn found(standing: &RoomAsOf) -> Result<String, StoreError> {
    let (settings, now) = (&standing.settings, standing.now);
    let store = Reader::open(&settings.store)?;
    let mut last: BTreeMap<Id, String> = BTreeMap::new();
    // In order of time: a later sample takes the place of an earlier one.
    for entry in standing.known().remembered().into_iter().filter(|entry| entry.at <= now) {
        let full = saturation_at(&store, &settings.site, &entry.deed, entry.at)?;
        let beyond = verify::beyond_water(&entry.deed, full).is_some();
        for (sensor, compared) in held_against(&store, &settings.site, (&entry.deed, full), entry.at)? {
            let told = checks::difference(
                &settings.site,
                sensor,
                (now, entry.at),
                compared.as_ref().ok().filter(|_| !beyond),
            );
            last.insert(sensor.id.clone(), told);
        }
    }
    if last.is_empty() {
        return Ok(String::new());
    }
    let in_order = settings.site.sensors.iter().filter_map(|sensor| last.get(&sensor.id));
    let lines: String = in_order.map(|line| format!("- {line}\n")).collect();
    Ok(format!("Last held against a hand meter:\n{lines}{}\n", checks::SOURCE))
}

/// Says it, or that the store can't be read from here: the entry is with the broker all the same.
pub(super) fn comment(settings: &Settings, deed: &Deed, at: Timestamp) -> Result<(), CommandFailure> {
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
    if let Deed::FlowCheck { volume: Some(volume), seconds: Some(seconds), .. } = deed {
        return Ok(Catch::of(*volume, *seconds).as_ref().map(checks::catch).unwrap_or_default());
    }
    if matches!(deed, Deed::Delivery { .. }) {
        return Ok(vec![caution::NEW_CLAY.to_owned()]);
    }
    let mut lines = Vec::new();
    if matches!(deed, Deed::GrabSample { .. }) {
        let store = Reader::open(&settings.store)?;
        let full = saturation_at(&store, site, deed, at)?;
        for (sensor, compared) in held_against(&store, site, (deed, full), at)? {
            lines.extend(checks::sample(site, sensor, compared));
            if let Ok(compared) = compared {
                lines.extend(after_a_wipe(&store, site, sensor, (&compared, at))?);
            }
        }
        lines.extend(verify::percent_of_saturation(deed, full).and_then(checks::supersaturated));
        if lines.is_empty() {
            lines.push("No sensor there measures that: there is nothing to hold it against.".to_owned());
        }
    }
    Ok(lines)
}

/// A sensor, and what came of holding a sample against it.
type HeldAgainst<'a> = (&'a Sensor, Result<Comparison, Incomparable>);

/// The sensors that a sample can be held against, each with what came of it; percent of saturation also against a probe
/// of mg/L, by the temperature there.
fn held_against<'a>(
    store: &Reader,
    site: &'a Site,
    (deed, full): (&Deed, Saturation),
    at: Timestamp,
) -> Result<Vec<HeldAgainst<'a>>, StoreError> {
    let own: Vec<&Sensor> = verify::sensors_of(site, deed).collect();
    let (sensors, deed) = match verify::in_mg_per_l(deed, full).filter(|_| own.is_empty()) {
        Some(turned) => (verify::sensors_of(site, &turned).collect(), turned),
        None => (own, deed.clone()),
    };
    let held = |sensor: &'a Sensor| {
        let read = read_near(store, sensor, at)?;
        Ok((sensor, verify::compare(sensor, &deed, read).unwrap_or(Err(Incomparable::Silent))))
    };
    sensors.into_iter().map(held).collect()
}

/// The oxygen that the water of a sample can hold then; `None` where its temperature isn't known, or no store is at hand.
pub(super) fn saturation(settings: &Settings, deed: &Deed, at: Timestamp) -> Saturation {
    let store = Reader::open(&settings.store).ok()?;
    saturation_at(&store, &settings.site, deed, at).ok()?
}

fn saturation_at(store: &Reader, site: &Site, deed: &Deed, at: Timestamp) -> Result<Saturation, StoreError> {
    let Deed::GrabSample { place: Some(place), .. } = deed else { return Ok(None) };
    let there = |sensor: &&Sensor| sensor.place == *place && sensor.quantity == Quantity::Temperature;
    let Some(sensor) = site.sensors.iter().find(there) else { return Ok(None) };
    let water = read_within(store, sensor, at, verify::NEAR_IN_TEMPERATURE)?;
    Ok(water.and_then(|water| oxygen::saturation_mg_l(Celsius(water), oxygen::pressure_at(site.elevation_m))))
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
    let after = ComparedPair { hand: compared.hand, sensor: compared.sensor };
    let found = Parts::of(ComparedPair { hand: before.hand, sensor: read }, after);
    Ok(checks::parts(site, sensor, before.wiped_at, (found, compared.allowed)))
}

/// The middle of the sensor's usable readings about that time; of one that speaks rarely its last one counts.
fn read_near(store: &Reader, sensor: &Sensor, at: Timestamp) -> Result<Option<f64>, StoreError> {
    read_within(store, sensor, at, verify::NEAR.max(sensor.every))
}

fn read_within(
    store: &Reader,
    sensor: &Sensor,
    at: Timestamp,
    near: SignedDuration,
) -> Result<Option<f64>, StoreError> {
    let known = store.sensors()?.into_iter().find(|known| known.in_site && known.id == sensor.id);
    let Some(known) = known else { return Ok(None) };
    let reach = near + SignedDuration::from_secs(1);
    let mut readings = Vec::new();
    for reading in store.readings(&[known.key], at - reach, at + reach) {
        let reading = reading?;
        if reading.flag.usable() {
            readings.push((reading.reading.at, reading.reading.value));
        }
    }
    Ok(verify::read_near(&readings, at, near))
}

#[cfg(test)]
mod tests {
    use claymark_model::fieldlog::LogEntry;
    use claymark_model::id::Id;
    use claymark_model::site::Place;
    use claymark_store::Writer;
    use claymark_store::batch::CommitBatch;

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
    fn percent_of_saturation_is_held_against_the_tanks_probe_with_its_caution() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        let at: Timestamp = "2027-04-17T12:00:00Z".parse().unwrap();
        let by_hand = |percent| Deed::GrabSample {
            place: Some(Place::Tank(Id::new("t1").unwrap())),
            quantity: Some("oxygen_saturation".to_owned()),
            value: Some(percent),
            unit: Some("%".to_owned()),
        };
        let told = |percent| verdict(&settings, &by_hand(percent), at).unwrap().join(" ");
        let much = told(116.0);
        assert!(much.contains("mg/L; the oxygen of") && much.contains("USGS"), "{much}");
        assert!(much.contains("By hand that is 116 % of saturation, more than 105 %."), "{much}");
        assert!(!told(90.0).contains("saturation, more than"), "{}", told(90.0));
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
        let batch =
            CommitBatch { log: vec![entry(sampled, before), entry(wiped, wipe)], ..CommitBatch::default() };
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
