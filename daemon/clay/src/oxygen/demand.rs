//! The oxygen that fish take out of the water which flows through their tanks, and how it rises as they grow.
//!
//! In a stirred tank that keeps its oxygen, what is taken up is R = Q (Cin - Cout): the flow times what it loses on
//! its way (mass balance; the same as in flow-through respirometry, Steffensen, Fish Physiol. Biochem. 6:49, 1989,
//! from memory). Over a whole day what the tank itself stores or gives back counts for little: 280 L that end 0.3 mg/L
//! lower gave 84 mg, of some thousands. Fish, dirt and bacteria aren't told apart, and oxygen that stones or a blower
//! bring in on the way isn't seen: where tanks are aerated, R is the least that was taken up.
//!
//! The trend over days is Theil and Sen's line ([`crate::trend`]). Where the plan says what the fish weigh, the trend
//! of R per kilogram tells whether the demand rises with the fish alone.

use jiff::Timestamp;

use crate::trend::{Side, Trend};
use claymark_model::units::{Kilograms, LitresPerMinute, MilligramsPerLitre};

/// One day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// The middle of the day.
    pub at: Timestamp,
    /// Oxygen taken up in it.
    pub taken: Kilograms,
    /// What the fish weighed.
    pub biomass: Option<Kilograms>,
}

/// How the demand moved over some days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemandTrend {
    /// Kilograms of oxygen a day.
    pub taken: Trend,
    /// Kilograms of oxygen a day for each kilogram of fish; `None`: nobody says what they weigh.
    pub per_kilogram: Option<Trend>,
}

/// What the trend of each kilogram's demand says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PerKilogram {
    /// It rises beyond doubt: something else breathes too, or there are more fish than planned.
    Rises,
    /// It neither rises nor falls by much and beyond doubt: the demand goes with the fish.
    Keeps,
    /// It falls beyond doubt: fewer or lighter fish than planned, or larger ones, which breathe less a kilogram.
    Falls,
}

/// Oxygen that `water` loses in a day from `inflow` to `outflow`; less than nothing when it gains some.
#[must_use]
pub fn taken_up(
    water: LitresPerMinute,
    inflow: MilligramsPerLitre,
    outflow: MilligramsPerLitre,
) -> Kilograms {
    water.carrying(inflow - outflow).in_a_day()
}

impl Demand {
    /// For each kilogram of fish.
    #[must_use]
    pub fn per_kilogram(&self) -> Option<f64> {
        let biomass = self.biomass.filter(|biomass| biomass.0 > 0.0)?;
        Some(self.taken.0 / biomass.0)
    }
}

impl DemandTrend {
    /// Through days in order of time; `None`: too few of them.
    #[must_use]
    pub fn through(days: &[Demand]) -> Option<Self> {
        let taken: Vec<_> = days.iter().map(|day| (day.at, day.taken.0)).collect();
        let each: Option<Vec<_>> = days.iter().map(|day| Some((day.at, day.per_kilogram()?))).collect();
        Some(Self {
            taken: Trend::through(&taken)?,
            per_kilogram: each.and_then(|each| Trend::through(&each)),
        })
    }

    /// Whether the demand goes with the fish; `None`: nobody says what they weigh.
    #[must_use]
    pub fn with_the_fish(&self) -> Option<PerKilogram> {
        let each = self.per_kilogram?;
        let a_day = (each.per_hour * HOURS_PER_DAY / each.value).abs();
        let goes = |side| a_day > LITTLE_A_DAY && each.goes(side);
        Some(match (goes(Side::Rising), goes(Side::Falling)) {
            (true, _) => PerKilogram::Rises,
            (_, true) => PerKilogram::Falls,
            (false, false) => PerKilogram::Keeps,
        })
    }
}

/// A change of each kilogram's demand by less than this share a day is what a plan's guess of the weight is off by
/// (our own choice).
const LITTLE_A_DAY: f64 = 0.02;
const HOURS_PER_DAY: f64 = 24.0;

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;
    use proptest::prelude::*;

    use super::*;

    fn days(taken: &[f64], biomass: Option<f64>, growth: f64) -> Vec<Demand> {
        let noon: Timestamp = "2027-04-19T09:00:00Z".parse().unwrap();
        let day = |(n, taken): (u8, &f64)| Demand {
            at: noon + SignedDuration::from_hours(24 * i64::from(n)),
            taken: Kilograms(*taken),
            biomass: biomass.map(|first| Kilograms(first * growth.powi(i32::from(n)))),
        };
        (0..).zip(taken).map(day).collect()
    }

    #[test]
    fn what_the_water_loses_is_what_is_taken_up() {
        // By hand: 40 L/min · (8.95 - 8.05) mg/L = 36 mg/min, · 1440 min = 51.84 g; for 3 kg of fish 17.28 g a
        // kilogram and day, 720 mg a kilogram and hour.
        let taken = taken_up(LitresPerMinute(40.0), MilligramsPerLitre(8.95), MilligramsPerLitre(8.05));
        assert!((taken.0 - 0.051_84).abs() < 1e-9, "{taken:?}");
        let day = Demand { at: Timestamp::UNIX_EPOCH, taken, biomass: Some(Kilograms(3.0)) };
        assert!((day.per_kilogram().unwrap() - 0.017_28).abs() < 1e-9);
        assert_eq!(Demand { biomass: Some(Kilograms(0.0)), ..day }.per_kilogram(), None);
        assert!(taken_up(LitresPerMinute(40.0), MilligramsPerLitre(8.0), MilligramsPerLitre(8.5)).0 < 0.0);
    }

    #[test]
    fn demand_that_rises_with_the_fish_is_told_from_demand_that_rises_beyond_them() {
        let taken: Vec<f64> = (0..7).map(|n| 0.03 * 1.09_f64.powi(n)).collect();
        let with = DemandTrend::through(&days(&taken, Some(2.0), 1.09)).unwrap();
        assert!(with.taken.goes(Side::Rising));
        assert_eq!(with.with_the_fish(), Some(PerKilogram::Keeps));
        let beyond = DemandTrend::through(&days(&taken, Some(2.0), 1.0)).unwrap();
        assert_eq!(beyond.with_the_fish(), Some(PerKilogram::Rises));
        let nearly = DemandTrend::through(&days(&taken, Some(2.0), 1.08)).unwrap();
        assert_eq!(
            nearly.with_the_fish(),
            Some(PerKilogram::Keeps),
            "a per cent a day is the plan's own error"
        );
        let below = DemandTrend::through(&days(&taken, Some(2.0), 1.2)).unwrap();
        assert_eq!(below.with_the_fish(), Some(PerKilogram::Falls));
        let unweighed = DemandTrend::through(&days(&taken, None, 1.0)).unwrap();
        assert_eq!((unweighed.per_kilogram, unweighed.with_the_fish()), (None, None));
        assert_eq!(DemandTrend::through(&days(&taken[..4], None, 1.0)), None, "four days are too few");
    }

    proptest! {
        #[test]
        fn oxygen_is_neither_made_nor_lost_between_two_tanks_in_a_row(
            flow in 0.1..200.0_f64, start in 6.0..12.0_f64, first in 0.0..3.0_f64, second in 0.0..3.0_f64,
        ) {
            let mg = MilligramsPerLitre;
            let through = |a: f64, b: f64| taken_up(LitresPerMinute(flow), mg(a), mg(b)).0;
            let apart = through(start, start - first) + through(start - first, start - first - second);
            prop_assert!((apart - through(start, start - first - second)).abs() < 1e-9);
        }
    }
}
