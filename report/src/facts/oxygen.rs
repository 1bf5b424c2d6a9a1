//! Dissolved oxygen as percent of saturation in fresh water, at the pressure of the site.

use claymark_clay::oxygen;
use claymark_model::units::{Celsius, Hectopascals, MilligramsPerLitre};

use super::trace::{Slot, WeekTrace, even_mean};

/// Where the temperature for the saturation came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WarmthFrom {
    /// A sensor in the same tank.
    SamePlace,
    /// The head tank's sensor, for want of one in the tank.
    HeadTank,
}

/// Where the air pressure came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PressureFrom {
    /// A sensor at the site.
    Sensor,
    /// The elevation, by the standard atmosphere.
    Elevation,
}

/// Percent of saturation, slot by slot.
#[derive(Debug, Clone, PartialEq)]
pub struct SaturationTrace {
    /// `None` where oxygen or temperature isn't known.
    pub percent: Vec<Option<f64>>,
    /// Where the temperature came from.
    pub warmth: WarmthFrom,
}

impl SaturationTrace {
    /// From the ten-minute means of oxygen (mg/L), temperature (°C) and pressure.
    #[must_use]
    pub fn of(
        oxygen_mg_l: &WeekTrace,
        temperature: &WeekTrace,
        warmth: WarmthFrom,
        pressure: impl Fn(usize) -> Hectopascals,
    ) -> Self {
        let slots = oxygen_mg_l.slots().iter().zip(temperature.slots()).enumerate();
        let percent = slots.map(|(index, (oxygen, warm))| in_slot(oxygen, warm, pressure(index))).collect();
        Self { percent, warmth }
    }

    /// The lowest, the mean and the highest ten-minute value from slot `first` up to `last`.
    #[must_use]
    pub fn summary(&self, first: usize, last: usize) -> Option<(f64, f64, f64)> {
        let known: Vec<f64> = self.percent.get(first..last)?.iter().filter_map(|percent| *percent).collect();
        let low = known.iter().copied().min_by(f64::total_cmp)?;
        let high = known.iter().copied().max_by(f64::total_cmp)?;
        Some((low, even_mean(&known)?, high))
    }
}

fn in_slot(oxygen: &Slot, warm: &Slot, pressure: Hectopascals) -> Option<f64> {
    let (mg_l, celsius) = (oxygen.mean()?, warm.mean()?);
    let percent = oxygen::percent_saturation(MilligramsPerLitre(mg_l), Celsius(celsius), pressure)?;
    // Of figures that no water can have the percentage may be more than a float holds.
    Some(percent.0).filter(|percent| percent.is_finite())
}
