//! How long the water brings enough oxygen: the demand of each kilogram times what the fish will weigh by the plan.
//!
//! Fish that grow by the same share each day take more oxygen by the same share: a straight line through the last days
//! would put the end weeks too late. Without a plan's weights there is only the line.

use jiff::Timestamp;
use jiff::civil::Date;

use super::demand::{Demand, DemandTrend, PerKilogram};
use claymark_model::units::Kilograms;

/// One day that comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComingDay {
    /// Which.
    pub date: Date,
    /// Its middle.
    pub at: Timestamp,
    /// Whether fish are there.
    pub fish: bool,
    /// What they weigh by the plan.
    pub biomass: Option<Kilograms>,
}

/// What the fish leave of what the water brings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reserve {
    /// What the water brought on the last day that is known, down to the least that the fish want.
    pub most: Kilograms,
    /// What the fish took of it.
    pub taken: Kilograms,
    /// How long it lasts at that flow.
    pub lasts: Lasts,
}

/// How long the water is enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lasts {
    /// On that day the fish want all of it.
    Until {
        /// Which.
        date: Date,
        /// So many days after the last that is known.
        days: usize,
        /// By the plan's weights, and not only by the line of the last days.
        by_plan: bool,
    },
    /// The fish leave before.
    FishLeave {
        /// The first day on which they are no longer there.
        date: Date,
        /// What they take on the day before it.
        taken: Kilograms,
    },
    /// The plan says no weights after that day, and until then it is enough.
    PlanEnds {
        /// The last day with weights.
        date: Date,
        /// What they take on it.
        taken: Kilograms,
    },
    /// Nothing that is known ends it.
    NoEnd,
}

impl Reserve {
    /// From the last day that is known, the trend up to it, what the water brought on it, and the days that come: up to the
    /// last one with weights, where the plan says any.
    #[must_use]
    pub fn of(last: &Demand, trend: &DemandTrend, most: Kilograms, coming: &[ComingDay]) -> Option<Self> {
        let enough = most.0 > 0.0 && most.0.is_finite() && last.taken.0.is_finite();
        enough.then(|| Self { most, taken: last.taken, lasts: lasts(last, trend, most, coming) })
    }

    /// The share that the fish take, 0 to 1; more when the water isn't enough.
    #[must_use]
    pub fn share(&self, taken: Kilograms) -> f64 {
        taken.0 / self.most.0
    }
}

fn lasts(last: &Demand, trend: &DemandTrend, most: Kilograms, coming: &[ComingDay]) -> Lasts {
    let mut before = last.taken;
    let mut weighed = None;
    for (days, day) in (1..).zip(coming) {
        if !day.fish {
            return Lasts::FishLeave { date: day.date, taken: before };
        }
        let by_plan = by_weight(trend, day);
        let taken = by_plan.unwrap_or_else(|| Kilograms(trend.taken.value_at(day.at).max(0.0)));
        if taken.0 >= most.0 {
            return Lasts::Until { date: day.date, days, by_plan: by_plan.is_some() };
        }
        weighed = by_plan.map(|taken| (day.date, taken));
        before = taken;
    }
    weighed.map_or(Lasts::NoEnd, |(date, taken)| Lasts::PlanEnds { date, taken })
}

/// What the fish take on a day by their weight. What each kilogram takes goes on as it went, where it went beyond doubt.
fn by_weight(trend: &DemandTrend, day: &ComingDay) -> Option<Kilograms> {
    let each = trend.per_kilogram?;
    let each = match trend.with_the_fish()? {
        PerKilogram::Keeps => each.value,
        PerKilogram::Rises | PerKilogram::Falls => each.value_at(day.at).max(0.0),
    };
    Some(Kilograms(each * day.biomass?.0))
}

#[cfg(test)]
mod tests {
    use jiff::{SignedDuration, ToSpan as _};

    use super::*;

    /// A week from 19 April on: `taken(n)` by fish of `weight(n)`.
    fn week(taken: impl Fn(i32) -> f64, weight: impl Fn(i32) -> Option<f64>) -> (Demand, DemandTrend) {
        let day =
            |n: i32| Demand { at: at(n), taken: Kilograms(taken(n)), biomass: weight(n).map(Kilograms) };
        let days: Vec<Demand> = (0..7).map(day).collect();
        (days[6], DemandTrend::through(&days).unwrap())
    }

    fn at(n: i32) -> Timestamp {
        let noon: Timestamp = "2027-04-19T09:00:00Z".parse().unwrap();
        noon + SignedDuration::from_hours(24) * n
    }

    fn date(n: i32) -> Date {
        "2027-04-19".parse::<Date>().unwrap() + n.days()
    }

    fn coming(leave: i32, weight: impl Fn(i32) -> Option<f64>) -> Vec<ComingDay> {
        let day = |n: i32| ComingDay {
            date: date(n),
            at: at(n),
            fish: n < leave,
            biomass: weight(n).map(Kilograms),
        };
        (7..67).map(day).collect()
    }

    #[test]
    fn a_demand_that_goes_with_the_fish_compounds_as_they_grow() {
        let weight = |n: i32| Some(2.0 * 1.08_f64.powi(n));
        let taken = |n: i32| 0.030 * 1.08_f64.powi(n);
        let (last, trend) = week(taken, weight);
        let ends = |most: f64, coming: &[ComingDay]| {
            Reserve::of(&last, &trend, Kilograms(most), coming).unwrap().lasts
        };
        // 30 g times 1.08 to the n is 160 g at n = ln(160/30)/ln 1.08 = 21.75: on the 22nd day, 16 after the seventh. The
        // straight line (2.8 g a day) would say day 46.
        assert_eq!(
            ends(0.160, &coming(99, weight)),
            Lasts::Until { date: date(22), days: 16, by_plan: true }
        );
        // They leave on day 20, with 30 · 1.08^19 = 129.5 g.
        let Lasts::FishLeave { date: left, taken } = ends(0.160, &coming(20, weight)) else { panic!() };
        assert!(left == date(20) && (taken.0 - 0.1295).abs() < 1e-4, "{left} {taken:?}");
        // The plan's weights end on day 10: 30 · 1.08^10 = 64.8 g.
        let Lasts::PlanEnds { date: last_day, taken } = ends(0.160, &coming(99, weight)[..4]) else {
            panic!()
        };
        assert!(last_day == date(10) && (taken.0 - 0.064_77).abs() < 1e-4, "{last_day} {taken:?}");
        assert!(Reserve::of(&last, &trend, Kilograms(0.0), &[]).is_none());
    }

    #[test]
    fn without_weights_the_line_goes_on_and_a_flat_one_has_no_end() {
        // 30 g on the first day, 4 g more each day: 82 g on the fourteenth.
        let (last, trend) = week(|n| 0.030 + 0.004 * f64::from(n), |_| None);
        let all = coming(99, |_| None);
        let lasts = |most: f64| Reserve::of(&last, &trend, Kilograms(most), &all).unwrap().lasts;
        assert_eq!(lasts(0.0819), Lasts::Until { date: date(13), days: 7, by_plan: false });
        assert_eq!(lasts(9.0), Lasts::NoEnd);
        let (last, trend) = week(|_| 0.030, |_| None);
        assert_eq!(Reserve::of(&last, &trend, Kilograms(0.082), &all).unwrap().lasts, Lasts::NoEnd);
    }

    #[test]
    fn a_kilogram_that_takes_more_from_day_to_day_goes_on_taking_more() {
        let (last, trend) = week(|n| 0.030 + 0.004 * f64::from(n), |_| Some(2.0));
        let all = coming(99, |_| Some(2.0));
        let reserve = Reserve::of(&last, &trend, Kilograms(0.0819), &all).unwrap();
        assert_eq!(reserve.lasts, Lasts::Until { date: date(13), days: 7, by_plan: true });
        assert!((reserve.share(reserve.taken) - 54.0 / 81.9).abs() < 1e-9);
    }
}
