//! What was told of a failure, as it stands now: its cause and beginning stay, its figures go on.
//!
//! A rule finds a change while it is new. What is told once more hours later has the water as it is by then, not as it was.

use jiff::Timestamp;

use crate::evidence::Evidence;
use crate::evidence::trace::{Trace, middle, minutes};
use claymark_clay::trend::Side;
use claymark_model::site::{Place, Quantity};
use claymark_notice::content::DrumState;
use claymark_notice::failure::{Failure, Fault, Sign};

/// The failure with the figures of now; `drum`: what is known of its drum.
pub(super) fn renewed(evidence: &Evidence<'_>, told: &Failure, drum: Option<DrumState>) -> Failure {
    let mut failure = Failure { drum, ..told.clone() };
    failure.signs.iter_mut().for_each(|sign| renew_sign(evidence, sign));
    renew_fault(evidence, &mut failure);
    failure
}

fn renew_fault(evidence: &Evidence<'_>, failure: &mut Failure) {
    let since = failure.since;
    let head = Place::Head;
    match &mut failure.fault {
        Fault::Blower { oxygen, limit_at } => {
            renew(oxygen, newest(evidence, &head, Quantity::Oxygen));
            *limit_at = falls_short(evidence, &head, since);
        }
        Fault::OxygenFalls { place, oxygen, limit_at } => {
            renew(oxygen, newest(evidence, place, Quantity::Oxygen));
            *limit_at = falls_short(evidence, place, since);
        }
        Fault::HeaterOff { temperature, limit_at, steady } => {
            *steady = stands_still(evidence, &head, Quantity::Temperature);
            renew(temperature, newest(evidence, &head, Quantity::Temperature));
            let least = evidence.limits(&head).temperature_c.min();
            *limit_at = reaches(evidence, (&head, Quantity::Temperature), (least, Side::Falling), since);
        }
        Fault::HeaterOn { temperature, limit_at, steady } => {
            *steady = stands_still(evidence, &head, Quantity::Temperature);
            renew(temperature, newest(evidence, &head, Quantity::Temperature));
            let most = evidence.limits(&head).temperature_c.max();
            *limit_at = reaches(evidence, (&head, Quantity::Temperature), (most, Side::Rising), since);
        }
        Fault::Clearing { place, is, limit_at, .. } => {
            renew(is, newest(evidence, place, Quantity::Turbidity));
            *limit_at = limit_at.filter(|at| *at > evidence.now);
        }
        Fault::OutOfLimits { place, of, is, .. } => renew(is, newest(evidence, place, of.quantity())),
        Fault::PumpChanged(changed) => {
            let outlook = failure.drum.as_ref().map(|drum| &drum.forecast.outlook);
            if let Some(ends) = outlook.and_then(|outlook| outlook.empty_at()) {
                changed.ends = Some(ends);
            }
        }
        // What they say doesn't move with the water.
        Fault::FreshWaterLow { .. }
        | Fault::TooMuchWater { .. }
        | Fault::PumpStopped { .. }
        | Fault::LinePlugged { .. }
        | Fault::TubeSplit { .. }
        | Fault::TubeWear { .. }
        | Fault::DrumAir { .. }
        | Fault::WaterOnly(_)
        | Fault::WrongWeighing { .. }
        | Fault::Lumps
        | Fault::YieldChanged { .. }
        | Fault::ProbeFouled { .. }
        | Fault::ProbeOut { .. }
        | Fault::Bubbles { .. }
        | Fault::PowerCut
        | Fault::DrumSwapped { .. } => {}
    }
}

fn renew_sign(evidence: &Evidence<'_>, sign: &mut Sign) {
    match sign {
        Sign::Turbidity { place, from, now, towards, .. } => {
            renew(now, newest(evidence, place, Quantity::Turbidity));
            // It has come farther than it seemed to go.
            let down = *towards < *from;
            *towards = if down { towards.min(*now) } else { towards.max(*now) };
        }
        Sign::TurbiditySteady { place, at: now }
        | Sign::FellAtOnce { place, now, .. }
        | Sign::Clears { place, now, .. } => {
            renew(now, newest(evidence, place, Quantity::Turbidity));
        }
        Sign::OxygenFalls { place, now, .. } | Sign::OxygenLow { place, now } => {
            renew(now, newest(evidence, place, Quantity::Oxygen));
        }
        Sign::Warms { place, now, .. } | Sign::Cools { place, now, .. } => {
            renew(now, newest(evidence, place, Quantity::Temperature));
        }
        Sign::Outside { place, of, is } => renew(is, newest(evidence, place, of.quantity())),
        Sign::AirFlow { place, now, .. } => renew(now, newest(evidence, place, Quantity::AirFlow)),
        Sign::Flow { place, now, .. } => renew(now, newest(evidence, place, Quantity::Flow)),
        Sign::DrawChanged { .. }
        | Sign::DrawUnchanged { .. }
        | Sign::LevelStands
        | Sign::LevelRose { .. }
        | Sign::Turns { .. }
        | Sign::TurbidityRises { .. }
        | Sign::Climbs { .. }
        | Sign::SiblingsSteady { .. }
        | Sign::Spikes { .. }
        | Sign::Vanished { .. }
        | Sign::GoOn { .. }
        | Sign::FitsToo { .. }
        | Sign::OtherFalls { .. }
        | Sign::Declines { .. }
        | Sign::Catch { .. }
        | Sign::Yield { .. } => {}
    }
}

/// What isn't seen now stays as it was told.
fn renew(value: &mut f64, newest: Option<f64>) {
    if let Some(newest) = newest {
        *value = newest;
    }
}

fn newest(evidence: &Evidence<'_>, place: &Place, quantity: Quantity) -> Option<f64> {
    let now = minutes(evidence.now);
    let (_, trace) = evidence.sensor(place, quantity)?;
    middle(&trace.between(now - NEWEST_MINUTES, now))
}

/// Whether it is what it was an hour ago; where that isn't known, it may move.
fn stands_still(evidence: &Evidence<'_>, place: &Place, quantity: Quantity) -> bool {
    let now = minutes(evidence.now);
    let Some((_, trace)) = evidence.sensor(place, quantity) else { return false };
    let about = |t: f64| middle(&trace.between(t - NEWEST_MINUTES, t + NEWEST_MINUTES));
    about(now).zip(about(now - STILL_MINUTES)).is_some_and(|(is, was)| (is - was).abs() < STILL_C)
}

fn falls_short(evidence: &Evidence<'_>, place: &Place, since: Timestamp) -> Option<Timestamp> {
    let least = evidence.limits(place).oxygen_min_mg_l;
    reaches(evidence, (place, Quantity::Oxygen), (least, Side::Falling), since)
}

/// When it comes to a limit, if it goes on as it does now.
fn reaches(
    evidence: &Evidence<'_>,
    (place, quantity): (&Place, Quantity),
    (limit, side): (f64, Side),
    since: Timestamp,
) -> Option<Timestamp> {
    let trace: &Trace = evidence.sensor(place, quantity)?.1;
    trace.reaches(limit, since, side).filter(|at| *at > evidence.now)
}

/// min.
const NEWEST_MINUTES: f64 = 5.0;
/// min.
const STILL_MINUTES: f64 = 60.0;
/// °C.
const STILL_C: f64 = 0.15;
