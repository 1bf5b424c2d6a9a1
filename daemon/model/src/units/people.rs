//! The units in which people read and type.

use serde::{Deserialize, Serialize};

use super::Unit;

/// The units in which people read and type (`[units]` in the site file).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PeopleUnits {
    /// kg or lb.
    pub mass: Unit,
    /// L or US gal.
    pub volume: Unit,
    /// g/L or lb per 100 L, of finished slurry.
    pub strength: Unit,
    /// L/min or US gal/min, of water.
    #[serde(default = "litres_per_minute")]
    pub flow: Unit,
    /// °C or °F.
    pub temperature: Unit,
}

/// Of sites that were kept before people could choose.
fn litres_per_minute() -> Unit {
    Unit::LitrePerMinute
}

impl Default for PeopleUnits {
    fn default() -> Self {
        Self {
            mass: Unit::Kilogram,
            volume: Unit::Litre,
            strength: Unit::GramPerLitre,
            flow: Unit::LitrePerMinute,
            temperature: Unit::Celsius,
        }
    }
}
