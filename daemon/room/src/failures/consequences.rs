//! What a failure brings with it, and for how long it is news.

use claymark_notice::failure::{Fault, Limited};
use jiff::SignedDuration;

/// So long after it was told it has become how things are; what wears, wears for days.
pub(super) fn stands_for(fault: &Fault) -> SignedDuration {
    // Some add oxygen on purpose.
    let gas = matches!(fault, Fault::OutOfLimits { of: Limited::OxygenSaturation, .. });
    if gas || matches!(fault, Fault::TubeWear { .. }) { FORGOTTEN_AFTER * 14 } else { FORGOTTEN_AFTER }
}

/// Whether less clay than the books say may reach the head tank because of it, or seems to.
pub(super) fn starves(fault: &Fault) -> bool {
    match fault {
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
        | Fault::DrumSwapped { .. } => true,
        Fault::FreshWaterLow { .. }
        | Fault::ProbeFouled { .. }
        | Fault::Bubbles { .. }
        | Fault::HeaterOff { .. }
        | Fault::HeaterOn { .. }
        | Fault::OutOfLimits { .. }
        | Fault::OxygenFalls { .. } => false,
    }
}

/// Whether another failure, found later, may be nothing but this one.
pub(super) fn may_bring(fault: &Fault, later: &Fault) -> bool {
    // Clay that settles comes by and by, and in clouds when the air is back.
    let settles = matches!(fault, Fault::Blower { .. } | Fault::DrumAir { .. });
    let by_settling = matches!(
        later,
        Fault::DrumAir { .. }
            | Fault::OxygenFalls { .. }
            | Fault::TubeSplit { .. }
            | Fault::TubeWear { .. }
            | Fault::WrongWeighing { .. }
            | Fault::Lumps
            | Fault::YieldChanged { .. }
            | Fault::ProbeFouled { .. }
            | Fault::Bubbles { .. }
    );
    let limit = if let Fault::OutOfLimits { of, .. } = later { moves(fault, *of) } else { false };
    // Whatever runs from the mains stands.
    matches!(fault, Fault::PowerCut) || settles && by_settling || limit
}

/// Whether it drives the water out of its limits, or seems to.
pub(super) fn moves(fault: &Fault, of: Limited) -> bool {
    let water = matches!(fault, Fault::FreshWaterLow { .. } | Fault::TooMuchWater { .. });
    match of {
        Limited::Turbidity => {
            starves(fault) || water || matches!(fault, Fault::ProbeFouled { .. } | Fault::Bubbles { .. })
        }
        Limited::Temperature => water || matches!(fault, Fault::HeaterOff { .. } | Fault::HeaterOn { .. }),
        Limited::OxygenSaturation => false,
    }
}

const FORGOTTEN_AFTER: SignedDuration = SignedDuration::from_hours(12);
