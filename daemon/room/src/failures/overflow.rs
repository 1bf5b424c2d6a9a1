//! More fresh water comes in than the tanks take: a float valve stuck open, and the head tank runs over.
//!
//! Turbidity falls, draw and tank flow are as they were. Trap: a supplement valve opened on purpose, which the
//! log says.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::feed::only_drum;
use claymark_model::fieldlog::Deed;
use claymark_model::happening::SeenRefill;
use claymark_model::site::{Place, Quantity};
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::TooMuchWater { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let head = evidence.head.as_ref()?;
    let explained = head.explained().filter(|explained| explained.water_factor < MOST_LEFT)?;
    let shift = explained.slurry;
    let feeds = evidence.feeds(shift.since);
    let meant =
        |deed: &Deed| matches!(deed, Deed::Note { .. } | Deed::FlowCheck { .. } | Deed::Cleaning { .. });
    let noted = evidence
        .journal
        .has(shift.since, SEEN_TO, |deed| meant(deed) || feeds.iter().any(|feed| feed.drum.sets_pump(deed)));
    let since_poured = |refill: &SeenRefill| refill.at >= shift.since - POURED;
    let poured = feeds.iter().any(|feed| feed.drum.refilled(evidence.now).is_some_and(since_poured));
    let metered =
        evidence.flow_changed(&Place::Head, shift.since).filter(|(from, now)| *now > MORE * from)?;
    let went_on = evidence.draws_went_on(&feeds, shift.since, explained.slurry_factor)?;
    if noted || poured || went_on + explained.speaks_for_water < LIKELIER {
        return None;
    }
    let (from, now) = metered;
    let tank = evidence
        .site
        .sensors
        .iter()
        .find(|sensor| sensor.quantity == Quantity::Flow && matches!(sensor.place, Place::Tank(_)));
    let tank =
        tank.and_then(|sensor| Some((&sensor.place, evidence.flow_changed(&sensor.place, shift.since)?)));
    let overflows = tank.as_ref().is_some_and(|(_, (from, now))| *now < MORE * from);
    let mut signs = vec![shift.sign(Place::Head), Sign::Flow { place: Place::Head, from, now }];
    signs.extend(evidence.draws_unchanged(&feeds, shift.since));
    signs.extend(tank.map(|(place, (from, now))| Sign::Flow { place: place.clone(), from, now }));
    Some(Found {
        drum: only_drum(&feeds),
        at_night: Priority::Soon,
        ..Found::of("fresh-water", Fault::TooMuchWater { share: now / from, overflows }, shift.since, signs)
    })
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.turbidity_is_back(failure, 0.12)
}

/// The clay goes to less than this share.
const MOST_LEFT: f64 = 0.87;
/// The meter shows this much more.
const MORE: f64 = 1.12;
/// Logarithm of how much likelier it is the water than the slurry; the meter is a sign of its own.
const LIKELIER: f64 = 1.0;
const SEEN_TO: SignedDuration = SignedDuration::from_mins(30);
const POURED: SignedDuration = SignedDuration::from_mins(60);
