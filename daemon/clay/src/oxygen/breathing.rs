//! What fish breathe at rest by their size, to hold a measured demand against.
//!
//! Red sea bream from hatching to 270 g at 20 °C (Oikawa, Itazawa and Gotoh 1991, Journal of Fish Biology, doi
//! 10.1111/j.1095-8649.1991.tb03136.x; read in its abstract): a fish of W grams takes up 12.5 W^0.949 µL of oxygen a minute
//! from 0.31 mg to 5 mg, and 6.3 W^0.821 from there on. Other fish differ; fed ones take up two to three times as much (from
//! memory).

use claymark_model::units::{GramsPerMinute, Unit};

/// Kilograms of oxygen a day for each kilogram of resting fish that weigh `fish_g` grams each; `None` outside what was
/// measured.
#[must_use]
pub fn at_rest(fish_g: f64) -> Option<f64> {
    let microlitres_a_minute = match fish_g {
        small if (0.000_31..SMALL_G).contains(&small) => 12.5 * small.powf(0.949),
        large if (SMALL_G..=270.0).contains(&large) => 6.3 * large.powf(0.821),
        _ => return None,
    };
    let a_minute = GramsPerMinute(microlitres_a_minute * GRAMS_PER_MICROLITRE);
    Some(a_minute.in_a_day().0 / Unit::Gram.to_base(fish_g))
}

/// Whether fish of any size breathe so much in a day, kilograms for each kilogram: from a quarter of what large ones do at
/// rest to four times of what small ones do. Beyond it a sensor, the flow or the weight is wrong. Our own choice.
#[must_use]
pub fn can_be(each: f64) -> bool {
    let (large, small) = (at_rest(LARGE_G), at_rest(SMALL_G * 0.999));
    large.zip(small).is_none_or(|(least, most)| (least / 4.0..=4.0 * most).contains(&each))
}

/// Where the juvenile's line begins.
const SMALL_G: f64 = 0.005;
/// The largest that a rearing room has. Our own choice.
const LARGE_G: f64 = 10.0;
/// Oxygen gas at 0 °C and 1 atm, where respiration is told in volumes: 1.429 g/L.
const GRAMS_PER_MICROLITRE: f64 = 1.429e-6;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn resting_fish_breathe_as_the_paper_s_lines_say() {
        // By hand: 1 g takes 6.3 µL/min · 1.429 µg/µL · 1440 min = 12.96 mg a day; 0.1 g: 6.3 · 0.1^0.821 = 0.951 µL/min, 1.958
        // mg, 19.6 g a kilogram; 1 mg: 12.5 · 0.001^0.949 = 0.017 78 µL/min, 36.6 µg, 36.6 g a kilogram.
        for (fish_g, each) in [(1.0, 0.012_96), (0.1, 0.019_58), (0.001, 0.036_58)] {
            let ours = at_rest(fish_g).unwrap();
            assert!((ours - each).abs() < 1e-5, "{fish_g} g: {ours}");
        }
        assert_eq!((at_rest(0.000_2), at_rest(300.0), at_rest(f64::NAN)), (None, None, None));
        // 0.4 g a kilogram and hour, which an FAO handbook takes for fish in a raceway.
        assert!(can_be(0.4 * 24.0 / 1000.0) && can_be(0.017) && !can_be(0.000_5) && !can_be(0.3));
    }
}
