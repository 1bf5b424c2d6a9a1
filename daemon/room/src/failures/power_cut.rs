//! The power has gone: what runs from the mains vanishes together, what runs from batteries goes on.
//!
//! Trap: a router that starts anew takes all of them.

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::trace::timestamp;
use claymark_model::site::Sensor;
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::PowerCut), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let supplied =
        |mains: bool| evidence.site.sensors.iter().filter(move |sensor| sensor.mains == Some(mains));
    let silent = |sensor: &Sensor| evidence.overdue(sensor);
    let mains = supplied(true).count();
    let speaking = supplied(false).filter(|sensor| !silent(sensor)).count();
    if mains < LEAST_SENSORS || speaking == 0 || !supplied(true).all(silent) {
        return None;
    }
    let last: Vec<f64> = supplied(true).filter_map(|sensor| evidence.last_heard(sensor)).collect();
    let first = last.iter().copied().min_by(f64::total_cmp)?;
    let newest = last.iter().copied().max_by(f64::total_cmp)?;
    let together = newest - first <= TOGETHER_MINUTES;
    together.then(|| Found {
        at_night: Priority::Now,
        ..Found::of(
            "power",
            Fault::PowerCut,
            timestamp(newest),
            vec![Sign::Vanished { mains: count(mains) }, Sign::GoOn { batteries: count(speaking) }],
        )
    })
}

/// Something from the mains speaks again.
fn is_over(evidence: &Evidence<'_>, _failure: &Failure) -> bool {
    evidence.site.sensors.iter().any(|sensor| sensor.mains == Some(true) && !evidence.overdue(sensor))
}

fn count(sensors: usize) -> u32 {
    u32::try_from(sensors).unwrap_or(u32::MAX)
}

const LEAST_SENSORS: usize = 2;
/// min. Sensors that speak once a minute or two fall silent within this.
const TOGETHER_MINUTES: f64 = 6.0;
