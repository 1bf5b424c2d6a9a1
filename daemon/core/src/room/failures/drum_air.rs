//! The drum's air has failed and the clay settles below the intake: turbidity sags smoothly at the same draw.
//!
//! By the books the clay is still in the drum, so more clay would be wrong. Trap: a water-only top-up looks
//! alike, but begins at a jump of the level and follows the head tank's own pace.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::notice::Priority;
use crate::notice::failure::{Failure, Fault, Sign};
use crate::room::evidence::Evidence;
use crate::room::evidence::trace::{middle, minutes};
use crate::room::evidence::water::is_slow;
use crate::site::{Place, Quantity};
use crate::units::LitresPerMinute;

pub(super) const RULE: Rule = Rule { find, is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let drum = evidence.drawn()?;
    let head = evidence.head.as_ref()?;
    let shift = head.shift.filter(|shift| shift.now < shift.before)?;
    let air = air_lost(evidence, &Place::Drum(drum.desk.drum.id.clone()));
    let clay = |ntu: f64| (ntu - head.background).max(0.0);
    let left = clay(shift.now) / clay(shift.before).max(f64::EPSILON);
    let waited = evidence.now.duration_since(shift.since) >= WAITED;
    let smooth = is_slow(&shift) && waited && shift.evidence >= EVIDENCE;
    if left > MOST_LEFT || !(smooth || air.is_some()) {
        return None;
    }
    let poured = drum.refilled(evidence.now).is_some_and(|refill| refill.at >= shift.since - POURED);
    let noted = evidence.journal.has(shift.since, NOTED, |deed| drum.sets_pump(deed));
    let hinge = drum.hinge(evidence.now, shift.since)?;
    if poured || noted || hinge.speaks_for_the_same(left) < LIKELIER {
        return None;
    }
    let draw = LitresPerMinute(hinge.before).per_hour();
    let mut signs = vec![shift.sign(Place::Head), Sign::DrawUnchanged { draw }];
    signs.extend(air);
    Some(Found {
        cause: format!("drum-air:{}", drum.desk.drum.id),
        fault: Fault::DrumAir { left, book: drum.desk.books(&evidence.site.clay).left.strength },
        since: shift.since,
        signs,
        drum: Some(drum.desk.drum.id.clone()),
        at_night: Priority::Now,
        stage: 0,
    })
}

/// What the air meter there showed and shows, where it fell by half.
fn air_lost(evidence: &Evidence<'_>, place: &Place) -> Option<Sign> {
    let (_, trace) = evidence.sensor(place, Quantity::AirFlow)?;
    let now = minutes(evidence.now);
    let from = middle(&trace.between(now - 360.0, now - 90.0))?;
    let is = middle(&trace.between(now - 4.0, now))?;
    (is < 0.5 * from).then(|| Sign::AirFlow { place: place.clone(), from, now: is })
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.turbidity_is_back(failure, 0.12)
}

/// Share of the clay below which it is told.
const MOST_LEFT: f64 = 0.85;
const WAITED: SignedDuration = SignedDuration::from_mins(18);
/// Half a chi-square.
const EVIDENCE: f64 = 25.0;
/// Logarithm of how much likelier the same draw must be than one that explains the clay.
const LIKELIER: f64 = 2.0;
/// After a refill the clay may be low for other reasons for so long.
const POURED: SignedDuration = SignedDuration::from_mins(90);
const NOTED: SignedDuration = SignedDuration::from_mins(25);
