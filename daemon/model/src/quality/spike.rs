//! Test 6: a value that stands out from its two neighbours.

use crate::quality::Flag;
use crate::quality::thresholds::{Levels, Spike, SpikeMethod};

/// The flag of the middle one, and whether it is owed only to a neighbour.
///
/// With [`SpikeMethod::Average`] the neighbours of a spike are flagged too, and both sides of a clean step.
/// The reason `next_to_spike` says so: the value agrees with one neighbour to within the suspect level, and
/// it is the other that jumps.
#[must_use]
pub fn flag(before: f64, value: f64, after: f64, spike: Spike) -> (Flag, bool) {
    let (up, down) = (value - before, after - value);
    let deviation = match spike.method {
        SpikeMethod::Average => (value - f64::midpoint(before, after)).abs(),
        SpikeMethod::Differential if up * down < 0.0 => up.abs().min(down.abs()),
        SpikeMethod::Differential => 0.0,
    };
    let flag = judge(deviation, spike.levels);
    let agrees_with_one = up.abs().min(down.abs()) <= spike.levels.suspect();
    (flag, flag != Flag::Pass && agrees_with_one)
}

/// Beyond suspect is 3, beyond fail 4; the levels themselves pass to the milder flag.
#[must_use]
pub(super) fn judge(amount: f64, levels: Levels) -> Flag {
    if levels.fail().is_some_and(|fail| amount > fail) {
        Flag::Fail
    } else if amount > levels.suspect() {
        Flag::Suspect
    } else {
        Flag::Pass
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_is_told_from_its_neighbours_and_from_a_step() {
        use Flag::{Fail, Pass, Suspect};
        let spike = |method| Spike { method, levels: Levels::new(5.0, Some(20.0)).unwrap() };
        // before, value, after, (average, owed to a neighbour), differential
        for (before, value, after, average, differential) in [
            (50.0, 51.0, 90.0, (Suspect, true), Pass),
            (51.0, 90.0, 51.0, (Fail, false), Fail),
            (90.0, 51.0, 50.0, (Suspect, true), Pass),
            (50.0, 50.0, 62.0, (Suspect, true), Pass),
            (50.0, 56.0, 75.0, (Suspect, false), Pass),
            (50.0, 55.0, 50.0, (Pass, false), Pass),
            (50.0, 55.5, 50.0, (Suspect, false), Suspect),
            (50.0, 70.0, 50.0, (Suspect, false), Suspect),
        ] {
            let case = format!("{before} {value} {after}");
            assert_eq!(flag(before, value, after, spike(SpikeMethod::Average)), average, "{case}");
            assert_eq!(
                flag(before, value, after, spike(SpikeMethod::Differential)),
                (differential, false),
                "{case}"
            );
        }
    }

    #[test]
    fn a_threshold_of_zero_is_a_threshold() {
        let spike = Spike { method: SpikeMethod::Average, levels: Levels::new(0.0, Some(3.0)).unwrap() };
        assert_eq!(flag(5.0, 6.0, 5.0, spike), (Flag::Suspect, false));
        assert_eq!(flag(5.0, 5.0, 5.0, spike), (Flag::Pass, false));
    }
}
