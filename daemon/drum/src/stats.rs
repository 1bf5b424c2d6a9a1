//! Robust spreads and slopes.

use claymark_model::median::median;

/// A robust standard deviation about the median. Sorts in place.
pub(crate) fn spread(values: &mut [f64]) -> Option<f64> {
    let middle = median(values)?;
    let mut off: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    median(&mut off).map(|mad| mad * NORMAL_PER_MAD)
}

/// The repeated median slope of at most [`PAIRED`] of `points`, evenly taken, which bears half of them being outliers.
///
/// Siegel, Biometrika 69:242 (1982), from memory, held against `scipy.stats.siegelslopes` by a test.
#[must_use]
pub fn robust_slope(points: &[(f64, f64)]) -> Option<f64> {
    let step = points.len().div_ceil(PAIRED).max(1);
    let thinned: Vec<_> = points.iter().rev().step_by(step).copied().collect();
    let mut slopes = Vec::with_capacity(thinned.len());
    let mut through_one = Vec::with_capacity(thinned.len());
    for (x1, y1) in &thinned {
        through_one.clear();
        let others = thinned.iter().filter(|(x2, _)| (x1 - x2).abs() > 0.0);
        through_one.extend(others.map(|(x2, y2)| (y1 - y2) / (x1 - x2)));
        slopes.extend(median(&mut through_one));
    }
    median(&mut slopes)
}

/// A count as a number to reckon with.
pub(crate) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}

/// Standard deviations in a median absolute deviation of a normal distribution.
pub(crate) const NORMAL_PER_MAD: f64 = 1.482_602;
/// Points that are paired for a slope.
const PAIRED: usize = 24;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_is_about_the_median_and_shrugs_off_an_outlier() {
        // scipy.stats.median_abs_deviation(scale="normal") 1.17.1: the median is 4, the deviations 3, 2, 0, 3 and 96.
        let spread = spread(&mut [1.0, 2.0, 4.0, 7.0, 100.0]).unwrap();
        assert!((spread - 4.447_807).abs() < 1e-5, "{spread}");
    }

    #[test]
    fn a_slope_shrugs_off_foam_on_nearly_half_of_the_points() {
        let points: Vec<_> = (0u32..20).map(|i| (f64::from(i), 100.0 - 8.0 * f64::from(i))).collect();
        assert!((robust_slope(&points).unwrap() + 8.0).abs() < 1e-12);
        let mut foamy = points;
        for point in foamy.iter_mut().skip(11) {
            point.1 += 40.0;
        }
        assert!((robust_slope(&foamy).unwrap() + 8.0).abs() < 1e-9);
        assert_eq!(robust_slope(&[(1.0, 2.0)]), None);
    }
}
