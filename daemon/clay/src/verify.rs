//! Checks by hand against the sensors: bucket and watch, hand meters, and which of them are overdue.
//!
//! Differences are judged as the USGS judges continuous water-quality monitors (`criteria`): a correction is due when
//! fouling and drift together exceed one criterion, the record is rated by others, and beyond a third the data aren't used.
//! Claymark suggests a correction and never applies one.

mod criteria;
pub mod parts;

use criteria::{Criteria, Criterion};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use claymark_model::fieldlog::Deed;
use claymark_model::ledger::Ledger;
use claymark_model::routine::{HandCheck, Overdue};
use claymark_model::site::{Place, Quantity, Sensor, Site};
use claymark_model::units::{Dimension, Litres, LitresPerMinute, MilligramsPerLitre, Percent, Unit};

/// The checks that are due or overdue, in the order of the site file.
#[must_use]
pub fn overdue(site: &Site, ledger: &Ledger, now: Timestamp) -> Vec<Overdue> {
    let last =
        |check: &HandCheck| ledger.entries().filter(|entry| check.is_made_by(entry)).map(|e| e.at).max();
    let late = |check: &HandCheck| {
        let last = last(check);
        let due = last.is_none_or(|last| now.duration_since(last) > check.every);
        due.then(|| Overdue { check: check.clone(), last })
    };
    site.hand_checks.iter().filter_map(late).collect()
}

/// A flow that was caught with cylinder or bucket and a watch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Catch {
    /// How much flowed.
    pub flow: LitresPerMinute,
    /// One standard deviation of it.
    pub sd: LitresPerMinute,
    /// How long such a catch should last at least, seconds; `None`: it was long enough.
    pub catch_for_s: Option<f64>,
}

impl Catch {
    /// u = q √((uV/V)² + (ut/t)²): reading the cylinder and pressing the watch are independent.
    ///
    /// The cylinder is read to 1 % or 5 mL, whichever is more, the watch to half a second at each end, so that a
    /// catch of 20 s is wrong by 5 % (common practice, no source). `None` when nothing or no time was caught.
    #[must_use]
    pub fn of(volume: Litres, seconds: f64) -> Option<Self> {
        let flow = LitresPerMinute::caught(volume, seconds).filter(|flow| flow.0 > 0.0)?;
        let by_volume = CYLINDER_SHARE.max(CYLINDER.0 / volume.0);
        let share = by_volume.hypot(WATCH_S / seconds);
        let long_enough = share <= SURE_ENOUGH;
        // At twice the time the cylinder holds twice as much; it must hold a fair volume, too.
        let for_watch = WATCH_S / WATCH_SHARE;
        let for_volume = CYLINDER.0 / CYLINDER_SHARE / (volume.0 / seconds);
        Some(Self {
            flow,
            sd: flow * share,
            catch_for_s: (!long_enough).then_some(for_watch.max(for_volume)),
        })
    }
}

/// How good the sensor's readings are, by the difference (the ratings of USGS TM 1-D3, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Grade {
    /// The best there is.
    Excellent,
    /// A little off.
    Good,
    /// Look after the sensor.
    Fair,
    /// Mend the sensor.
    Poor,
    /// Beyond correcting: don't use it.
    Unusable,
}

/// A hand value against the sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// By hand.
    pub hand: f64,
    /// By the sensor at that time.
    pub sensor: f64,
    /// What would have to be added to the sensor's readings: suggested, never applied.
    pub correction: f64,
    /// Up to here nothing need be corrected.
    pub allowed: f64,
    /// Beyond here nothing can be.
    pub usable: f64,
    /// How good the sensor is; says nothing of whether a correction is due.
    pub grade: Grade,
}

impl Comparison {
    /// Both in the base unit of `quantity`; `None` where the USGS has no criterion.
    #[must_use]
    pub fn of(quantity: Quantity, hand: f64, sensor: f64) -> Option<Self> {
        let criteria = Criteria::of(quantity)?;
        let [excellent, good, fair] = criteria.rating;
        let correction = hand - sensor;
        let beyond = |step: Criterion| correction.abs() > step.at(hand) + ROUNDING;
        let grade = match () {
            () if beyond(criteria.most_allowable) => Grade::Unusable,
            () if beyond(fair) => Grade::Poor,
            () if beyond(good) => Grade::Fair,
            () if beyond(excellent) => Grade::Good,
            () => Grade::Excellent,
        };
        let (allowed, usable) = (criteria.correction.at(hand), criteria.most_allowable.at(hand));
        Some(Self { hand, sensor, correction, allowed, usable, grade })
    }

    /// Whether the sensor is so far off that its readings would have to be corrected.
    #[must_use]
    pub fn is_due(&self) -> bool {
        self.correction.abs() > self.allowed + ROUNDING
    }
}

/// The sensors that a hand meter's sample can be held against: those at its place that measure the same.
pub fn sensors_of<'a>(site: &'a Site, deed: &Deed) -> impl Iterator<Item = &'a Sensor> {
    let sampled = if let Deed::GrabSample { place: Some(place), quantity: Some(quantity), .. } = deed {
        Some((place.clone(), quantity.clone()))
    } else {
        None
    };
    site.sensors.iter().filter(move |sensor| {
        let same = |(place, quantity): &(Place, String)| {
            sensor.place == *place && sensor.quantity.name() == quantity
        };
        sampled.as_ref().is_some_and(same)
    })
}

/// The oxygen that the water of a sample can hold in balance with the air, where its temperature is known.
pub type Saturation = Option<MilligramsPerLitre>;

/// Of a sample of oxygen with its figures: its percentage of `full`, the saturation.
#[must_use]
pub fn percent_of_saturation(deed: &Deed, full: Saturation) -> Option<Percent> {
    let Deed::GrabSample { quantity: Some(quantity), value: Some(value), unit: Some(unit), .. } = deed else {
        return None;
    };
    let unit = Unit::parse(unit).ok()?;
    let value = unit.to_base(*value);
    match (Quantity::parse(quantity)?, unit.dimension()) {
        (Quantity::OxygenSaturation, Dimension::Share) => Some(Percent(value)),
        (Quantity::Oxygen, Dimension::Concentration) => Some(Percent(Unit::Ratio.to_base(value / full?.0))),
        (_, _) => None,
    }
}

/// A sample of percent saturation as mg/L, for a probe that tells those: by `full`, the saturation at its temperature.
#[must_use]
pub fn in_mg_per_l(deed: &Deed, full: Saturation) -> Option<Deed> {
    let Deed::GrabSample { place, quantity: Some(quantity), .. } = deed else { return None };
    if Quantity::parse(quantity) != Some(Quantity::OxygenSaturation) {
        return None;
    }
    let Percent(percent) = percent_of_saturation(deed, full)?;
    Some(Deed::GrabSample {
        place: place.clone(),
        quantity: Some(Quantity::Oxygen.name().to_owned()),
        value: Some(full?.0 * Unit::Ratio.from_base(percent)),
        unit: Some(Unit::MilligramPerLitre.symbol().to_owned()),
    })
}

/// What no water that fish live in shows: by hand it was a slip, of the figure or of its unit. In base units, the bound
/// that is passed; `None`: it can be.
///
/// Above freezing and under 40 °C; oxygen under three times saturation, at 0 °C where the temperature isn't known (our
/// own choice: supersaturated water in rearing rarely passes one and a half times).
#[must_use]
pub fn beyond_water(deed: &Deed, full: Saturation) -> Option<f64> {
    let Deed::GrabSample { quantity: Some(quantity), value: Some(value), unit: Some(unit), .. } = deed else {
        return None;
    };
    let value = Unit::parse(unit).ok()?.to_base(*value);
    let outside = |low: f64, high: f64| match () {
        () if value < low => Some(low),
        () if value > high => Some(high),
        () => None,
    };
    match Quantity::parse(quantity)? {
        Quantity::Temperature => outside(FREEZING_C, WARMEST_C),
        Quantity::Oxygen => outside(0.0, full.map_or(FULL_AT_FREEZING_MG_L, |full| full.0) * MOST_SATURATED),
        Quantity::OxygenSaturation => outside(0.0, Unit::Ratio.to_base(MOST_SATURATED)),
        Quantity::Turbidity => outside(0.0, f64::MAX),
        Quantity::Level
        | Quantity::Distance
        | Quantity::Volume
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => None,
    }
}

/// A hand meter's sample against what `sensor` read about that time; `None`: it isn't a sample with its figures.
#[must_use]
pub fn compare(sensor: &Sensor, deed: &Deed, read: Option<f64>) -> Option<Result<Comparison, Incomparable>> {
    let sampled = by_hand(sensor, deed)?;
    Some(match (sampled, read) {
        (None, _) => Err(Incomparable::OtherUnit),
        (Some(_), None) => Err(Incomparable::Silent),
        (Some(hand), Some(read)) => {
            Comparison::of(sensor.quantity, hand, read).ok_or(Incomparable::NoCriterion)
        }
    })
}

/// The hand value of a sample in the sensor's base unit, `Some(None)` in another that can't be turned into it; `None`:
/// it isn't a sample with its figures.
fn by_hand(sensor: &Sensor, deed: &Deed) -> Option<Option<f64>> {
    let Deed::GrabSample { value: Some(value), unit: Some(unit), .. } = deed else { return None };
    let same = Unit::parse(unit).ok().filter(|unit| unit.dimension() == sensor.unit.dimension());
    Some(same.map(|unit| unit.to_base(*value)))
}

/// Why a hand value and a sensor can't be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Incomparable {
    /// NTU and FNU aren't the same, and neither are mg/L and percent.
    OtherUnit,
    /// No usable reading near that time.
    Silent,
    /// Nothing published says how far they may lie apart.
    NoCriterion,
}

/// The middle of what a sensor said as `near` to `at` as that; `None`: nothing usable.
#[must_use]
pub fn read_near(readings: &[(Timestamp, f64)], at: Timestamp, near: SignedDuration) -> Option<f64> {
    let near = readings.iter().filter(|(time, _)| time.duration_since(at).abs() <= near);
    let mut values: Vec<f64> = near.map(|(_, value)| *value).collect();
    values.sort_unstable_by(f64::total_cmp);
    let (lower, upper) = (values.len().checked_sub(1)? / 2, values.len() / 2);
    Some(f64::midpoint(*values.get(lower)?, *values.get(upper)?))
}

/// The temperature of water in tanks moves so slowly that it may be this old (our own choice).
pub const NEAR_IN_TEMPERATURE: SignedDuration = SignedDuration::from_mins(30);

/// So far from a hand value a reading is still of the same water: tanks change more slowly.
pub const NEAR: SignedDuration = SignedDuration::from_mins(6);

const FREEZING_C: f64 = 0.0;
const WARMEST_C: f64 = 40.0;
const MOST_SATURATED: f64 = 3.0;
/// Benson and Krause at 0 °C and 1 atm, as in `oxygen`.
const FULL_AT_FREEZING_MG_L: f64 = 14.62;
const CYLINDER_SHARE: f64 = 0.01;
const CYLINDER: Litres = Litres(0.005);
const WATCH_S: f64 = 1.0;
/// A catch that is surer than this is long enough (our own choice: half of what wear of a tube shows in a week).
const SURE_ENOUGH: f64 = 0.03;
/// The share of a suggested catch that may be the watch's.
const WATCH_SHARE: f64 = 0.02;
/// A difference that is typed with one decimal mustn't fail by the last bit.
const ROUNDING: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;
    use claymark_model::fieldlog::LogEntry;
    use claymark_model::id::Id;

    #[test]
    fn a_short_catch_is_told_how_long_it_should_be() {
        // 500 mL at 209 mL/min take 144 s (500/209 min); 20 s are wrong by 5 % through the watch alone.
        let catch = Catch::of(Litres(0.5), 500.0 / 209.0 * 60.0).unwrap();
        assert!((catch.flow.0 - 0.209).abs() < 1e-12);
        assert!((catch.sd.0 / catch.flow.0 - 0.0122).abs() < 1e-4, "√(0.01² + (1/143.5)²)");
        assert_eq!(catch.catch_for_s, None);
        let short = Catch::of(Litres(0.0697), 20.0).unwrap();
        assert!((short.sd.0 / short.flow.0 - 0.0876).abs() < 1e-3, "√(0.0717² + 0.05²)");
        assert!((short.catch_for_s.unwrap() - 143.5).abs() < 0.1, "until 500 mL are caught");
        assert_eq!(Catch::of(Litres(0.5), 0.0), None);
        assert_eq!(Catch::of(Litres(0.0), 60.0), None);
    }

    #[test]
    fn a_difference_is_graded_by_the_greater_of_both_criteria() {
        // USGS TM 1-D3, the ratings, from memory: turbidity 0.5 or 5 %, oxygen 0.3 mg/L or 5 %, temperature 0.2 °C.
        use Grade::{Excellent, Fair, Good, Poor, Unusable};
        use Quantity::{Oxygen, Temperature, Turbidity};
        for (quantity, hand, sensor, grade) in [
            (Turbidity, 50.0, 52.5, Excellent),
            (Turbidity, 50.0, 52.6, Good),
            (Turbidity, 50.0, 55.1, Fair),
            (Turbidity, 50.0, 57.6, Poor),
            (Turbidity, 50.0, 65.1, Unusable),
            (Turbidity, 2.0, 2.5, Excellent),
            (Turbidity, 2.0, 2.6, Good),
            (Oxygen, 5.0, 5.3, Excellent),
            (Oxygen, 8.0, 7.6, Excellent),
            (Oxygen, 8.0, 7.5, Good),
            (Oxygen, 8.0, 5.9, Unusable),
            (Temperature, 20.0, 20.2, Excellent),
            (Temperature, 20.0, 19.4, Fair),
            (Temperature, 20.0, 22.1, Unusable),
        ] {
            let compared = Comparison::of(quantity, hand, sensor).unwrap();
            assert_eq!(compared.grade, grade, "{quantity:?} {hand} {sensor}");
            assert!((compared.sensor + compared.correction - hand).abs() < 1e-12);
        }
        assert_eq!(Comparison::of(Quantity::Level, 400.0, 401.0), None);
    }

    #[test]
    fn when_to_correct_is_another_question_than_how_to_rate() {
        // USGS TM 1-D3, the criteria for corrections, from memory: turbidity 0.5 or 5 %, oxygen 0.3 mg/L, temperature 0.2 °C.
        use Quantity::{Oxygen, Temperature, Turbidity};
        for (quantity, hand, sensor, due, grade) in [
            (Oxygen, 8.0, 8.3, false, Grade::Excellent),
            (Oxygen, 8.0, 7.65, true, Grade::Excellent),
            (Oxygen, 5.0, 5.35, true, Grade::Good),
            (Turbidity, 50.0, 52.5, false, Grade::Excellent),
            (Turbidity, 50.0, 52.6, true, Grade::Good),
            (Turbidity, 2.0, 2.5, false, Grade::Excellent),
            (Temperature, 20.0, 20.2, false, Grade::Excellent),
            (Temperature, 20.0, 20.3, true, Grade::Good),
        ] {
            let compared = Comparison::of(quantity, hand, sensor).unwrap();
            assert_eq!((compared.is_due(), compared.grade), (due, grade), "{quantity:?} {hand} {sensor}");
        }
    }

    fn sample_of(quantity: &str, value: f64, unit: &str) -> Deed {
        Deed::GrabSample {
            place: Some(Place::Tank(Id::new("t1").unwrap())),
            quantity: Some(quantity.to_owned()),
            value: Some(value),
            unit: Some(unit.to_owned()),
        }
    }

    #[test]
    fn what_no_water_shows_is_a_slip_of_the_hand_and_no_fault_of_the_sensor() {
        // Saturation at 20 °C and 1 atm: 9.09 mg/L (USGS tables).
        let full = Some(MilligramsPerLitre(9.09));
        for (quantity, value, unit, bound) in [
            ("oxygen", 800.0, "mg/L", Some(27.27)),
            ("oxygen", 8.0, "mg/L", None),
            ("oxygen", 15.0, "mg/L", None),
            ("oxygen", -1.0, "mg/L", Some(0.0)),
            ("temperature", 20.0, "°F", Some(0.0)),
            ("temperature", 20.0, "°C", None),
            ("temperature", 68.0, "°C", Some(40.0)),
            ("temperature", 68.0, "°F", None),
            ("oxygen_saturation", 116.0, "%", None),
            ("oxygen_saturation", 1160.0, "%", Some(300.0)),
            ("turbidity", 640.0, "NTU", None),
            ("turbidity", -3.0, "NTU", Some(0.0)),
        ] {
            let found = beyond_water(&sample_of(quantity, value, unit), full);
            assert!(found.map(f64::round) == bound.map(f64::round), "{quantity} {value} {unit}: {found:?}");
        }
        assert_eq!(beyond_water(&sample_of("oxygen", 30.0, "mg/L"), None), None, "cold water holds more");
    }

    #[test]
    fn percent_saturation_is_held_against_a_probe_of_mg_per_litre_by_the_temperature_there() {
        let full = Some(MilligramsPerLitre(9.09));
        let by_hand = sample_of("oxygen_saturation", 116.0, "%");
        assert_eq!(percent_of_saturation(&by_hand, None), Some(Percent(116.0)));
        let Some(Deed::GrabSample { quantity, value, unit, .. }) = in_mg_per_l(&by_hand, full) else {
            panic!()
        };
        assert_eq!((quantity.as_deref(), unit.as_deref()), (Some("oxygen"), Some("mg/L")));
        assert!((value.unwrap() - 1.16 * 9.09).abs() < 1e-9, "{value:?}");
        assert_eq!(in_mg_per_l(&by_hand, None), None, "nothing is guessed");
        assert_eq!(in_mg_per_l(&sample_of("oxygen", 9.0, "mg/L"), full), None);
        let Some(Percent(percent)) = percent_of_saturation(&sample_of("oxygen", 10.5, "mg/L"), full) else {
            panic!()
        };
        assert!((percent - 115.5).abs() < 0.1, "{percent}");
    }

    #[test]
    fn the_sensor_is_asked_for_the_middle_of_what_it_said_about_then() {
        let at = |minute: i64| Timestamp::UNIX_EPOCH + SignedDuration::from_mins(minute);
        let said = [(at(0), 60.0), (at(7), 64.0), (at(10), 66.0), (at(12), 200.0), (at(40), 90.0)];
        assert_eq!(read_near(&said, at(10), NEAR), Some(66.0), "a bubble is passed over");
        assert_eq!(read_near(&said, at(25), NEAR), None);
    }

    #[test]
    fn a_check_is_overdue_from_its_last_time_on_or_when_it_never_was_made() {
        let tank = Place::Tank(Id::new("t1").unwrap());
        let every = SignedDuration::from_hours(24);
        let check = |what| HandCheck { what, place: tank.clone(), every };
        let at: Timestamp = "2027-04-20T07:00:00Z".parse().unwrap();
        let sample = |quantity: &str, value| LogEntry {
            key: quantity.to_owned(),
            at,
            received_at: at,
            by: None,
            replaces: None,
            deed: Deed::GrabSample {
                place: Some(tank.clone()),
                quantity: Some(quantity.to_owned()),
                value,
                unit: Some("NTU".to_owned()),
            },
        };
        assert!(check(Quantity::Turbidity).is_made_by(&sample("turbidity", Some(64.0))));
        assert!(!check(Quantity::Turbidity).is_made_by(&sample("turbidity", None)), "no figure, no check");
        assert!(!check(Quantity::Oxygen).is_made_by(&sample("turbidity", Some(64.0))));
        let hand_checks = vec![check(Quantity::Turbidity), check(Quantity::Oxygen)];
        let site = Site { hand_checks, ..claymark_invented::site() };
        let mut ledger = Ledger::default();
        ledger.log(&sample("turbidity", Some(64.0)));
        let late = |hours| {
            let late = overdue(&site, &ledger, at + SignedDuration::from_hours(hours));
            late.into_iter().map(|late| (late.check.what, late.last)).collect::<Vec<_>>()
        };
        assert_eq!(late(24), [(Quantity::Oxygen, None)]);
        assert_eq!(late(25), [(Quantity::Turbidity, Some(at)), (Quantity::Oxygen, None)]);
    }
}
