//! The time to a volume ahead, as quantiles.
//!
//! If pump and valves stay, the time from V down to h is T = ∫ₕᵛ dv / q(v), by Gauss and Legendre's rule with eight points
//! (Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, table 25.4, from memory, checked by a test
//! that integrates polynomials). Its gradient is ∂T/∂V = 1/q(V), ∂T/∂a = −T, ∂T/∂β₁ = ∫ u/q dv, ∂T/∂β₂ = ∫ u²/q dv, so
//!
//! var T = g P gᵀ + (wander T)² T/3 + (model T)²,
//!
//! for a draw that wanders on, and what the curve can't say. What comes of the draw stretches the time (log-normal), what
//! comes of the volume shifts it (normal): T_p = T exp(z_p s_q²/s) + z_p s_v²/s, with s² = s_q² + s_v² in relative
//! terms for the first. Where several hypotheses are still probable, the quantiles are those of their mixture.
//!
//! Past errors correct these widths (`calibration`). They are seen with the same sensor and strapping table, so what
//! these don't know, floor / q(h), is hidden from them and is added to the corrected distances in squares.

use jiff::Timestamp;

use super::calibration::Calibration;
use super::hours::{in_hours, later};
use super::state::{DrumSize, State, StateRow, log_draw_row};
use super::tuning::{CURVE_MODEL_SHARE, DRAW_NOISE_AHEAD};
use claymark_model::forecast::{EmptyAt, HORIZON};

/// A time ahead, h, and its two kinds of doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ahead {
    /// The likely time, h.
    pub hours: f64,
    /// Of the draw, relative.
    pub stretch: f64,
    /// Of the volume, h.
    pub shift: f64,
    /// Of strapping table and sensor, which the level that is believed can't show, h.
    pub hidden: f64,
}

impl Ahead {
    /// There already.
    pub const REACHED: Self = Self { hours: 0.0, stretch: 0.0, shift: 0.0, hidden: 0.0 };

    /// From `state` down to `target` litres, `share` of the draw being drawn; `hidden` litres are what the level that is
    /// believed can't show.
    pub fn of(state: &State, size: &DrumSize, target: f64, share: f64, hidden: f64) -> Self {
        let volume = state.volume().mean;
        if volume <= target {
            return Self::REACHED;
        }
        let mut gradient = StateRow::zeros();
        let mut hours = 0.0;
        let now = share * state.draw_at(size, volume).mean;
        for (place, weight) in GAUSS_LEGENDRE {
            for sign in [-1.0, 1.0] {
                let v = f64::midpoint(target, volume) + sign * place * (volume - target) / 2.0;
                let row = log_draw_row(size.depth(v));
                let part = weight * (volume - target) / 2.0 / (share * state.along(&row).exp());
                hours += part;
                gradient -= part * row;
            }
        }
        let of_draw = state.variance_along(&gradient);
        let whole = gradient + State::volume_row() / now;
        let of_all = state.variance_along(&whole);
        let wander = (DRAW_NOISE_AHEAD * hours).powi(2) * hours / 3.0;
        let model = (CURVE_MODEL_SHARE * hours).powi(2);
        Self {
            hours,
            stretch: (of_draw.min(of_all) + wander + model).sqrt() / hours,
            shift: (of_all - of_draw).max(0.0).sqrt(),
            hidden: hidden / (share * state.draw_at(size, target).mean),
        }
    }

    /// The time at `z` normal deviations, h.
    pub fn at(&self, z: f64) -> f64 {
        let (draw, volume) = (self.stretch * self.hours, self.shift);
        let all = draw.hypot(volume);
        if all <= 0.0 {
            return self.hours;
        }
        let stretched = self.hours * (z * self.stretch * draw / all).exp();
        (stretched + z * volume * volume / all).max(0.0)
    }
}

/// When it truly is there: quantiles of a mixture of times; the weights needn't add up to one, the first leads.
pub(super) fn quantiles(now: Timestamp, mixture: &[(f64, Ahead)], calibration: &Calibration) -> EmptyAt {
    let hidden = mixture.first().map_or(0.0, |(_, lead)| lead.hidden);
    told(now, mixture, calibration, hidden)
}

/// When the level that is believed is there, as past errors are measured.
pub(super) fn believed(now: Timestamp, mixture: &[(f64, Ahead)], calibration: &Calibration) -> EmptyAt {
    told(now, mixture, calibration, 0.0)
}

fn told(now: Timestamp, mixture: &[(f64, Ahead)], calibration: &Calibration, hidden: f64) -> EmptyAt {
    let of_filter = NORMAL_QUANTILES.map(|(p, z)| match mixture {
        [(_, only)] => only.at(z),
        several => quantile(several, p, z),
    });
    let corrected = calibration.correct(of_filter);
    let likely = corrected[2];
    let mut hours = corrected;
    for (hours, (_, z)) in hours.iter_mut().zip(NORMAL_QUANTILES) {
        *hours = (likely + (*hours - likely).hypot(z * hidden).copysign(z)).max(0.0);
    }
    let [p05, p25, p50, p75, p95] =
        hours.map(|hours| (hours <= in_hours(HORIZON)).then(|| later(now, hours)));
    EmptyAt { p05, p25, p50, p75, p95 }
}

fn quantile(mixture: &[(f64, Ahead)], p: f64, z: f64) -> f64 {
    let each = || mixture.iter().map(|(_, ahead)| ahead.at(z));
    let mut low = each().fold(f64::INFINITY, f64::min);
    let mut high = each().fold(0.0, f64::max).min(2.0 * in_hours(HORIZON));
    let all: f64 = mixture.iter().map(|(weight, _)| weight).sum();
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        let below: f64 = mixture.iter().map(|(weight, ahead)| weight * ahead.probability(middle)).sum();
        if below >= p * all { high = middle } else { low = middle }
    }
    high
}

impl Ahead {
    /// Of being there within `hours`.
    fn probability(&self, hours: f64) -> f64 {
        let (mut low, mut high) = (-FARTHEST, FARTHEST);
        for _ in 0..HALVINGS {
            let z = f64::midpoint(low, high);
            if self.at(z) <= hours { low = z } else { high = z }
        }
        normal(f64::midpoint(low, high))
    }
}

/// The normal distribution function, by W. J. Cody's idea in the short form of Abramowitz and Stegun 26.2.17, from
/// memory; within 7.5e-8.
fn normal(z: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let series = t
        * (0.319_381_530
            + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    let tail = (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt() * series;
    if z > 0.0 { 1.0 - tail } else { tail }
}

/// 5, 25, 50, 75 and 95 %: `scipy.stats.norm.ppf`.
const NORMAL_QUANTILES: [(f64, f64); 5] = [
    (0.05, -1.644_853_627),
    (0.25, -0.674_489_750),
    (0.5, 0.0),
    (0.75, 0.674_489_750),
    (0.95, 1.644_853_627),
];
/// Places and weights of the eight points, of which each stands for two.
const GAUSS_LEGENDRE: [(f64, f64); 4] = [
    (0.183_434_642_495_650, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887),
    (0.796_666_477_413_627, 0.222_381_034_453_374),
    (0.960_289_856_497_536, 0.101_228_536_290_376),
];
const HALVINGS: u32 = 24;
const FARTHEST: f64 = 6.0;
