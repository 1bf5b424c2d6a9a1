//! Test 4: outside what the sensor can show fails, outside what people expect is suspect.

use crate::quality::Flag;
use crate::quality::thresholds::GrossRange;

/// Limits themselves pass; fail goes before suspect.
#[must_use]
pub fn flag(value: f64, range: GrossRange) -> Flag {
    if !range.sensor().contains(value) {
        Flag::Fail
    } else if range.expected().is_some_and(|expected| !expected.contains(value)) {
        Flag::Suspect
    } else {
        Flag::Pass
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quality::thresholds::Span;

    #[test]
    fn the_limits_pass_and_what_lies_outside_does_not() {
        let range =
            GrossRange::new(Span::new(0.0, 4000.0).unwrap(), Some(Span::new(10.0, 500.0).unwrap())).unwrap();
        for (value, expected) in [
            (10.0, Flag::Pass),
            (500.0, Flag::Pass),
            (9.75, Flag::Suspect),
            (500.25, Flag::Suspect),
            (0.0, Flag::Suspect),
            (4000.0, Flag::Suspect),
            (-0.5, Flag::Fail),
            (4000.5, Flag::Fail),
        ] {
            assert_eq!(flag(value, range), expected, "{value}");
        }
    }
}
