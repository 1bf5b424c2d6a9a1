//! The heater has failed, or heats on and on: the head tank follows along its own time constant, long before the tanks
//! are too cold or too warm.
//!
//! Trap: a probe that was lifted, which jumps.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::step_change::{StepChange, shift};
use crate::evidence::trace::{Trace, middle, minutes, speaks};
use crate::evidence::water::is_water;
use claymark_clay::trend::Side;
use claymark_model::site::{Place, Quantity};
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::HeaterOff { .. } | Fault::HeaterOn { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    towards(evidence, Side::Falling).or_else(|| towards(evidence, Side::Rising))
}

fn towards(evidence: &Evidence<'_>, side: Side) -> Option<Found> {
    let (_, trace) = evidence.sensor(&Place::Head, Quantity::Temperature)?;
    let change = changing(trace, minutes(evidence.now), side)?;
    let in_tanks =
        evidence.site.sensors.iter().filter(|sensor| {
            sensor.quantity == Quantity::Temperature && matches!(sensor.place, Place::Tank(_))
        });
    let sign = |place: Place, change: &StepChange| match side {
        Side::Falling => Sign::Cools { place, from: change.before, now: change.now },
        Side::Rising => Sign::Warms { place, from: change.before, now: change.now },
    };
    let tank = in_tanks.filter_map(|sensor| {
        let (_, trace) = evidence.sensor(&sensor.place, Quantity::Temperature)?;
        Some(sign(sensor.place.clone(), &changing(trace, minutes(evidence.now), side)?))
    });
    let second = tank.into_iter().next();
    let limits = evidence.limits(&Place::Head).temperature_c;
    let limit = match side {
        Side::Falling => limits.min(),
        Side::Rising => limits.max(),
    };
    let limit_at = trace.reaches(limit, change.since, side);
    // A minute or two later the time left can be told too.
    if limit_at.is_none() && evidence.now < change.since + TREND {
        return None;
    }
    // Water that is warmed back to what it should be isn't warmed too much.
    if side == Side::Rising && change.towards <= limit && change.now <= limit {
        return None;
    }
    let soon = limit_at.is_some_and(|at| at <= evidence.now + PRESSES);
    let at_night = if second.is_some() || soon { Priority::Now } else { Priority::Soon };
    let mut signs = vec![sign(Place::Head, &change)];
    signs.extend(second);
    let temperature = change.now;
    Some(Found {
        at_night,
        ..Found::of(
            "heat",
            match side {
                Side::Falling => Fault::HeaterOff { temperature, limit_at, steady: false },
                Side::Rising => Fault::HeaterOn { temperature, limit_at, steady: false },
            },
            change.since,
            signs,
        )
    })
}

fn changing(trace: &Trace, now: f64, side: Side) -> Option<StepChange> {
    let points = Some(trace.between(now - 150.0, now)).filter(|points| speaks(points, now))?;
    let that_way = |shift: &StepChange| match side {
        Side::Falling => shift.now < shift.before,
        Side::Rising => shift.now > shift.before,
    };
    shift(&points, &PACES, LEAST_CHANGE_C).filter(|shift| is_water(shift) && that_way(shift))
}

/// The head tank is nearly what it was.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let was = failure.signs.iter().find_map(|sign| {
        if let Sign::Cools { from, .. } | Sign::Warms { from, .. } = sign { Some(*from) } else { None }
    });
    let now = minutes(evidence.now);
    let trace = evidence.sensor(&Place::Head, Quantity::Temperature);
    let is = trace.and_then(|(_, trace)| middle(&trace.between(now - 5.0, now)));
    let cooled = matches!(failure.fault, Fault::HeaterOff { .. });
    was.zip(is).is_some_and(
        |(was, is)| {
            if cooled { is >= was - LEAST_CHANGE_C } else { is <= was + LEAST_CHANGE_C }
        },
    )
}

/// A limit that is so near wakes people.
const PRESSES: SignedDuration = SignedDuration::from_hours(2);
/// °C. Smaller changes are the room's day and night.
const LEAST_CHANGE_C: f64 = 0.5;
/// So long after it began a change has a trend.
const TREND: SignedDuration = SignedDuration::from_mins(9);
/// min.
const PACES: [f64; 5] = [1.5, 5.0, 10.0, 20.0, 60.0];
