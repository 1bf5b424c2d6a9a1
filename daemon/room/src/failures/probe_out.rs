//! A turbidity probe is out of the water, or broken: it fell to nothing within a minute, and water can't.
//!
//! Nothing is told by it while that lasts; levels and drums' forecasts stand. Trap: a tube that split, or a stopped
//! pump, after which the tank clears along its own time constant.

use claymark_model::median::median;
use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::journal::NOTED;
use crate::evidence::trace::{middle, minutes, timestamp};
use crate::evidence::water::Turbid;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::ProbeOut { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    probes(evidence).find_map(|probe| of_probe(evidence, probe))
}

fn probes<'e, 'a>(evidence: &'e Evidence<'a>) -> impl Iterator<Item = &'e Turbid<'a>> {
    evidence.head.iter().chain(&evidence.tanks)
}

fn of_probe(evidence: &Evidence<'_>, probe: &Turbid<'_>) -> Option<Found> {
    let out = probe.out?;
    let since = timestamp(out.since);
    let waited = evidence.now.duration_since(since) >= WAITED;
    if !waited || is_meant(evidence, probe, out.since) {
        return None;
    }
    let place = || probe.sensor.place.clone();
    let reads = middle(&probe.trace.between(minutes(evidence.now) - 5.0, minutes(evidence.now)))?;
    let mut signs = vec![Sign::FellAtOnce { place: place(), from: out.before, now: reads }];
    signs.extend(siblings(evidence, probe, out.since));
    Some(Found::of(
        format!("probe-out:{}", probe.sensor.id),
        Fault::ProbeOut { sensor: probe.sensor.id.clone() },
        since,
        signs,
    ))
}

/// Somebody wipes it, or cleans around it.
fn is_meant(evidence: &Evidence<'_>, probe: &Turbid<'_>, since: f64) -> bool {
    let (sensor, place) = (&probe.sensor.id, std::slice::from_ref(&probe.sensor.place));
    evidence.journal.has(timestamp(since), NOTED, |deed| deed.may_wipe(sensor) || deed.may_clean(place))
}

/// What the other probes did meanwhile.
fn siblings(evidence: &Evidence<'_>, probe: &Turbid<'_>, since: f64) -> Option<Sign> {
    let now = minutes(evidence.now);
    let others = probes(evidence).filter(|other| other.sensor.id != probe.sensor.id && other.out.is_none());
    let moved = others.filter_map(|other| {
        let before = middle(&other.trace.between(since - 30.0, since))?;
        Some((middle(&other.trace.between(now - 5.0, now))? - before).abs())
    });
    let mut moved: Vec<f64> = moved.collect();
    let probes = u32::try_from(moved.len()).unwrap_or(u32::MAX);
    median(&mut moved).map(|by| Sign::SiblingsSteady { probes, by })
}

/// It reads more than half of what it did.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let Fault::ProbeOut { sensor } = &failure.fault else { return false };
    let now = minutes(evidence.now);
    let probe = probes(evidence).find(|probe| probe.sensor.id == *sensor);
    let is = probe.and_then(|probe| middle(&probe.trace.between(now - 5.0, now)));
    let was = failure
        .signs
        .iter()
        .find_map(|sign| if let Sign::FellAtOnce { from, .. } = sign { Some(*from) } else { None });
    is.zip(was).is_some_and(|(is, was)| is > was / 2.0)
}

/// Who wipes a probe puts it back by then.
const WAITED: SignedDuration = SignedDuration::from_mins(8);
