//! What a failure brings with it, and for how long it is news.

use claymark_notice::Urgency;
use claymark_notice::failure::{Failure, Fault, Limited, Sign};
use jiff::{SignedDuration, Timestamp};

use super::{Found, Hard, Was};

/// So long after it was told it has become how things are; what wears, wears for days.
pub(super) fn stands_for(fault: &Fault) -> SignedDuration {
    // Some add oxygen on purpose, and some have other limits than the site file says.
    let gas = matches!(
        fault,
        Fault::OutOfLimits { of: Limited::OxygenSaturation, .. }
            | Fault::OutOfLimits { all_along: Some(_), .. }
    );
    // What kills never becomes how things are.
    let kills = matches!(
        fault,
        Fault::PowerCut
            | Fault::Blower { .. }
            | Fault::OxygenFalls { .. }
            | Fault::PumpStopped { .. }
            | Fault::LinePlugged { .. }
    );
    if gas || kills || matches!(fault, Fault::TubeWear { .. }) {
        FORGOTTEN_AFTER * 14
    } else {
        FORGOTTEN_AFTER
    }
}

/// Whether less clay than the books say may reach the head tank because of it, or seems to.
pub(super) fn starves(fault: &Fault) -> bool {
    matches!(
        fault,
        Fault::Blower { .. }
            | Fault::PowerCut
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
            | Fault::ProbeOut { .. }
            | Fault::PumpChanged(_)
            | Fault::DrumSwapped { .. }
    )
}

/// Whether another failure, found later, may be nothing but this one.
pub(super) fn may_bring(fault: &Fault, later: &Fault) -> bool {
    if let Fault::OutOfLimits { of, is, least, most, .. } = later {
        let way = if is > most { Drift::Up } else { Drift::Down };
        let beyond = is > most || is < least;
        return beyond && drives(fault, *of).contains(&way);
    }
    // Water that clears comes of what takes its clay, or is told as too clear already.
    if let Fault::Clearing { .. } = later {
        let too_clear =
            matches!(fault, Fault::OutOfLimits { of: Limited::Turbidity, is, least, .. } if is < least);
        return too_clear
            || *fault == Fault::PowerCut
            || drives(fault, Limited::Turbidity).contains(&Drift::Down);
    }
    // Clay that settles comes by and by, and in clouds when the air is back.
    let settles = matches!(fault, Fault::Blower { .. } | Fault::DrumAir { .. });
    let by_settling =
        settled(later) || matches!(later, Fault::OxygenFalls { .. } | Fault::FreshWaterLow { .. });
    // Whatever runs from the mains stands.
    matches!(fault, Fault::PowerCut) || settles && by_settling
}

/// Whether two failures that show at the same time may be one: heat is no matter of clay or oxygen, and water that clears by
/// and by has no cause until one is found.
pub(super) fn same_water(one: &Fault, other: &Fault) -> bool {
    let heat = |fault: &Fault| matches!(fault, Fault::HeaterOff { .. } | Fault::HeaterOn { .. });
    let both = heat(one) == heat(other);
    let either =
        heat(one) && moves(other, Limited::Temperature) || heat(other) && moves(one, Limited::Temperature);
    (both || either) && !matches!(one, Fault::Clearing { .. })
}

/// Whether what is found is nothing but the end of what stands: clay that comes again clouds the water up to where it was.
pub(super) fn recovers(open: &Failure, found: &Found) -> bool {
    let cloudier = matches!(
        found.fault,
        Fault::FreshWaterLow { .. } | Fault::ProbeFouled { .. } | Fault::PumpChanged(_) | Fault::Lumps
    );
    let reaches = found.signs.iter().find_map(|sign| {
        if let Sign::Turbidity { now, .. } = sign {
            Some(*now)
        } else if let Sign::Climbs { now, .. } | Sign::TurbidityRises { now, .. } = sign {
            Some(*now)
        } else {
            None
        }
    });
    let was = open.turbidity_before().filter(|_| cloudier && starves(&open.fault));
    was.zip(reaches).is_some_and(|(was, reaches)| reaches <= was * NEARLY)
}

/// Whether a failure that is found may be what something that is over has left behind: water that warms up or washes in,
/// settled clay that is stirred up.
pub(super) fn follows(was: &Was, found: &Fault) -> bool {
    let limit = |of: Limited, up: bool| matches!(found, Fault::OutOfLimits { of: found_of, is, most, .. } if *found_of == of && (is > most) == up);
    let washes_in = settled(found)
        || matches!(
            found,
            Fault::FreshWaterLow { .. }
                | Fault::TooMuchWater { .. }
                | Fault::PumpChanged(_)
                | Fault::Clearing { .. }
        );
    let Was::Failure(fault) = was else {
        return washes_in || limit(Limited::Turbidity, false);
    };
    match fault {
        Fault::PowerCut => {
            let stood = matches!(
                found,
                Fault::Blower { .. }
                    | Fault::HeaterOff { .. }
                    | Fault::HeaterOn { .. }
                    | Fault::PumpStopped { .. }
            );
            stood
                || washes_in
                || matches!(
                    found,
                    Fault::ProbeOut { .. } | Fault::DrumSwapped { .. } | Fault::OxygenFalls { .. }
                )
                || limit(Limited::Turbidity, false)
                || limit(Limited::Temperature, false)
        }
        Fault::Blower { .. } | Fault::DrumAir { .. } => {
            washes_in || matches!(found, Fault::Blower { .. }) || limit(Limited::Turbidity, true)
        }
        Fault::PumpStopped { .. }
        | Fault::LinePlugged { .. }
        | Fault::TubeSplit { .. }
        | Fault::DrumSwapped { .. }
        | Fault::Clearing { .. }
        | Fault::WaterOnly(_) => washes_in || limit(Limited::Turbidity, false),
        Fault::FreshWaterLow { .. } => washes_in || limit(Limited::Turbidity, true),
        Fault::TooMuchWater { .. } => washes_in || limit(Limited::Turbidity, false),
        Fault::HeaterOff { .. } => {
            matches!(found, Fault::HeaterOn { .. }) || limit(Limited::Temperature, false)
        }
        Fault::HeaterOn { .. } => {
            matches!(found, Fault::HeaterOff { .. }) || limit(Limited::Temperature, true)
        }
        Fault::PumpChanged(_)
        | Fault::TubeWear { .. }
        | Fault::WrongWeighing { .. }
        | Fault::Lumps
        | Fault::YieldChanged { .. }
        | Fault::ProbeFouled { .. }
        | Fault::ProbeOut { .. }
        | Fault::Bubbles { .. }
        | Fault::OutOfLimits { .. }
        | Fault::OxygenFalls { .. } => false,
    }
}

/// Whether clay that settles, or is stirred up, looks like it.
fn settled(found: &Fault) -> bool {
    matches!(
        found,
        Fault::DrumAir { .. }
            | Fault::TubeSplit { .. }
            | Fault::TubeWear { .. }
            | Fault::WrongWeighing { .. }
            | Fault::Lumps
            | Fault::YieldChanged { .. }
            | Fault::ProbeFouled { .. }
            | Fault::Bubbles { .. }
    )
}

/// To which side something drives the water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Drift {
    /// Cloudier, warmer.
    Up,
    /// Clearer, colder.
    Down,
}

/// Whether it drives the water out of its limits, or seems to.
pub(super) fn moves(fault: &Fault, of: Limited) -> bool {
    !drives(fault, of).is_empty()
}

/// To which sides it drives the water, or seems to.
fn drives(fault: &Fault, of: Limited) -> &'static [Drift] {
    const UP: &[Drift] = &[Drift::Up];
    const DOWN: &[Drift] = &[Drift::Down];
    const BOTH: &[Drift] = &[Drift::Up, Drift::Down];
    match (of, fault) {
        (
            Limited::Turbidity,
            Fault::FreshWaterLow { .. } | Fault::ProbeFouled { .. } | Fault::Bubbles { .. },
        ) => UP,
        (
            Limited::Turbidity,
            Fault::PumpChanged(_)
            | Fault::DrumSwapped { .. }
            | Fault::WrongWeighing { .. }
            | Fault::YieldChanged { .. }
            | Fault::Lumps,
        ) => BOTH,
        (Limited::Turbidity, Fault::Clearing { .. }) => DOWN,
        (Limited::Turbidity, _) if starves(fault) => DOWN,
        (Limited::Temperature, Fault::FreshWaterLow { .. } | Fault::TooMuchWater { .. }) => BOTH,
        (Limited::Temperature, Fault::HeaterOff { .. } | Fault::PowerCut) => DOWN,
        (Limited::Temperature, Fault::HeaterOn { .. }) => UP,
        (Limited::Turbidity | Limited::Temperature | Limited::OxygenSaturation, _) => &[],
    }
}

/// Whether one person may not be enough: these kill within the hour.
pub(super) fn needs_two(fault: &Fault) -> bool {
    matches!(
        fault,
        Fault::PowerCut | Fault::Blower { .. } | Fault::OxygenFalls { .. } | Fault::FreshWaterLow { .. }
    )
}

/// How pressing it is.
pub(super) fn urgency(found: &Found, now: Timestamp) -> Urgency {
    let by = |limit_at: Option<Timestamp>| limit_at.filter(|at| *at > now);
    match &found.fault {
        Fault::Blower { limit_at, .. } => Urgency::Danger { by: by(*limit_at) },
        Fault::OxygenFalls { limit_at, .. } => {
            by(*limit_at).map_or(Urgency::Danger { by: None }, |by| Urgency::By { by })
        }
        Fault::HeaterOff { limit_at, .. } | Fault::HeaterOn { limit_at, .. } => match limit_at {
            Some(at) if *at > now => Urgency::By { by: *at },
            Some(_) => Urgency::Danger { by: None },
            None => Urgency::Look,
        },
        Fault::PowerCut
        | Fault::FreshWaterLow { .. }
        | Fault::PumpStopped { .. }
        | Fault::LinePlugged { .. }
        | Fault::TubeSplit { .. } => Urgency::Danger { by: None },
        Fault::OutOfLimits { all_along: Some(_), .. } => Urgency::Look,
        Fault::OutOfLimits { .. } if found.hard != Hard::No => Urgency::Danger { by: None },
        Fault::PumpChanged(_)
        | Fault::TooMuchWater { .. }
        | Fault::TubeWear { .. }
        | Fault::DrumAir { .. }
        | Fault::WaterOnly(_)
        | Fault::WrongWeighing { .. }
        | Fault::Lumps
        | Fault::YieldChanged { .. }
        | Fault::ProbeFouled { .. }
        | Fault::ProbeOut { .. }
        | Fault::Bubbles { .. }
        // Water that is far too clear is danger by its own rule.
        | Fault::Clearing { .. }
        | Fault::OutOfLimits { .. }
        | Fault::DrumSwapped { .. } => Urgency::Look,
    }
}

/// The water is where it was, within the noise of a probe.
const NEARLY: f64 = 1.15;

const FORGOTTEN_AFTER: SignedDuration = SignedDuration::from_hours(12);
