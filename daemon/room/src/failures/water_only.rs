//! Water was poured into a drum without clay: it lasts longer and feeds less. Never good news.
//!
//! The clay may be noted, or poured, a little later: it is asked for at once, and told with its amount when
//! it is still missing half an hour later. Trap: what was left was strong enough for it, by the plan of the fish.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::drum::DrumSight;
use claymark_model::fieldlog::Deed;
use claymark_model::happening::SeenRefill;
use claymark_model::site::Place;
use claymark_model::units::GramsPerLitre;
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign, WaterOnly};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::WaterOnly(_)), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    evidence.drums.iter().find_map(|drum| of_drum(evidence, drum))
}

fn of_drum(evidence: &Evidence<'_>, drum: &DrumSight<'_>) -> Option<Found> {
    let refill = drum.refilled(evidence.now).filter(|refill| evidence.now < refill.at + FRESH)?;
    let head = evidence.head.as_ref().filter(|_| drum.is_drawn())?;
    let explained = head.explained()?;
    let shift = explained.slurry;
    let began = shift.since.duration_since(refill.at);
    let thinner = (refill.to.0 - refill.added.0) / refill.to.0;
    let share = evidence.feed_of(drum, refill.at)?.by_drum;
    let left = share.alone(explained.slurry_factor);
    let falls = left < MOST_LEFT && left < thinner + SLACK;
    if !(-BEFORE..=AFTER).contains(&began) || !falls || clay_is_noted(evidence, drum, refill) {
        return None;
    }
    let was = drum.record.books_before(&evidence.site.clay, refill.at).left.strength;
    let is = GramsPerLitre(was.0 * thinner);
    let holds = drum.forecast.outlook.volume().unwrap_or(refill.to);
    let due = evidence.now >= refill.at + ASKED_FOR;
    let clay = evidence.aim(drum).clay_in(holds) - is.clay_in(holds);
    // While the plan thins the water by and by, what is left may be strong enough for water alone.
    if clay < evidence.site.clay.scale_step {
        return None;
    }
    let id = drum.record.drum.id.clone();
    let goes_to = head.background + share.in_all(thinner) * (shift.before - head.background);
    Some(Found {
        drum: Some(id.clone()),
        at_night: Priority::Soon,
        stage: u8::from(due),
        ..Found::of(
            format!("water-only:{id}"),
            Fault::WaterOnly(WaterOnly { added: refill.added, holds, was, is, clay, due, goes_to }),
            refill.at,
            vec![Sign::LevelRose { added: refill.added, to: refill.to }, shift.sign(Place::Head)],
        )
    })
}

/// Whether somebody wrote down clay for that drum about then.
fn clay_is_noted(evidence: &Evidence<'_>, drum: &DrumSight<'_>, refill: &SeenRefill) -> bool {
    let clay = |deed: &Deed| {
        let Deed::Refill { clay: Some(clay), .. } = deed else { return false };
        clay.0 > 0.0 && deed.may_refill(&drum.record.drum.id)
    };
    evidence.journal.has_between(refill.at - POURED_APART, evidence.now, clay)
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let drum = failure.drum.as_ref().map(|state| &state.drum);
    let noted = evidence.drums.iter().filter(|sight| Some(&sight.record.drum.id) == drum).any(|sight| {
        let refill = sight.refilled(evidence.now);
        refill.is_some_and(|refill| clay_is_noted(evidence, sight, refill))
    });
    noted || evidence.turbidity_is_back(failure, 0.12)
}

/// A refill older than this isn't asked about any more.
const FRESH: SignedDuration = SignedDuration::from_mins(80);
/// The head tank answers a refill from shortly before it was seen to this much later.
pub(super) const BEFORE: SignedDuration = SignedDuration::from_mins(6);
/// See [`BEFORE`].
const AFTER: SignedDuration = SignedDuration::from_mins(15);
/// Asked, and not answered for so long: told with the amount.
const ASKED_FOR: SignedDuration = SignedDuration::from_mins(29);
const POURED_APART: SignedDuration = SignedDuration::from_mins(30);
/// The clay goes to less than this share, and not far above the share that water alone explains.
const MOST_LEFT: f64 = 0.85;
/// See [`MOST_LEFT`].
const SLACK: f64 = 0.25;
