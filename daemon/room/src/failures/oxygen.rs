//! Oxygen falls fast, or is too low: lives hang on it, so one sign is enough. All places that are short of it are one
//! notice; another one, or one that goes on falling, is told anew.
//!
//! While it has time, it waits a little for the signs that name the blower. Trap: a probe that was lifted out
//! jumps towards the air's value instead, faster than water can change; what it then reads as too low is told all the
//! same.

use jiff::{SignedDuration, Timestamp};

use super::{Found, Hard, Rule};
use crate::evidence::Evidence;
use crate::evidence::step_change::shift;
use crate::evidence::trace::{TracePoint, middle, minutes, speaks, timestamp};
use crate::evidence::water::is_water;
use claymark_model::site::{Place, Quantity};
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::OxygenFalls { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let sensors = evidence.site.sensors.iter().filter(|sensor| sensor.quantity == Quantity::Oxygen);
    let mut short: Vec<Short> = sensors.filter_map(|sensor| Short::at(evidence, &sensor.place)).collect();
    // What still falls comes before what stands too low.
    let rank = |one: &Short, other: &Short| {
        (one.grave, one.from.is_some()).cmp(&(other.grave, other.from.is_some()))
    };
    short.sort_by(|a, b| rank(b, a).then(a.share.total_cmp(&b.share)));
    let worst = short.first()?;
    Some(Found {
        cause: "air".to_owned(),
        fault: Fault::OxygenFalls { place: worst.place.clone(), oxygen: worst.now, limit_at: worst.limit_at },
        since: worst.since,
        signs: short.iter().map(Short::sign).collect(),
        drum: None,
        hard: if short.iter().any(|short| short.share < 1.0) { Hard::Yes } else { Hard::No },
        at_night: Priority::Now,
        // Another place, or much less at one, is told anew.
        stage: short.iter().map(|short| short.grave).fold(0, u8::saturating_add),
    })
}

/// A place that is short of oxygen, or soon will be.
struct Short {
    place: Place,
    /// mg/L.
    now: f64,
    /// mg/L before it began to fall; `None` where it just is too low.
    from: Option<f64>,
    since: Timestamp,
    /// When it comes to the least that the fish need.
    limit_at: Option<Timestamp>,
    /// Share of the least that is there.
    share: f64,
    /// Counts up by [`GRAVE`].
    grave: u8,
}

impl Short {
    fn at(evidence: &Evidence<'_>, place: &Place) -> Option<Self> {
        let (_, trace) = evidence.sensor(place, Quantity::Oxygen)?;
        let until = minutes(evidence.now);
        let least = evidence.limits(place).oxygen_min_mg_l;
        let points = trace.between(until - 150.0, until);
        let now = middle(&trace.between(until - 3.5, until)).filter(|_| speaks(&points, until))?;
        let falling = shift(&points, &PACES, LEAST_FALL_MG_L)
            .filter(|shift| shift.now < shift.before && is_water(shift));
        let low = now < least && points.len() >= 3;
        let limit_at = falling.and_then(|falling| trace.falls_to(least, falling.since));
        let soon = limit_at.is_some_and(|at| at <= evidence.now + SOON);
        let nears = limit_at.is_some_and(|at| at <= evidence.now + NEAR);
        let waited = nears && falling.is_some_and(|falling| evidence.now >= falling.since + WAITS);
        if !(low || soon || waited) {
            return None;
        }
        let share = now / least;
        let graver = GRAVE.iter().filter(|limit| share < **limit).count();
        Some(Self {
            place: place.clone(),
            now,
            from: falling.map(|falling| falling.before),
            since: falling.map_or_else(|| low_since(&points, least, evidence.now), |falling| falling.since),
            limit_at,
            share,
            grave: u8::try_from(1 + graver).unwrap_or(u8::MAX),
        })
    }

    fn sign(&self) -> Sign {
        let (place, now) = (self.place.clone(), self.now);
        match self.from {
            Some(from) => Sign::OxygenFalls { place, from, now },
            None => Sign::OxygenLow { place, now },
        }
    }
}

/// The first reading after the last one that was high enough.
fn low_since(points: &[TracePoint], least: f64, now: Timestamp) -> Timestamp {
    let low = points.iter().rev().take_while(|point| point.v < least).last();
    low.map_or(now, |point| timestamp(point.t))
}

/// Every place that was told of is well again.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let until = minutes(evidence.now);
    failure.signs.iter().all(|sign| {
        let (place, was) = if let Sign::OxygenFalls { place, from, .. } = sign {
            (place, *from)
        } else if let Sign::OxygenLow { place, .. } = sign {
            (place, f64::NEG_INFINITY)
        } else {
            return true;
        };
        let least = evidence.limits(place).oxygen_min_mg_l;
        let trace = evidence.sensor(place, Quantity::Oxygen);
        let is = trace.and_then(|(_, trace)| middle(&trace.between(until - 5.0, until)));
        is.is_some_and(|is| is >= (was - LEAST_FALL_MG_L).max(least + CLEARLY_MG_L))
    })
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
/// Shares of the least that the fish need, below which it is graver.
const GRAVE: [f64; 2] = [0.85, 0.6];
/// min.
pub(super) const PACES: [f64; 5] = [1.5, 8.0, 15.0, 30.0, 60.0];
