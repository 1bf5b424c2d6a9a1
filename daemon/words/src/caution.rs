//! Cautions: the one home of every sentence that keeps people and fish from harm.
//!
//! Each is short enough to be read with wet hands, says what to do, and stands beside the deed that it is
//! about. None is legal or medical advice: local codes and people with a licence come first.
//! What is read here is common practice unless a source stands beside it.

use claymark_model::units::{Kilograms, PeopleUnits};

use crate::format;

/// Beside every amount of clay: dust, lifting and wet floors in two lines.
pub const HANDLING: &str = "Care: clay dust harms lungs, so wear a mask and wet it gently. Lift bags with two people. \
Keep cables and plugs out of the wet. Local rules come first.";

/// The dust in full, for pages and longer messages.
///
/// Clay for drums contains free quartz; the bag's safety data sheet says how much. Limits: USA 50 µg/m3 over
/// eight hours, action level 25 µg/m3 (29 CFR 1910.1053); EU 0.1 mg/m3 (Directive 2004/37/EC, annex III).
pub const SILICA: &str = "Dry clay holds crystalline silica. Its finest dust, which can't be seen, scars lungs for good. Open bags \
outdoors or at a draught that carries the dust away from you, wear a fitted mask rated for fine dust, add clay to water and not \
water to clay, and never sweep dry: wipe wet. Read the bag's safety data sheet; your local limits and rules come first.";

/// Before the bucket is stirred: lumps stay lumps in the drum.
pub const PREMIX: &str = "Stir each bucket for about a minute until no lump is left: lumps sink in the drum, and the water clears \
although the clay is there.";

/// Around pumps, heaters and sensors.
pub const ELECTRICITY: &str = "Electricity and water: dry hands, plugs and cables above the wet, every outlet behind a residual-current \
breaker that is tested. Switch off at the wall before you reach into a tank with a heater or a pump. Wiring is the work of a licensed \
electrician, by your local code.";

/// Before anybody opens an oxygen bottle.
pub const PURE_OXYGEN: &str = "Pure oxygen makes fire fierce: no flame, spark, oil or grease near bottle, valve or hose; open valves \
slowly, tie bottles upright, air the room. Too much of it in the water can harm fish as well as too little. Follow the gas \
supplier's and your local rules.";

/// When a clay is new to these fish.
pub const NEW_CLAY: &str = "Some clays harm gills. Try any new clay, and each new lot, on a few fish first, in a tank of their own for \
some days: look at gills, feeding and losses before it goes into the drums.";

/// With every saturation above 100 %.
pub const TOTAL_GAS: &str = "An oxygen sensor can't show the total gas pressure, and that is what harms swim bladders: check it with an \
instrument made for it.";

/// What Claymark is not.
pub const NOT_LIFE_SUPPORT: &str = "Claymark advises; it switches nothing. It is no life-support control: the fish need alarms and \
back-up air that work without it.";

/// At the foot of a notice, where there is room for a line.
pub const ADVISES: &str = "Claymark advises; it switches nothing.";

/// Above how much one person shouldn't lift a bag alone, and what to do instead.
///
/// The revised NIOSH lifting equation allows 23 kg in the ideal posture only: close to the body, at knuckle
/// height, without a twist (Waters, Putz-Anderson and Garg, NIOSH 94-110). From the floor, at arm's length,
/// it allows less than 9 kg.
#[must_use]
pub fn lifting(units: &PeopleUnits, bag: Kilograms) -> String {
    format!(
        "A bag weighs {}. {} is the most for one person in the best posture, and a bag on the floor is not that: lift with two, \
         or scoop the clay out; keep it close and don't twist.",
        format::bag(units, bag),
        format::bag(units, MOST_TO_LIFT)
    )
}

const MOST_TO_LIFT: Kilograms = Kilograms(23.0);

#[cfg(test)]
mod tests {
    use claymark_model::units::Unit;

    use super::*;

    #[test]
    fn the_most_to_lift_is_told_in_the_unit_of_the_bag() {
        let pounds = PeopleUnits { mass: Unit::Pound, ..PeopleUnits::default() };
        let told = lifting(&pounds, Kilograms(Unit::Pound.to_base(50.0)));
        assert!(told.starts_with("A bag weighs 50 lb. 50.7 lb is the most"), "{told}");
        let told = lifting(&PeopleUnits::default(), Kilograms(25.0));
        assert!(told.starts_with("A bag weighs 25 kg. 23 kg is the most"), "{told}");
    }

    #[test]
    fn each_caution_says_what_to_do_and_defers_where_a_rule_exists() {
        for text in [HANDLING, SILICA, ELECTRICITY, PURE_OXYGEN] {
            assert!(text.contains("ocal"), "defers to local rules or codes: {text}");
        }
        assert!(NEW_CLAY.contains("few fish first") && NOT_LIFE_SUPPORT.contains("no life-support control"));
        assert!(TOTAL_GAS.contains("can't show"), "an oxygen sensor measures no total gas pressure");
        assert!(lifting(&PeopleUnits::default(), Kilograms(25.0)).starts_with("A bag weighs 25 kg."));
    }
}
