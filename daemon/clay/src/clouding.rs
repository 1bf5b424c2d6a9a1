//! How cloudy clay makes water.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use claymark_model::site::ClaySupply;
use claymark_model::units::{MilligramsPerLitre, Turbidity};

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

impl Yield {
    /// Whether both tell the same, to within so many standard deviations of both.
    #[must_use]
    pub fn lies_by(&self, other: &Self, deviations: f64) -> bool {
        let apart = (self.ntu_per_mg_l - other.ntu_per_mg_l).abs();
        // A power of another kind is another law, however near the factors.
        let same_power = (self.exponent - other.exponent).abs() < SAME_POWER;
        same_power && apart <= deviations * self.sd.hypot(other.sd)
    }
}

/// What the data said of the yield at one time, to be kept.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LearnedYield {
    /// When it was reckoned.
    pub learned_at: Timestamp,
    /// What it was.
    pub clay: Yield,
}

/// What clay does to this water.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Clouding {
    /// Of this clay.
    pub clay: Yield,
    /// The water without clay.
    pub background: Turbidity,
}

impl Clouding {
    /// By the site file; `None`: it doesn't say.
    #[must_use]
    pub fn written(supply: &ClaySupply) -> Option<Self> {
        let ntu_per_mg_l = supply.ntu_per_mg_l?;
        let clay = Yield { ntu_per_mg_l, sd: ntu_per_mg_l * SHARE_IN_DOUBT, since: None, exponent: 1.0 };
        Some(Self { clay, background: Turbidity(supply.background_ntu) })
    }

    /// As the data said, else by the site file; `None`: nobody knows yet.
    #[must_use]
    pub fn known(supply: &ClaySupply, learned: Option<Yield>) -> Option<Self> {
        let background = Turbidity(supply.background_ntu);
        learned.map(|clay| Self { clay, background }).or_else(|| Self::written(supply))
    }

    /// Of water that holds so much clay.
    #[must_use]
    pub fn turbidity(&self, clay: MilligramsPerLitre) -> Turbidity {
        let Yield { ntu_per_mg_l, exponent, .. } = self.clay;
        self.background + Turbidity(ntu_per_mg_l * clay.0.max(0.0).powf(exponent))
    }

    /// The clay that makes water so cloudy; none at or below the background.
    #[must_use]
    pub fn clay_for(&self, turbidity: Turbidity) -> MilligramsPerLitre {
        let above = (turbidity - self.background).max(Turbidity(0.0));
        MilligramsPerLitre((above.0 / self.clay.ntu_per_mg_l).powf(1.0 / self.clay.exponent))
    }

    /// Share by which clay that is told from turbidity may be wrong because of the yield, one standard deviation.
    #[must_use]
    pub fn share_in_doubt(&self) -> f64 {
        self.clay.sd / (self.clay.ntu_per_mg_l * self.clay.exponent)
    }
}

/// Of a yield that somebody wrote down: a fit by hand is worth about that (common practice, no source).
const SHARE_IN_DOUBT: f64 = 0.05;
/// Exponents that differ by less are one.
const SAME_POWER: f64 = 0.03;
