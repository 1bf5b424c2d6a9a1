//! Medians, robust slopes and Student quantiles.

/// The `share` quantile (0 to 1) of `values`, by the nearest rank; `None` when there are none. Sorts in place.
pub(super) fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    let rank = (0..=last).find(|rank| count(*rank) >= share * count(last)).unwrap_or(last);
    values.get(rank).copied()
}

/// The median; the mean of the two in the middle where their number is even. Sorts in place.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let upper = values.len() / 2;
    let lower = values.len().checked_sub(1)? / 2;
    Some(f64::midpoint(*values.get(lower)?, *values.get(upper)?))
}

/// A robust standard deviation about the median. Sorts in place.
pub(super) fn spread(values: &mut [f64]) -> Option<f64> {
    let middle = median(values)?;
    let mut off: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    median(&mut off).map(|mad| mad * NORMAL_PER_MAD)
}

/// The middle of the shortest stretch that holds [`DENSE_SHARE`] of `values`: where the clean ones crowd, even when
/// most are scattered above them. Sorts in place.
///
/// Rousseeuw and Leroy, Robust Regression and Outlier Detection (1987), "shorth", from memory.
pub(super) fn densest(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let held = (values.len() * DENSE_SHARE.0).div_ceil(DENSE_SHARE.1).max(1);
    let width = |stretch: &&[f64]| stretch.last().zip(stretch.first()).map_or(f64::INFINITY, |(b, a)| b - a);
    let stretch = values.windows(held).min_by(|a, b| width(a).total_cmp(&width(b)))?;
    f64::midpoint(*stretch.get((held - 1) / 2)?, *stretch.get(held / 2)?).into()
}

/// The repeated median slope of at most [`PAIRED`] of `points`, evenly taken, which bears half of them being outliers.
///
/// Siegel, Biometrika 69:242 (1982), from memory.
pub(super) fn robust_slope(points: &[(f64, f64)]) -> Option<f64> {
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

/// Student's quantile with `freedom` (3 or more) degrees from the normal quantile `z`.
///
/// Expansion 26.7.5 of Abramowitz and Stegun, Handbook of Mathematical Functions (1964), from memory;
/// within 0.01 of the table for |z| up to 1.645.
pub(super) fn student(z: f64, freedom: f64) -> f64 {
    let [z3, z5, z7, z9] = [3, 5, 7, 9].map(|power| z.powi(power));
    let g1 = (z3 + z) / 4.0;
    let g2 = (5.0 * z5 + 16.0 * z3 + 3.0 * z) / 96.0;
    let g3 = (3.0 * z7 + 19.0 * z5 + 17.0 * z3 - 15.0 * z) / 384.0;
    let g4 = (79.0 * z9 + 776.0 * z7 + 1482.0 * z5 - 1920.0 * z3 - 945.0 * z) / 92_160.0;
    z + (g1 + (g2 + (g3 + g4 / freedom) / freedom) / freedom) / freedom
}

/// A count as a number to reckon with.
pub(super) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}

/// Standard deviations in a median absolute deviation of a normal distribution.
pub(super) const NORMAL_PER_MAD: f64 = 1.482_602;
/// Two of five.
const DENSE_SHARE: (usize, usize) = (2, 5);
/// Points that are paired for a slope.
const PAIRED: usize = 24;

#[cfg(test)]
mod tests {
    use super::*;

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

    #[test]
    fn the_crowd_is_found_below_a_majority_of_scattered_foam() {
        let mut levels = [50.1, 49.9, 50.0, 50.2, 54.0, 57.0, 60.5, 63.0, 66.0, 70.0];
        assert!((densest(&mut levels).unwrap() - 50.05).abs() < 1e-9);
        assert_eq!(densest(&mut []), None);
    }

    #[test]
    fn student_quantiles_agree_with_the_table() {
        // `scipy.stats.t.ppf(0.95, n)` and `(0.75, n)`.
        for (freedom, p95, p75) in
            [(3.0, 2.353_363, 0.764_892), (5.0, 2.015_048, 0.726_687), (20.0, 1.724_718, 0.686_954)]
        {
            assert!((student(1.644_854, freedom) - p95).abs() < 0.01, "{freedom}");
            assert!((student(0.674_490, freedom) - p75).abs() < 0.01, "{freedom}");
            assert!((student(-1.644_854, freedom) + p95).abs() < 0.01, "{freedom}");
        }
    }
}
