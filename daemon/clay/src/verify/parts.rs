//! What a wipe changed, and what it left: fouling and drift, told by a sample before the wipe and one after it.

use jiff::{SignedDuration, Timestamp};

use super::{by_hand, sensors_of};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::site::{Sensor, Site};

/// The two parts of what a sensor was off before it was wiped, in its base unit: to be added to its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parts {
    /// By dirt: gone with the wipe.
    pub fouling: f64,
    /// By the sensor itself: still there when it is clean.
    pub drift: f64,
}

/// A hand value, and what the sensor read about then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComparedPair {
    /// By hand.
    pub hand: f64,
    /// By the sensor.
    pub sensor: f64,
}

/// The last sample before the last wipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Before {
    /// When it was taken.
    pub at: Timestamp,
    /// By hand, in the sensor's base unit.
    pub hand: f64,
    /// When the sensor was wiped.
    pub wiped_at: Timestamp,
}

impl Parts {
    /// Ef = (after - before) - (field end - field start), Ed = standard - reading of the clean sensor (USGS TM 1-D3;
    /// the signs from memory). The hand meter stands for the field meter and for the standard: what it is wrong by
    /// counts as drift.
    #[must_use]
    pub fn of(before: ComparedPair, after: ComparedPair) -> Self {
        let fouling = (after.sensor - before.sensor) - (after.hand - before.hand);
        Self { fouling, drift: after.hand - after.sensor }
    }
}

impl Before {
    /// What a sample of `at` can be held against: both within [`TOGETHER`], the wipe between them. `log` holds what was
    /// written down up to then.
    #[must_use]
    pub fn of(site: &Site, sensor: &Sensor, log: &[LogEntry], at: Timestamp) -> Option<Self> {
        let in_force =
            |entry: &&LogEntry| !log.iter().any(|other| other.replaces.as_ref() == Some(&entry.key));
        let lately = || {
            let near = |entry: &&LogEntry| entry.at < at && at.duration_since(entry.at) <= TOGETHER;
            log.iter().filter(near).filter(in_force)
        };
        let wipes = lately()
            .filter(|entry| matches!(&entry.deed, Deed::Wipe { sensor: Some(wiped) } if *wiped == sensor.id));
        let wiped_at = wipes.map(|entry| entry.at).max()?;
        let samples = lately().filter(|entry| entry.at <= wiped_at).filter_map(|entry| {
            let mine = sensors_of(site, &entry.deed).any(|sampled| sampled.id == sensor.id);
            Some((entry.at, by_hand(sensor, &entry.deed)??)).filter(|_| mine)
        });
        let (at, hand) = samples.max_by_key(|(at, _)| *at)?;
        Some(Self { at, hand, wiped_at })
    }
}

/// Samples further apart are of another water and another state of the sensor (our own choice).
pub const TOGETHER: SignedDuration = SignedDuration::from_hours(4);

#[cfg(test)]
mod tests {
    use super::*;
    use claymark_model::id::Id;
    use claymark_model::site::{Place, Quantity};

    #[test]
    fn fouling_is_what_the_wipe_changed_and_drift_what_it_left() {
        // Read 48, then 52, while the water itself went from 49.5 to 50: 3.5 by dirt; 2 more than 50 by drift.
        let parts =
            Parts::of(ComparedPair { hand: 49.5, sensor: 48.0 }, ComparedPair { hand: 50.0, sensor: 52.0 });
        assert!((parts.fouling - 3.5).abs() < 1e-12 && (parts.drift - -2.0).abs() < 1e-12, "{parts:?}");
        // Both together are what the sensor was off before.
        assert!((parts.fouling + parts.drift - (49.5 - 48.0)).abs() < 1e-12);
    }

    #[test]
    fn a_sample_is_held_against_the_last_one_before_the_last_wipe_of_that_sensor() {
        let place = Place::Tank(claymark_invented::id("t1"));
        let sensors = vec![claymark_invented::sensor("t1-ntu", place, Quantity::Turbidity)];
        let site = Site { sensors, ..claymark_invented::site() };
        let noon: Timestamp = "2027-04-20T12:00:00Z".parse().unwrap();
        let at = |minutes| noon + SignedDuration::from_mins(minutes);
        let entry = |minutes, deed| LogEntry {
            key: format!("{minutes}"),
            at: at(minutes),
            received_at: at(minutes),
            by: None,
            replaces: None,
            deed,
        };
        let sample = |minutes, value, unit: &str| {
            let (quantity, unit) = (Some("turbidity".to_owned()), Some(unit.to_owned()));
            let place = Some(Place::Tank(Id::new("t1").unwrap()));
            entry(minutes, Deed::GrabSample { place, quantity, value: Some(value), unit })
        };
        let mut elsewhere = sample(-60, 58.0, "NTU");
        if let Deed::GrabSample { place, .. } = &mut elsewhere.deed {
            *place = Some(Place::Head);
        }
        let wipe = |minutes, sensor| entry(minutes, Deed::Wipe { sensor: Some(Id::new(sensor).unwrap()) });
        let of = |log: &[LogEntry]| Before::of(&site, &site.sensors[0], log, at(0)).map(|found| found.hand);
        let usual = [sample(-90, 55.0, "NTU"), sample(-60, 58.0, "NTU"), wipe(-50, "t1-ntu")];
        assert_eq!(of(&usual), Some(58.0));
        assert_eq!(Before::of(&site, &site.sensors[0], &usual, at(0)).unwrap().wiped_at, at(-50));
        for (log, why) in [
            (vec![sample(-60, 58.0, "NTU")], "no wipe"),
            (vec![sample(-60, 58.0, "NTU"), wipe(-50, "head-ntu")], "another sensor was wiped"),
            (vec![wipe(-50, "t1-ntu"), sample(-30, 58.0, "NTU")], "no sample before the wipe"),
            (vec![sample(-60, 58.0, "FNU"), wipe(-50, "t1-ntu")], "another unit"),
            (vec![elsewhere, wipe(-50, "t1-ntu")], "another place"),
            (vec![sample(-250, 58.0, "NTU"), wipe(-50, "t1-ntu")], "too long ago"),
        ] {
            assert_eq!(of(&log), None, "{why}");
        }
        let corrected = LogEntry { replaces: Some("-60".to_owned()), ..sample(-59, 62.0, "NTU") };
        assert_eq!(of(&[sample(-60, 58.0, "NTU"), corrected, wipe(-50, "t1-ntu")]), Some(62.0));
    }
}
