//! A hand meter's value that no water shows: a slip of the figure or of its unit, and no fault of the sensor.

use claymark_core::fieldlog::Deed;
use claymark_core::units::Unit;
use claymark_core::verify::{self, Saturation};
use claymark_words::checks;

use super::SURE;
use crate::cli::Failure;

/// Refuses what can hardly be, with a way out.
pub(super) fn asked(deed: &Deed, full: Saturation) -> Result<(), Failure> {
    let Deed::GrabSample { value: Some(value), unit: Some(unit), .. } = deed else { return Ok(()) };
    let (Some(bound), Ok(unit)) = (verify::beyond_water(deed, full), Unit::parse(unit)) else {
        return Ok(());
    };
    Err(Failure::Wrong {
        what: format!("{}.", checks::beyond_water(*value, unit, bound)),
        remedy: format!(
            "Look at the meter's figure and its unit: --value \"8.0 mg/L\", --value \"68 °F\". {SURE}"
        ),
    })
}

#[cfg(test)]
mod tests {
    use claymark_core::units::MilligramsPerLitre;

    use super::*;

    #[test]
    fn a_slip_of_the_hand_is_asked_about_before_the_sensor_is_blamed() {
        let asked = |quantity: &str, value, unit: &str| {
            let (quantity, unit) = (Some(quantity.to_owned()), Some(unit.to_owned()));
            let deed = Deed::GrabSample { place: None, quantity, value: Some(value), unit };
            super::asked(&deed, Some(MilligramsPerLitre(9.09))).map_err(|failure| failure.text(false))
        };
        let words = asked("temperature", 20.0, "°F").unwrap_err();
        assert!(
            words.starts_with(
                "20.0 °F (-6.7 °C) can hardly be by hand: less than 0 °C is no water that fish live in.\n"
            ),
            "{words}"
        );
        let words = asked("oxygen", 800.0, "mg/L").unwrap_err();
        assert!(words.contains("more than 27 mg/L is no water") && words.contains("add --sure"), "{words}");
        assert_eq!(asked("oxygen", 8.0, "mg/L"), Ok(()));
    }
}
