//! What three failures share: the head tank clears as if no slurry came any more, and nobody meant it to.
//!
//! The level alone can't tell a stopped pump within minutes: two litres in a litre and a half of noise. The
//! head tank can, since it falls along its own time constant, which no broken probe does.

use jiff::SignedDuration;

use crate::evidence::Evidence;
use crate::evidence::breakpoint::Breakpoint;
use crate::evidence::drum::DrumSight;
use crate::evidence::feed::Feed;
use crate::evidence::journal::NOTED;
use crate::evidence::step_change::StepChange;
use crate::evidence::trace::{middle, minutes};
use crate::evidence::water::{Explained, is_quick};
use claymark_model::fieldlog::Deed;
use claymark_model::happening::SeenRefill;
use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity};
use claymark_notice::failure::{Failure, Sign};

/// No slurry reaches the head tank.
pub(super) struct NoSlurry<'e, 'a> {
    pub(super) drum: &'e DrumSight<'a>,
    pub(super) shift: StepChange,
    pub(super) breakpoint: Option<Breakpoint>,
    /// What the pump's contact says, where it has one.
    pub(super) turns: Option<bool>,
    /// Other drums feed the head tank too.
    is_one_of: bool,
    /// The pump that the signs fit as well.
    other: Option<Id>,
}

impl NoSlurry<'_, '_> {
    /// Logarithm of how much likelier the level is if it falls as before than if it stands.
    pub(super) fn level_falls_on(&self) -> f64 {
        self.breakpoint.map_or(0.0, |breakpoint| breakpoint.speaks_for_the_same(0.0))
    }

    /// Its drum's name, where it isn't the only one.
    pub(super) fn named(&self) -> Option<Id> {
        self.is_one_of.then(|| self.drum.record.drum.id.clone())
    }

    /// The other pump that it may be.
    pub(super) fn fits_too(&self) -> Option<Sign> {
        self.other.clone().map(|pump| Sign::FitsToo { place: Place::Pump(pump) })
    }

    pub(super) fn cause(&self) -> String {
        format!("slurry:{}", self.drum.record.drum.pump)
    }

    /// The head tank's fall.
    pub(super) fn clearing(&self) -> Sign {
        self.shift.sign(Place::Head)
    }
}

/// What the signs say; `None` while slurry comes, or when somebody stopped it on purpose.
///
/// Where several pumps feed the head tank, it may be one of them: then the one whose level falls least, and if by and by
/// that doesn't tell them apart, the other one is named too.
pub(super) fn no_slurry<'e, 'a>(evidence: &'e Evidence<'a>) -> Option<NoSlurry<'e, 'a>> {
    let explained = evidence.head.as_ref()?.explained().filter(|explained| is_quick(&explained.slurry))?;
    let shift = explained.slurry;
    let feeds = evidence.feeds(shift.since);
    let waited = evidence.now.duration_since(shift.since);
    // A drum that was just filled is answered by the rules of refills first.
    let poured = |refill: &SeenRefill| refill.at >= shift.since - POURED && evidence.now < refill.at + POURED;
    let answered = |feed: &Feed<'_, '_>| {
        is_meant(evidence, feed.drum, &shift) || feed.drum.refilled(evidence.now).is_some_and(poured)
    };
    if waited < WAITED || feeds.iter().any(answered) {
        return None;
    }
    let mut each: Vec<_> = feeds.iter().filter_map(|feed| of_feed(evidence, feed, &explained)).collect();
    let stands = |none: &NoSlurry<'_, '_>| none.turns == Some(false);
    let falls_less = |one: &NoSlurry<'_, '_>, other: &NoSlurry<'_, '_>| {
        stands(other).cmp(&stands(one)).then(one.level_falls_on().total_cmp(&other.level_falls_on()))
    };
    each.sort_by(falls_less);
    let pump = |none: &NoSlurry<'_, '_>| none.drum.record.drum.pump.clone();
    let mut each = each.into_iter();
    let mut first = each.next()?;
    first.is_one_of = feeds.len() > 1;
    let second = each.find(|second| pump(second) != pump(&first));
    let alike =
        second.filter(|second| !stands(&first) && second.level_falls_on() - first.level_falls_on() < APART);
    if alike.is_some() && waited < AT_LATEST {
        return None;
    }
    first.other = alike.as_ref().map(pump);
    Some(first)
}

fn of_feed<'e, 'a>(
    evidence: &Evidence<'a>,
    feed: &Feed<'e, 'a>,
    explained: &Explained,
) -> Option<NoSlurry<'e, 'a>> {
    let (drum, shift) = (feed.drum, explained.slurry);
    let head = evidence.head.as_ref()?;
    let brought = feed.by_pump.of(shift.before - head.background);
    let cleared = shift.before - shift.now >= LEAST_FALL * brought;
    let left = feed.by_pump.alone(explained.slurry_factor);
    // Less than nothing: more clay is missing than this pump brought.
    let too_much = left < -LITTLE - 2.0 * feed.by_pump.doubt(explained.factor_sd);
    let holds = drum.forecast.outlook.volume();
    let empty = holds.is_some_and(|volume| volume.0 <= drum.record.drum.heel.0 + NEARLY_EMPTY_L);
    let breakpoint = drum.breakpoint(evidence.now, shift.since);
    let rises = breakpoint.is_some_and(|breakpoint| breakpoint.rises());
    if left > LITTLE || too_much || !cleared || empty || rises {
        return None;
    }
    Some(NoSlurry { drum, shift, breakpoint, turns: turns(evidence, drum), is_one_of: false, other: None })
}

/// Somebody set the pump, or cleans the drum or the head tank.
fn is_meant(evidence: &Evidence<'_>, drum: &DrumSight<'_>, shift: &StepChange) -> bool {
    let ours = &drum.record.drum;
    let places = [Place::Head, Place::Drum(ours.id.clone()), Place::Pump(ours.pump.clone())];
    evidence.journal.has(shift.since, NOTED, |deed| drum.sets_pump(deed) || deed.may_clean(&places))
}

fn turns(evidence: &Evidence<'_>, drum: &DrumSight<'_>) -> Option<bool> {
    let pump = Place::Pump(drum.record.drum.pump.clone());
    let now = minutes(evidence.now);
    let (_, trace) = evidence.sensor(&pump, Quantity::Running)?;
    middle(&trace.between(now - 3.0, now)).map(|percent| percent > 50.0)
}

/// Slurry comes again, or somebody wrote down what they did to the pump.
pub(super) fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let sets = |deed: &Deed| evidence.drums.iter().any(|drum| drum.sets_pump(deed));
    evidence.journal.has_between(failure.since, evidence.now, sets)
        || evidence.turbidity_is_back(failure, BACK)
}

/// The clay goes to less than this share.
const LITTLE: f64 = 0.3;
/// Share of the clay that must be gone before it is told.
const LEAST_FALL: f64 = 0.25;
/// Logarithm of how much likelier the one pump must be than the other.
const APART: f64 = 2.0;
/// By then both are told of.
const AT_LATEST: SignedDuration = SignedDuration::from_mins(15);
const WAITED: SignedDuration = SignedDuration::from_mins(4);
const POURED: SignedDuration = SignedDuration::from_mins(30);
/// L over the heel: a drum that runs dry is told as that.
const NEARLY_EMPTY_L: f64 = 4.0;
/// Back within this share of what was.
const BACK: f64 = 0.15;
