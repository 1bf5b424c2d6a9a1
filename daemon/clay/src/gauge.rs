//! What a drum's level sensor says, in litres.

use crate::density;
use claymark_model::site::{ClaySupply, Drum, Quantity, Senses, Sensor};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{KilogramsPerLitre, Litres, Millimetres};

/// A level sensor at its drum.
#[derive(Debug, Clone, PartialEq)]
pub struct Gauge {
    speaks: Speaks,
    strapping: StrappingTable,
}

/// How its value becomes the slurry's height.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Speaks {
    /// Height of the slurry, mm.
    Height,
    /// Height of the water that would weigh as much, mm; the slurry is so many times as heavy.
    Weight { over_water: f64 },
    /// Down from the sensor, mm.
    Distance { mount_height: Millimetres },
    /// Litres.
    Volume,
}

impl Gauge {
    /// `None` for a sensor that doesn't tell a level.
    ///
    /// What slurry weighs is taken from the drum's target strength, which refills are mixed to: a gram per litre off
    /// is 0.06 % of the level.
    #[must_use]
    pub fn of(drum: &Drum, sensor: &Sensor, clay: &ClaySupply) -> Option<Self> {
        let speaks = match sensor.quantity {
            Quantity::Level if sensor.senses == Senses::Pressure => Speaks::Weight {
                over_water: density::over_water(
                    drum.target,
                    KilogramsPerLitre(clay.mineral_density_kg_per_l),
                ),
            },
            Quantity::Level => Speaks::Height,
            Quantity::Distance => Speaks::Distance { mount_height: sensor.mount_height? },
            Quantity::Volume => Speaks::Volume,
            Quantity::Turbidity
            | Quantity::Temperature
            | Quantity::Oxygen
            | Quantity::OxygenSaturation
            | Quantity::Flow
            | Quantity::AirPressure
            | Quantity::AirFlow
            | Quantity::Running => return None,
        };
        Some(Self { speaks, strapping: drum.strapping.clone() })
    }

    /// Volume by what the sensor reads, in its base unit; `None` off the strapping table.
    #[must_use]
    pub fn volume(&self, value: f64) -> Option<Litres> {
        match self.speaks {
            Speaks::Height => self.strapping.volume(Millimetres(value)),
            Speaks::Weight { over_water } => self.strapping.volume(Millimetres(value / over_water)),
            Speaks::Distance { mount_height } => self.strapping.volume(Millimetres(mount_height.0 - value)),
            Speaks::Volume => (0.0..=self.strapping.brim().0).contains(&value).then_some(Litres(value)),
        }
    }
}

#[cfg(test)]
mod tests {
    use claymark_invented as invented;

    use super::*;
    use claymark_model::site::Place;
    use claymark_model::units::GramsPerLitre;

    /// A quarter of a litre to a millimetre, up to 200 L.
    fn drum() -> Drum {
        Drum {
            full: Litres(180.0),
            heel: Litres(10.0),
            strapping: invented::strapping(&[(0.0, 0.0), (800.0, 200.0)]),
            target: GramsPerLitre(120.0),
            ..invented::drum("a", "p1")
        }
    }

    fn reads(quantity: Quantity, senses: Senses, value: f64) -> Option<Litres> {
        let sensor = Sensor {
            senses,
            mount_height: Some(Millimetres(950.0)),
            ..invented::sensor("level", Place::Drum(invented::id("a")), quantity)
        };
        Gauge::of(&drum(), &sensor, &invented::clay())?.volume(value)
    }

    #[test]
    fn a_pressure_sensor_is_corrected_for_what_slurry_weighs_and_a_distance_sensor_is_not() {
        // 120 g/L is 7.4 % heavier than water: 400 mm of it press like 429.6 mm of water.
        let pressed = reads(Quantity::Level, Senses::Pressure, 429.62).unwrap();
        assert!((pressed.0 - 100.0).abs() < 0.01, "{pressed:?}");
        assert_eq!(reads(Quantity::Level, Senses::Surface, 400.0), Some(Litres(100.0)));
        assert_eq!(reads(Quantity::Distance, Senses::Surface, 550.0), Some(Litres(100.0)));
        assert_eq!(reads(Quantity::Volume, Senses::Surface, 100.0), Some(Litres(100.0)));
    }

    #[test]
    fn off_the_table_nothing_is_told_and_a_heavy_full_drum_is_still_on_it() {
        assert_eq!(reads(Quantity::Level, Senses::Surface, 801.0), None);
        assert!(reads(Quantity::Level, Senses::Pressure, 859.0).is_some());
        assert_eq!(reads(Quantity::Level, Senses::Pressure, 860.0), None);
        assert_eq!(reads(Quantity::Volume, Senses::Surface, 201.0), None);
        assert_eq!(reads(Quantity::Turbidity, Senses::Surface, 60.0), None);
    }
}
