//! Where something is, and what is measured there.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::id::Id;
use crate::units::Dimension;

/// Where a sensor stands or a deed was done; written `drum:a`, `tank:t1`, `pump:p1`, `head`, `room`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Place {
    /// A drum.
    Drum(Id),
    /// The head tank.
    Head,
    /// A rearing tank.
    Tank(Id),
    /// A pump.
    Pump(Id),
    /// The room itself: air, power.
    Room,
}

/// The text names no place.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is not a place: write drum:ID, tank:ID, pump:ID, head or room")]
pub struct NotAPlace(pub String);

impl Place {
    /// Reads `drum:a`, `tank:t1`, `pump:p1`, `head` or `room`.
    pub fn parse(text: &str) -> Result<Self, NotAPlace> {
        let wrong = || NotAPlace(text.to_owned());
        match text.split_once(':') {
            None if text == "head" => Ok(Self::Head),
            None if text == "room" => Ok(Self::Room),
            None => Err(wrong()),
            Some((kind, id)) => {
                let id = Id::new(id).map_err(|_not_an_id| wrong())?;
                match kind {
                    "drum" => Ok(Self::Drum(id)),
                    "tank" => Ok(Self::Tank(id)),
                    "pump" => Ok(Self::Pump(id)),
                    _ => Err(wrong()),
                }
            }
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Drum(id) => write!(f, "drum:{id}"),
            Self::Head => f.write_str("head"),
            Self::Tank(id) => write!(f, "tank:{id}"),
            Self::Pump(id) => write!(f, "pump:{id}"),
            Self::Room => f.write_str("room"),
        }
    }
}

impl TryFrom<String> for Place {
    type Error = NotAPlace;

    fn try_from(text: String) -> Result<Self, NotAPlace> {
        Self::parse(&text)
    }
}

impl From<Place> for String {
    fn from(place: Place) -> Self {
        place.to_string()
    }
}

/// What a sensor measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Height of the slurry, mm.
    Level,
    /// Distance from the sensor down to the slurry, mm: level = mount height - distance.
    Distance,
    /// Volume in the drum, L, from an instrument that converts by itself.
    Volume,
    /// NTU or FNU, as the sensor's unit says.
    Turbidity,
    /// °C.
    Temperature,
    /// Dissolved oxygen, mg/L.
    Oxygen,
    /// Dissolved oxygen, % of saturation.
    OxygenSaturation,
    /// L/min.
    Flow,
    /// Air pressure at the site, hPa.
    AirPressure,
    /// Air into a drum or a tank, L/min.
    AirFlow,
    /// Whether the thing at its place runs: 1 or 0, from a contact.
    Running,
}

impl Quantity {
    /// Whether it tells how full a drum is.
    #[must_use]
    pub fn tells_level(self) -> bool {
        matches!(self, Self::Level | Self::Distance | Self::Volume)
    }

    /// All, with their names in the site file.
    pub const NAMES: [(&'static str, Self); 11] = [
        ("level", Self::Level),
        ("distance", Self::Distance),
        ("volume", Self::Volume),
        ("turbidity", Self::Turbidity),
        ("temperature", Self::Temperature),
        ("oxygen", Self::Oxygen),
        ("oxygen_saturation", Self::OxygenSaturation),
        ("flow", Self::Flow),
        ("air_pressure", Self::AirPressure),
        ("air_flow", Self::AirFlow),
        ("running", Self::Running),
    ];

    /// By its name in the site file.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::NAMES.iter().find(|(name, _)| *name == text).map(|(_, quantity)| *quantity)
    }

    /// What its units can measure.
    #[must_use]
    pub fn dimensions(self) -> &'static [Dimension] {
        match self {
            Self::Level | Self::Distance => &[Dimension::Length],
            Self::Volume => &[Dimension::Volume],
            Self::Turbidity => &[Dimension::TurbidityNtu, Dimension::TurbidityFnu],
            Self::Temperature => &[Dimension::Temperature],
            Self::Oxygen => &[Dimension::Concentration],
            Self::OxygenSaturation => &[Dimension::Share],
            Self::Flow => &[Dimension::Flow],
            Self::AirPressure => &[Dimension::Pressure],
            Self::AirFlow => &[Dimension::Flow],
            Self::Running => &[Dimension::Share],
        }
    }

    /// Its name in the site file, in tags and in the store.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::NAMES.iter().find(|(_, quantity)| *quantity == self).map_or("", |(name, _)| name)
    }
}
