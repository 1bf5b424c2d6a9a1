//! What three failures share: the head tank clears as if no slurry came any more, and nobody meant it to.
//!
//! The level alone can't tell a stopped pump within minutes: two litres in a litre and a half of noise. The
//! head tank can, since it falls along its own time constant, which no broken probe does.

use jiff::SignedDuration;

use crate::fieldlog::Deed;
use crate::notice::failure::{Failure, Sign};
use crate::room::evidence::Evidence;
use crate::room::evidence::drum::DrumSight;
use crate::room::evidence::hinge::Hinge;
use crate::room::evidence::shift::Shift;
use crate::room::evidence::trace::{middle, minutes};
use crate::room::evidence::water::is_quick;
use crate::site::{Place, Quantity};

/// No slurry reaches the head tank.
pub(super) struct NoSlurry<'e, 'a> {
    pub(super) drum: &'e DrumSight<'a>,
    pub(super) shift: Shift,
    pub(super) hinge: Option<Hinge>,
    /// What the pump's contact says, where it has one.
    pub(super) turns: Option<bool>,
}

impl NoSlurry<'_, '_> {
    /// Logarithm of how much likelier the level is if it falls as before than if it stands.
    pub(super) fn level_falls_on(&self) -> f64 {
        self.hinge.map_or(0.0, |hinge| hinge.speaks_for_the_same(0.0))
    }

    pub(super) fn cause(&self) -> String {
        format!("slurry:{}", self.drum.desk.drum.pump)
    }

    /// The head tank's fall.
    pub(super) fn clearing(&self) -> Sign {
        self.shift.sign(Place::Head)
    }
}

/// What the signs say; `None` while slurry comes, or when somebody stopped it on purpose.
pub(super) fn no_slurry<'e, 'a>(evidence: &'e Evidence<'a>) -> Option<NoSlurry<'e, 'a>> {
    let drum = evidence.drawn()?;
    let head = evidence.head.as_ref()?;
    let explained = head.explained().filter(|explained| is_quick(&explained.slurry))?;
    let shift = explained.slurry;
    let cleared = (shift.before - shift.now) >= LEAST_FALL * (shift.before - head.background);
    let waited = evidence.now.duration_since(shift.since) >= WAITED;
    if explained.slurry_factor > LITTLE || !cleared || !waited || is_meant(evidence, drum, &shift) {
        return None;
    }
    let holds = drum.forecast.outlook.volume();
    if holds.is_some_and(|volume| volume.0 <= drum.desk.drum.heel.0 + NEARLY_EMPTY_L) {
        return None;
    }
    // A drum that was just filled is answered by the rules of refills first.
    let poured = drum
        .refilled(evidence.now)
        .is_some_and(|refill| refill.at >= shift.since - POURED && evidence.now < refill.at + POURED);
    let hinge = drum.hinge(evidence.now, shift.since);
    if poured || hinge.is_some_and(|hinge| hinge.after < -0.5 * hinge.before) {
        return None;
    }
    Some(NoSlurry { drum, shift, hinge, turns: turns(evidence, drum) })
}

/// Somebody set the pump, or cleans the drum or the head tank.
fn is_meant(evidence: &Evidence<'_>, drum: &DrumSight<'_>, shift: &Shift) -> bool {
    let cleans = |deed: &Deed| {
        let Deed::Cleaning { place, .. } = deed else { return false };
        let places =
            [Place::Head, Place::Drum(drum.desk.drum.id.clone()), Place::Pump(drum.desk.drum.pump.clone())];
        place.as_ref().is_none_or(|place| places.contains(place))
    };
    evidence.journal.has(shift.since, NOTED, |deed| drum.sets_pump(deed) || cleans(deed))
}

fn turns(evidence: &Evidence<'_>, drum: &DrumSight<'_>) -> Option<bool> {
    let pump = Place::Pump(drum.desk.drum.pump.clone());
    let now = minutes(evidence.now);
    let (_, trace) = evidence.sensor(&pump, Quantity::Running)?;
    middle(&trace.between(now - 3.0, now)).map(|percent| percent > 50.0)
}

/// Slurry comes again, or somebody wrote down what they did to the pump.
pub(super) fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let noted = evidence
        .journal
        .between(failure.since, evidence.now)
        .any(|entry| evidence.drums.iter().any(|drum| drum.sets_pump(&entry.deed)));
    noted || evidence.turbidity_is_back(failure, BACK)
}

/// The clay goes to less than this share.
const LITTLE: f64 = 0.3;
/// Share of the clay that must be gone before it is told.
const LEAST_FALL: f64 = 0.25;
const WAITED: SignedDuration = SignedDuration::from_mins(4);
const NOTED: SignedDuration = SignedDuration::from_mins(25);
const POURED: SignedDuration = SignedDuration::from_mins(30);
/// L over the heel: a drum that runs dry is told as that.
const NEARLY_EMPTY_L: f64 = 4.0;
/// Back within this share of what was.
const BACK: f64 = 0.15;
