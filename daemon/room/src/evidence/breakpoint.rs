//! The draw of a drum before and after a time that another sensor names.
//!
//! Knowing *when* makes a change of slope visible much sooner: the level is a straight line with one bend
//! at that minute, fitted at once by weighted least squares with Huber's weights.

use super::trace::TracePoint;
use claymark_model::median::median;

/// A level's slope before and after a bend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Breakpoint {
    /// L/min that left before.
    pub(crate) before: f64,
    /// Its standard deviation.
    pub(crate) before_sd: f64,
    /// L/min that leave since.
    pub(crate) after: f64,
    /// L/min by which the draw changed.
    pub(crate) change: f64,
    /// Standard deviation of the change.
    pub(crate) sd: f64,
    /// Litres on the line at the newest level.
    pub(crate) volume: f64,
}

impl Breakpoint {
    /// The draw since, as a share of the draw before.
    pub(crate) fn share(&self) -> f64 {
        self.after / self.before
    }

    /// How much likelier the level is if the draw went on as before than if it is `share` of that: the
    /// logarithm of the ratio; below zero the changed draw is likelier.
    pub(crate) fn speaks_for_the_same(&self, share: f64) -> f64 {
        let expected = (share - 1.0) * self.before;
        ((self.change - expected).powi(2) - self.change.powi(2)) / (2.0 * self.sd * self.sd)
    }

    /// Whether the level rises since, beyond its noise: slurry is being poured.
    pub(crate) fn rises(&self) -> bool {
        self.after + RISES_SIGMAS * self.sd < -0.5 * self.before
    }

    /// By how many standard deviations the draw changed.
    pub(crate) fn sigmas(&self) -> f64 {
        self.change.abs() / self.sd
    }
}

/// What is known of a draw beside its level.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Known {
    /// The draw before, L/min, and its deviation.
    pub(crate) before: Option<(f64, f64)>,
    /// The draw since as a share of the draw before, by another sensor, and its deviation.
    pub(crate) share: Option<(f64, f64)>,
}

/// Fits the bend at `at` (min since 1970).
pub(crate) fn breakpoint(points: &[TracePoint], at: f64, known: Known) -> Option<Breakpoint> {
    let after = points.iter().filter(|point| point.t > at).count();
    if after < LEAST_AFTER || points.len() - after < LEAST_BEFORE {
        return None;
    }
    let mut weights = vec![1.0; points.len()];
    let mut line = FittedLine::fit(points, &weights, at, 1.0, known)?;
    let mut noise = 1.0;
    for _ in 0..ROUNDS {
        let off: Vec<f64> = points.iter().map(|point| point.v - line.at(point.t, at)).collect();
        noise =
            (median(&mut off.iter().map(|off| off.abs()).collect::<Vec<_>>())? / 0.6745).max(LEAST_NOISE_L);
        weights = off.iter().map(|off| (HUBER * noise / off.abs().max(f64::EPSILON)).min(1.0)).collect();
        line = FittedLine::fit(points, &weights, at, noise, known)?;
    }
    let scale = noise * LOOSER;
    let [_, before, change] = line.beta;
    let newest = points.last()?.t;
    before.is_finite().then(|| Breakpoint {
        before: -before,
        before_sd: scale * line.inverse[1][1].max(0.0).sqrt(),
        after: -(before + change),
        change: -change,
        sd: scale * line.inverse[2][2].max(0.0).sqrt(),
        volume: line.at(newest, at),
    })
}

/// v = β0 + β1 (t - at) + β2 max(t - at, 0)
struct FittedLine {
    beta: [f64; 3],
    /// Of the normal equations, noise 1.
    inverse: [[f64; 3]; 3],
}

impl FittedLine {
    fn fit(points: &[TracePoint], weights: &[f64], at: f64, noise: f64, known: Known) -> Option<Self> {
        // Of 1, t and max(t, 0); the product of the last two is the square of the last.
        let (mut one, mut t1, mut t2, mut h1, mut h2) = (0.0, 0.0, 0.0, 0.0, 0.0);
        let (mut v, mut vt, mut vh) = (0.0, 0.0, 0.0);
        for (point, w) in points.iter().zip(weights) {
            let t = point.t - at;
            let (wt, wh) = (w * t, w * t.max(0.0));
            (one, t1, t2) = (one + w, t1 + wt, t2 + wt * t);
            (h1, h2) = (h1 + wh, h2 + wh * t);
            (v, vt, vh) = (v + w * point.v, vt + wt * point.v, vh + wh * point.v);
        }
        let mut normal = [[one, t1, h1], [t1, t2, h2], [h1, h2, h2]];
        let mut right = [v, vt, vh];
        let mut add = |x: [f64; 3], y: f64, w: f64| {
            for (row, (sum, xi)) in normal.iter_mut().zip(right.iter_mut().zip(x)) {
                *sum += w * xi * y;
                for (cell, xj) in row.iter_mut().zip(x) {
                    *cell += w * xi * xj;
                }
            }
        };
        if let Some((draw, sd)) = known.before {
            add([0.0, 1.0, 0.0], -draw, (noise / sd).powi(2));
            // The bend is that share of the slope, give or take.
            if let Some((share, doubt)) = known.share {
                add([0.0, 1.0 - share, 1.0], 0.0, (noise / (doubt * draw)).powi(2));
            }
        }
        let inverse = inverted(normal)?;
        let beta = inverse.map(|row| row.iter().zip(right).map(|(a, b)| a * b).sum());
        Some(Self { beta, inverse })
    }

    fn at(&self, t: f64, at: f64) -> f64 {
        let [level, slope, bend] = self.beta;
        level + slope * (t - at) + bend * (t - at).max(0.0)
    }
}

/// The inverse of a symmetric matrix by its cofactors; `None` when it has none.
fn inverted(m: [[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let [[a, b, c], [_, d, e], [_, _, f]] = m;
    let (aa, bb, cc) = (d * f - e * e, c * e - b * f, b * e - c * d);
    let determinant = a * aa + b * bb + c * cc;
    let (dd, ee, ff) = (a * f - c * c, b * c - a * e, a * d - b * b);
    (determinant.abs() > f64::EPSILON)
        .then(|| [[aa, bb, cc], [bb, dd, ee], [cc, ee, ff]].map(|row| row.map(|cell| cell / determinant)))
}

const RISES_SIGMAS: f64 = 2.0;
const LEAST_AFTER: usize = 4;
const LEAST_BEFORE: usize = 15;
/// Huber's constant for 95 % efficiency is 1.345; levels are rarely wild, so a little more.
const HUBER: f64 = 2.0;
const ROUNDS: usize = 3;
/// L. No level is read better than this.
const LEAST_NOISE_L: f64 = 0.05;
/// Neighbouring levels hang together a little, so the deviations are a little larger than those of independent ones.
const LOOSER: f64 = 1.15;

#[cfg(test)]
mod tests {
    use super::*;

    fn points(after: f64, minutes: u32) -> Vec<TracePoint> {
        (0..240 + minutes)
            .map(|i| {
                let (t, noise) = (f64::from(i), f64::from((i * 7919) % 13) / 6.0 - 1.0);
                let fallen = 0.2 * t + (after - 0.2) * (t - 240.0).max(0.0);
                TracePoint { t, v: 170.0 - fallen + 1.5 * noise }
            })
            .collect()
    }

    #[test]
    fn the_draw_before_and_after_is_found() {
        let breakpoint = breakpoint(&points(0.3, 60), 240.0, Known::default()).unwrap();
        assert!((breakpoint.before - 0.2).abs() < 0.01, "{breakpoint:?}");
        assert!((breakpoint.after - 0.3).abs() < 0.02, "{breakpoint:?}");
        assert!(breakpoint.sigmas() > 5.0 && breakpoint.speaks_for_the_same(1.5) < -5.0, "{breakpoint:?}");
        assert!((breakpoint.volume - (170.0 - 48.0 - 18.0)).abs() < 1.0, "{breakpoint:?}");
    }

    #[test]
    fn a_draw_that_went_on_is_told_from_one_that_doubled_or_stopped_after_a_quarter_of_an_hour() {
        let same = breakpoint(&points(0.2, 16), 240.0, Known::default()).unwrap();
        assert!(same.speaks_for_the_same(2.0) > 4.0 && same.speaks_for_the_same(0.0) > 4.0, "{same:?}");
        let doubled = breakpoint(&points(0.4, 16), 240.0, Known::default()).unwrap();
        assert!(doubled.speaks_for_the_same(2.0) < -4.0, "{doubled:?}");
        let stopped = breakpoint(&points(0.0, 16), 240.0, Known::default()).unwrap();
        assert!(stopped.speaks_for_the_same(0.0) < -4.0, "{stopped:?}");
    }
}
