//! A lasting change of a value that follows a stirred tank: since when, from where, towards where, how fast.
//!
//! A stirred tank answers a step of its inflow with a(1 - exp(-t/τ)), τ its volume over its flow
//! (Levenspiel, Chemical Reaction Engineering, chapter on non-ideal flow; from memory). So a change has a
//! time, a height and a pace, and the pace tells a stopped pump from a probe that was lifted out.

use jiff::Timestamp;

use super::trace::{TracePoint, middle, minutes, scatter, timestamp};
use claymark_model::site::Place;
use claymark_notice::failure::Sign;

/// A change that has lasted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StepChange {
    /// When it began.
    pub(crate) since: Timestamp,
    /// The value before.
    pub(crate) before: f64,
    /// The value now, on the curve.
    pub(crate) now: f64,
    /// Where it goes.
    pub(crate) towards: f64,
    /// Standard deviation of that.
    pub(crate) towards_sd: f64,
    /// The pace τ, min.
    pub(crate) pace: f64,
    /// Standard deviation of one reading.
    pub(crate) scatter: f64,
    /// By how much the curve explains the readings better than no change: half a chi-square.
    pub(crate) evidence: f64,
}

impl StepChange {
    /// As people are told it.
    pub(crate) fn sign(&self, place: Place) -> Sign {
        Sign::Turbidity {
            place,
            from: self.before,
            now: self.now,
            towards: self.towards,
            pace_min: self.pace,
        }
    }
}

/// The change that explains the newest readings best; `None` when none is needed.
///
/// `paces` are the time constants that may be, min; `least` is the smallest change that matters.
pub(crate) fn shift(points: &[TracePoint], paces: &[f64], least: f64) -> Option<StepChange> {
    shift_by(points, paces, least, LEAST_EVIDENCE)
}

/// The same on less evidence, for a change that another sensor makes likely.
pub(crate) fn shift_by(
    points: &[TracePoint],
    paces: &[f64],
    least: f64,
    evidence: f64,
) -> Option<StepChange> {
    let newest = points.last()?.t;
    let noise = noise(points)?;
    if !has_moved(points, newest, noise, least) {
        return None;
    }
    let paces: Vec<ChangePace> = paces.iter().map(|pace| ChangePace::new(points, *pace)).collect();
    let starts = starts(points, newest).filter_map(|since| Start::at(points, since, noise));
    let best = best(starts.flat_map(|start| {
        paces.iter().filter_map(move |pace| Curve::fit(&start, pace, Height::Free, noise))
    }))?;
    let sure = best.evidence >= evidence && best.after >= LEAST_POINTS;
    Some(best.as_shift(newest, noise)).filter(|shift| sure && (shift.now - shift.before).abs() >= least)
}

/// The same change, if more or less slurry comes into a tank that is exchanged in `residence` minutes.
pub(crate) fn as_slurry(points: &[TracePoint], found: &StepChange, residence: f64) -> Option<StepChange> {
    let pace = ChangePace::new(points, residence);
    let curves =
        near(points, found).filter_map(|start| Curve::fit(&start, &pace, Height::Free, found.scatter));
    Some(best(curves)?.as_shift(points.last()?.t, found.scatter))
}

/// The same change, if less or more water comes into that tank with the same slurry: what is there of clay
/// goes to f times of it, and the tank follows f times as slowly.
pub(crate) fn as_water(
    points: &[TracePoint],
    found: &StepChange,
    residence: f64,
    background: f64,
) -> Option<StepChange> {
    let starts: Vec<Start<'_>> = near(points, found).collect();
    let curves = FACTORS.iter().flat_map(|factor| {
        let pace = ChangePace::new(points, residence * factor);
        let height = Height::Share { share: factor - 1.0, above: background };
        starts.iter().filter_map(move |start| Curve::fit(start, &pace, height, found.scatter))
    });
    Some(best(curves)?.as_shift(points.last()?.t, found.scatter))
}

fn noise(points: &[TracePoint]) -> Option<f64> {
    // A probe in the air reads nothing at all, without any scatter: what it read before gives the scale.
    let largest = points.iter().map(|point| point.v.abs()).fold(0.0, f64::max);
    Some(scatter(points)?.max(LEAST_NOISE_SHARE * largest).max(f64::EPSILON))
}

/// A change happens between two readings.
fn starts(points: &[TracePoint], newest: f64) -> impl Iterator<Item = f64> {
    let recent = points.partition_point(|point| point.t < newest - BACK_MINUTES);
    points.iter().skip(recent).map(|point| point.t - HALF_MINUTE)
}

fn near<'p>(points: &'p [TracePoint], found: &StepChange) -> impl Iterator<Item = Start<'p>> {
    let (since, noise) = (minutes(found.since), found.scatter);
    points
        .iter()
        .map(|point| point.t - HALF_MINUTE)
        .filter(move |start| (start - since).abs() <= NEAR_MINUTES)
        .filter_map(move |start| Start::at(points, start, noise))
}

fn best(curves: impl Iterator<Item = Curve>) -> Option<Curve> {
    curves.max_by(|a, b| a.evidence.total_cmp(&b.evidence))
}

/// Whether the newest readings stand off the older ones at all: spares the search when all is quiet.
fn has_moved(points: &[TracePoint], newest: f64, noise: f64, least: f64) -> bool {
    let part = |from: f64, to: f64| {
        let wanted = |point: &&TracePoint| (newest - to..newest - from).contains(&point.t);
        middle(&points.iter().filter(wanted).copied().collect::<Vec<_>>())
    };
    let recent = middle(points.get(points.len().saturating_sub(3)..).unwrap_or_default());
    let earlier = [part(10.0, 30.0), part(30.0, 70.0), part(70.0, BACK_MINUTES + BASE_MINUTES)];
    let limit = (0.5 * least).max(noise);
    recent.is_some_and(|recent| earlier.into_iter().flatten().any(|earlier| (recent - earlier).abs() > limit))
}

/// A pace, with what it makes of each reading's time. Some hundred starts are tried at each pace: the exponentials
/// are taken once.
struct ChangePace {
    /// τ, min.
    tau: f64,
    /// exp(-t/τ) of each point, t counted from the first.
    decays: Vec<f64>,
}

impl ChangePace {
    fn new(points: &[TracePoint], tau: f64) -> Self {
        // Two readings a minute can't tell such paces apart, and exp(t/τ) stays finite over the hours of a search.
        let tau = tau.max(LEAST_PACE);
        let first = points.first().map_or(0.0, |point| point.t);
        Self { tau, decays: points.iter().map(|point| (-(point.t - first) / tau).exp()).collect() }
    }
}

/// A time at which a change may have begun, with the readings that speak for or against it.
struct Start<'p> {
    since: f64,
    /// How many points come before the used ones.
    skipped: usize,
    /// The hour before, and all since.
    used: &'p [TracePoint],
    /// How many of them come before the change.
    base: usize,
    /// Since the first point of all, min.
    elapsed: f64,
    /// Chi-square of the used points if nothing changed.
    unchanged: f64,
}

impl<'p> Start<'p> {
    fn at(points: &'p [TracePoint], since: f64, noise: f64) -> Option<Self> {
        let skipped = points.partition_point(|point| point.t < since - BASE_MINUTES);
        let used = points.get(skipped..)?;
        let base = used.partition_point(|point| point.t <= since);
        if base < LEAST_BASE || base == used.len() {
            return None;
        }
        let flat = middle(used)?;
        let unchanged = used.iter().map(|point| clipped(point.v - flat, noise)).sum();
        Some(Self { since, skipped, used, base, elapsed: since - points.first()?.t, unchanged })
    }

    /// Each used point with how far the curve of that pace has gone from 0 to 1.
    fn bent<'a>(&'a self, pace: &'a ChangePace) -> impl Iterator<Item = (f64, &'p TracePoint)> + 'a {
        let scale = (self.elapsed / pace.tau).exp();
        let after = pace.decays.iter().skip(self.skipped + self.base).map(move |decay| 1.0 - scale * decay);
        std::iter::repeat_n(0.0, self.base).chain(after).zip(self.used)
    }
}

/// Chi-square of one reading.
fn clipped(off: f64, noise: f64) -> f64 {
    (off / noise).powi(2).min(CLIP)
}

/// A curve that leaves its level at one time, at one pace.
struct Curve {
    since: f64,
    pace: f64,
    before: f64,
    height: f64,
    height_sd: f64,
    evidence: f64,
    after: usize,
}

/// What is known of a curve's height.
#[derive(Clone, Copy)]
enum Height {
    Free,
    /// A share of what the level before is above something.
    Share {
        share: f64,
        above: f64,
    },
}

impl Curve {
    /// Least squares for level and height, with outliers clipped; the base is the hour before.
    fn fit(start: &Start<'_>, pace: &ChangePace, height: Height, noise: f64) -> Option<Self> {
        let (before, height, height_sd) = match height {
            Height::Free => free(start.bent(pace), noise)?,
            Height::Share { share, above } => {
                // v - above = (before - above) (1 + share x): one unknown, a slope through the origin.
                let sums = start.bent(pace).fold((0.0, 0.0), |(up, down), (bend, point)| {
                    let x = 1.0 + share * bend;
                    (up + x * (point.v - above), down + x * x)
                });
                let clay = sums.0 / sums.1;
                (above + clay, share * clay, noise * share.abs() / sums.1.sqrt())
            }
        };
        let off = |(bend, point): (f64, &TracePoint)| clipped(point.v - before - height * bend, noise);
        let evidence = (start.unchanged - start.bent(pace).map(off).sum::<f64>()) / 2.0;
        let after = start.used.len() - start.base;
        Some(Self { since: start.since, pace: pace.tau, before, height, height_sd, evidence, after })
    }

    fn as_shift(&self, newest: f64, scatter: f64) -> StepChange {
        let reached = 1.0 - (-(newest - self.since).max(0.0) / self.pace).exp();
        StepChange {
            since: timestamp(self.since),
            before: self.before,
            now: self.before + self.height * reached,
            towards: self.before + self.height,
            towards_sd: self.height_sd,
            pace: self.pace,
            scatter,
            evidence: self.evidence,
        }
    }
}

/// Level, height and the height's deviation by least squares.
fn free<'p>(bent: impl Iterator<Item = (f64, &'p TracePoint)>, noise: f64) -> Option<(f64, f64, f64)> {
    let (mut n, mut sx, mut sxx, mut sy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (x, point) in bent {
        (n, sx, sxx) = (n + 1.0, sx + x, sxx + x * x);
        (sy, sxy) = (sy + point.v, sxy + x * point.v);
    }
    let square = sxx - sx * sx / n;
    let height = (sxy - sx * sy / n) / square;
    (square > f64::EPSILON).then(|| ((sy - height * sx) / n, height, noise / square.sqrt()))
}

/// min. How far back a change is looked for.
pub(crate) const BACK_MINUTES: f64 = 90.0;
/// min. The time before a change that tells what was.
pub(crate) const BASE_MINUTES: f64 = 60.0;
/// min. See [`starts`].
const HALF_MINUTE: f64 = 0.5;
/// Another explanation of a change may put its start so far from where it was found.
const NEAR_MINUTES: f64 = 6.0;
/// Water that comes in twice as fast, to a quarter of it.
const FACTORS: [f64; 14] = [0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.15, 1.3, 1.5, 1.75, 2.0, 2.4, 3.0, 4.0];
const LEAST_BASE: usize = 10;
/// min.
const LEAST_PACE: f64 = 0.25;
/// Fewer readings than this after a change tell none.
const LEAST_POINTS: usize = 3;
/// Chi-square by which one outlier may count at most.
const CLIP: f64 = 16.0;
/// Half a chi-square: some hundred times and paces are tried, and chance alone hardly comes to ten.
const LEAST_EVIDENCE: f64 = 15.0;
/// Nothing in a wet room is steadier than this share.
const LEAST_NOISE_SHARE: f64 = 0.004;

#[cfg(test)]
mod tests {
    use super::*;

    /// A fixed row of normal-looking noise, standard deviation about 2.
    fn noise(i: u32) -> f64 {
        let x =
            |k: u32| f64::from((i.wrapping_mul(2_654_435_761).wrapping_add(k * 40_503) >> 8) % 1000) / 1000.0;
        (0..6).map(|k| x(k * 977) - 0.5).sum::<f64>() * 2.8
    }

    fn told(change: impl Fn(f64) -> f64, until: u32) -> Option<StepChange> {
        let points: Vec<TracePoint> = (0..until)
            .map(|i| TracePoint { t: f64::from(i), v: 65.0 + noise(i) + change(f64::from(i) - 120.0) })
            .collect();
        shift(&points, &PACES, 6.0)
    }

    const PACES: [f64; 6] = [2.0, 4.5, 9.0, 18.0, 40.0, 80.0];

    #[test]
    fn a_stopped_pump_is_told_after_a_few_minutes_with_its_time_and_pace() {
        let stopped = |t: f64| if t > 0.0 { -63.0 * (1.0 - (-t / 8.8).exp()) } else { 0.0 };
        let early = told(stopped, 127).expect("seven minutes are enough");
        assert!((minutes(early.since) - 120.0).abs() <= 2.0, "{early:?}");
        let later = told(stopped, 145).unwrap();
        assert!((4.0..20.0).contains(&later.pace) && (later.towards - 2.0).abs() < 12.0, "{later:?}");
        let lifted = told(|t| if t > 0.0 { -64.0 } else { 0.0 }, 130).unwrap();
        assert!(lifted.pace <= 2.0, "a probe out of the water falls at once: {lifted:?}");
    }

    #[test]
    fn half_the_water_is_told_from_twice_the_slurry_by_its_pace() {
        let points = |pace: f64| -> Vec<TracePoint> {
            let curve = |t: f64| if t > 0.0 { 63.0 * (1.0 - (-t / pace).exp()) } else { 0.0 };
            let value = |i: u32| 65.0 + noise(i) + curve(f64::from(i) - 120.0);
            (0..137).map(|i| TracePoint { t: f64::from(i), v: value(i) }).collect()
        };
        for (pace, water) in [(17.6, true), (8.8, false)] {
            let points = points(pace);
            let found = shift(&points, &PACES, 6.0).unwrap();
            let slurry = as_slurry(&points, &found, 8.8).unwrap();
            let less_water = as_water(&points, &found, 8.8, 2.0).unwrap();
            assert_eq!(less_water.evidence > slurry.evidence, water, "{less_water:?} {slurry:?}");
            let right = if water { less_water } else { slurry };
            assert!((right.towards - 128.0).abs() < 12.0, "{right:?}");
        }
    }

    #[test]
    fn noise_and_single_spikes_are_no_change() {
        for until in [80, 100, 120, 140, 160, 200] {
            assert_eq!(told(|_| 0.0, until), None);
            assert_eq!(told(|t| if (t - 10.0).abs() < 0.6 { 60.0 } else { 0.0 }, until), None);
        }
    }
}
