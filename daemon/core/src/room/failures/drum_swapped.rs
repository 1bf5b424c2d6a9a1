//! The pump was put on the other drum and nobody wrote it down: one level stops and the other begins to fall.
//!
//! Trap: the idle drum is being topped up, or both are joined.

use super::{Found, Rule};
use crate::fieldlog::Deed;
use crate::notice::Priority;
use crate::notice::failure::{Failure, Fault, Sign};
use crate::room::evidence::Evidence;
use crate::room::evidence::drum::DrumSight;
use crate::room::evidence::hinge::Hinge;
use crate::room::evidence::trace::{minutes, timestamp};
use crate::units::LitresPerMinute;
use jiff::SignedDuration;

pub(super) const RULE: Rule = Rule { find, is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let mut drums = evidence.drums.iter();
    drums.find_map(|from| {
        let others = evidence
            .drums
            .iter()
            .filter(|to| to.desk.drum.id != from.desk.drum.id && to.desk.drum.pump == from.desk.drum.pump);
        others.into_iter().find_map(|to| between(evidence, from, to))
    })
}

fn between(evidence: &Evidence<'_>, from: &DrumSight<'_>, to: &DrumSight<'_>) -> Option<Found> {
    let now = minutes(evidence.now);
    let poured = [from, to]
        .iter()
        .any(|drum| drum.refilled(evidence.now).is_some_and(|refill| refill.at >= evidence.now - POURED));
    if poured {
        return None;
    }
    let at = |back: f64| {
        let since = timestamp(now - back);
        let (left, taken) = (from.bend(evidence.now, since)?, to.bend(evidence.now, since)?);
        let stops = left.before > LEAST_L_MIN && -left.speaks_for_the_same(0.0) >= SURE;
        let begins = taken.before.abs() < 0.3 * left.before && alike(&taken, &left);
        (stops && begins).then(|| (left.sigmas().min(taken.sigmas()), since, left))
    };
    let tried = (0..TRIES).filter_map(|step| at(FIRST + 5.0 * f64::from(step)));
    let (_, since, left) = tried.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let noted = evidence
        .journal
        .between(since - NOTED, evidence.now)
        .any(|entry| matches!(entry.deed, Deed::InUse { .. }));
    let draw = LitresPerMinute(left.before).per_hour();
    (!noted).then(|| Found {
        cause: format!("swapped:{}", from.desk.drum.pump),
        fault: Fault::DrumSwapped {
            pump: from.desk.drum.pump.clone(),
            from: from.desk.drum.id.clone(),
            to: to.desk.drum.id.clone(),
        },
        since,
        signs: vec![Sign::LevelStands, Sign::OtherFalls { drum: to.desk.drum.id.clone(), draw }],
        drum: Some(to.desk.drum.id.clone()),
        at_night: Priority::Morning,
        stage: 0,
    })
}

/// The one begins with what the other had.
fn alike(taken: &Hinge, left: &Hinge) -> bool {
    taken.sigmas() >= SIGMAS && (taken.after - left.before).abs() <= 0.35 * left.before + 2.0 * taken.sd
}

/// Somebody wrote it down.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence
        .journal
        .between(failure.since - NOTED, evidence.now)
        .any(|entry| matches!(entry.deed, Deed::InUse { .. }))
}

/// Levels bend at this many minutes ago at the soonest, then every five.
const FIRST: f64 = 20.0;
const TRIES: u32 = 14;
/// Logarithm of how much likelier a standing level must be than a falling one.
const SURE: f64 = 12.0;
const SIGMAS: f64 = 5.0;
/// L/min. Less than a drop a second is nothing.
const LEAST_L_MIN: f64 = 0.02;
const NOTED: SignedDuration = SignedDuration::from_mins(25);
const POURED: SignedDuration = SignedDuration::from_mins(120);
