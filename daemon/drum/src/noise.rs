//! How restless a level is, learned from what its minutes miss the volume by.
//!
//! Air ripples the surface, and neighbouring minutes hang together: an AR(1) process. Its standard deviation and
//! its correlation are running means over the last hours, each minute cut off at a few deviations so that foam
//! doesn't count.

use super::state::Ripple;
use super::tuning::{
    FRESH_SHARE, LEAST_SCATTER_SHARE, MOST_CORRELATION, MOST_SCATTER_SHARE, SCATTER_CUT,
    SCATTER_PRIOR_READINGS, SCATTER_READINGS, SCATTER_SHARE,
};

/// Running means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MeasurementNoise {
    /// Minutes that count.
    readings: f64,
    square: f64,
    product: f64,
    last: Option<f64>,
    /// Running mean of how far a minute reads from the one before, L, and of how many minutes.
    steps: (f64, f64),
    least: f64,
    most: f64,
    /// Of the last twenty minutes or so: to tell a dead sensor.
    lately: f64,
}

impl MeasurementNoise {
    /// Before any minute was seen, in a drum of so many litres.
    pub fn usual(span: f64) -> Self {
        let usual = SCATTER_SHARE * span;
        Self {
            readings: SCATTER_PRIOR_READINGS,
            square: usual * usual,
            product: USUAL_CORRELATION * usual * usual,
            last: None,
            steps: (0.0, 0.0),
            least: LEAST_SCATTER_SHARE * span,
            most: MOST_SCATTER_SHARE * span,
            lately: usual,
        }
    }

    /// A minute missed the volume by `off` litres, a minute after the one before or later.
    pub fn learn(&mut self, off: f64, follows: bool) {
        let limit = SCATTER_CUT * self.scatter();
        let off = off.clamp(-limit, limit);
        self.readings = (self.readings + 1.0).min(SCATTER_READINGS);
        self.square += (off * off - self.square) / self.readings;
        if let Some(last) = self.last.filter(|_| follows) {
            self.product += (off * last - self.product) / self.readings;
        }
        self.last = Some(off);
    }

    /// How far the reading moved against the minute before, whatever the volume is.
    pub fn moved(&mut self, by: f64) {
        self.lately += (by.abs() - self.lately) / LATELY_READINGS;
        let limit = std::f64::consts::SQRT_2 * SCATTER_CUT * self.scatter();
        let (mean, readings) = self.steps;
        let readings = (readings + 1.0).min(SCATTER_READINGS);
        self.steps = (mean + (by.abs().min(limit) - mean) / readings, readings);
    }

    /// Standard deviation of a minute, L.
    ///
    /// At least what the steps from minute to minute say, whose mean is 2/√π deviations where minutes don't hang
    /// together and less where they do: they need no level, so a level that is believed too low can't hide them.
    pub fn scatter(&self) -> f64 {
        let (mean, readings) = self.steps;
        let by_steps = if readings < LATELY_READINGS { 0.0 } else { STEPS_SHARE * mean * SQRT_PI / 2.0 };
        self.square.sqrt().max(by_steps).clamp(self.least, self.most)
    }

    /// Whether the readings hardly move any more.
    pub fn is_dead(&self) -> bool {
        self.lately < DEAD_SHARE * self.scatter()
    }

    /// For the filter.
    pub fn ripple(&self) -> Ripple {
        let scatter = self.scatter();
        let per_minute = (self.product / scatter.powi(2).max(f64::MIN_POSITIVE)).clamp(0.0, MOST_CORRELATION);
        Ripple {
            lasting: scatter * (1.0 - FRESH_SHARE).sqrt(),
            fresh: scatter * FRESH_SHARE.sqrt(),
            per_minute,
        }
    }
}

/// Share of that deviation which is believed.
const STEPS_SHARE: f64 = 0.8;
const SQRT_PI: f64 = 1.772_453_850_905_516;
const USUAL_CORRELATION: f64 = 0.3;
const LATELY_READINGS: f64 = 10.0;
/// Movement below this share of the usual scatter: the sensor has died.
const DEAD_SHARE: f64 = 0.2;
