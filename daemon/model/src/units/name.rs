//! What units there are, and how they stand in records.

use std::fmt;

use serde::{Deserialize, Serialize};

/// What a unit measures; two units convert into each other only within one dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Level, distance.
    Length,
    /// Litres.
    Volume,
    /// Flow.
    Flow,
    /// Clay.
    Mass,
    /// Mass of clay in finished slurry.
    Strength,
    /// Temperature.
    Temperature,
    /// Dissolved oxygen by mass.
    Concentration,
    /// Percent.
    Share,
    /// Air pressure.
    Pressure,
    /// White-light nephelometry, NTU.
    TurbidityNtu,
    /// Infrared nephelometry (ISO 7027), FNU: never merged with NTU.
    TurbidityFnu,
}

/// A unit that the site file, a payload or a person may use; as a record it is its symbol.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "&'static str")]
pub enum Unit {
    /// mm
    Millimetre,
    /// cm
    Centimetre,
    /// m
    Metre,
    /// in
    Inch,
    /// L
    Litre,
    /// mL
    Millilitre,
    /// m3
    CubicMetre,
    /// US gal
    UsGallon,
    /// L/min
    LitrePerMinute,
    /// L/h
    LitrePerHour,
    /// L/s
    LitrePerSecond,
    /// mL/min
    MillilitrePerMinute,
    /// m3/h
    CubicMetrePerHour,
    /// m3/s
    CubicMetrePerSecond,
    /// US gal/min
    UsGallonPerMinute,
    /// kg
    Kilogram,
    /// g
    Gram,
    /// lb
    Pound,
    /// g/L of finished slurry
    GramPerLitre,
    /// lb per 100 L of finished slurry
    PoundPer100Litres,
    /// kg per 100 L of finished slurry
    KilogramPer100Litres,
    /// °C
    Celsius,
    /// °F
    Fahrenheit,
    /// K
    Kelvin,
    /// mg/L
    MilligramPerLitre,
    /// kg/m3 (the SenML primary unit for dissolved oxygen)
    KilogramPerCubicMetre,
    /// %
    Percent,
    /// a ratio, 1 = 100 % (SenML "/")
    Ratio,
    /// hPa
    Hectopascal,
    /// kPa
    Kilopascal,
    /// Pa
    Pascal,
    /// mmHg
    MillimetreOfMercury,
    /// NTU
    Ntu,
    /// FNU
    Fnu,
}

/// No unit goes by that name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("unknown unit '{0}'")]
pub struct UnknownUnit(pub String);

impl TryFrom<String> for Unit {
    type Error = UnknownUnit;

    fn try_from(text: String) -> Result<Self, UnknownUnit> {
        Self::parse(&text)
    }
}

impl From<Unit> for &'static str {
    fn from(unit: Unit) -> Self {
        unit.symbol()
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}
