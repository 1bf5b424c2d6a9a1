//! The clay of a refill was weighed or typed wrongly: the head tank moves by a factor after the fill that the
//! books don't explain. 2.2 and 0.45 are pounds for kilograms, 2 and 0.5 a bag counted twice or not at all.
//!
//! Trap: a different strength was meant; then the books explain the factor.

use jiff::SignedDuration;

use super::water_only::BEFORE;
use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::drum::DrumSight;
use crate::evidence::journal::NOTED;
use claymark_model::site::Place;
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::WrongWeighing { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    evidence.drums.iter().filter(|drum| drum.is_drawn()).find_map(|drum| of_drum(evidence, drum))
}

fn of_drum(evidence: &Evidence<'_>, drum: &DrumSight<'_>) -> Option<Found> {
    let head = evidence.head.as_ref()?;
    let refill = drum.refilled(evidence.now).filter(|refill| evidence.now < refill.at + FRESH)?;
    let (was, is) = drum.record.booked_over(&evidence.site.clay, refill.at)?;
    let explained = head.explained()?;
    let shift = explained.slurry;
    let began = shift.since.duration_since(refill.at);
    let waited = evidence.now.duration_since(shift.since) >= WAITED;
    let set = evidence.journal.has(shift.since, NOTED, |deed| drum.sets_pump(deed));
    let share = evidence.feed_of(drum, refill.at)?.by_drum;
    let factor = share.alone(explained.slurry_factor) * was.0 / is.0;
    let doubt = share.doubt(explained.factor_sd) * was.0 / is.0;
    let clear = factor - 2.0 * doubt >= HIGH || factor + 2.0 * doubt <= LOW;
    if !(-BEFORE..=AFTER).contains(&began) || !waited || set || !clear {
        return None;
    }
    let id = drum.record.drum.id.clone();
    Some(Found {
        drum: Some(id.clone()),
        at_night: Priority::Soon,
        ..Found::of(
            format!("weighing:{id}"),
            Fault::WrongWeighing { factor, booked: is },
            refill.at,
            vec![Sign::LevelRose { added: refill.added, to: refill.to }, shift.sign(Place::Head)],
        )
    })
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let drum = failure.drum.as_ref().map(|state| &state.drum);
    let again =
        evidence.drums.iter().filter(|sight| Some(&sight.record.drum.id) == drum).any(|sight| {
            sight.refilled(evidence.now).is_some_and(|refill| refill.at > failure.since + AFTER)
        });
    again || evidence.turbidity_is_back(failure, 0.15)
}

/// Seen over booked strength from which nobody weighs like that.
const HIGH: f64 = 1.4;
/// The same below.
const LOW: f64 = 0.7;
const FRESH: SignedDuration = SignedDuration::from_mins(120);
const WAITED: SignedDuration = SignedDuration::from_mins(20);
const AFTER: SignedDuration = SignedDuration::from_mins(25);
