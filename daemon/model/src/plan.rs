//! The rearing plan: which fish stand in which tanks since when, and what each day wants of the water.
//!
//! The *fish day* counts civil days of the site from the day on which the batch was stocked; a batch that had
//! been reared elsewhere before brings its days along. Between two rows of the plan the turbidity band moves
//! from day to day; flow, temperature and oxygen stand from their row until the next one, because hands set
//! them. Where no batch stands, the fixed limits of `[water]` hold.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::id::Id;
use crate::limits::WaterLimits;
use crate::quality::thresholds::Span;
use crate::units::Kilograms;

/// A batch of fish.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Batch {
    /// Its id.
    pub id: Id,
    /// For people.
    pub name: String,
    /// The day on which it came into its tanks.
    pub stocked: Date,
    /// Its days post hatch on that day.
    pub dph_at_stocking: i32,
    /// Its fish day on that day.
    pub day_at_stocking: i32,
    /// The first day on which it is no longer there, if that is known.
    pub ended: Option<Date>,
    /// Where it stands.
    pub tanks: Vec<Id>,
    /// What each day wants.
    pub plan: Plan,
}

/// How old fish are on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FishDay {
    /// Days since they were stocked, with those that they brought along.
    pub day: i32,
    /// Days post hatch.
    pub dph: i32,
}

/// Rows by fish day, rising; there is at least one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    ramp: Ramp,
    rows: Vec<Row>,
}

/// How the turbidity band moves between two rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ramp {
    /// By the same difference each day.
    Linear,
    /// By the same ratio each day.
    EqualRatio,
}

/// What a fish day wants; what is left out stands from the row before, or is that of `[water]`.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Row {
    /// From this fish day on.
    pub day: i32,
    /// Turbidity band on this day.
    pub turbidity: Option<Span>,
    /// How often an hour the water of a tank is exchanged.
    pub exchanges_per_h: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<Span>,
    /// Least dissolved oxygen, mg/L.
    pub oxygen_min_mg_l: Option<f64>,
    /// All fish of the batch together; between two rows it grows by the same ratio each day.
    pub biomass: Option<Kilograms>,
}

/// Rows that make no plan; numbers count rows from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadPlan {
    /// Nothing is planned.
    #[error("there is no row")]
    Empty,
    /// The days must rise.
    #[error("row {0} isn't later than the row before it")]
    NotRising(usize),
    /// From or to nothing there is no ratio.
    #[error("row {0}: a band that begins at 0 can't move by equal ratio")]
    RatioOfNothing(usize),
}

impl Plan {
    /// Checks the rows.
    pub fn new(ramp: Ramp, rows: Vec<Row>) -> Result<Self, BadPlan> {
        if rows.is_empty() {
            return Err(BadPlan::Empty);
        }
        let falls = rows.iter().zip(rows.iter().skip(1)).position(|(a, b)| b.day <= a.day);
        if let Some(first) = falls {
            return Err(BadPlan::NotRising(first + 2));
        }
        let no_ratio = |row: &Row| row.turbidity.is_some_and(|band| band.min() <= 0.0);
        match rows.iter().position(no_ratio) {
            Some(row) if ramp == Ramp::EqualRatio => Err(BadPlan::RatioOfNothing(row + 1)),
            Some(_) | None => Ok(Self { ramp, rows }),
        }
    }

    /// The turbidity band of a fish day; `None`: the plan has none.
    #[must_use]
    pub fn band(&self, day: i32) -> Option<Span> {
        let banded = || self.rows.iter().filter_map(|row| Some((row.day, row.turbidity?)));
        let before = banded().take_while(|(from, _)| *from <= day).last();
        let after = banded().find(|(from, _)| *from > day);
        match (before, after) {
            (Some((from, low)), Some((to, high))) => {
                let share = f64::from(day - from) / f64::from(to - from);
                let between = |a: f64, b: f64| self.ramp.between(a, b, share);
                Span::new(between(low.min(), high.min()), between(low.max(), high.max())).ok()
            }
            (Some((_, band)), None) | (None, Some((_, band))) => Some(band),
            (None, None) => None,
        }
    }

    /// How often an hour the water of a tank is exchanged on that day.
    #[must_use]
    pub fn exchanges_per_h(&self, day: i32) -> Option<f64> {
        self.standing(day, |row| row.exchanges_per_h)
    }

    /// What all fish of the batch weigh on that day.
    #[must_use]
    pub fn biomass(&self, day: i32) -> Option<Kilograms> {
        let weighed = || self.rows.iter().filter_map(|row| Some((row.day, row.biomass?.0)));
        let before = weighed().take_while(|(from, _)| *from <= day).last();
        let after = weighed().find(|(from, _)| *from > day);
        match (before, after) {
            (Some((from, low)), Some((to, high))) if low > 0.0 && high > 0.0 => {
                let share = f64::from(day - from) / f64::from(to - from);
                Some(Kilograms(Ramp::EqualRatio.between(low, high, share)))
            }
            (Some((_, mass)), _) | (None, Some((_, mass))) => Some(Kilograms(mass)),
            (None, None) => None,
        }
    }

    /// The last day of which it says what the fish weigh.
    #[must_use]
    pub fn last_weighed(&self) -> Option<i32> {
        self.rows.iter().filter(|row| row.biomass.is_some()).map(|row| row.day).next_back()
    }

    /// The last day that has a row; from then on everything stands.
    #[must_use]
    pub fn last_day(&self) -> i32 {
        self.rows.last().map_or(0, |row| row.day)
    }

    /// The limits of a day; `usual` where the plan says nothing.
    #[must_use]
    pub fn limits(&self, day: i32, usual: &WaterLimits) -> WaterLimits {
        WaterLimits {
            turbidity: self.band(day).unwrap_or(usual.turbidity),
            temperature_c: self.standing(day, |row| row.temperature_c).unwrap_or(usual.temperature_c),
            oxygen_min_mg_l: self.standing(day, |row| row.oxygen_min_mg_l).unwrap_or(usual.oxygen_min_mg_l),
        }
    }

    /// Of the latest row that says it; the first row holds before its day, too.
    fn standing<T>(&self, day: i32, of: impl Fn(&Row) -> Option<T>) -> Option<T> {
        let said = |row: &&Row| of(row).is_some();
        let row = self.rows.iter().filter(said).take_while(|row| row.day <= day).last();
        row.or_else(|| self.rows.iter().find(said)).and_then(of)
    }
}

impl Ramp {
    fn between(self, a: f64, b: f64, share: f64) -> f64 {
        match self {
            Self::Linear => a + (b - a) * share,
            Self::EqualRatio => a * (b / a).powf(share),
        }
    }
}

impl Batch {
    /// How old the fish are on that day; `None`: they aren't there.
    #[must_use]
    pub fn on(&self, date: Date) -> Option<FishDay> {
        let gone = self.ended.is_some_and(|ended| date >= ended);
        let since = date.since(self.stocked).ok()?.get_days();
        (since >= 0 && !gone)
            .then(|| FishDay { day: self.day_at_stocking + since, dph: self.dph_at_stocking + since })
    }

    /// The date of one of its fish days.
    #[must_use]
    pub fn date_of(&self, day: i32) -> Option<Date> {
        self.stocked.checked_add(jiff::Span::new().try_days(day - self.day_at_stocking).ok()?).ok()
    }
}

#[cfg(test)]
mod tests;
