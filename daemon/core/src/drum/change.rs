//! A draw that changed although nobody said so, and a level that stands still.

use super::fit::{Before, Fit, fit, slope_of};
use super::series::Point;
use super::stats::{count, median, spread};
use super::tuning::{
    CHANGE_BASE_HOURS, CHANGE_BEGINS, CHANGE_SHARE, CHANGE_SIGMAS, CHANGE_WINDOWS, DATA_ONLY_POINTS,
    SLOWER_HOURS, STILL_DRAW, STILL_DRAW_SHARE, STILL_FALL_SCATTERS, STILL_FALL_SHARE, STILL_HOURS,
};

/// A change of draw.
#[derive(Debug, Clone, Copy)]
pub(super) struct Change {
    /// When, hours since 1970.
    pub at: f64,
    /// The line up to then.
    pub old: Fit,
    /// The level is below that line, where no foam can bring it.
    pub faster: bool,
}

/// Looks in windows at the end of `points` for a slope that the points before don't explain.
pub(super) fn changed(points: &[Point], before: &Before, whole: &Fit) -> Option<Change> {
    let newest = points.last()?.t;
    CHANGE_WINDOWS.iter().find_map(|window| {
        let cut = points.partition_point(|point| point.t < newest - window);
        let (base, recent) = points.split_at_checked(cut)?;
        let slope = Slope::of(recent, whole.scatter).filter(|slope| slope.hours >= COVERED * window)?;
        let told = base.last()?.t - base.first()?.t;
        if told < CHANGE_BASE_HOURS || !slope.differs(whole.line.q, whole.draw_sd(), SCREEN) {
            return None;
        }
        let old = fit(base, before)?;
        let then = old.line.moved(slope.middle - old.at);
        let sd = then.covariance.qq.max(0.0).sqrt();
        let far = (slope.draw - then.q).abs() >= CHANGE_SHARE * then.q.abs();
        let begins = |at: &f64| (CHANGE_BEGINS.0..CHANGE_BEGINS.1).contains(&((at - newest) / window + 1.0));
        slope.leaves(&old).filter(begins)?;
        let clean = slope.is_clean(whole.scatter) && is_straight(recent, whole.scatter);
        let faster = slope.draw > then.q && is_below(recent, &old, whole.scatter);
        let soon = *window >= SLOWER_HOURS || faster;
        if !(far && clean && soon && slope.differs(then.q, sd, 1.0)) {
            return None;
        }
        let from = points.partition_point(|point| point.t < newest - HINGE_WINDOWS * window);
        Some(Change { at: hinge(points.get(from..)?, &old)?, old, faster })
    })
}

/// A level that has stopped falling: since when, and where it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stand {
    /// Hours since 1970.
    pub since: f64,
    /// Litres.
    pub volume: f64,
}

/// Looks whether the level stands still at the end of `points`, while a fall of `draw` is expected (or none is known).
pub(super) fn stands(points: &[Point], draw: Option<f64>, scatter: f64, span: f64) -> Option<Stand> {
    let newest = points.last()?.t;
    let fall = (STILL_FALL_SHARE * span).max(STILL_FALL_SCATTERS * scatter);
    let window =
        (fall / draw.unwrap_or(2.0 * STILL_DRAW).max(f64::EPSILON)).clamp(STILL_HOURS.0, STILL_HOURS.1);
    let recent = points.get(points.partition_point(|point| point.t < newest - window)..)?;
    let slope = Slope::of(recent, scatter).filter(|slope| slope.hours >= COVERED * window)?;
    let (little, some) = match draw {
        Some(draw) => (STILL_DRAW_SHARE * draw, (1.0 - STILL_DRAW_SHARE) * draw),
        None => (STILL_DRAW, 2.0 * STILL_DRAW),
    };
    let still =
        slope.draw.abs() < little && slope.draw.abs() + 2.0 * slope.sd < some && slope.is_clean(scatter);
    let mut volumes: Vec<f64> = recent.iter().map(|point| point.v).collect();
    still.then_some(Stand { since: recent.first()?.t, volume: median(&mut volumes)? })
}

/// The time from which a straight line that starts on the old one misses the points least.
fn hinge(points: &[Point], old: &Fit) -> Option<f64> {
    let corners = points.get(..points.len().checked_sub(DATA_ONLY_POINTS)?)?.iter().map(|point| point.t);
    let missed = |corner: f64| {
        let since = points.iter().filter(|point| point.t > corner);
        let half = points.last().map_or(corner, |newest| f64::midpoint(corner, newest.t));
        let slope = |point: &Point| (point.v - old.volume(corner)) / (point.t - corner);
        let slope = median(&mut since.filter(|point| point.t >= half).map(slope).collect::<Vec<_>>())?;
        let line =
            |t: f64| if t < corner { old.volume(t) } else { old.volume(corner) + slope * (t - corner) };
        Some(points.iter().map(|point| (point.v - line(point.t)).abs()).sum::<f64>())
    };
    let scored = corners.filter_map(|corner| Some((corner, missed(corner)?)));
    scored.min_by(|(_, a), (_, b)| a.total_cmp(b)).map(|(corner, _)| corner)
}

/// Whether the newest points are clearly below the old line.
fn is_below(points: &[Point], old: &Fit, scatter: f64) -> bool {
    let mut newest = points.iter().rev().take(BELOW_POINTS);
    newest.all(|point| point.v < old.volume(point.t) - BELOW_SCATTERS * scatter)
}

/// Whether both halves fall alike.
fn is_straight(points: &[Point], scatter: f64) -> bool {
    let halves = points.split_at_checked(points.len() / 2);
    let slopes =
        halves.and_then(|(early, late)| Some((Slope::of(early, scatter)?, Slope::of(late, scatter)?)));
    slopes.is_some_and(|(early, late)| {
        (early.draw - late.draw).abs() <= STRAIGHT_SIGMAS * early.sd.hypot(late.sd)
    })
}

/// A robust slope of some points.
struct Slope {
    draw: f64,
    sd: f64,
    /// Hours since 1970 of the middle, and litres there.
    middle: f64,
    volume: f64,
    /// Of the points about it, L.
    spread: f64,
    hours: f64,
}

impl Slope {
    fn of(points: &[Point], scatter: f64) -> Option<Self> {
        let draw = slope_of(points)?;
        let (first, last) = (points.first()?.t, points.last()?.t);
        let middle = points.iter().map(|point| point.t).sum::<f64>() / count(points.len());
        let square: f64 = points.iter().map(|point| (point.t - middle).powi(2)).sum();
        let mut levelled: Vec<f64> = points.iter().map(|point| point.v + draw * (point.t - middle)).collect();
        let sd = ROBUSTNESS * scatter / square.sqrt();
        let volume = median(&mut levelled)?;
        Some(Self { draw, sd, middle, volume, spread: spread(&mut levelled)?, hours: last - first })
    }

    fn differs(&self, draw: f64, sd: f64, ease: f64) -> bool {
        (self.draw - draw).abs() > ease * CHANGE_SIGMAS * self.sd.hypot(sd)
    }

    /// No foam came or went meanwhile: the points lie about the slope as minutes lie about a line.
    fn is_clean(&self, scatter: f64) -> bool {
        self.draw > -self.sd * CLEAN_SIGMAS && self.spread <= CLEAN_SCATTERS * scatter
    }

    /// When this slope's line left the old one.
    fn leaves(&self, old: &Fit) -> Option<f64> {
        let then = old.line.moved(self.middle - old.at);
        let back = (self.volume - then.v) / (then.q - self.draw);
        back.is_finite().then_some(self.middle - back)
    }
}

/// Share of a window that its points must cover.
const COVERED: f64 = 0.7;
/// The line through everything has partly followed a change already, so a first look asks for half.
const SCREEN: f64 = 0.5;
/// A robust slope of thinned points that hang together is this much looser than least squares of independent ones.
const ROBUSTNESS: f64 = 1.8;
/// A slope upwards by more than this is foam, not a pump.
const CLEAN_SIGMAS: f64 = 2.0;
const CLEAN_SCATTERS: f64 = 1.6;
/// Halves of a window that differ by more than this didn't change at its start.
const STRAIGHT_SIGMAS: f64 = 2.5;
/// The newest points that must lie below the old line for a faster draw, and by how many scatters.
const BELOW_POINTS: usize = 3;
const BELOW_SCATTERS: f64 = 3.0;
/// The hinge between two lines is looked for in so many windows.
const HINGE_WINDOWS: f64 = 1.6;
