//! How well the drums were forecast: what was said of their marks, against when the volume came down to them.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};

use claymark_model::score::{Bounds, Coverage};
use claymark_model::site::Site;
use claymark_model::skill::{Lead, MarkForecast, Skill};

/// By how far ahead, the nearest first.
#[derive(Debug, Clone, PartialEq)]
pub struct ForecastSkill {
    /// Since when forecasts were judged: the first that was made in the four weeks up to the end.
    pub since: Option<Timestamp>,
    /// Each lead.
    pub leads: Vec<LeadScore>,
}

/// Forecasts of one lead.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadScore {
    /// How far ahead.
    pub lead: Lead,
    /// Days of drums on which at least one was settled: so many of them are independent, at most.
    pub drum_days: u32,
    /// Half of the likely times were off by less; `None`: nothing was settled.
    pub median_off: Option<SignedDuration>,
    /// Of the interval that should hold half.
    pub inner: Coverage,
    /// Of the interval that should hold nine of ten.
    pub outer: Coverage,
    /// The mean score of the whole distribution, a time.
    pub crps: Option<SignedDuration>,
}

/// Whether the intervals hold what they should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntervalVerdict {
    /// Fewer than [`ENOUGH`] independent cases.
    TooLittle,
    /// As far as so many cases can tell.
    Fits,
    /// They hold less than half, or less than nine of ten.
    TooNarrow,
    /// They hold more than half, or more than nine of ten.
    TooWide,
}

impl ForecastSkill {
    /// Nothing is known.
    pub const NONE: Self = Self { since: None, leads: Vec::new() };

    /// From what was said in the four weeks up to the end.
    #[must_use]
    pub fn of(site: &Site, said: &[MarkForecast]) -> Self {
        let skill = Skill::of(said);
        let leads = skill.leads().map(|(lead, scores)| {
            let settled = || said.iter().filter(move |one| one.lead == lead && one.off().is_some());
            let drum_days: BTreeSet<_> =
                settled().map(|one| (&one.drum, site.date_at(one.made_at))).collect();
            let mut off: Vec<SignedDuration> = settled().filter_map(|one| Some(one.off()?.abs())).collect();
            off.sort();
            LeadScore {
                lead,
                drum_days: u32::try_from(drum_days.len()).unwrap_or(u32::MAX),
                median_off: middle(&off),
                inner: scores.inner,
                outer: scores.outer,
                crps: scores.crps(),
            }
        });
        Self { since: said.first().map(|one| one.made_at), leads: leads.collect() }
    }

    /// Whether a single forecast could be judged.
    #[must_use]
    pub fn any(&self) -> bool {
        self.leads.iter().any(|lead| lead.outer.of > 0)
    }
}

impl LeadScore {
    /// Between which the true share of the inner interval lies, with 95 % confidence.
    #[must_use]
    pub fn inner_bounds(&self) -> Option<Bounds> {
        self.inner.of_independent(self.drum_days).clopper_pearson(CONFIDENCE)
    }

    /// Between which the true share of the outer interval lies, with 95 % confidence.
    #[must_use]
    pub fn outer_bounds(&self) -> Option<Bounds> {
        self.outer.of_independent(self.drum_days).clopper_pearson(CONFIDENCE)
    }

    /// By both intervals.
    #[must_use]
    pub fn verdict(&self) -> IntervalVerdict {
        match (self.inner_bounds(), self.outer_bounds()) {
            (Some(inner), Some(outer)) if self.drum_days >= ENOUGH => {
                if inner.high < INNER || outer.high < OUTER {
                    IntervalVerdict::TooNarrow
                } else if inner.low > INNER || outer.low > OUTER {
                    IntervalVerdict::TooWide
                } else {
                    IntervalVerdict::Fits
                }
            }
            (_, _) => IntervalVerdict::TooLittle,
        }
    }
}

fn middle(sorted: &[SignedDuration]) -> Option<SignedDuration> {
    let (low, high) = (sorted.get(sorted.len().checked_sub(1)? / 2)?, sorted.get(sorted.len() / 2)?);
    Some((*low + *high) / 2)
}

/// Fewer independent cases aren't judged. Our own choice: with ten, all ten held, the bounds still reach down to 69 %.
pub const ENOUGH: u32 = 10;
const INNER: f64 = 0.5;
const OUTER: f64 = 0.9;
const CONFIDENCE: f64 = 0.95;
