//! Clay in water: how cloudy a mass of it makes the water, and what follows for pump, drum and fish tanks.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// How cloudy this clay makes this water. No figure holds everywhere: it is fitted to a site and a lot of clay.
///
/// x mg/L of clay give `ntu_per_mg_l` · x^`exponent` above the background.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Yield {
    /// NTU (or FNU, as the sensors speak) per mg/L, where the exponent is 1.
    pub ntu_per_mg_l: f64,
    /// Its standard deviation, in the same unit.
    pub sd: f64,
    /// Since when it holds; `None`: it stands in the site file.
    pub since: Option<Timestamp>,
    /// 1 unless the data ask for another.
    pub exponent: f64,
}
