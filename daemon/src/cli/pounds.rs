//! Pounds for kilograms: a refill's clay that was typed without its unit is held against what was to be expected.
//!
//! Only where the store is at hand: elsewhere the daemon asks in its next message.

use std::path::Path;

use claymark_core::fieldlog::Deed;
use claymark_core::refill::books::meant;
use claymark_core::site::Site;
use claymark_core::units::{Kilograms, Unit};
use claymark_words::format;

use super::Failure;
use super::past::Standing;

/// Refuses a mass that only makes sense in the other unit, and says how to write either.
pub(super) fn ask(site: &Site, site_file: &Path, deed: &Deed) -> Result<(), Failure> {
    let Deed::Refill { drum, water, clay: Some(clay) } = deed else { return Ok(()) };
    let only = || Some(&site.drums.first().filter(|_| site.drums.len() == 1)?.id);
    let Some(drum) = drum.as_ref().or_else(only) else { return Ok(()) };
    // No store, nothing to hold it against.
    let Ok(standing) = Standing::read(site_file, None) else { return Ok(()) };
    let expected = standing.room().clay_wanted(standing.now, drum, *water);
    expected.map_or(Ok(()), |expected| held_against(site, *clay, expected))
}

fn held_against(site: &Site, clay: Kilograms, expected: Kilograms) -> Result<(), Failure> {
    let Some(other) = meant(clay, expected) else { return Ok(()) };
    let usual = site.units.mass;
    let unusual = if usual == Unit::Pound { Unit::Kilogram } else { Unit::Pound };
    let typed = usual.from_base(clay.0);
    let mass = |mass| format::mass(&site.units, mass, site.clay.scale_step);
    // Off by the factor the wrong way round, the other unit doesn't explain it.
    let explained = (unusual.to_base(typed) - other.0).abs() < 1e-9;
    if !explained {
        return Ok(());
    }
    Err(Failure::Wrong {
        what: format!(
            "{typed} is taken as {}, but about {} of clay was to be expected: were {typed} {unusual} ({}) meant?",
            mass(clay),
            mass(expected),
            mass(other)
        ),
        remedy: format!(
            "Write the unit with it: --clay \"{typed} {unusual}\" or --clay \"{typed} {usual}\"."
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::tests::example;

    #[test]
    fn pounds_for_kilograms_are_asked_about_and_only_they() {
        let kilograms = example().site;
        let mut pounds = kilograms.clone();
        pounds.units.mass = Unit::Pound;
        let asked = |site: &Site, typed: f64, expected: f64| {
            let clay = Kilograms(site.units.mass.to_base(typed));
            held_against(site, clay, Kilograms(expected)).map_err(|failure| failure.text(false))
        };
        let words = asked(&kilograms, 7.0, 3.2).unwrap_err();
        assert_eq!(
            words,
            "7 is taken as 7.00 kg, but about 3.20 kg of clay was to be expected: were 7 lb (3.18 kg) meant?\n\
             Write the unit with it: --clay \"7 lb\" or --clay \"7 kg\".\n"
        );
        assert!(asked(&pounds, 3.2, 3.2).unwrap_err().contains("were 3.2 kg ("), "kilograms for pounds");
        for (site, typed, expected) in
            [(&kilograms, 3.2, 3.2), (&kilograms, 2.6, 3.2), (&kilograms, 1.45, 3.2), (&pounds, 7.0, 3.2)]
        {
            assert_eq!(asked(site, typed, expected), Ok(()), "{typed} for {expected} kg");
        }
    }
}
