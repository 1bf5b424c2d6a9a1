//! The drum's air has failed and the clay settles below the intake: turbidity sags smoothly at the same draw.
//!
//! By the books the clay is still in the drum, so more clay would be wrong. Trap: a water-only top-up looks
//! alike, but begins at a jump of the level and follows the head tank's own pace.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::drum::DrumSight;
use crate::evidence::feed::Feed;
use crate::evidence::journal::NOTED;
use crate::evidence::trace::{middle, minutes};
use crate::evidence::water::is_slow;
use claymark_model::site::{Place, Quantity};
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::DrumAir { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let head = evidence.head.as_ref()?;
    let shift = head.shift.filter(|shift| shift.now < shift.before)?;
    let feeds = evidence.feeds(shift.since);
    let clay = |ntu: f64| (ntu - head.background).max(0.0);
    let in_head = clay(shift.now) / clay(shift.before).max(f64::EPSILON);
    let mut settled: Vec<SettledClay<'_, '_>> =
        feeds.iter().map(|feed| SettledClay::of(evidence, feed, in_head)).collect();
    // An air meter tells which; else what it left of each.
    settled.sort_by_key(|drum| drum.air.is_none());
    let first = settled.first()?;
    let waited = evidence.now.duration_since(shift.since) >= WAITED;
    let smooth = is_slow(&shift) && waited && shift.evidence >= EVIDENCE;
    if first.left > MOST_LEFT || !(smooth || first.air.is_some()) {
        return None;
    }
    let answered = |feed: &Feed<'_, '_>| {
        feed.drum.refilled(evidence.now).is_some_and(|refill| refill.at >= shift.since - POURED)
            || evidence.journal.has(shift.since, NOTED, |deed| feed.drum.sets_pump(deed))
    };
    if feeds.iter().any(answered) || evidence.draws_went_on(&feeds, shift.since, in_head)? < LIKELIER {
        return None;
    }
    let mut signs = vec![shift.sign(Place::Head)];
    signs.extend(evidence.draws_unchanged(&feeds, shift.since));
    signs.extend(first.air.clone());
    let known = first.air.is_some();
    let others = settled.iter().skip(1).filter(|other| !known || other.air.is_some());
    signs.extend(others.map(|other| Sign::FitsToo { place: Place::Drum(other.drum.record.drum.id.clone()) }));
    let drum = &first.drum.record.drum.id;
    Some(Found {
        drum: Some(drum.clone()),
        at_night: Priority::Now,
        ..Found::of(
            format!("drum-air:{drum}"),
            Fault::DrumAir {
                left: first.left.max(0.0),
                book: first.drum.record.books(&evidence.site.clay).left.strength,
            },
            shift.since,
            signs,
        )
    })
}

/// A drum whose clay may settle.
struct SettledClay<'e, 'a> {
    drum: &'e DrumSight<'a>,
    /// Share of its clay that still comes, if it is this one alone.
    left: f64,
    /// What its air meter says, where it fell by half.
    air: Option<Sign>,
}

impl<'e, 'a> SettledClay<'e, 'a> {
    fn of(evidence: &Evidence<'a>, feed: &Feed<'e, 'a>, in_head: f64) -> Self {
        let air = air_lost(evidence, &Place::Drum(feed.drum.record.drum.id.clone()));
        Self { drum: feed.drum, left: feed.by_drum.alone(in_head), air }
    }
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
