//! The heater has failed: the head tank cools along its own time constant, long before the tanks are too cold.
//!
//! Trap: a probe that was lifted, which jumps.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::notice::Priority;
use crate::notice::failure::{Failure, Fault, Sign};
use crate::room::evidence::Evidence;
use crate::room::evidence::shift::{Shift, shift};
use crate::room::evidence::trace::{Trace, middle, minutes};
use crate::room::evidence::water::is_water;
use crate::site::{Place, Quantity};

pub(super) const RULE: Rule = Rule { find, is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let (_, trace) = evidence.sensor(&Place::Head, Quantity::Temperature)?;
    let cooling = falling(trace, minutes(evidence.now))?;
    let in_tanks =
        evidence.site.sensors.iter().filter(|sensor| {
            sensor.quantity == Quantity::Temperature && matches!(sensor.place, Place::Tank(_))
        });
    let tank = in_tanks.filter_map(|sensor| {
        let (_, trace) = evidence.sensor(&sensor.place, Quantity::Temperature)?;
        let cooling = falling(trace, minutes(evidence.now))?;
        Some(Sign::Cools { place: sensor.place.clone(), from: cooling.before, now: cooling.now })
    });
    let second = tank.into_iter().next();
    let least = evidence.limits(&Place::Head).temperature_c.min();
    let limit_at = trace.falls_to(least, cooling.since);
    // A minute or two later the time left can be told too.
    if limit_at.is_none() && evidence.now < cooling.since + TREND {
        return None;
    }
    let at_night = if second.is_some() { Priority::Now } else { Priority::Soon };
    let mut signs = vec![Sign::Cools { place: Place::Head, from: cooling.before, now: cooling.now }];
    signs.extend(second);
    Some(Found {
        cause: "heat".to_owned(),
        fault: Fault::HeaterOff { temperature: cooling.now, limit_at },
        since: cooling.since,
        signs,
        drum: None,
        at_night,
        stage: 0,
    })
}

fn falling(trace: &Trace, now: f64) -> Option<Shift> {
    let points = trace.between(now - 150.0, now);
    points.last().filter(|point| now - point.t <= 5.0)?;
    shift(&points, &PACES, LEAST_FALL_C).filter(|shift| is_water(shift) && shift.now < shift.before)
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let was = failure
        .signs
        .iter()
        .find_map(|sign| if let Sign::Cools { from, .. } = sign { Some(*from) } else { None });
    let now = minutes(evidence.now);
    let trace = evidence.sensor(&Place::Head, Quantity::Temperature);
    let is = trace.and_then(|(_, trace)| middle(&trace.between(now - 5.0, now)));
    was.zip(is).is_some_and(|(was, is)| is >= was - LEAST_FALL_C)
}

/// °C. Smaller falls are the room's day and night.
const LEAST_FALL_C: f64 = 0.5;
/// So long after it began a fall has a trend.
const TREND: SignedDuration = SignedDuration::from_mins(9);
/// min.
const PACES: [f64; 5] = [1.5, 5.0, 10.0, 20.0, 60.0];
