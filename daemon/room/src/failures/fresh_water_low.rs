//! Less fresh water comes in: the clay of the same slurry is spread in less water, so the head tank clouds up.
//!
//! It looks like too much clay and is the opposite of it: what tells them apart is that no more slurry leaves
//! the drum. Trap: bubbles when the head tank is low; they scatter, and don't follow the tank's pace.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::feed::only_drum;
use claymark_model::site::Place;
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::FreshWaterLow { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let head = evidence.head.as_ref()?;
    let explained = head.explained()?;
    let (shift, factor) = (explained.water, explained.water_factor);
    let feeds = evidence.feeds(shift.since);
    let stronger = feeds.iter().any(|feed| feed.drum.was_poured(shift.since, REFILL));
    if factor < LEAST_FACTOR || stronger {
        return None;
    }
    let went_on = evidence.draws_went_on(&feeds, explained.slurry.since, explained.slurry_factor)?;
    let metered = evidence.flow_changed(&Place::Head, shift.since).filter(|(from, now)| *now < 0.85 * from);
    let needed = match &metered {
        Some(_) => 0.0,
        None => needed(evidence.now.duration_since(shift.since), evidence.away),
    };
    if went_on + explained.speaks_for_water < needed {
        return None;
    }
    let mut signs = vec![shift.sign(Place::Head)];
    signs.extend(evidence.draws_unchanged(&feeds, explained.slurry.since));
    let share = metered.map_or(1.0 / factor, |(from, now)| now / from);
    signs.extend(metered.map(|(from, now)| Sign::Flow { place: Place::Head, from, now }));
    Some(Found {
        drum: only_drum(&feeds),
        at_night: Priority::Now,
        ..Found::of("fresh-water", Fault::FreshWaterLow { share }, shift.since, signs)
    })
}

/// The longer it lasts, the less can be waited for: in the end the likelier is told.
fn needed(lasted: SignedDuration, away: bool) -> f64 {
    if lasted < WAITED {
        return LIKELIER;
    }
    let left = (AT_LATEST - lasted).as_secs_f64() / (AT_LATEST - WAITED).as_secs_f64();
    if left <= 0.0 && away { NOBODY_THERE } else { LEANS * left.max(0.0) }
}

/// The head tank has come most of the way back.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.turbidity_is_back(failure, 0.15)
}

/// The clay in the water must become denser by this.
const LEAST_FACTOR: f64 = 1.25;
/// Logarithm of how much likelier the same draw must be than one that explains the clay.
const LIKELIER: f64 = 4.5;
/// The same when it can't wait any longer.
const LEANS: f64 = 1.0;
/// The same at last while nobody is there who could turn up a pump; valves, filters and mains fail by themselves
/// (common practice, no source).
const NOBODY_THERE: f64 = -2.0;
const WAITED: SignedDuration = SignedDuration::from_mins(10);
/// By then it is told if it is likelier at all.
const AT_LATEST: SignedDuration = SignedDuration::from_mins(14);
/// What follows a refill so soon is the refill's strength.
const REFILL: SignedDuration = SignedDuration::from_mins(40);
