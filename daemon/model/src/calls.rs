//! When people are called: how far outside its limits water endangers fish, and how often danger is told.

use jiff::SignedDuration;
use jiff::civil::Time;
use serde::{Deserialize, Serialize};

use crate::limits::WaterLimits;
use crate::quality::thresholds::Span;
use crate::roster::WeekDay;

/// What calls people, and how often.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CallRules {
    /// Danger that nobody has promised to see to is told at least so often.
    pub danger_every: SignedDuration,
    /// Whoever is called first has so long before the next person is.
    pub next_person: SignedDuration,
    /// Water clearer than this share of the band's lower end endangers the fish.
    pub clear_share: f64,
    /// Water cloudier than this many times the band's upper end endangers the fish.
    pub cloudy_times: f64,
    /// So far outside the temperatures that they want, °C.
    pub beyond_c: f64,
    /// When each week everybody is asked for an answer, to see whether calls arrive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test: Option<WeeklyTime>,
}

/// A time on the wall, once a week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct WeeklyTime {
    /// On which day.
    pub day: WeekDay,
    /// When.
    pub at: Time,
}

impl Default for CallRules {
    /// Common practice, no source: larvae lose their feed long before the gills of larger fish suffer.
    fn default() -> Self {
        Self {
            danger_every: SignedDuration::from_mins(25),
            next_person: SignedDuration::from_mins(10),
            clear_share: 0.5,
            cloudy_times: 2.0,
            beyond_c: 2.0,
            test: None,
        }
    }
}

impl CallRules {
    /// What water must never be, by what the fish want.
    #[must_use]
    pub fn hard(&self, limits: &WaterLimits) -> WaterLimits {
        let (band, warmth) = (limits.turbidity, limits.temperature_c);
        let turbidity = Span::new(band.min() * self.clear_share, band.max() * self.cloudy_times);
        let temperature_c = Span::new(warmth.min() - self.beyond_c, warmth.max() + self.beyond_c);
        WaterLimits {
            turbidity: turbidity.unwrap_or(band),
            temperature_c: temperature_c.unwrap_or(warmth),
            oxygen_min_mg_l: limits.oxygen_min_mg_l,
        }
    }
}

/// The longest time for which danger may go untold while nobody has promised to come.
pub const LONGEST_SILENCE: SignedDuration = SignedDuration::from_mins(30);
