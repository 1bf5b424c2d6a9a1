//! A reading of the water: its value, against what is wanted, and how far it can be believed.

use claymark_model::quality::Flag;
use claymark_model::site::{Place, Quantity, Sensor, Site};
use claymark_model::units::Unit;
use jiff::Timestamp;

use super::Weight;
use crate::format::{self, Clock};
use crate::names;

/// The newest reading of a sensor, in its base unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewestReading {
    /// When it was measured.
    pub at: Timestamp,
    /// In the base unit.
    pub value: f64,
    /// The aggregate.
    pub flag: Flag,
}

/// A reading in words.
#[derive(Debug, Clone, PartialEq)]
pub struct WaterLine {
    /// "turbidity".
    pub what: &'static str,
    /// "64 NTU"; "?" where there is none that counts.
    pub value: String,
    /// "wanted 50 to 80 NTU", "below 50 to 80 NTU", "no reading since 02:10".
    pub says: String,
    /// "at 02:41".
    pub measured: Option<String>,
    /// How much it presses.
    pub weight: Weight,
    /// Where it stands in the band, 0 its low end and 1 its high end; `None`: there is no band, or nothing counts.
    pub in_band: Option<f64>,
}

/// What the newest reading of `sensor` says at `now`; `silent`: it misses its readings.
#[must_use]
pub fn water(
    site: &Site,
    now: Timestamp,
    sensor: &Sensor,
    (newest, silent): (Option<NewestReading>, bool),
) -> WaterLine {
    let clock = Clock::new(site, now);
    let what = names::quantity(sensor.quantity);
    let nothing = |says: String| WaterLine {
        what,
        value: "?".to_owned(),
        says,
        measured: None,
        weight: Weight::Unsure,
        in_band: None,
    };
    let Some(newest) = newest else { return nothing("has never spoken".to_owned()) };
    let value = value(site, sensor, newest.value);
    let old = now.duration_since(newest.at) > sensor.thresholds.gap;
    match newest.flag {
        Flag::Missing => return nothing(format!("no value at {}", clock.time(newest.at))),
        _ if silent || old => {
            return nothing(format!("no reading since {}; then {value}", clock.time(newest.at)));
        }
        Flag::Fail => {
            return nothing(format!("{value} at {}, which isn't believed", clock.time(newest.at)));
        }
        Flag::Pass | Flag::NotEvaluated | Flag::Suspect => {}
    }
    let band = band(site, now, sensor);
    let (says, weight) = match &band {
        Some(band) => band.says(site, sensor, newest.value),
        None => (String::new(), Weight::Quiet),
    };
    let (says, weight) = if newest.flag == Flag::Suspect {
        (format!("doubtful; {says}").trim_end_matches([';', ' ']).to_owned(), weight.max(Weight::Unsure))
    } else {
        (says, weight)
    };
    let in_band = band.and_then(|band| band.share(newest.value));
    WaterLine { what, value, says, measured: Some(format!("at {}", clock.time(newest.at))), weight, in_band }
}

/// What is wanted, in the base unit.
struct WantedBand {
    least: f64,
    most: Option<f64>,
}

impl WantedBand {
    fn says(&self, site: &Site, sensor: &Sensor, shown: f64) -> (String, Weight) {
        let wanted = match self.most {
            Some(most) => format!("{} to {}", figure(site, sensor, self.least), value(site, sensor, most)),
            None => format!("at least {}", value(site, sensor, self.least)),
        };
        match self.most {
            _ if shown < self.least => (format!("BELOW {wanted}"), Weight::Drifts),
            Some(most) if shown > most => (format!("ABOVE {wanted}"), Weight::Drifts),
            Some(_) | None => (format!("wanted {wanted}"), Weight::Quiet),
        }
    }

    fn share(&self, shown: f64) -> Option<f64> {
        let most = self.most.filter(|most| *most > self.least)?;
        Some(((shown - self.least) / (most - self.least)).clamp(-0.5, 1.5))
    }
}

fn band(site: &Site, now: Timestamp, sensor: &Sensor) -> Option<WantedBand> {
    let limits = match &sensor.place {
        Place::Head | Place::Tank(_) => site.limits_at(&sensor.place, now),
        Place::Drum(_) | Place::Pump(_) | Place::Room => return None,
    };
    match sensor.quantity {
        Quantity::Turbidity => {
            Some(WantedBand { least: limits.turbidity.min(), most: Some(limits.turbidity.max()) })
        }
        Quantity::Temperature => {
            Some(WantedBand { least: limits.temperature_c.min(), most: Some(limits.temperature_c.max()) })
        }
        Quantity::Oxygen => Some(WantedBand { least: limits.oxygen_min_mg_l, most: None }),
        Quantity::Level
        | Quantity::Distance
        | Quantity::Volume
        | Quantity::OxygenSaturation
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => None,
    }
}

/// "64 NTU", in the unit that people read.
fn value(site: &Site, sensor: &Sensor, base: f64) -> String {
    if sensor.quantity == Quantity::Running {
        return if base >= 0.5 { "runs".to_owned() } else { "stands still".to_owned() };
    }
    format!("{} {}", figure(site, sensor, base), unit(site, sensor))
}

fn figure(site: &Site, sensor: &Sensor, base: f64) -> String {
    let decimals = match sensor.quantity {
        Quantity::Turbidity | Quantity::Level | Quantity::Distance | Quantity::OxygenSaturation => 0,
        Quantity::Temperature
        | Quantity::Oxygen
        | Quantity::Volume
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => 1,
    };
    format::number(unit(site, sensor).from_base(base), decimals)
}

/// People's own unit where they have chosen one, else the sensor's.
fn unit(site: &Site, sensor: &Sensor) -> Unit {
    match sensor.quantity {
        Quantity::Temperature => site.units.temperature,
        Quantity::Volume => site.units.volume,
        Quantity::Flow
        | Quantity::Turbidity
        | Quantity::Oxygen
        | Quantity::OxygenSaturation
        | Quantity::Level
        | Quantity::Distance
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => sensor.unit,
    }
}
