//! The blower has stopped: the drums' air and the head tank's air go together.
//!
//! Oxygen falls and the clay begins to settle, at the same draw. One message, and oxygen comes first: more clay
//! would be wrong, it lies in the drum. Trap: a probe that was lifted out, which jumps instead of sagging.

use jiff::SignedDuration;

use super::oxygen::PACES;
use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::step_change::{StepChange, shift};
use crate::evidence::trace::{middle, minutes};
use crate::evidence::water::is_water;
use claymark_model::site::{Place, Quantity};
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::Blower { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let oxygen = falling_oxygen(evidence)?;
    let head = evidence.head.as_ref()?;
    let sag = head.suspected().filter(|shift| is_water(shift) && shift.towards < shift.before)?;
    if sag.since.duration_since(oxygen.since).abs() > TOGETHER {
        return None;
    }
    let mut signs = vec![
        Sign::OxygenFalls { place: Place::Head, from: oxygen.before, now: oxygen.now },
        sag.sign(Place::Head),
    ];
    // Oxygen shows the minute; the clay takes its time to sag.
    let since = oxygen.since;
    let least = evidence.limits(&Place::Head).oxygen_min_mg_l;
    let trace = evidence.sensor(&Place::Head, Quantity::Oxygen);
    let limit_at = trace.and_then(|(_, trace)| trace.falls_to(least, oxygen.since));
    let feeds = evidence.feeds(since);
    if evidence.draws_went_on(&feeds, since, 0.0).is_some_and(|went_on| went_on > 0.0) {
        signs.extend(evidence.draws_unchanged(&feeds, since));
    }
    Some(Found {
        at_night: Priority::Now,
        ..Found::of("air", Fault::Blower { oxygen: oxygen.now, limit_at }, since, signs)
    })
}

fn falling_oxygen(evidence: &Evidence<'_>) -> Option<StepChange> {
    let (_, trace) = evidence.sensor(&Place::Head, Quantity::Oxygen)?;
    let now = minutes(evidence.now);
    let points = trace.between(now - 150.0, now);
    shift(&points, &PACES, LEAST_FALL_MG_L).filter(|shift| shift.towards < shift.before && is_water(shift))
}

/// The oxygen has come most of the way back.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let was = failure.oxygen_before();
    let now = minutes(evidence.now);
    let oxygen = evidence.sensor(&Place::Head, Quantity::Oxygen);
    let is = oxygen.and_then(|(_, trace)| middle(&trace.between(now - 5.0, now)));
    was.zip(is).is_some_and(|(was, is)| is >= was - LEAST_FALL_MG_L)
}

/// mg/L. A smaller fall is what fish and feeding do.
const LEAST_FALL_MG_L: f64 = 0.4;
/// Air that fails shows in oxygen and clay within this time of each other.
const TOGETHER: SignedDuration = SignedDuration::from_mins(20);
