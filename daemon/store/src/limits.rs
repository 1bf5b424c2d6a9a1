//! Which water limits hold for a sensor on a day; the rollups count what lies outside them.

use claymark_model::site::{Place, Quantity, Sensor, Site};
use jiff::Timestamp;

/// In the base unit of the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Values below it are too low.
    pub low: Option<f64>,
    /// Values above it are too high.
    pub high: Option<f64>,
}

impl Limits {
    /// The limits that hold at that time where fish, or the water on its way to them, are; none elsewhere.
    ///
    /// They are those of the rearing plan's day, or those of `[water]` where no batch stands.
    #[must_use]
    pub fn of(site: &Site, sensor: &Sensor, at: Timestamp) -> Self {
        if !matches!(sensor.place, Place::Tank(_) | Place::Head) {
            return Self::default();
        }
        let water = || site.limits_at(&sensor.place, at);
        match sensor.quantity {
            Quantity::Turbidity => {
                let band = water().turbidity;
                Self { low: Some(band.min()), high: Some(band.max()) }
            }
            Quantity::Temperature => {
                let span = water().temperature_c;
                Self { low: Some(span.min()), high: Some(span.max()) }
            }
            Quantity::Oxygen => Self { low: Some(water().oxygen_min_mg_l), high: None },
            Quantity::Level
            | Quantity::Distance
            | Quantity::Volume
            | Quantity::OxygenSaturation
            | Quantity::Flow
            | Quantity::AirPressure
            | Quantity::AirFlow
            | Quantity::Running => Self::default(),
        }
    }

    /// Whether `value` is too low.
    #[must_use]
    pub fn below(self, value: f64) -> bool {
        self.low.is_some_and(|low| value < low)
    }

    /// Whether `value` is too high.
    #[must_use]
    pub fn above(self, value: f64) -> bool {
        self.high.is_some_and(|high| value > high)
    }
}
