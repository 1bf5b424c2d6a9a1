//! A picture whose scale doesn't reach to all that was measured says so.

use crate::format::number;

/// By what a scale was cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// What the sensors themselves can show.
    Range,
    /// The ten-minute means; single readings lie outside.
    Means,
    /// What the drum can hold.
    Drum,
    /// What holds nearly all of the figures.
    Bulk,
    /// So many times what is wanted: nearly all of the figures lie out of reach.
    Reach,
}

/// Below a picture, and in what is read out instead of it; (lowest, highest) of the scale and of the figures.
#[must_use]
pub fn told(by: By, scale: (f64, f64), figures: (f64, f64), unit: &str) -> String {
    let by = match by {
        By::Range => "at what the sensors can show",
        By::Means => "at the ten-minute means",
        By::Drum => "at what the drum can hold",
        By::Bulk => "at what 99.8 % of the figures keep to",
        By::Reach => "far beyond what is wanted, and still many figures lie outside",
    };
    let [low, high] = [scale.0, scale.1].map(|value| number(value, 0));
    let [least, most] = [figures.0, figures.1].map(|value| number(value, 0));
    format!(
        "The scale is cut to {low} to {high} {unit}, {by}: they run from {least} to {most}. A curve at its edge lies \
         beyond it. Look at the sensor, and give it a range in the site file."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_scale_is_told_with_what_lies_outside() {
        assert_eq!(
            told(By::Bulk, (0.0, 130.4), (-1.7e308, 1.7e308), "NTU"),
            "The scale is cut to 0 to 130 NTU, at what 99.8 % of the figures keep to: they run from -1.7e308 to 1.7e308. \
             A curve at its edge lies beyond it. Look at the sensor, and give it a range in the site file."
        );
    }
}
