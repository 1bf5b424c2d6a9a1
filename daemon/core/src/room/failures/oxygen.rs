//! Oxygen falls fast, or is too low: lives hang on it, so one sign is enough.
//!
//! While it has time, it waits a little for the signs that name the blower. Trap: a probe that was lifted out
//! jumps towards the air's value instead, faster than water can change; what it then reads as too low is told all the
//! same.

use jiff::{SignedDuration, Timestamp};

use super::{Found, Rule};
use crate::notice::Priority;
use crate::notice::failure::{Failure, Fault, Sign};
use crate::room::evidence::Evidence;
use crate::room::evidence::shift::shift;
use crate::room::evidence::trace::{Trace, middle, minutes, timestamp};
use crate::room::evidence::water::is_water;
use crate::site::{Place, Quantity};

pub(super) const RULE: Rule = Rule { find, is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let sensors = evidence.site.sensors.iter().filter(|sensor| sensor.quantity == Quantity::Oxygen);
    sensors
        .filter_map(|sensor| {
            let (_, trace) = evidence.sensor(&sensor.place, Quantity::Oxygen)?;
            of_place(evidence, &sensor.place, trace)
        })
        .next()
}

fn of_place(evidence: &Evidence<'_>, place: &Place, trace: &Trace) -> Option<Found> {
    let now = minutes(evidence.now);
    let least = evidence.limits(place).oxygen_min_mg_l;
    let points = trace.between(now - 150.0, now);
    let newest = middle(&trace.between(now - 3.5, now))
        .filter(|_| points.last().is_some_and(|point| now - point.t <= 5.0))?;
    let falling =
        shift(&points, &PACES, LEAST_FALL_MG_L).filter(|shift| shift.now < shift.before && is_water(shift));
    let low = newest < least && points.len() >= 3;
    let limit_at = falling.and_then(|falling| trace.falls_to(least, falling.since));
    let soon = limit_at.is_some_and(|at| at <= evidence.now + SOON);
    let nears = limit_at.is_some_and(|at| at <= evidence.now + NEAR);
    let waited = nears && falling.is_some_and(|falling| evidence.now >= falling.since + WAITS);
    let (since, from): (Timestamp, f64) = match falling {
        Some(falling) => (falling.since, falling.before),
        None => (timestamp(now - 3.5), newest),
    };
    (low || soon || waited).then(|| Found {
        cause: "air".to_owned(),
        fault: Fault::OxygenFalls { place: place.clone(), oxygen: newest, limit_at },
        since,
        signs: vec![Sign::OxygenFalls { place: place.clone(), from, now: newest }],
        drum: None,
        at_night: Priority::Now,
        stage: 0,
    })
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let Fault::OxygenFalls { place, .. } = &failure.fault else { return false };
    let now = minutes(evidence.now);
    let is = evidence
        .sensor(place, Quantity::Oxygen)
        .and_then(|(_, trace)| middle(&trace.between(now - 5.0, now)));
    let was = failure.oxygen_before().unwrap_or(f64::MAX);
    let least = evidence.limits(place).oxygen_min_mg_l;
    is.is_some_and(|is| is >= (was - LEAST_FALL_MG_L).max(least + CLEARLY_MG_L))
}

/// mg/L.
const LEAST_FALL_MG_L: f64 = 0.5;
/// mg/L above the least that is well again.
const CLEARLY_MG_L: f64 = 0.3;
/// No time to wait for another sign.
const SOON: SignedDuration = SignedDuration::from_mins(12);
/// A limit that is farther away will be told when it is nearer, if it still comes.
const NEAR: SignedDuration = SignedDuration::from_hours(12);
/// Else it waits for the signs of the blower.
const WAITS: SignedDuration = SignedDuration::from_mins(18);
/// min.
const PACES: [f64; 5] = [1.5, 8.0, 15.0, 30.0, 60.0];
