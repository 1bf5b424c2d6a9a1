//! The pump was put on the other drum and nobody wrote it down: one level stops and the other begins to fall.
//!
//! Trap: the idle drum is being topped up, or both are joined.

use jiff::{SignedDuration, Timestamp};

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::breakpoint::Breakpoint;
use crate::evidence::drum::DrumSight;
use crate::evidence::journal::NOTED;
use crate::evidence::trace::{minutes, timestamp};
use claymark_model::fieldlog::Deed;
use claymark_model::units::LitresPerMinute;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::DrumSwapped { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let still: Vec<&DrumSight<'_>> = evidence.drums.iter().filter(|drum| !poured(evidence, drum)).collect();
    still.iter().find_map(|from| {
        let pump = &from.record.drum.pump;
        let others = || {
            let others = still.iter().filter(|to| to.record.drum.id != from.record.drum.id);
            others.filter(|to| to.record.drum.pump == *pump)
        };
        // Most drums go on as before: their neighbours are looked at only when one seems to have stopped.
        let stops = if others().next().is_some() { stops(evidence, from) } else { Vec::new() };
        if stops.is_empty() {
            return None;
        }
        others().find_map(|to| between(evidence, (from, &stops), to))
    })
}

fn poured(evidence: &Evidence<'_>, drum: &DrumSight<'_>) -> bool {
    drum.refilled(evidence.now).is_some_and(|refill| refill.at >= evidence.now - POURED)
}

/// When its level may have come to stand, and how it fell before.
fn stops(evidence: &Evidence<'_>, from: &DrumSight<'_>) -> Vec<(Timestamp, Breakpoint)> {
    let now = minutes(evidence.now);
    let tried = (0..TRIES).filter_map(|step| {
        let since = timestamp(now - FIRST - 5.0 * f64::from(step));
        Some((since, from.bend(evidence.now, since)?))
    });
    tried.filter(|(_, left)| left.before > LEAST_L_MIN && -left.speaks_for_the_same(0.0) >= SURE).collect()
}

fn between(
    evidence: &Evidence<'_>,
    (from, stops): (&DrumSight<'_>, &[(Timestamp, Breakpoint)]),
    to: &DrumSight<'_>,
) -> Option<Found> {
    let begins = stops.iter().filter_map(|(since, left)| {
        let taken = to.bend(evidence.now, *since)?;
        let begins = taken.before.abs() < 0.3 * left.before && alike(&taken, left);
        begins.then_some((*since, *left, taken))
    });
    let begins: Vec<_> = begins.collect();
    if begins.is_empty() {
        return None;
    }
    let joined = joined(evidence, from, to)?;
    let all = begins.into_iter().filter(|(_, left, taken)| goes_over(left, taken, 1.0) - joined >= NOT_HALF);
    let surest = |left: &Breakpoint, taken: &Breakpoint| left.sigmas().min(taken.sigmas());
    let (since, left, _) = all.max_by(|a, b| surest(&a.1, &a.2).total_cmp(&surest(&b.1, &b.2)))?;
    let noted = evidence.journal.has_between(since - NOTED, evidence.now, IS_IN_USE);
    let draw = LitresPerMinute(left.before).per_hour();
    (!noted).then(|| Found {
        drum: Some(to.record.drum.id.clone()),
        ..Found::of(
            format!("swapped:{}", from.record.drum.pump),
            Fault::DrumSwapped {
                pump: from.record.drum.pump.clone(),
                from: from.record.drum.id.clone(),
                to: to.record.drum.id.clone(),
            },
            since,
            vec![Sign::LevelStands, Sign::OtherFalls { drum: to.record.drum.id.clone(), draw }],
        )
    })
}

/// The one begins with what the other had.
fn alike(taken: &Breakpoint, left: &Breakpoint) -> bool {
    taken.sigmas() >= SIGMAS && (taken.after - left.before).abs() <= 0.35 * left.before + 2.0 * taken.sd
}

/// How well it is explained by both being joined since whenever explains it best: each then gives half.
fn joined(evidence: &Evidence<'_>, from: &DrumSight<'_>, to: &DrumSight<'_>) -> Option<f64> {
    let now = minutes(evidence.now);
    let tried = (0..TRIES).map(|step| FIRST + 5.0 * f64::from(step)).chain(LONG_AGO);
    let halves = tried.filter_map(|back| {
        let since = timestamp(now - back);
        Some(goes_over(&from.bend(evidence.now, since)?, &to.bend(evidence.now, since)?, 0.5))
    });
    halves.max_by(f64::total_cmp)
}

/// How much likelier it is that `share` of the one's draw went over to the other than that nothing changed: the
/// logarithm of the ratio.
fn goes_over(left: &Breakpoint, taken: &Breakpoint, share: f64) -> f64 {
    let gain = |breakpoint: &Breakpoint, change: f64| {
        (breakpoint.change.powi(2) - (breakpoint.change - change).powi(2))
            / (2.0 * breakpoint.sd * breakpoint.sd)
    };
    gain(left, -share * left.before) + gain(taken, share * left.before)
}

/// Somebody wrote it down.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.journal.has_between(failure.since - NOTED, evidence.now, IS_IN_USE)
}

/// Somebody wrote down which drum is drawn.
const IS_IN_USE: fn(&Deed) -> bool = |deed| matches!(deed, Deed::InUse { .. });

/// Levels bend at this many minutes ago at the soonest, then every five.
const FIRST: f64 = 20.0;
const TRIES: u32 = 14;
/// min. Since then drums may have been joined.
const LONG_AGO: [f64; 8] = [95.0, 110.0, 125.0, 140.0, 160.0, 180.0, 210.0, 240.0];
/// Logarithm of how much likelier all of the draw must have gone over than half of it.
const NOT_HALF: f64 = 6.0;
/// Logarithm of how much likelier a standing level must be than a falling one.
const SURE: f64 = 12.0;
const SIGMAS: f64 = 5.0;
/// L/min. Less than a drop a second is nothing.
const LEAST_L_MIN: f64 = 0.02;
const POURED: SignedDuration = SignedDuration::from_mins(120);
