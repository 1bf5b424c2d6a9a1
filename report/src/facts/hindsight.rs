//! How good the forecasts were, now that it is known what came.
//!
//! A forecast speaks of "if nobody refills and pump and valves stay as they are". So it is held against a
//! run-out only if nothing of that kind lay between; and where a refill came first, the one thing that can
//! be told is whether it had called the drum empty too early.

use jiff::{SignedDuration, Timestamp};

use claymark_model::forecast::{EmptyAt, Forecast, Outlook};
use claymark_model::happening::{Happening, What};

use crate::week::Week;

/// One forecast held against the run-out that came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hindsight {
    /// How long before the run-out it was made.
    pub ahead: SignedDuration,
    /// The likely time minus the true one: negative is too early; `None`: it had said "later than 72 hours".
    pub likely_error: Option<SignedDuration>,
    /// Whether the true time lay between the earliest and the latest.
    pub held: bool,
}

/// Forecasts that a refill proved wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Refuted {
    /// Forecasts after which a refill came first.
    pub checked: u64,
    /// Of these, the ones whose latest time had passed with slurry still in the drum.
    pub too_early: u64,
}

/// The forecasts made [`LEADS`] before the run-out at `empty`, where circumstances stayed from then on.
#[must_use]
pub fn before(empty: Timestamp, happenings: &[&Happening], forecasts: &[&Forecast]) -> Vec<Hindsight> {
    let since = happenings
        .iter()
        .filter(|happening| {
            happening.at < empty && (happening.what.changes_draw() || happening.what.changes_volume())
        })
        .map(|happening| happening.at)
        .max();
    LEADS
        .into_iter()
        .filter_map(|lead| {
            let wanted = empty.checked_sub(lead).ok()?;
            let forecast = forecasts
                .iter()
                .filter(|forecast| forecast.at <= wanted && wanted.duration_since(forecast.at) <= NEAR)
                .filter(|forecast| since.is_none_or(|since| forecast.at > since))
                .max_by_key(|forecast| forecast.at)?;
            let empty_at = known(forecast)?;
            Some(Hindsight {
                ahead: empty.duration_since(forecast.at),
                likely_error: empty_at.p50.map(|likely| likely.duration_since(empty)),
                held: empty_at.p05.is_some_and(|earliest| earliest <= empty)
                    && empty_at.p95.is_none_or(|latest| latest >= empty),
            })
        })
        .collect()
}

/// How many forecasts of the week had called a drum empty that was refilled with slurry still in it.
#[must_use]
pub fn refuted(week: &Week, happenings: &[&Happening], forecasts: &[&Forecast]) -> Refuted {
    let mut sum = Refuted::default();
    for forecast in forecasts.iter().filter(|forecast| week.contains(forecast.at) && forecast.in_use) {
        let next = happenings.iter().find(|happening| {
            happening.at > forecast.at
                && (happening.what.changes_draw()
                    || happening.what.changes_volume()
                    || happening.what == What::RanEmpty)
        });
        let (Some(next), Some(empty_at)) = (next, known(forecast)) else { continue };
        let already_empty = empty_at.p95.is_some_and(|latest| latest <= forecast.at);
        if matches!(next.what, What::Refilled { .. }) && !already_empty {
            sum.checked += 1;
            sum.too_early += u64::from(empty_at.p95.is_some_and(|latest| latest < next.at));
        }
    }
    sum
}

fn known(forecast: &Forecast) -> Option<EmptyAt> {
    match &forecast.outlook {
        Outlook::Known { empty_at, .. } => Some(*empty_at),
        Outlook::Unknown { .. } => None,
    }
}

/// How long before a run-out its forecasts are looked at.
pub const LEADS: [SignedDuration; 3] =
    [SignedDuration::from_hours(12), SignedDuration::from_hours(6), SignedDuration::from_hours(2)];

/// A forecast is made every ten minutes; an older one isn't the one of that lead.
const NEAR: SignedDuration = SignedDuration::from_mins(20);
