//! Turbidity, temperature and oxygen of the head tank and each rearing tank.

use std::collections::BTreeMap;

use claymark_clay::oxygen::pressure_at;
use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Sensor, Site};
use claymark_model::units::Hectopascals;

use super::oxygen::{PressureFrom, SaturationTrace, WarmthFrom};
use super::trace::{Shares, WeekTrace, extremes, mean};

/// One tank's week.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceWeek {
    /// Which.
    pub place: Place,
    /// For people.
    pub name: String,
    /// Each turbidity sensor; NTU and FNU are never merged.
    pub turbidity: Vec<MeasuredWeek>,
    /// Each temperature sensor.
    pub temperature: Vec<MeasuredWeek>,
    /// Each sensor of dissolved oxygen in mg/L.
    pub oxygen: Vec<MeasuredWeek>,
    /// Each sensor that tells percent of saturation by itself.
    pub oxygen_saturation: Vec<MeasuredWeek>,
    /// Percent of saturation, computed from the first oxygen sensor.
    pub saturation: Option<SaturationTrace>,
}

/// One sensor's week against what was wanted, which its trace knows slot by slot.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredWeek {
    /// The sensor.
    pub sensor: Sensor,
    /// What it said.
    pub trace: WeekTrace,
}

/// How a tank kept its band, in five honest grades.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BandGrade {
    /// Inside for at least [`STEADY_PERCENT`] of the week, and never out for longer than [`STEADY_STRETCH_S`].
    Steady,
    /// Neither steady nor poor.
    Drifting,
    /// Inside for less than [`POOR_PERCENT`] of the time that is known, or out for longer than
    /// [`POOR_STRETCH_S`] at a stretch.
    Poor,
    /// Known for less than [`ENOUGH_PERCENT`] of the week: not graded.
    TooLittleData,
    /// No sensor.
    NotMeasured,
}

impl MeasuredWeek {
    /// How the week's time divides.
    #[must_use]
    pub fn shares(&self) -> Shares {
        Shares::of(self.trace.slots())
    }

    /// The lowest and the highest ten-minute mean.
    #[must_use]
    pub fn extremes(&self) -> Option<(f64, f64)> {
        extremes(self.trace.slots())
    }

    /// The time-weighted mean.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        mean(self.trace.slots())
    }

    /// The longest stretch outside the limits, seconds; only a slot that lay inside ends one.
    #[must_use]
    pub fn longest_outside_s(&self) -> f64 {
        let (mut longest, mut stretch) = (0.0_f64, 0.0);
        for slot in self.trace.slots().iter().filter(|slot| slot.known_s() > 0.0) {
            let outside_s = slot.below_s + slot.above_s;
            stretch = if outside_s >= slot.inside_s { stretch + outside_s } else { 0.0 };
            longest = longest.max(stretch);
        }
        longest
    }

    /// How well the limits were kept.
    #[must_use]
    pub fn grade(&self) -> BandGrade {
        let shares = self.shares();
        let known = shares.known_s();
        let stretch_s = self.longest_outside_s();
        if shares.percent(known).is_none_or(|percent| percent < ENOUGH_PERCENT) {
            BandGrade::TooLittleData
        } else if 100.0 * shares.inside_s < POOR_PERCENT * known || stretch_s > POOR_STRETCH_S {
            BandGrade::Poor
        } else if shares.percent(shares.inside_s).is_some_and(|percent| percent >= STEADY_PERCENT)
            && stretch_s <= STEADY_STRETCH_S
        {
            BandGrade::Steady
        } else {
            BandGrade::Drifting
        }
    }
}

impl PlaceWeek {
    /// The turbidity sensor that tells the worse of the tank.
    #[must_use]
    pub fn turbidity_grade(&self) -> BandGrade {
        self.turbidity.iter().map(MeasuredWeek::grade).max().unwrap_or(BandGrade::NotMeasured)
    }
}

/// The head tank first, then the rearing tanks.
#[must_use]
pub fn places(site: &Site, traces: &BTreeMap<Id, WeekTrace>) -> Vec<PlaceWeek> {
    let head = std::iter::once((Place::Head, site.head_tank.name.clone()));
    let tanks = site.tanks.iter().map(|tank| (Place::Tank(tank.id.clone()), tank.name.clone()));
    head.chain(tanks).map(|(place, name)| place_week(site, traces, place, name)).collect()
}

/// Where the air pressure for the saturation comes from.
#[must_use]
pub fn pressure_from(site: &Site) -> PressureFrom {
    if site.sensors.iter().any(|sensor| sensor.quantity == Quantity::AirPressure) {
        PressureFrom::Sensor
    } else {
        PressureFrom::Elevation
    }
}

fn place_week(site: &Site, traces: &BTreeMap<Id, WeekTrace>, place: Place, name: String) -> PlaceWeek {
    let oxygen = measured(site, traces, &place, Quantity::Oxygen);
    let temperature = measured(site, traces, &place, Quantity::Temperature);
    let in_head = measured(site, traces, &Place::Head, Quantity::Temperature);
    let warmth = temperature
        .first()
        .map(|own| (own, WarmthFrom::SamePlace))
        .or_else(|| in_head.first().map(|head| (head, WarmthFrom::HeadTank)));
    let saturation = oxygen.first().zip(warmth).map(|(oxygen, (warm, from))| {
        SaturationTrace::of(&oxygen.trace, &warm.trace, from, |slot| pressure(site, traces, slot))
    });
    PlaceWeek {
        turbidity: measured(site, traces, &place, Quantity::Turbidity),
        oxygen_saturation: measured(site, traces, &place, Quantity::OxygenSaturation),
        temperature,
        oxygen,
        saturation,
        place,
        name,
    }
}

fn measured(
    site: &Site,
    traces: &BTreeMap<Id, WeekTrace>,
    place: &Place,
    quantity: Quantity,
) -> Vec<MeasuredWeek> {
    site.sensors
        .iter()
        .filter(|sensor| sensor.place == *place && sensor.quantity == quantity)
        .filter_map(|sensor| {
            let trace = traces.get(&sensor.id)?.clone();
            Some(MeasuredWeek { sensor: sensor.clone(), trace })
        })
        .collect()
}

/// The mean of a barometer at the site, where there is one and it spoke; else what the elevation gives.
fn pressure(site: &Site, traces: &BTreeMap<Id, WeekTrace>, slot: usize) -> Hectopascals {
    site.sensors
        .iter()
        .filter(|sensor| sensor.quantity == Quantity::AirPressure)
        .find_map(|sensor| traces.get(&sensor.id)?.slots().get(slot)?.mean())
        .map_or_else(|| pressure_at(site.elevation_m), Hectopascals)
}

/// Inside for so much of the whole week is steady. Our own choice; no standard says where to draw the line.
pub const STEADY_PERCENT: f64 = 95.0;

/// Inside for less than so much of the known time is poor. Our own choice.
pub const POOR_PERCENT: f64 = 80.0;

/// Out for longer than this at a stretch isn't steady, seconds. Our own choice: an hour is what it takes an
/// empty drum to show in the tanks of a small room.
pub const STEADY_STRETCH_S: f64 = 3600.0;

/// Out for longer than this at a stretch is poor, seconds. Our own choice.
pub const POOR_STRETCH_S: f64 = 4.0 * 3600.0;

/// Known for less than so much of the week isn't graded. Our own choice: a missing night must not look good.
pub const ENOUGH_PERCENT: f64 = 90.0;
