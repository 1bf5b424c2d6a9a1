//! How good a forecast was, once it is known what happened.
//!
//! The scores are proper: nobody can better them by saying something else than what he believes (Gneiting and
//! Raftery, J. Am. Stat. Assoc. 102:359, 2007, from memory). Plain numbers in and out, in whatever unit the
//! forecast has; less is better.
//!
//! **CRPS.** The continuous ranked probability score is twice the integral of the pinball loss over all levels.
//! From the few quantiles that a forecast states it is taken here as *twice the mean pinball loss over the stated
//! levels*, each level with the same weight. The other way, integrating a piecewise linear distribution exactly,
//! needs an assumption on what lies beyond the outermost quantiles, and the score would judge that assumption too.
//! So only scores over the same levels may be compared. Over m levels (i - ½)/m it is the CRPS of the ensemble of
//! the m quantiles with the divisor 2m², and with many levels the CRPS itself. `scoringrules.crps_quantile` has
//! the same convention.

use statrs::distribution::{Beta, ContinuousCDF as _, Normal};

/// The pinball loss of the quantile `q` at level `tau` (0 to 1) when `y` came.
///
/// Some texts give the double of it as the quantile score.
#[must_use]
pub fn pinball(y: f64, q: f64, tau: f64) -> f64 {
    if y >= q { tau * (y - q) } else { (1.0 - tau) * (q - y) }
}

/// The CRPS of a forecast by its quantiles `(level, value)` when `y` came: twice the mean pinball loss.
/// `None` without a quantile.
#[must_use]
pub fn crps_of_quantiles(quantiles: &[(f64, f64)], y: f64) -> Option<f64> {
    let mut count = 0.0;
    let total: f64 = quantiles
        .iter()
        .map(|(tau, q)| {
            count += 1.0;
            pinball(y, *q, *tau)
        })
        .sum();
    (count > 0.0).then(|| 2.0 * total / count)
}

/// The interval score of the central interval from `low` to `high`, which should hold all but `alpha`: its width,
/// and 2/alpha times by how far it missed.
#[must_use]
pub fn interval_score(y: f64, low: f64, high: f64, alpha: f64) -> f64 {
    (high - low) + 2.0 / alpha * ((low - y).max(0.0) + (y - high).max(0.0))
}

/// How often an interval held what came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Coverage {
    /// So often it did.
    pub held: u32,
    /// Of so many times.
    pub of: u32,
}

/// Between which a share lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// At least.
    pub low: f64,
    /// At most.
    pub high: f64,
}

impl Coverage {
    /// Counts one more time.
    pub fn count(&mut self, held: bool) {
        self.held += u32::from(held);
        self.of += 1;
    }

    /// The same share, as if only so many of the cases were independent; at most as many as there are.
    #[must_use]
    pub fn of_independent(&self, cases: u32) -> Self {
        let of = cases.min(self.of);
        let held = self.share().map_or(0.0, |share| (share * f64::from(of)).round());
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::as_conversions,
            reason = "from 0 to `of`"
        )]
        Self { held: held as u32, of }
    }

    /// The share that was held; `None` when nothing was counted.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        (self.of > 0).then(|| f64::from(self.held) / f64::from(self.of))
    }

    /// Wilson's bounds of the true share, each case counted as independent: short and about right on average.
    ///
    /// Wilson, J. Am. Stat. Assoc. 22:209 (1927), from memory.
    #[must_use]
    pub fn wilson(&self, confidence: f64) -> Option<Bounds> {
        let (share, n) = (self.share()?, f64::from(self.of));
        let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, confidence));
        let shrink = 1.0 + z * z / n;
        let middle = (share + z * z / (2.0 * n)) / shrink;
        let half = z / shrink * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
        Some(Bounds { low: (middle - half).max(0.0), high: (middle + half).min(1.0) })
    }

    /// Clopper and Pearson's bounds: never too narrow, whatever the true share.
    ///
    /// Clopper and Pearson, Biometrika 26:404 (1934), from memory, by the quantiles of the beta distribution.
    #[must_use]
    pub fn clopper_pearson(&self, confidence: f64) -> Option<Bounds> {
        let (held, of) = (f64::from(self.held), f64::from(self.of));
        let tail = (1.0 - confidence) / 2.0;
        let quantile = |a, b, p| Some(Beta::new(a, b).ok()?.inverse_cdf(p));
        if self.of == 0 {
            return None;
        }
        let low = if self.held == 0 { 0.0 } else { quantile(held, of - held + 1.0, tail)? };
        let high = if self.held == self.of { 1.0 } else { quantile(held + 1.0, of - held, 1.0 - tail)? };
        Some(Bounds { low, high })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::Value;

    use super::*;

    /// Levels (i - ½)/m of an ensemble of m.
    fn even(ensemble: &[f64]) -> Vec<(f64, f64)> {
        let m = f64::from(u32::try_from(ensemble.len()).unwrap());
        let levels = (0_u32..).map(|i| (f64::from(i) + 0.5) / m);
        levels.zip(ensemble.iter().copied()).collect()
    }

    /// What we say to a row of `tests/data/score_check_values.csv`; each row names its source.
    fn ours(function: &str, inputs: &Value) -> f64 {
        let input = |name: &str| inputs[name].as_f64().unwrap();
        let count = |name: &str| u32::try_from(inputs[name].as_u64().unwrap()).unwrap();
        let coverage = || Coverage { held: count("held"), of: count("of") };
        match function {
            "pinball" => pinball(input("y"), input("q"), input("tau")),
            "interval_score" => interval_score(input("y"), input("l"), input("u"), input("alpha")),
            "crps_ensemble" => {
                let ensemble: Vec<f64> = serde_json::from_value(inputs["ens"].clone()).unwrap();
                crps_of_quantiles(&even(&ensemble), input("y")).unwrap()
            }
            "wilson_low" => coverage().wilson(input("confidence")).unwrap().low,
            "wilson_high" => coverage().wilson(input("confidence")).unwrap().high,
            "clopper_pearson_low" => coverage().clopper_pearson(input("confidence")).unwrap().low,
            "clopper_pearson_high" => coverage().clopper_pearson(input("confidence")).unwrap().high,
            unknown => panic!("{unknown}"),
        }
    }

    #[test]
    fn reference_libraries_agree_with_every_score() {
        let table = include_str!("../../../tests/data/score_check_values.csv");
        let mut rows = 0;
        for row in csv::Reader::from_reader(table.as_bytes()).into_records().map(Result::unwrap) {
            let (expected, tolerance): (f64, f64) = (row[3].parse().unwrap(), row[4].parse().unwrap());
            let said = ours(&row[1], &serde_json::from_str(&row[2]).unwrap());
            assert!((said - expected).abs() <= tolerance, "{}: {said}, not {expected}", &row[0]);
            rows += 1;
        }
        assert_eq!(rows, 27);
    }

    #[test]
    fn near_copies_give_no_narrower_bounds_than_the_cases_that_are_independent() {
        let copies = Coverage { held: 180, of: 200 };
        assert_eq!(copies.of_independent(20), Coverage { held: 18, of: 20 });
        assert_eq!(copies.of_independent(999), copies, "there are no more cases than were counted");
        assert_eq!(Coverage::default().of_independent(9), Coverage::default());
        let width = |coverage: Coverage| {
            let Bounds { low, high } = coverage.clopper_pearson(0.95).unwrap();
            high - low
        };
        assert!(width(copies.of_independent(20)) > 2.0 * width(copies));
    }

    #[test]
    fn nothing_counted_has_no_share_and_no_bounds() {
        let none = Coverage::default();
        assert_eq!((none.share(), none.wilson(0.95), none.clopper_pearson(0.95)), (None, None, None));
        assert_eq!(crps_of_quantiles(&[], 1.0), None);
    }

    proptest! {
        #[test]
        fn a_true_quantile_scores_no_worse_than_any_other(
            mut sample in prop::collection::vec(-100.0_f64..100.0, 1..60), tau in 0.01_f64..0.99, other in -120.0_f64..120.0
        ) {
            sample.sort_by(f64::total_cmp);
            let mean = |q: f64| sample.iter().map(|y| pinball(*y, q, tau)).sum::<f64>();
            // The least of a piecewise linear function stands at one of its corners.
            let best = sample.iter().map(|q| mean(*q)).fold(f64::INFINITY, f64::min);
            prop_assert!(best <= mean(other) + 1e-9);
            let below = |q: f64| sample.iter().filter(|y| **y < q).count();
            let at = sample.iter().copied().find(|q| (mean(*q) - best).abs() < 1e-9).unwrap();
            let n = f64::from(u32::try_from(sample.len()).unwrap());
            prop_assert!(f64::from(u32::try_from(below(at)).unwrap()) <= tau * n + 1e-9);
        }

        #[test]
        fn the_exact_bounds_hold_the_share_and_are_wider_than_nothing(held in 0_u32..500, more in 0_u32..500) {
            prop_assume!(held + more > 0);
            let coverage = Coverage { held, of: held + more };
            let share = coverage.share().unwrap();
            for bounds in [coverage.wilson(0.95).unwrap(), coverage.clopper_pearson(0.95).unwrap()] {
                prop_assert!(0.0 <= bounds.low && bounds.low <= share + 1e-12);
                prop_assert!(share <= bounds.high + 1e-12 && bounds.high <= 1.0);
                prop_assert!(bounds.high - bounds.low > 1e-6);
            }
        }
    }
}
