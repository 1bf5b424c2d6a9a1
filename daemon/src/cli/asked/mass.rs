//! A refill's clay: pounds for kilograms where the unit was only taken for granted, and masses that can hardly be.

use claymark_clay::refill::books::MassDoubt;
use claymark_model::site::Site;
use claymark_model::units::{Kilograms, Unit};
use claymark_words::{format, refill};

use super::SURE;
use crate::cli::CommandFailure;

/// The question, as a refusal with a way out.
pub(super) fn asked(site: &Site, doubt: &MassDoubt, for_granted: bool) -> Result<(), CommandFailure> {
    match doubt.meant.filter(|_| for_granted).and_then(|meant| other_unit(site, doubt, meant)) {
        Some(question) => Err(question),
        // Off by the factor the wrong way round the other unit doesn't explain it, and a unit that was typed was meant.
        None if doubt.meant.is_some() && doubt.gives.is_none() => Ok(()),
        None => Err(hardly(site, doubt)),
    }
}

/// `None`: the number as it was typed means something else in the other unit.
fn other_unit(site: &Site, doubt: &MassDoubt, meant: Kilograms) -> Option<CommandFailure> {
    let usual = site.units.mass;
    let unusual = if usual == Unit::Pound { Unit::Kilogram } else { Unit::Pound };
    let typed = usual.from_base(doubt.typed.0);
    let mass = |mass| format::mass(&site.units, mass, site.clay.scale_step);
    let explained = (unusual.to_base(typed) - meant.0).abs() < 1e-9;
    explained.then(|| CommandFailure::Wrong {
        what: format!(
            "{typed} is taken as {}, but about {} of clay was to be expected: were {typed} {unusual} ({}) meant?",
            mass(doubt.typed),
            mass(doubt.expected),
            mass(meant)
        ),
        remedy: format!(
            "Write the unit with it: --clay \"{typed} {unusual}\" or --clay \"{typed} {usual}\"."
        ),
    })
}

fn hardly(site: &Site, doubt: &MassDoubt) -> CommandFailure {
    let thick = doubt.gives.map(|gives| format!(" {}.", refill::too_thick(site, gives))).unwrap_or_default();
    CommandFailure::Wrong {
        what: format!(
            "{} of clay can hardly be: {}.{thick}",
            format::mass(&site.units, doubt.typed, site.clay.scale_step),
            refill::expected(site, doubt.expected),
        ),
        remedy: format!("Look at the figure and its unit, and write the unit with it. {SURE}"),
    }
}

#[cfg(test)]
mod tests {
    use claymark_clay::refill::books::meant;
    use claymark_model::fieldlog::Deed;
    use jiff::Timestamp;

    use super::super::figures;
    use super::*;
    use crate::cli::tests::example;

    fn doubt(typed: Kilograms, expected: Kilograms) -> MassDoubt {
        let at = Timestamp::UNIX_EPOCH;
        MassDoubt { key: String::new(), at, typed, expected, meant: None, gives: None, twice: false }
    }

    #[test]
    fn a_mass_that_could_not_be_pumped_is_asked_about_with_its_unit_and_without_a_store() {
        let site = example().site;
        let alone = |kilograms| {
            let drum = Some(site.drums[0].id.clone());
            let deed = Deed::Refill { drum, water: None, clay: Some(Kilograms(kilograms)) };
            let now = Timestamp::UNIX_EPOCH;
            figures::likely(&site, &deed, (now, now), None).map_err(|failure| failure.text(false))
        };
        assert_eq!(alone(10.0), Ok(()));
        let words = alone(200.0).unwrap_err();
        assert!(words.contains("200.00 kg of clay can hardly be: about 3.15 kg was expected."), "{words}");
        assert!(
            words.contains("the pump can lift 60.0 g/L at most.") && words.contains("add --sure"),
            "{words}"
        );
        let far = doubt(Kilograms(14.5), Kilograms(1.45));
        assert!(asked(&site, &far, false).is_err(), "ten times what was expected");
        let explicit = MassDoubt { meant: Some(Kilograms(3.175)), ..doubt(Kilograms(7.0), Kilograms(3.2)) };
        assert!(asked(&site, &explicit, false).is_ok(), "the unit was typed");
    }

    #[test]
    fn pounds_for_kilograms_are_asked_about_and_only_they() {
        let kilograms = example().site;
        let mut pounds = kilograms.clone();
        pounds.units.mass = Unit::Pound;
        let ask = |site: &Site, typed: f64, expected: f64| {
            let typed = Kilograms(site.units.mass.to_base(typed));
            let expected = Kilograms(expected);
            let Some(meant) = meant(typed, expected) else { return Ok(()) };
            let doubt = MassDoubt { meant: Some(meant), ..doubt(typed, expected) };
            asked(site, &doubt, true).map_err(|failure| failure.text(false))
        };
        let words = ask(&kilograms, 7.0, 3.2).unwrap_err();
        assert_eq!(
            words,
            "7 is taken as 7.00 kg, but about 3.20 kg of clay was to be expected: were 7 lb (3.18 kg) meant?\n\
             Write the unit with it: --clay \"7 lb\" or --clay \"7 kg\".\n"
        );
        assert!(ask(&pounds, 3.2, 3.2).unwrap_err().contains("were 3.2 kg ("), "kilograms for pounds");
        for (site, typed, expected) in
            [(&kilograms, 3.2, 3.2), (&kilograms, 2.6, 3.2), (&kilograms, 1.45, 3.2), (&pounds, 7.0, 3.2)]
        {
            assert_eq!(ask(site, typed, expected), Ok(()), "{typed} for {expected} kg");
        }
    }
}
