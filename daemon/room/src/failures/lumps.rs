//! The clay went in as lumps: turbidity is low after a fill and rises over the next hour as they dissolve.
//!
//! Traps: a probe that was wiped, which is in the log; air that came back, before which turbidity sagged from what it
//! should be, while lumps are missed most at first.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::drum::DrumSight;
use crate::evidence::trace::{middle, minutes};
use claymark_model::fieldlog::Deed;
use claymark_model::site::Place;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::Lumps), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    evidence.drums.iter().filter(|drum| drum.is_drawn()).find_map(|drum| of_drum(evidence, drum))
}

fn of_drum(evidence: &Evidence<'_>, drum: &DrumSight<'_>) -> Option<Found> {
    let head = evidence.head.as_ref()?;
    let refill = drum
        .refilled(evidence.now)
        .filter(|refill| (refill.at + WAITED..refill.at + FRESH).contains(&evidence.now))?;
    let (was, is) = drum.record.booked_over(&evidence.site.clay, refill.at)?;
    let (at, now) = (minutes(refill.at), minutes(evidence.now));
    let clay = |from: f64, to: f64| Some(middle(&head.trace.between(from, to))? - head.background);
    let share = evidence.feed_of(drum, refill.at)?.by_drum;
    let before = clay(at - 40.0, at - 3.0)?;
    let wanted = before * share.in_all(is.0 / was.0);
    // Of that, what this drum should bring.
    let own = share.of(before) * is.0 / was.0;
    let low = (1..=5).filter_map(|part| {
        let from = at + 8.0 + 8.0 * f64::from(part);
        clay(from, from + 8.0).filter(|_| from + 8.0 <= now)
    });
    let low = low.min_by(f64::total_cmp)?;
    let at_first = clay(at + 16.0, at + 24.0)?;
    let reached = clay(now - 8.0, now)?;
    let rising = reached - low >= RISEN * (wanted - low) && clay(now - 24.0, now - 14.0)? < reached;
    let wiped = evidence.journal.has_between(refill.at, evidence.now, |deed| {
        matches!(deed, Deed::Wipe { .. } | Deed::Cleaning { .. }) || drum.sets_pump(deed)
    });
    let sagged = at_first - low > SAGGED * wanted;
    let missed = wanted - low >= (1.0 - LOW) * own;
    if !missed || sagged || !rising || wiped || reached - wanted > (TOO_HIGH - 1.0) * own {
        return None;
    }
    let id = drum.record.drum.id.clone();
    Some(Found {
        drum: Some(id.clone()),
        ..Found::of(
            format!("lumps:{id}"),
            Fault::Lumps,
            refill.at,
            vec![
                Sign::LevelRose { added: refill.added, to: refill.to },
                Sign::TurbidityRises {
                    place: Place::Head,
                    from: low + head.background,
                    now: reached + head.background,
                    wanted: wanted + head.background,
                },
            ],
        )
    })
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.now >= failure.since + LASTS
}

/// Share of the booked clay that is missing at first.
const LOW: f64 = 0.87;
/// Share of the booked clay by which turbidity may fall after the fill: scatter.
const SAGGED: f64 = 0.06;
/// Share of what is missing that must have come back.
const RISEN: f64 = 0.35;
/// Beyond what the books say it isn't lumps.
const TOO_HIGH: f64 = 1.15;
const WAITED: SignedDuration = SignedDuration::from_mins(35);
const FRESH: SignedDuration = SignedDuration::from_mins(120);
/// Lumps dissolve, or lie on the bottom, within some hours.
const LASTS: SignedDuration = SignedDuration::from_hours(3);
