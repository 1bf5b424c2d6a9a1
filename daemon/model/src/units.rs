//! Units: the only file with conversion factors.
//!
//! Inside, every quantity is in its base unit (mm, L, L/min, kg, g/L, °C, mg/L, %, hPa, NTU or FNU);
//! people and instruments read and write others. Factors marked exact are definitions:
//! pound 0.453 592 37 kg, US gallon 3.785 411 784 L, inch 25.4 mm (NIST SP 811, appendix B).

mod name;
mod people;

pub use name::{Dimension, Unit, UnknownUnit};
pub use people::PeopleUnits;

use jiff::SignedDuration;
use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self { Self(self.0 + other.0) }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self { Self(self.0 - other.0) }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self { Self(self.0 * factor) }
        }
        impl $name {
            /// The larger of the two.
            #[must_use]
            pub fn max(self, other: Self) -> Self { Self(self.0.max(other.0)) }
            /// The smaller of the two.
            #[must_use]
            pub fn min(self, other: Self) -> Self { Self(self.0.min(other.0)) }
        }
    };
}

quantity!(
    /// Volume, litres.
    Litres
);
quantity!(
    /// Volume flow, litres per hour: draw from a drum.
    LitresPerHour
);
quantity!(
    /// Volume flow, litres per minute: water through the head tank and the rearing tanks.
    LitresPerMinute
);
quantity!(
    /// Length, millimetres: level and distance.
    Millimetres
);
quantity!(
    /// Length, micrometres: grains of clay.
    Micrometres
);
quantity!(
    /// Density, kilograms per litre.
    KilogramsPerLitre
);
quantity!(
    /// Mass, kilograms.
    Kilograms
);
quantity!(
    /// Strength: mass of clay in a litre of *finished* slurry, g/L.
    GramsPerLitre
);
quantity!(
    /// Mass of clay fed per minute, g/min.
    GramsPerMinute
);
quantity!(
    /// Mass in a litre of water, mg/L: dissolved oxygen, clay in the tanks.
    MilligramsPerLitre
);
quantity!(
    /// Turbidity, in the unit of the site's turbidity sensors: NTU or FNU, never merged.
    Turbidity
);
quantity!(
    /// Temperature, °C.
    Celsius
);
quantity!(
    /// Air pressure, hPa.
    Hectopascals
);
quantity!(
    /// A share in percent: oxygen saturation.
    Percent
);

impl GramsPerMinute {
    /// How much is fed in a day.
    #[must_use]
    pub fn in_a_day(self) -> Kilograms {
        Kilograms(self.0 * MINUTES_PER_HOUR * HOURS_PER_DAY / GRAMS_PER_KILOGRAM)
    }
}

impl GramsPerLitre {
    /// The volume of finished slurry of this strength that holds `clay`; `None` of water without clay.
    #[must_use]
    pub fn volume_holding(self, clay: Kilograms) -> Option<Litres> {
        (self.0 > 0.0).then(|| Litres(clay.0 * GRAMS_PER_KILOGRAM / self.0))
    }

    /// The clay in `volume` of finished slurry of this strength.
    #[must_use]
    pub fn clay_in(self, volume: Litres) -> Kilograms {
        Kilograms(self.0 * volume.0 / GRAMS_PER_KILOGRAM)
    }

    /// Strength of `clay` in `volume` of finished slurry; `None` when there is no volume.
    #[must_use]
    pub fn of(clay: Kilograms, volume: Litres) -> Option<Self> {
        (volume.0 > 0.0).then(|| Self(clay.0 * GRAMS_PER_KILOGRAM / volume.0))
    }
}

impl Millimetres {
    /// In metres, as formulas of flow want it.
    #[must_use]
    pub fn metres(self) -> f64 {
        Unit::Metre.from_base(self.0)
    }
}

impl Micrometres {
    /// In metres, as formulas of flow want it.
    #[must_use]
    pub fn metres(self) -> f64 {
        Millimetres(self.0 / MICROMETRES_PER_MILLIMETRE).metres()
    }
}

impl KilogramsPerLitre {
    /// In kg/m3, as formulas of flow want it.
    #[must_use]
    pub fn per_cubic_metre(self) -> f64 {
        Unit::CubicMetre.to_base(self.0)
    }

    /// The room that a mass of this density takes.
    #[must_use]
    pub fn room_for(self, mass: Kilograms) -> Litres {
        Litres(mass.0 / self.0)
    }
}

impl Litres {
    /// From what a measuring cylinder shows.
    #[must_use]
    pub fn from_millilitres(ml: f64) -> Self {
        Self(ml / MILLILITRES_PER_LITRE)
    }
}

impl LitresPerHour {
    /// From a pump's rating in mL/min.
    #[must_use]
    pub fn from_ml_per_min(ml_per_min: f64) -> Self {
        Self(ml_per_min * MINUTES_PER_HOUR / MILLILITRES_PER_LITRE)
    }

    /// As a measuring cylinder and a watch show it, mL/min.
    #[must_use]
    pub fn ml_per_min(self) -> f64 {
        self.0 * MILLILITRES_PER_LITRE / MINUTES_PER_HOUR
    }

    /// By the minute.
    #[must_use]
    pub fn per_minute(self) -> LitresPerMinute {
        LitresPerMinute(self.0 / MINUTES_PER_HOUR)
    }

    /// The clay that slurry of `strength` carries at this flow.
    #[must_use]
    pub fn clay(self, strength: GramsPerLitre) -> GramsPerMinute {
        GramsPerMinute(self.per_minute().0 * strength.0)
    }

    /// How long `volume` lasts at this flow; `None` at no flow, and where it would be years.
    #[must_use]
    pub fn time_for(self, volume: Litres) -> Option<SignedDuration> {
        self.per_minute().time_for(volume)
    }

    /// The flow that spends `volume` in just that time; `None` in no time.
    #[must_use]
    pub fn spending(volume: Litres, time: SignedDuration) -> Option<Self> {
        LitresPerMinute::caught(volume, time.as_secs_f64()).map(LitresPerMinute::per_hour)
    }

    /// How much flows in a day.
    #[must_use]
    pub fn in_a_day(self) -> Litres {
        Litres(self.0 * HOURS_PER_DAY)
    }
}

impl LitresPerMinute {
    /// By the hour.
    #[must_use]
    pub fn per_hour(self) -> LitresPerHour {
        LitresPerHour(self.0 * MINUTES_PER_HOUR)
    }

    /// How long `volume` lasts at this flow; `None` at no flow, and where it would be years.
    #[must_use]
    pub fn time_for(self, volume: Litres) -> Option<SignedDuration> {
        let seconds = volume.0 * SECONDS_PER_MINUTE / self.0;
        (self.0 > 0.0 && seconds.abs() < YEAR_S).then(|| SignedDuration::from_secs_f64(seconds))
    }

    /// `volume` caught in `seconds`, by bucket and watch; `None` when no time passed.
    #[must_use]
    pub fn caught(volume: Litres, seconds: f64) -> Option<Self> {
        (seconds > 0.0).then(|| Self(volume.0 * SECONDS_PER_MINUTE / seconds))
    }

    /// What this flow of water holds when `clay` is fed into it; `None` at no flow.
    #[must_use]
    pub fn diluting(self, clay: GramsPerMinute) -> Option<MilligramsPerLitre> {
        (self.0 > 0.0).then(|| MilligramsPerLitre(clay.0 * MILLIGRAMS_PER_GRAM / self.0))
    }

    /// The clay that this flow carries at `concentration`.
    #[must_use]
    pub fn carrying(self, concentration: MilligramsPerLitre) -> GramsPerMinute {
        GramsPerMinute(self.0 * concentration.0 / MILLIGRAMS_PER_GRAM)
    }
}

impl MilligramsPerLitre {
    /// The same as the strength of a slurry.
    #[must_use]
    pub fn as_strength(self) -> GramsPerLitre {
        GramsPerLitre(self.0 / MILLIGRAMS_PER_GRAM)
    }
}

impl Celsius {
    /// On the absolute scale, K.
    #[must_use]
    pub fn kelvins(self) -> f64 {
        Unit::Kelvin.from_base(self.0)
    }
}

impl Hectopascals {
    /// The standard atmosphere, by definition.
    pub const ATMOSPHERE: Self = Self(1013.25);

    /// In standard atmospheres.
    #[must_use]
    pub fn atmospheres(self) -> f64 {
        self.0 / Self::ATMOSPHERE.0
    }
}

/// One row: the unit, its dimension, base = value × factor + offset, and its spellings (the first is shown).
struct UnitRow(Unit, Dimension, f64, f64, &'static [&'static str]);

const GRAMS_PER_KILOGRAM: f64 = 1000.0;
const MICROMETRES_PER_MILLIMETRE: f64 = 1000.0;
const MILLIGRAMS_PER_GRAM: f64 = 1000.0;
const MILLILITRES_PER_LITRE: f64 = 1000.0;
const SECONDS_PER_MINUTE: f64 = 60.0;
const HOURS_PER_DAY: f64 = 24.0;
/// Longer than anything here lasts.
const YEAR_S: f64 = 3.2e7;
const MINUTES_PER_HOUR: f64 = 60.0;
const POUND_KG: f64 = 0.453_592_37;
const US_GALLON_L: f64 = 3.785_411_784;

/// Spellings are those of the trade, of SenML (RFC 8428 and RFC 8798) and of plain keyboards.
const TABLE: &[UnitRow] = &[
    UnitRow(Unit::Millimetre, Dimension::Length, 1.0, 0.0, &["mm"]),
    UnitRow(Unit::Centimetre, Dimension::Length, 10.0, 0.0, &["cm"]),
    UnitRow(Unit::Metre, Dimension::Length, 1000.0, 0.0, &["m"]),
    UnitRow(Unit::Inch, Dimension::Length, 25.4, 0.0, &["in"]),
    UnitRow(Unit::Litre, Dimension::Volume, 1.0, 0.0, &["L", "l"]),
    UnitRow(Unit::Millilitre, Dimension::Volume, 0.001, 0.0, &["mL", "ml"]),
    UnitRow(Unit::CubicMetre, Dimension::Volume, 1000.0, 0.0, &["m3", "m³"]),
    UnitRow(Unit::UsGallon, Dimension::Volume, US_GALLON_L, 0.0, &["US gal", "gal"]),
    UnitRow(Unit::LitrePerMinute, Dimension::Flow, 1.0, 0.0, &["L/min", "l/min"]),
    UnitRow(Unit::LitrePerHour, Dimension::Flow, 1.0 / MINUTES_PER_HOUR, 0.0, &["L/h", "l/h"]),
    UnitRow(Unit::LitrePerSecond, Dimension::Flow, 60.0, 0.0, &["L/s", "l/s"]),
    UnitRow(Unit::MillilitrePerMinute, Dimension::Flow, 0.001, 0.0, &["mL/min", "ml/min"]),
    UnitRow(Unit::CubicMetrePerHour, Dimension::Flow, 1000.0 / MINUTES_PER_HOUR, 0.0, &["m3/h", "m³/h"]),
    UnitRow(Unit::CubicMetrePerSecond, Dimension::Flow, 60_000.0, 0.0, &["m3/s", "m³/s"]),
    UnitRow(Unit::UsGallonPerMinute, Dimension::Flow, US_GALLON_L, 0.0, &["US gal/min", "gal/min"]),
    UnitRow(Unit::Kilogram, Dimension::Mass, 1.0, 0.0, &["kg"]),
    UnitRow(Unit::Gram, Dimension::Mass, 0.001, 0.0, &["g"]),
    UnitRow(Unit::Pound, Dimension::Mass, POUND_KG, 0.0, &["lb", "lbs"]),
    UnitRow(Unit::GramPerLitre, Dimension::Strength, 1.0, 0.0, &["g/L", "g/l"]),
    UnitRow(
        Unit::PoundPer100Litres,
        Dimension::Strength,
        POUND_KG * 10.0,
        0.0,
        &["lb/100 L", "lb/100L", "lb per 100 L"],
    ),
    UnitRow(
        Unit::KilogramPer100Litres,
        Dimension::Strength,
        10.0,
        0.0,
        &["kg/100 L", "kg/100L", "kg per 100 L"],
    ),
    UnitRow(Unit::Celsius, Dimension::Temperature, 1.0, 0.0, &["°C", "degC", "Cel", "C"]),
    UnitRow(Unit::Fahrenheit, Dimension::Temperature, 5.0 / 9.0, -160.0 / 9.0, &["°F", "degF", "F"]),
    UnitRow(Unit::Kelvin, Dimension::Temperature, 1.0, -273.15, &["K"]),
    UnitRow(Unit::MilligramPerLitre, Dimension::Concentration, 1.0, 0.0, &["mg/L", "mg/l", "ppm"]),
    UnitRow(Unit::KilogramPerCubicMetre, Dimension::Concentration, 1000.0, 0.0, &["kg/m3", "kg/m³"]),
    UnitRow(Unit::Percent, Dimension::Share, 1.0, 0.0, &["%", "/100"]),
    UnitRow(Unit::Ratio, Dimension::Share, 100.0, 0.0, &["/"]),
    UnitRow(Unit::Hectopascal, Dimension::Pressure, 1.0, 0.0, &["hPa", "mbar"]),
    UnitRow(Unit::Kilopascal, Dimension::Pressure, 10.0, 0.0, &["kPa"]),
    UnitRow(Unit::Pascal, Dimension::Pressure, 0.01, 0.0, &["Pa"]),
    // Conventional millimetre of mercury, 133.322 387 415 Pa.
    UnitRow(Unit::MillimetreOfMercury, Dimension::Pressure, 1.333_223_874_15, 0.0, &["mmHg"]),
    UnitRow(Unit::Ntu, Dimension::TurbidityNtu, 1.0, 0.0, &["NTU"]),
    UnitRow(Unit::Fnu, Dimension::TurbidityFnu, 1.0, 0.0, &["FNU"]),
];

impl Unit {
    /// Finds the unit by any of its spellings; spellings are case-sensitive, since mL and ML differ.
    pub fn parse(text: &str) -> Result<Self, UnknownUnit> {
        TABLE
            .iter()
            .find(|row| row.4.contains(&text))
            .map(|row| row.0)
            .ok_or_else(|| UnknownUnit(text.to_owned()))
    }

    /// Every spelling that [`Unit::parse`] knows, for suggestions.
    pub fn spellings() -> impl Iterator<Item = (&'static str, Self)> {
        TABLE.iter().flat_map(|row| row.4.iter().map(|s| (*s, row.0)))
    }

    /// What the unit measures.
    #[must_use]
    pub fn dimension(self) -> Dimension {
        self.row().1
    }

    /// The unit in which Claymark keeps this dimension.
    #[must_use]
    pub fn base(self) -> Self {
        match self.dimension() {
            Dimension::Length => Self::Millimetre,
            Dimension::Volume => Self::Litre,
            Dimension::Flow => Self::LitrePerMinute,
            Dimension::Mass => Self::Kilogram,
            Dimension::Strength => Self::GramPerLitre,
            Dimension::Temperature => Self::Celsius,
            Dimension::Concentration => Self::MilligramPerLitre,
            Dimension::Share => Self::Percent,
            Dimension::Pressure => Self::Hectopascal,
            Dimension::TurbidityNtu => Self::Ntu,
            Dimension::TurbidityFnu => Self::Fnu,
        }
    }

    /// `value` in this unit, expressed in [`Unit::base`].
    #[must_use]
    pub fn to_base(self, value: f64) -> f64 {
        let UnitRow(_, _, factor, offset, _) = self.row();
        value * factor + offset
    }

    /// `value` in [`Unit::base`], expressed in this unit.
    #[must_use]
    pub fn from_base(self, value: f64) -> f64 {
        let UnitRow(_, _, factor, offset, _) = self.row();
        (value - offset) / factor
    }

    /// A difference (not a point on the scale) in this unit, expressed in [`Unit::base`]:
    /// a change of 9 °F is one of 5 °C.
    #[must_use]
    pub fn difference_to_base(self, difference: f64) -> f64 {
        difference * self.row().2
    }

    /// How people see it written.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        self.row().4.first().copied().unwrap_or("")
    }

    fn row(self) -> &'static UnitRow {
        TABLE.iter().find(|row| row.0 == self).expect("every unit has its row; a test walks them all")
    }
}

/// Seconds in an hour.
pub const SECONDS_PER_HOUR: f64 = 3600.0;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn exact_factors_hold() {
        // NIST SP 811 appendix B (exact definitions).
        for (unit, value, base) in [
            (Unit::Pound, 50.0, 22.679_618_5),
            (Unit::UsGallon, 50.0, 189.270_589_2),
            (Unit::UsGallon, 55.0, 208.197_648_12),
            (Unit::Inch, 1.0, 25.4),
            (Unit::PoundPer100Litres, 1.0, 4.535_923_7),
            (Unit::Fahrenheit, 68.0, 20.0),
            (Unit::Kelvin, 293.15, 20.0),
            (Unit::Ratio, 0.92, 92.0),
            (Unit::KilogramPerCubicMetre, 0.0085, 8.5),
            (Unit::MillilitrePerMinute, 209.0, 0.209),
            (Unit::MillimetreOfMercury, 760.0, 1_013.250_144_354),
        ] {
            assert!((unit.to_base(value) - base).abs() < 1e-9, "{unit} {value}");
            assert!((unit.from_base(base) - value).abs() < 1e-9, "{unit} back");
        }
        assert!((Unit::Fahrenheit.difference_to_base(9.0) - 5.0).abs() < 1e-12);
        let cubic_metres_per_s = |l_per_min: f64| Unit::CubicMetrePerSecond.from_base(l_per_min);
        for (function, ours) in [
            ("gal_L", Unit::UsGallon.to_base(1.0)),
            ("gal50_L", Unit::UsGallon.to_base(50.0)),
            ("gal55_L", Unit::UsGallon.to_base(55.0)),
            ("lb_kg", Unit::Pound.to_base(1.0)),
            ("lb50_kg", Unit::Pound.to_base(50.0)),
            ("inch_m", Millimetres(Unit::Inch.to_base(1.0)).metres()),
            ("mmhg_Pa", Unit::Pascal.from_base(Unit::MillimetreOfMercury.to_base(1.0))),
            ("gal_min_m3_s", cubic_metres_per_s(Unit::UsGallonPerMinute.to_base(1.0))),
        ] {
            crate::checks::of(function).iter().for_each(|check| check.accepts(ours));
        }
    }

    #[test]
    fn every_spelling_leads_to_one_unit_and_every_base_is_its_own_base() {
        let mut seen = std::collections::HashSet::new();
        for (text, unit) in Unit::spellings() {
            assert!(seen.insert(text), "{text} is spelt twice");
            assert_eq!(Unit::parse(text), Ok(unit));
            assert_eq!(unit.base().base(), unit.base());
            assert_eq!(unit.base().dimension(), unit.dimension());
        }
        assert_eq!(Unit::parse("furlong"), Err(UnknownUnit("furlong".to_owned())));
    }

    #[test]
    fn a_mass_of_clay_and_a_strength_agree() {
        // 4.0 lb in 100 L of finished slurry is 18.14 g/L.
        let four_pounds = Kilograms(Unit::Pound.to_base(4.0));
        let strength = GramsPerLitre::of(four_pounds, Litres(100.0)).unwrap();
        assert!((strength.0 - 18.143_694_8).abs() < 1e-9);
        assert!((strength.clay_in(Litres(100.0)).0 - four_pounds.0).abs() < 1e-12);
        assert_eq!(GramsPerLitre::of(four_pounds, Litres(0.0)), None);
    }

    proptest! {
        #[test]
        fn whatever_is_read_in_one_unit_is_the_same_when_typed_in_another(value in -1e6..1e6_f64) {
            let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * (1.0 + a.abs().max(b.abs()));
            for UnitRow(unit, ..) in TABLE {
                prop_assert!(close(unit.from_base(unit.to_base(value)), value), "{unit} {value}");
                // By way of every other unit of its kind.
                for UnitRow(other, ..) in TABLE.iter().filter(|row| row.1 == unit.dimension()) {
                    let there = other.from_base(unit.to_base(value));
                    let back = unit.from_base(other.to_base(there));
                    prop_assert!(close(back, value), "{unit} by way of {other}: {value} and {back}");
                }
            }
        }

        #[test]
        fn clay_and_water_are_the_same_by_the_minute_by_the_hour_and_in_the_bucket(
            flow in 0.01..500.0_f64, strength in 0.1..100.0_f64, litres in 0.1..500.0_f64,
        ) {
            let flow = LitresPerMinute(flow);
            let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * (1.0 + a.abs());
            prop_assert!(close(flow.per_hour().per_minute().0, flow.0));
            let fed = flow.per_hour().clay(GramsPerLitre(strength));
            let diluted = flow.diluting(fed).unwrap();
            prop_assert!(close(diluted.as_strength().0, strength));
            prop_assert!(close(flow.carrying(diluted).0, fed.0));
            // Time is kept to the nanosecond.
            let time = flow.time_for(Litres(litres)).unwrap();
            let caught = LitresPerMinute::caught(Litres(litres), time.as_secs_f64()).unwrap();
            prop_assert!((caught.0 - flow.0).abs() <= 1e-5 * flow.0, "{caught:?}");
        }
    }
}
