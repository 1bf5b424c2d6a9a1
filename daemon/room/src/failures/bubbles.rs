//! Bubbles on a probe: readings scatter upwards in spikes, their middle stays.
//!
//! Trap: feeding does the same for some minutes.

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::trace::{TracePoint, minutes, timestamp};
use crate::evidence::water::Turbid;
use claymark_model::fieldlog::Deed;
use claymark_notice::failure::{Failure, Fault, Sign};
use jiff::SignedDuration;

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::Bubbles { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    evidence.head.iter().chain(&evidence.tanks).find_map(|probe| of_probe(evidence, probe))
}

fn of_probe(evidence: &Evidence<'_>, probe: &Turbid<'_>) -> Option<Found> {
    if is_cleaned(evidence, probe) {
        return None;
    }
    let now = minutes(evidence.now);
    let spread = |from: f64, to: f64| Spread::of(&probe.trace.between(now - from, now - to));
    let halves = [spread(LASTED, LASTED / 2.0)?, spread(LASTED / 2.0, 0.0)?];
    // The usual is looked at only when there is something to hold against it.
    if !halves.iter().all(|half| half.up >= LEAST_NTU && half.up >= TIMES * half.down) {
        return None;
    }
    let usual = spread(420.0, 120.0)?;
    let spiky = halves.iter().all(|half| half.up >= TIMES * usual.up.max(usual.down));
    let [_, newest] = &halves;
    let unmoved = (newest.middle - usual.middle).abs() <= (UNMOVED * usual.middle).max(2.0 * usual.up);
    (spiky && unmoved && probe.shift.is_none()).then(|| {
        Found::of(
            format!("bubbles:{}", probe.sensor.id),
            Fault::Bubbles { sensor: probe.sensor.id.clone() },
            timestamp(now - LASTED),
            vec![
                Sign::Spikes { place: probe.sensor.place.clone(), up: newest.up, usual: usual.up },
                Sign::TurbiditySteady { place: probe.sensor.place.clone(), at: newest.middle },
            ],
        )
    })
}

/// Somebody has written down that they clean there, or wipe it: brushes stir up bubbles.
fn is_cleaned(evidence: &Evidence<'_>, probe: &Turbid<'_>) -> bool {
    let (sensor, place) = (&probe.sensor.id, std::slice::from_ref(&probe.sensor.place));
    let cleans = |deed: &Deed| deed.may_wipe(sensor) || deed.may_clean(place);
    evidence.journal.has_between(evidence.now - CLEANING, evidence.now, cleans)
}

/// How far readings reach above and below their middle: the upper and the lower tenth.
struct Spread {
    middle: f64,
    up: f64,
    down: f64,
}

impl Spread {
    fn of(points: &[TracePoint]) -> Option<Self> {
        let mut values: Vec<f64> = points.iter().map(|point| point.v).collect();
        values.sort_unstable_by(f64::total_cmp);
        let at = |tenths: usize| values.get(values.len() * tenths / 10).copied();
        let (low, middle, high) = (at(1)?, at(5)?, at(9)?);
        (values.len() >= LEAST_POINTS).then_some(Self { middle, up: high - middle, down: middle - low })
    }
}

fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let Fault::Bubbles { sensor } = &failure.fault else { return false };
    let now = minutes(evidence.now);
    let probe = evidence.head.iter().chain(&evidence.tanks).find(|probe| probe.sensor.id == *sensor);
    let spread = probe.and_then(|probe| Spread::of(&probe.trace.between(now - LASTED, now)));
    spread.is_some_and(|spread| spread.up < TIMES * spread.down)
}

/// min. Longer than feeding.
const LASTED: f64 = 50.0;
const LEAST_NTU: f64 = 6.0;
/// Above the middle so many times as far as usual, and as below it.
const TIMES: f64 = 2.2;
/// Share by which the middle may differ.
const UNMOVED: f64 = 0.08;
const LEAST_POINTS: usize = 12;
/// A cleaning and what it leaves in the water are over by then (common practice, no source).
const CLEANING: SignedDuration = SignedDuration::from_hours(2);
