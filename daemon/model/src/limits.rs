//! The water that suits the fish.

use serde::{Deserialize, Serialize};

use crate::quality::thresholds::Span;

/// What fish need of their water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaterLimits {
    /// Turbidity band, in the unit of the turbidity sensors (NTU or FNU).
    pub turbidity: Span,
    /// Temperature, °C.
    pub temperature_c: Span,
    /// Least dissolved oxygen, mg/L.
    pub oxygen_min_mg_l: f64,
}

impl WaterLimits {
    /// What suits the fish of both; where their bands don't meet, from the lower to the higher of them.
    #[must_use]
    pub fn shared(self, other: Self) -> Self {
        Self {
            turbidity: meeting(self.turbidity, other.turbidity),
            temperature_c: meeting(self.temperature_c, other.temperature_c),
            oxygen_min_mg_l: self.oxygen_min_mg_l.max(other.oxygen_min_mg_l),
        }
    }
}

fn meeting(a: Span, b: Span) -> Span {
    let inner = Span::new(a.min().max(b.min()), a.max().min(b.max()));
    let outer = || Span::new(a.min().min(b.min()), a.max().max(b.max()));
    inner.or_else(|_apart| outer()).unwrap_or(a)
}
