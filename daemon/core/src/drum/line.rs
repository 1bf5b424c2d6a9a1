//! The volume ahead as a parabola with uncertain coefficients, and when it comes down to the heel.
//!
//! V(x) = v - q x + b x²/2 with x hours from now, q the net outflow now (L/h) and b how fast it falls
//! (L/h²). With covariance C and r(x) = (1, -x, x²/2), V(x) is Student with mean V(x) and variance
//!
//! s²(x) = r C rᵀ + (wander q)² x³/3 + (model q x)² + floor²,
//!
//! the second term for a draw that wanders like a random walk. P(empty before x) = P(V(x) ≤ heel), so the
//! p quantile of the empty time is the first x at which V(x) + t_p s(x) = heel: Fieller's argument for a
//! ratio (J. R. Stat. Soc. B 16:175, 1954, from memory), which needs no sampling and gives no time at all
//! when the draw can't be told from zero.

use jiff::Timestamp;

use super::fit::Belief;
use super::hours::{in_hours, later};
use super::stats::student;
use super::tuning::{CARRIED_FREEDOM, DRAW_MODEL_SHARE, DRAW_WANDER_PER_ROOT_HOUR, VOLUME_FLOOR_SHARE};
use crate::forecast::{EmptyAt, HORIZON};

/// Symmetric 3 × 3.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Sym3 {
    pub vv: f64,
    pub vq: f64,
    pub vb: f64,
    pub qq: f64,
    pub qb: f64,
    pub bb: f64,
}

impl Sym3 {
    /// Adds weight × row rowᵀ.
    pub fn add(&mut self, [v, q, b]: [f64; 3], weight: f64) {
        self.vv += weight * v * v;
        self.vq += weight * v * q;
        self.vb += weight * v * b;
        self.qq += weight * q * q;
        self.qb += weight * q * b;
        self.bb += weight * b * b;
    }

    /// Left · self · rightᵀ.
    pub fn form(&self, left: [f64; 3], right: [f64; 3]) -> f64 {
        let [v, q, b] = self.times(right);
        left[0] * v + left[1] * q + left[2] * b
    }

    /// self · vector.
    pub fn times(&self, [v, q, b]: [f64; 3]) -> [f64; 3] {
        [
            self.vv * v + self.vq * q + self.vb * b,
            self.vq * v + self.qq * q + self.qb * b,
            self.vb * v + self.qb * q + self.bb * b,
        ]
    }

    /// The inverse by cofactors; `None` when it isn't positive definite.
    pub fn inverse(&self) -> Option<Self> {
        let vv = self.qq * self.bb - self.qb * self.qb;
        let vq = self.vb * self.qb - self.vq * self.bb;
        let vb = self.vq * self.qb - self.vb * self.qq;
        let determinant = self.vv * vv + self.vq * vq + self.vb * vb;
        if !(determinant > 0.0 && determinant.is_finite()) {
            return None;
        }
        Some(Self {
            vv: vv / determinant,
            vq: vq / determinant,
            vb: vb / determinant,
            qq: (self.vv * self.bb - self.vb * self.vb) / determinant,
            qb: (self.vb * self.vq - self.vv * self.qb) / determinant,
            bb: (self.vv * self.qq - self.vq * self.vq) / determinant,
        })
    }
}

/// Volume and outflow at one time, and how they go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// Litres.
    pub v: f64,
    /// L/h.
    pub q: f64,
    /// L/h².
    pub b: f64,
    /// Of these three.
    pub covariance: Sym3,
    /// Of Student's distribution.
    pub freedom: f64,
    /// Least standard deviation of a volume, L.
    pub floor: f64,
}

impl Line {
    /// What the coefficients are multiplied with, `x` hours on.
    pub fn row(x: f64) -> [f64; 3] {
        [1.0, -x, x * x / 2.0]
    }

    /// From `volume` down at `draw` times `factor`, with that fading over `span` litres.
    pub fn drawn_down(volume: f64, draw: Belief, factor: f64, fading: Belief, span: f64) -> Self {
        let q = draw.mean * factor;
        let floor = VOLUME_FLOOR_SHARE * span;
        let covariance = Sym3 {
            vv: floor * floor,
            qq: (draw.sd * factor).powi(2),
            bb: (fading.sd * q * q / span).powi(2),
            ..Sym3::default()
        };
        Self { v: volume, q, b: fading.mean * q * q / span, covariance, freedom: CARRIED_FREEDOM, floor }
    }

    /// The same line as seen `x` hours later (earlier where negative).
    pub fn moved(&self, x: f64) -> Self {
        let (v, q, b) = (Self::row(x), [0.0, 1.0, -x], [0.0, 0.0, 1.0]);
        let c = &self.covariance;
        let covariance = Sym3 {
            vv: c.form(v, v),
            vq: c.form(v, q),
            vb: c.form(v, b),
            qq: c.form(q, q),
            qb: c.form(q, b),
            bb: c.form(b, b),
        };
        Self { v: self.mean(x), q: self.q - self.b * x, b: self.b, covariance, ..*self }
    }

    /// Expected volume.
    pub fn mean(&self, x: f64) -> f64 {
        self.v - self.q * x + self.b * x * x / 2.0
    }

    /// Standard deviation of the volume as the coefficients have it.
    pub fn deviation(&self, x: f64) -> f64 {
        self.covariance.form(Self::row(x), Self::row(x)).max(0.0).sqrt()
    }

    /// When it has come down to `heel`, seen from `now`, which is where the line starts.
    pub fn empty_at(&self, now: Timestamp, heel: f64) -> EmptyAt {
        let quantile = |z: f64| {
            let t = student(z, self.freedom);
            self.first_below(heel, t).map(|x| later(now, x))
        };
        let [p05, p25, p50, p75, p95] = NORMAL_QUANTILES.map(quantile);
        EmptyAt { p05, p25, p50, p75, p95 }
    }

    /// The first x from 0 to the horizon at which mean + t · deviation is at or below `heel`.
    fn first_below(&self, heel: f64, t: f64) -> Option<f64> {
        let above = |x: f64| self.falling_mean(x) + t * self.spread(x) - heel;
        if above(0.0) <= 0.0 {
            return Some(0.0);
        }
        let step = in_hours(HORIZON) / f64::from(STEPS);
        let last = (1..=STEPS).map(|i| f64::from(i) * step).find(|x| above(*x) <= 0.0)?;
        let (mut low, mut high) = (last - step, last);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if above(middle) <= 0.0 { high = middle } else { low = middle }
        }
        Some(high)
    }

    /// The mean, which never rises: a parabola past its lowest point stays there.
    fn falling_mean(&self, x: f64) -> f64 {
        let lowest = if self.b > 0.0 { (self.q / self.b).max(0.0) } else { f64::INFINITY };
        self.mean(x.min(lowest))
    }

    fn spread(&self, x: f64) -> f64 {
        let wander = DRAW_WANDER_PER_ROOT_HOUR * self.q;
        let model = DRAW_MODEL_SHARE * self.q * x;
        let coefficients = self.covariance.form(Self::row(x), Self::row(x)).max(0.0);
        let square = coefficients + wander * wander * x.powi(3) / 3.0 + model * model;
        square.sqrt().hypot(self.floor)
    }
}

/// 5, 25, 50, 75 and 95 %: `scipy.stats.norm.ppf`.
const NORMAL_QUANTILES: [f64; 5] = [-1.644_853_627, -0.674_489_750, 0.0, 0.674_489_750, 1.644_853_627];
/// The horizon is searched in so many steps of an hour, and then by halving down to a tenth of a second.
const STEPS: u32 = 72;
const HALVINGS: u32 = 16;

#[cfg(test)]
mod tests {
    use super::*;

    fn line(q: f64, sd_v: f64, sd_q: f64) -> Line {
        let covariance = Sym3 { vv: sd_v * sd_v, qq: sd_q * sd_q, ..Sym3::default() };
        Line { v: 112.0, q, b: 0.0, covariance, freedom: 1e9, floor: 0.0 }
    }

    #[test]
    fn a_sure_line_is_empty_when_the_litres_over_the_heel_are_drawn() {
        let now = Timestamp::UNIX_EPOCH;
        let empty = line(10.0, 0.0, 0.0).empty_at(now, 12.0);
        let likely = empty.p50.unwrap().duration_since(now).as_secs_f64();
        assert!((likely - 36_000.0).abs() < 1.0, "{likely}");
        assert!(empty.p05 < empty.p50 && empty.p50 < empty.p95);
    }

    #[test]
    fn a_draw_that_may_be_nothing_has_no_latest_time() {
        let empty = line(2.0, 1.0, 1.5).empty_at(Timestamp::UNIX_EPOCH, 12.0);
        assert!(empty.p05.is_some() && empty.p50.is_some());
        assert_eq!(empty.p95, None);
    }

    #[test]
    fn an_inverse_times_its_matrix_is_one() {
        let mut matrix = Sym3::default();
        for x in [-3.0, -2.0, -0.5, 0.0] {
            matrix.add(Line::row(x), 2.0);
        }
        let inverse = matrix.inverse().unwrap();
        let [one, zero, none] = matrix.times(inverse.times([1.0, 0.0, 0.0]));
        assert!((one - 1.0).abs() < 1e-9 && zero.abs() < 1e-9 && none.abs() < 1e-9);
        assert_eq!(Sym3::default().inverse(), None);
    }
}
