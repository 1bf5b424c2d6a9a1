//! The time to a volume ahead, as quantiles.
//!
//! If pump and valves stay, the time from V down to h is T = ∫ₕᵛ dv / q(v), by eight points (`quadrature`).
//! Its gradient is ∂T/∂V = 1/q(V), ∂T/∂a = −T, ∂T/∂β₁ = ∫ u/q dv, ∂T/∂β₂ = ∫ u²/q dv, so
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
use super::normal;
use super::quadrature::eight_points;
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
        for (v, weight) in eight_points(target, volume) {
            let row = log_draw_row(size.depth(v));
            let part = weight / (share * state.along(&row).exp());
            hours += part;
            gradient -= part * row;
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
    let of_filter = normal::QUANTILES.map(|(p, z)| match mixture {
        [(_, only)] => only.at(z),
        several => quantile(several, p, z),
    });
    let corrected = calibration.correct(of_filter);
    let likely = corrected[2];
    let mut hours = corrected;
    for (hours, (_, z)) in hours.iter_mut().zip(normal::QUANTILES) {
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
        normal::probability(f64::midpoint(low, high))
    }
}

const HALVINGS: u32 = 24;
const FARTHEST: f64 = 6.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::state::Gaussian;

    #[test]
    fn the_way_down_takes_as_long_as_many_small_steps_of_it_and_its_gradient_is_that_of_the_time() {
        let size = DrumSize { heel: 5.0, full: 175.0, span: 170.0, brim: 205.0 };
        for (volume, target, share) in [(175.0, 5.0, 1.0), (60.0, 5.0, 1.0), (190.0, 100.0, 0.5)] {
            let sure = |mean| Gaussian { mean, sd: 1e-9 };
            let ahead = |volume, draw: f64| {
                let state = State::first(&size, sure(volume), Some(sure(draw.ln())));
                Ahead::of(&state, &size, target, share, 0.0)
            };
            // By the middles of many small steps.
            let steps = 40_000;
            let step = (volume - target) / f64::from(steps);
            let state = State::first(&size, sure(volume), Some(sure(12.5_f64.ln())));
            let hours: f64 = (0..steps)
                .map(|n| target + (f64::from(n) + 0.5) * step)
                .map(|v| step / (share * state.draw_at(&size, v).mean))
                .sum();
            let ours = ahead(volume, 12.5).hours;
            assert!((ours - hours).abs() < 1e-6 * hours, "{volume} to {target}: {ours} h, not {hours} h");
            // A volume that is known to a litre shifts the time by what a litre takes there.
            let known = Gaussian { mean: volume, sd: 1.0 };
            let unsure = State::first(&size, known, Some(sure(12.5_f64.ln())));
            let shift = Ahead::of(&unsure, &size, target, share, 0.0).shift;
            let litre = 1.0 / (share * state.draw_at(&size, volume).mean);
            assert!((shift - litre).abs() < 1e-3 * litre, "{shift} h, not {litre} h");
        }
    }
}
