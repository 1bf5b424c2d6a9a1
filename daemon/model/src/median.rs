//! The middle value, which half of the others may be wrong about.

/// The median; the mean of the two in the middle where their number is even; `None` of nothing. The order of `values`
/// changes.
///
/// Asked of hundreds of readings many times a minute: sorting them all would cost ten times as much.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    let (middle, even) = (values.len() / 2, values.len().is_multiple_of(2));
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    below.iter().copied().reduce(f64::max).map(|lower| f64::midpoint(lower, upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_the_middle_one_or_the_mean_of_both() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0]), Some(3.0));
        assert_eq!(median(&mut [9.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 100.0, 1.0, 2.0]), Some(3.0));
    }
}
