//! The normal distribution.

/// The probability of at most `z` standard deviations above the mean; within 7.5e-8.
///
/// Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, formula 26.2.17 (chapter by Zelen and Severo, after
/// Hastings, Approximations for Digital Computers, 1955; from memory, held against `scipy.stats.norm` by a test).
#[must_use]
pub fn probability(z: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let series = t
        * (0.319_381_530
            + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    let tail = (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt() * series;
    if z > 0.0 { 1.0 - tail } else { tail }
}

/// Probabilities and the standard deviations that go with them: 5, 25, 50, 75 and 95 % (`scipy.stats.norm.ppf`).
pub const QUANTILES: [(f64, f64); 5] = [
    (0.05, -1.644_853_627),
    (0.25, -0.674_489_750),
    (0.5, 0.0),
    (0.75, 0.674_489_750),
    (0.95, 1.644_853_627),
];
