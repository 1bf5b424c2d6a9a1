//! Less fresh water comes in: the clay of the same slurry is spread in less water, so the head tank clouds up.
//!
//! It looks like too much clay and is the opposite of it: what tells them apart is that no more slurry leaves
//! the drum. Trap: bubbles when the head tank is low; they scatter, and don't follow the tank's pace.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::notice::Priority;
use crate::notice::failure::{Failure, Fault, Sign};
use crate::room::evidence::Evidence;
use crate::room::evidence::trace::{middle, minutes};
use crate::site::{Place, Quantity};
use crate::units::LitresPerMinute;

pub(super) const RULE: Rule = Rule { find, is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let drum = evidence.drawn()?;
    let head = evidence.head.as_ref()?;
    let explained = head.explained()?;
    let (shift, factor) = (explained.slurry, explained.water_factor);
    let stronger = drum.refilled(evidence.now).is_some_and(|refill| {
        let since = shift.since.duration_since(refill.at);
        (-REFILL..=REFILL).contains(&since)
    });
    if factor < LEAST_FACTOR || stronger {
        return None;
    }
    let hinge = drum.hinge(evidence.now, shift.since)?;
    let metered = flow_fell(evidence, minutes(shift.since));
    let waited = evidence.now.duration_since(shift.since) >= WAITED;
    let needed = match (&metered, waited) {
        (Some(_), _) => 0.0,
        (None, true) => LEANS,
        (None, false) => LIKELIER,
    };
    let likelier = hinge.speaks_for_the_same(explained.slurry_factor) + explained.speaks_for_water;
    if likelier < needed {
        return None;
    }
    let draw = LitresPerMinute(hinge.before).per_hour();
    let mut signs = vec![
        Sign::Turbidity {
            place: Place::Head,
            from: shift.before,
            now: shift.now,
            towards: head.background + factor * (shift.before - head.background),
            pace_min: shift.pace,
        },
        Sign::DrawUnchanged { draw },
    ];
    let share = metered.map_or(1.0 / factor, |(from, now)| now / from);
    signs.extend(metered.map(|(from, now)| Sign::Flow { place: Place::Head, from, now }));
    Some(Found {
        cause: "fresh-water".to_owned(),
        fault: Fault::FreshWaterLow { share },
        since: shift.since,
        signs,
        drum: Some(drum.desk.drum.id.clone()),
        at_night: Priority::Now,
        stage: 0,
    })
}

/// What the head tank's flow meter read before and reads now, where it has one and it fell.
fn flow_fell(evidence: &Evidence<'_>, since: f64) -> Option<(f64, f64)> {
    let (_, trace) = evidence.sensor(&Place::Head, Quantity::Flow)?;
    let before = middle(&trace.between(since - 60.0, since - 3.0))?;
    let now = middle(&trace.between(minutes(evidence.now) - 4.0, minutes(evidence.now)))?;
    (now < 0.85 * before).then_some((before, now))
}

/// The head tank has come most of the way back.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let was = failure.turbidity_before();
    let now = minutes(evidence.now);
    let is = evidence.head.as_ref().and_then(|head| middle(&head.trace.between(now - 5.0, now)));
    was.zip(is).is_some_and(|(was, is)| is <= 1.15 * was)
}

/// The clay in the water must become denser by this.
const LEAST_FACTOR: f64 = 1.25;
/// Logarithm of how much likelier the same draw must be than one that explains the clay.
const LIKELIER: f64 = 4.5;
/// The same when it can't wait any longer.
const LEANS: f64 = 1.0;
const WAITED: SignedDuration = SignedDuration::from_mins(11);
/// What follows a refill so soon is the refill's strength.
const REFILL: SignedDuration = SignedDuration::from_mins(40);
