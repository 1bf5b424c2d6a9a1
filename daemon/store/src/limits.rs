//! Which of the site's water limits hold for a sensor; the rollups count what lies outside them.

use claymark_core::site::{Place, Quantity, Sensor, Site};

/// In the base unit of the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Values below it are too low.
    pub low: Option<f64>,
    /// Values above it are too high.
    pub high: Option<f64>,
}

impl Limits {
    /// The limits that hold where fish, or the water on its way to them, are; none elsewhere.
    #[must_use]
    pub fn of(site: &Site, sensor: &Sensor) -> Self {
        if !matches!(sensor.place, Place::Tank(_) | Place::Head) {
            return Self::default();
        }
        let water = &site.water;
        match sensor.quantity {
            Quantity::Turbidity => {
                Self { low: Some(water.turbidity.min()), high: Some(water.turbidity.max()) }
            }
            Quantity::Temperature => {
                Self { low: Some(water.temperature_c.min()), high: Some(water.temperature_c.max()) }
            }
            Quantity::Oxygen => Self { low: Some(water.oxygen_min_mg_l), high: None },
            Quantity::Level
            | Quantity::Distance
            | Quantity::Volume
            | Quantity::OxygenSaturation
            | Quantity::Flow
            | Quantity::AirPressure => Self::default(),
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
