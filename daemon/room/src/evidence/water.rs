//! The turbidity of one tank as the rules see it.

use jiff::Timestamp;

use super::lifted::{Lifted, lifted};
use super::step_change::{BACK_MINUTES, BASE_MINUTES, StepChange, as_slurry, as_water, shift, shift_by};
use super::trace::{Trace, TracePoint, middle, minutes, speaks};
use claymark_model::site::Sensor;

/// Turbidity at one place.
pub(crate) struct Turbid<'a> {
    pub(crate) sensor: &'a Sensor,
    pub(crate) trace: &'a Trace,
    /// Without clay the water would read this.
    pub(crate) background: f64,
    /// It is out of the water, or broken.
    pub(crate) out: Option<Lifted>,
    /// The change that its last hours show.
    pub(crate) shift: Option<StepChange>,
    points: Vec<TracePoint>,
    /// min in which its water is exchanged once, where that is known.
    residence: Option<f64>,
}

/// One change, explained twice.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Explained {
    /// As more or less clay in the same water.
    pub(crate) slurry: StepChange,
    /// The clay then goes to this share of what was there.
    pub(crate) slurry_factor: f64,
    /// Standard deviation of that share.
    pub(crate) factor_sd: f64,
    /// As less or more water with the same clay.
    pub(crate) water: StepChange,
    /// The clay in the water then goes to this share of what was there.
    pub(crate) water_factor: f64,
    /// Logarithm of how much likelier its pace is if it is the water.
    pub(crate) speaks_for_water: f64,
}

impl<'a> Turbid<'a> {
    /// As it stands now; a sensor that is silent, slow or out of the water shows no change.
    pub(crate) fn at(now: Timestamp, sensor: &'a Sensor, trace: &'a Trace, about: &Around) -> Self {
        let Around { background, residence } = *about;
        let until = minutes(now);
        let mut points = trace.between(until - BACK_MINUTES - BASE_MINUTES, until);
        let lifted = lifted(&points, background, residence);
        points.retain(|point| !lifted.iter().any(|lifted| lifted.covers(point.t)));
        let out = lifted.last().copied().filter(|lifted| lifted.until.is_none());
        let least = Some(&points)
            .filter(|points| speaks(points, until) && out.is_none())
            .and_then(|points| middle(points));
        let least = least.map(|usual| (LEAST_SHARE * usual).max(LEAST_NTU));
        let shift = least.and_then(|least| shift(&points, &PACES, least));
        Self { sensor, trace, background, out, shift, points, residence }
    }

    /// A change that the readings alone don't prove yet, for when another sensor makes it likely.
    pub(crate) fn suspected(&self) -> Option<StepChange> {
        if self.out.is_some() {
            return None;
        }
        let least = (LEAST_SHARE * middle(&self.points)?).max(LEAST_NTU) / 2.0;
        self.shift.or_else(|| shift_by(&self.points, &PACES, least, SUSPECTED))
    }

    /// The clay that a curve goes to, as a share of what was there.
    pub(crate) fn factor(&self, shift: &StepChange) -> f64 {
        let clay = |ntu: f64| (ntu - self.background).max(0.0);
        clay(shift.towards) / clay(shift.before).max(f64::EPSILON)
    }

    /// Its change, as slurry or water can have made it. Where nobody knows how fast the tank is exchanged, its
    /// pace tells nothing, and what it has come to by now stands for where it goes.
    pub(crate) fn explained(&self) -> Option<Explained> {
        let found = self.shift.filter(is_water)?;
        let clay_before = (found.before - self.background).max(1.0);
        let Some(residence) = self.residence else {
            let factor = (found.now - self.background).max(0.0) / clay_before;
            let factor_sd = found.scatter / clay_before;
            let slurry_factor = factor;
            return Some(Explained {
                slurry: found,
                slurry_factor,
                factor_sd,
                water: found,
                water_factor: factor,
                speaks_for_water: 0.0,
            });
        };
        let slurry = as_slurry(&self.points, &found, residence)?;
        let water = as_water(&self.points, &found, residence, self.background)?;
        Some(Explained {
            slurry_factor: self.factor(&slurry),
            factor_sd: slurry.towards_sd / clay_before,
            water_factor: self.factor(&water),
            speaks_for_water: water.evidence - slurry.evidence,
            slurry,
            water,
        })
    }
}

/// What the room knows of a tank beside its sensor.
pub(crate) struct Around {
    /// Turbidity without clay.
    pub(crate) background: f64,
    /// min in which its water is exchanged once.
    pub(crate) residence: Option<f64>,
}

/// Whether water can have done it: a probe that is lifted out falls within a minute or two.
pub(crate) fn is_water(shift: &StepChange) -> bool {
    shift.pace > PROBE_MINUTES
}

/// Whether it is as quick as the head tank itself; settling and fouling are slower.
pub(crate) fn is_quick(shift: &StepChange) -> bool {
    is_water(shift) && shift.pace < SLOW_MINUTES
}

/// Slower than water is exchanged: settling, or a probe that is fouled.
pub(crate) fn is_slow(shift: &StepChange) -> bool {
    shift.pace >= SLOW_MINUTES
}

/// min. A head tank is exchanged in some minutes, a rearing tank in one to two hours (common practice, no source).
const PACES: [f64; 8] = [1.5, 4.0, 6.0, 9.0, 13.0, 18.0, 40.0, 80.0];
const PROBE_MINUTES: f64 = 2.0;
const SLOW_MINUTES: f64 = 30.0;
/// A change smaller than both isn't worth a word.
const LEAST_SHARE: f64 = 0.09;
const LEAST_NTU: f64 = 4.0;
/// Half a chi-square.
const SUSPECTED: f64 = 7.0;
