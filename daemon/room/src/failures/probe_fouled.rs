//! One probe climbs for hours while its siblings and the head tank stay flat: it is fouled, not the water.
//!
//! It steps back at a wipe. Trap: all climb, then it is real.

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::trace::{Trace, middle, minutes, timestamp};
use crate::evidence::water::Turbid;
use claymark_model::median::median;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::ProbeFouled { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let now = minutes(evidence.now);
    let probes: Vec<&Turbid<'_>> = evidence.head.iter().chain(&evidence.tanks).collect();
    if probes.len() < LEAST_PROBES {
        return None;
    }
    let climbs: Vec<Option<Climb>> = probes.iter().map(|probe| Climb::of(probe.trace, now)).collect();
    probes.iter().zip(&climbs).enumerate().find_map(|(place, (probe, climb))| {
        let climb = climb.as_ref().filter(|climb| climb.is_steady())?;
        let others = climbs.iter().enumerate().filter(|(other, _)| *other != place);
        let rises = others.filter_map(|(_, other)| Some(other.as_ref()?.rise()));
        let siblings = median(&mut rises.collect::<Vec<_>>())?;
        let (since, sensor) = (timestamp(now - OVER), &probe.sensor.id);
        let wiped = evidence.journal.has_between(since, evidence.now, |deed| deed.may_wipe(sensor));
        let alone = siblings < ALONE * climb.rise();
        let (place, others) =
            (probe.sensor.place.clone(), u32::try_from(probes.len() - 1).unwrap_or(u32::MAX));
        let signs = vec![
            Sign::Climbs { place, from: climb.then, now: climb.now },
            Sign::SiblingsSteady { probes: others, by: siblings },
        ];
        let fault = Fault::ProbeFouled { sensor: sensor.clone(), by: climb.rise() - siblings };
        (alone && !wiped).then(|| Found::of(format!("probe:{sensor}"), fault, since, signs))
    })
}

/// How a reading climbed over the last hours.
struct Climb {
    then: f64,
    between: f64,
    now: f64,
}

impl Climb {
    fn of(trace: &Trace, now: f64) -> Option<Self> {
        let part = |from: f64, to: f64| middle(&trace.between(now - from, now - to));
        Some(Self {
            then: part(OVER, OVER - 60.0)?,
            between: part(OVER / 2.0 + 30.0, OVER / 2.0 - 30.0)?,
            now: part(45.0, 0.0)?,
        })
    }

    fn rise(&self) -> f64 {
        self.now - self.then
    }

    /// Up by enough, and about evenly: a step is something else.
    fn is_steady(&self) -> bool {
        let rise = self.rise();
        rise >= LEAST_NTU.max(LEAST_SHARE * self.then)
            && (0.25..0.75).contains(&((self.between - self.then) / rise))
    }
}

/// It was wiped, or reads like before.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let Fault::ProbeFouled { sensor, .. } = &failure.fault else { return false };
    let now = minutes(evidence.now);
    let probe = evidence.head.iter().chain(&evidence.tanks).find(|probe| probe.sensor.id == *sensor);
    let is = probe.and_then(|probe| middle(&probe.trace.between(now - 5.0, now)));
    let was = failure
        .signs
        .iter()
        .find_map(|sign| if let Sign::Climbs { from, .. } = sign { Some(*from) } else { None });
    is.zip(was).is_some_and(|(is, was)| is < was + LEAST_NTU / 2.0)
}

/// min. Fouling takes hours.
const OVER: f64 = 360.0;
const LEAST_PROBES: usize = 3;
/// A climb smaller than both isn't told.
const LEAST_NTU: f64 = 7.0;
/// See [`LEAST_NTU`].
const LEAST_SHARE: f64 = 0.12;
/// Siblings that climb by more than this share of it make it real.
const ALONE: f64 = 0.35;
