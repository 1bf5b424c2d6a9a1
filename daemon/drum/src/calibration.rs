//! Past errors correct the width of what is said: adaptive conformal inference in its simplest form.
//!
//! Each quantile keeps its distance from the likely time, stretched by k. Whenever a forecast is settled, with err = 1
//! where what came lay beyond that quantile and α the share that should,
//!
//! ln k ← ln k + γ (err − α),
//!
//! which makes the share beyond it come to α whatever the filter believes: over T settled forecasts the mean of err
//! differs from α by exactly (ln k at the end − ln k at the start) / (T γ). After Gibbs and Candès (NeurIPS 34, 2021,
//! arXiv 2106.00170), who move α itself; moving the width keeps it finite. By how far ahead, and for each side alone.

use super::hours::in_hours;
use super::tuning::{FIRST_STRETCH, LEARNING_RATE, MOST_STRETCH};
use claymark_model::skill::{Band, Lead, Settled};

/// ln k of p05, p25, p75 and p95, by lead.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Calibration {
    stretch: [[f64; 4]; 4],
}

impl Calibration {
    /// Before anything was settled.
    pub fn new() -> Self {
        Self { stretch: FIRST_STRETCH.map(|of_lead| of_lead.map(f64::ln)) }
    }

    /// A forecast was settled.
    pub fn learn(&mut self, settled: &Settled) {
        let beyond = [
            settled.hit == Band::Earliest,
            settled.hit <= Band::Early,
            settled.hit >= Band::Late,
            settled.hit == Band::Latest,
        ];
        let Some(stretch) = self.stretch.get_mut(place(settled.lead_h)) else { return };
        for ((ln_k, beyond), alpha) in stretch.iter_mut().zip(beyond).zip(BEYOND) {
            let err = if beyond { 1.0 } else { 0.0 };
            *ln_k = (*ln_k + LEARNING_RATE * (err - alpha)).clamp(-MOST_STRETCH.ln(), MOST_STRETCH.ln());
        }
    }

    /// p05, p25, p50, p75 and p95, h ahead, as past errors would have them; rising, and never past.
    pub fn correct(&self, hours: [f64; 5]) -> [f64; 5] {
        let [p05, p25, p50, p75, p95] = hours;
        let Some(ln_k) = self.stretch.get(place(p50)) else { return hours };
        let [k05, k25, k75, k95] = ln_k.map(f64::exp);
        let moved = |p: f64, k: f64| (p50 + (p - p50) * k).max(0.0);
        let (early, late) = (moved(p25, k25), moved(p75, k75));
        [moved(p05, k05).min(early), early, p50, late, moved(p95, k95).max(late)]
    }
}

fn place(lead_h: f64) -> usize {
    Lead::ALL.iter().filter(|lead| lead_h >= in_hours(lead.end())).count().min(3)
}

/// What share should lie beyond p05, p25, p75 and p95.
const BEYOND: [f64; 4] = [0.05, 0.25, 0.25, 0.05];
