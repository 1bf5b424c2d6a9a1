//! Steps in the level: a refill stands and falls on as before, foam comes and goes and is restless.

use super::fit::slope_of;
use super::series::Point;
use super::stats::{median, quantile, spread};
use super::tuning::{
    DROP_HOURS, FOAM_HOURS, LOGGED_RISE_HOURS, MOVED_SHARE, RISES, STEADY_SCATTERS, STEP_SCATTERS, STEP_SHARE,
};

/// What a level is expected to do.
#[derive(Debug, Clone, Copy)]
pub(super) struct Expected {
    /// Hours since 1970.
    pub at: f64,
    /// Litres then.
    pub volume: f64,
    /// L/h then.
    pub draw: f64,
    /// L/h².
    pub bend: f64,
    /// Standard deviation of the volume grows by so much an hour.
    pub loosening: f64,
    /// Scatter of a minute, L.
    pub scatter: f64,
}

impl Expected {
    /// Litres at `t`.
    pub fn volume(&self, t: f64) -> f64 {
        let x = t - self.at;
        self.volume - self.draw * x + self.bend * x * x / 2.0
    }
}

/// Points at the end that are all off the same way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run<'a> {
    pub points: &'a [Point],
    pub above: bool,
    /// The last time that the level was where it should be.
    pub good_until: f64,
}

/// What a run turns out to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Step {
    /// Too early to say, or foam.
    Undecided,
    /// Slurry was added.
    Refill {
        /// When the level began to rise.
        start: f64,
        /// When it had risen.
        end: f64,
        /// Litres that would be there at `end` without it.
        without: f64,
        /// Litres at `end`.
        to: f64,
    },
    /// The level is elsewhere for good, and nobody poured.
    Moved {
        /// Since when.
        start: f64,
    },
}

/// The run at the end of `fresh`, if any.
pub(super) fn run_at_end<'a>(fresh: &'a [Point], expected: &Expected, span: f64) -> Option<Run<'a>> {
    let side = |point: &Point| {
        let loose = (point.t - expected.at).max(0.0) * expected.loosening;
        let limit = (STEP_SHARE * span).max(STEP_SCATTERS * expected.scatter).max(LOOSE_SIGMAS * loose);
        let off = point.v - expected.volume(point.t);
        if off > limit {
            Some(true)
        } else if off < -limit {
            Some(false)
        } else {
            None
        }
    };
    let above = side(fresh.last()?)?;
    let start = fresh.iter().rposition(|point| side(point) != Some(above)).map_or(0, |last| last + 1);
    let (good, points) = fresh.split_at_checked(start)?;
    Some(Run { points, above, good_until: good.last().map_or(expected.at, |point| point.t) })
}

/// Says what the run is; `logged` when somebody wrote down a refill about then.
pub(super) fn step(run: &Run<'_>, expected: &Expected, span: f64, logged: bool) -> Step {
    let (Some(first), Some(last)) = (run.points.first(), run.points.last()) else { return Step::Undecided };
    if !run.above {
        let stood = last.t - first.t >= DROP_HOURS && run.points.len() >= LEAST_POINTS;
        return if stood { Step::Moved { start: first.t } } else { Step::Undecided };
    }
    let draw = expected.draw.max(0.0);
    let tolerance = (MOVED_SHARE * span).max(2.0 * expected.scatter);
    let Some(settled) = settled(run.points, draw, tolerance) else { return Step::Undecided };
    let (Some(start), true) = (settled.first(), settled.len() >= LEAST_POINTS) else {
        return Step::Undecided;
    };
    let mut levelled: Vec<f64> = settled.iter().map(|point| point.v + draw * (point.t - start.t)).collect();
    let spread = spread(&mut levelled).unwrap_or(0.0);
    let Some(to) = median(&mut levelled) else { return Step::Undecided };
    let rise = to - expected.volume(start.t);
    let stood = last.t - start.t;
    let long_enough = RISES.iter().any(|(share, hours)| rise >= share * span && stood >= *hours);
    let steady = rise >= BIG_RISE_SHARE * span
        || (spread <= STEADY_SCATTERS * expected.scatter && falls_as_before(settled, draw, expected.scatter));
    if steady && (long_enough || (logged && stood >= LOGGED_RISE_HOURS)) {
        let without = expected.volume(run.good_until) - draw * (start.t - run.good_until);
        let low = |point: &&Point| point.v - expected.volume(point.t) < FOOT_SHARE * rise;
        let foot = run.points.iter().take_while(|point| point.t < start.t).filter(low).last();
        Step::Refill { start: foot.unwrap_or(first).t, end: start.t, without, to }
    } else if stood >= FOAM_HOURS && falls_calmly(settled, draw, expected.scatter) {
        Step::Moved { start: start.t }
    } else {
        Step::Undecided
    }
}

/// Foam doesn't fall in a straight line.
fn falls_calmly(points: &[Point], draw: f64, scatter: f64) -> bool {
    let (Some(first), Some(fall)) = (points.first(), slope_of(points)) else { return false };
    let mut levelled: Vec<f64> = points.iter().map(|point| point.v + fall * (point.t - first.t)).collect();
    fall >= CALM_FALL_SHARE * draw
        && spread(&mut levelled).is_some_and(|spread| spread <= STEADY_SCATTERS * scatter)
}

/// The points from where the level, draw allowed for, has stopped rising.
fn settled(points: &[Point], draw: f64, tolerance: f64) -> Option<&[Point]> {
    let origin = points.first()?.t;
    let levelled = |point: &Point| point.v + draw * (point.t - origin);
    let recent = (points.len() / 3).clamp(LEAST_POINTS, TAIL_POINTS);
    let mut tail: Vec<f64> = points.iter().rev().take(recent).map(levelled).collect();
    let reached = quantile(&mut tail, 0.5)? - tolerance;
    let from = points.iter().position(|point| levelled(point) >= reached)?;
    points.get(from..)
}

fn falls_as_before(points: &[Point], draw: f64, scatter: f64) -> bool {
    let (Some(first), Some(last), Some(fall)) = (points.first(), points.last(), slope_of(points)) else {
        return false;
    };
    let hours = (last.t - first.t).max(f64::EPSILON);
    (fall - draw).abs() <= draw / 2.0 + STEADY_SCATTERS * scatter / hours
}

/// Points that a settled level needs at least.
const LEAST_POINTS: usize = 4;
/// The newest points that tell where a rise has ended.
const TAIL_POINTS: usize = 30;
/// Standard deviations of the extrapolated line within which nothing is a step.
const LOOSE_SIGMAS: f64 = 3.0;
/// No foam is so high, so a rise like this needn't be steady.
const BIG_RISE_SHARE: f64 = 0.25;
/// Foam may stand on the level before it rises: the rise begins after the last point below this share of it.
const FOOT_SHARE: f64 = 0.3;
/// A level that falls by less than this share of the draw may be a stuck sensor.
const CALM_FALL_SHARE: f64 = 0.3;
