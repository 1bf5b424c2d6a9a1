//! What the instruments make of the truth: ripple, noise, steps of the last digit, stray echoes, foam.

use rand::RngExt;
use rand::rngs::StdRng;
use rand_distr::StandardNormal;

/// Something that measures a level.
#[derive(Debug, Clone)]
pub struct LevelGauge {
    noise_mm: f64,
    step_mm: f64,
    stray: f64,
    ripple_mm: f64,
    foam_mm: f64,
    foam_wanders: bool,
}

impl LevelGauge {
    /// A pressure sensor at the bottom.
    #[must_use]
    pub fn pressure() -> Self {
        Self {
            noise_mm: 0.6,
            step_mm: 0.5,
            stray: 0.000_5,
            ripple_mm: 0.0,
            foam_mm: 0.0,
            foam_wanders: false,
        }
    }

    /// An ultrasonic sensor above, which now and then hears another echo, and hears foam.
    #[must_use]
    pub fn ultrasonic() -> Self {
        Self { noise_mm: 1.1, step_mm: 1.0, stray: 0.002, ripple_mm: 0.0, foam_mm: 0.0, foam_wanders: false }
    }

    /// Foam stands on the slurry, or has gone.
    pub fn foam(&mut self, there: bool) {
        self.foam_wanders = there;
        self.foam_mm = if there { 90.0 } else { 0.0 };
    }

    /// Whether foam stands there.
    #[must_use]
    pub fn foams(&self) -> bool {
        self.foam_wanders
    }

    /// What it shows a minute after it last showed something; `stirred` while somebody pours and mixes.
    pub fn shows(&mut self, true_mm: f64, stirred: bool, rng: &mut StdRng) -> f64 {
        let mut normal = || rng.sample::<f64, _>(StandardNormal);
        // Ripple of the surface: correlated over about two minutes.
        let ripple_mm = if stirred { 6.0 } else { 1.3 };
        self.ripple_mm =
            RIPPLE_STAYS * self.ripple_mm + ripple_mm * (1.0 - RIPPLE_STAYS.powi(2)).sqrt() * normal();
        let mut shown = true_mm + self.ripple_mm + self.noise_mm * normal();
        if self.foam_wanders {
            self.foam_mm = (self.foam_mm + 22.0 * normal()).clamp(5.0, 190.0);
            shown += self.foam_mm;
        }
        if rng.random_bool(self.stray) {
            let away = rng.random_range(60.0..220.0);
            shown += if rng.random_bool(0.5) { away } else { -away };
        }
        round_to(shown.max(0.0), self.step_mm)
    }
}

/// A turbidity probe: a share of the value and a little more, and now and then a bubble.
pub fn turbidity(true_ntu: f64, rng: &mut StdRng) -> f64 {
    let noise: f64 = rng.sample(StandardNormal);
    let bubble = if rng.random_bool(0.001) { rng.random_range(15.0..90.0) } else { 0.0 };
    round_to((true_ntu * (1.0 + 0.012 * noise) + bubble).max(0.0), 0.1)
}

/// Any other quantity.
pub fn plain(truth: f64, noise: f64, step: f64, rng: &mut StdRng) -> f64 {
    let normal: f64 = rng.sample(StandardNormal);
    round_to(truth + noise * normal, step)
}

fn round_to(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

/// exp(-60 s / 120 s).
const RIPPLE_STAYS: f64 = 0.606_53;
