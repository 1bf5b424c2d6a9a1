//! Mass balance, rounding and refusals of the refill line.

use jiff::Timestamp;
use proptest::prelude::*;

use super::residual::{LoggedRefill, Source};
use super::*;
use crate::id::Id;
use crate::notice::content::SeenRefill;
use crate::strapping::StrappingTable;
use crate::units::{Millimetres, Unit};

/// Kaolinite 2.60 kg/L (from memory; science notes, slurry density).
const DENSITY: f64 = 2.6;

fn drum(full: f64, target: f64) -> Drum {
    Drum {
        id: Id::new("a").unwrap(),
        name: "Drum A".to_owned(),
        pump: Id::new("p1").unwrap(),
        full: Litres(full),
        heel: Litres(12.0),
        strapping: StrappingTable::upright_cylinder(Millimetres(571.5), Millimetres(851.0)).unwrap(),
        target: GramsPerLitre(target),
    }
}

fn supply(step: f64) -> ClaySupply {
    ClaySupply {
        bag: Kilograms(Unit::Pound.to_base(50.0)),
        scale_step: Kilograms(step),
        mineral_density_kg_per_l: DENSITY,
        thickest: GramsPerLitre(150.0),
        ntu_per_mg_l: None,
        background_ntu: 0.0,
        premix: crate::site::Premix::default(),
        coarse_um: None,
    }
}

fn left(strength: f64) -> Residual {
    Residual { strength: GramsPerLitre(strength), source: Source::NothingLogged }
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn mix(refill: Refill) -> Mix {
    let Refill::Mix(mix) = refill else { panic!("not a mix: {refill:?}") };
    mix
}

#[test]
fn a_bag_filled_up_to_the_line_is_thicker_than_a_bag_into_that_much_water() {
    // The make-up trap, computed for these checks from the exact pound and gallon and 2600 kg/m3:
    // 50 lb into 50 US gal of water gives 197.9935 L at 114.547 g/L; filled up to the 50-gal line, 119.826 g/L.
    let fifty_gallons = Unit::UsGallon.to_base(50.0);
    let bag = Kilograms(Unit::Pound.to_base(50.0));
    let into_water = Litres(fifty_gallons) + displaced(bag, &supply(0.1));
    assert!((into_water.0 - 197.9935).abs() < 5e-5);
    assert!((GramsPerLitre::of(bag, into_water).unwrap().0 - 114.547).abs() < 5e-4);

    let to_the_line =
        mix(Refill::of(&drum(fifty_gallons, 119.826_43), &supply(1e-4), Litres(0.0), left(0.0)));
    assert!((to_the_line.clay.0 - bag.0).abs() < 2e-4);
    assert!((to_the_line.bags - 1.0).abs() < 1e-5);
    assert!((to_the_line.water.0 - (fifty_gallons - 8.7229)).abs() < 2e-4);
    assert!((to_the_line.gives.0 - 119.826).abs() < 1e-3);
}

#[test]
fn what_is_left_is_counted_and_the_scale_is_rounded_down() {
    for (full, target, volume, strength, step, clay) in [
        // 175 L at 18 g/L is 3.15 kg; 62 L at 18 g/L holds 1.116 kg: 2.034 kg are wanted.
        (175.0, 18.0, 62.0, 18.0, 0.1, 2.0),
        (175.0, 18.0, 62.0, 18.0, 0.05, 2.0),
        (175.0, 18.0, 62.0, 18.0, 0.01, 2.03),
        // Twice as strong a rest holds 2.232 kg: 0.918 kg.
        (175.0, 18.0, 62.0, 36.0, 0.1, 0.9),
        // Plain water left: the full 3.15 kg.
        (175.0, 18.0, 62.0, 0.0, 0.05, 3.15),
        // A whole number of steps stays whole: 0.3 kg in steps of 0.1.
        (100.0, 10.0, 70.0, 10.0, 0.1, 0.3),
    ] {
        let mix = mix(Refill::of(&drum(full, target), &supply(step), Litres(volume), left(strength)));
        assert!((mix.clay.0 - clay).abs() < 1e-9, "{full} {volume} {strength} {step}: {}", mix.clay.0);
        assert!((mix.water.0 - (full - volume - clay / DENSITY)).abs() < 1e-9);
    }
}

#[test]
fn it_refuses_what_cannot_be_pumped_and_what_has_no_room() {
    let too_thick = Refill::of(&drum(175.0, 180.0), &supply(0.1), Litres(20.0), left(18.0));
    assert!(matches!(too_thick, Refill::TooThick { thickest: GramsPerLitre(150.0), .. }), "{too_thick:?}");
    let hopeless = Refill::of(&drum(175.0, 18.0), &supply(0.1), Litres(170.0), left(170.0));
    assert!(matches!(hopeless, Refill::TooThick { .. }), "{hopeless:?}");
    for volume in [175.0, 180.0] {
        assert_eq!(Refill::of(&drum(175.0, 18.0), &supply(0.1), Litres(volume), left(18.0)), Refill::NoRoom);
    }
    // 1 L of room, but 3.1 kg of clay would take 1.2 L.
    assert_eq!(Refill::of(&drum(175.0, 18.0), &supply(0.1), Litres(174.0), left(0.0)), Refill::NoRoom);
}

#[test]
fn a_rest_that_is_too_strong_gets_water_only() {
    let refill = Refill::of(&drum(175.0, 18.0), &supply(0.1), Litres(100.0), left(40.0));
    let Refill::WaterOnly { water, gives, .. } = refill else { panic!("{refill:?}") };
    assert!((water.0 - 75.0).abs() < 1e-9);
    assert!((gives.0 - 4000.0 / 175.0).abs() < 1e-9);
}

#[test]
fn the_rest_takes_the_last_logged_strength_or_says_why_it_takes_the_target() {
    let logged = |at_text: &str, water, clay, held| LoggedRefill {
        key: at_text.to_owned(),
        at: at(at_text),
        water,
        clay: Option::map(clay, Kilograms),
        held: Option::map(held, Litres),
    };
    let seen = |at_text: &str, added, to| SeenRefill {
        at: at(at_text),
        added: Litres(added),
        to: Litres(to),
        logged: true,
    };
    let after = |seen: &[SeenRefill], logged: &[LoggedRefill]| {
        Residual::after(&drum(175.0, 18.0), &supply(0.1), seen, logged)
    };
    let (noon, later) = ("2027-04-20T12:00:00Z", "2027-04-20T12:20:00Z");

    assert_eq!(after(&[], &[]), left(18.0));
    // 45 L at 18 g/L and 2.2 kg in 175 L: (0.81 + 2.2) / 175 L = 17.2 g/L.
    let known = after(&[seen(noon, 130.0, 175.0)], &[logged(later, None, Some(2.2), None)]);
    assert!((known.strength.0 - 17.2).abs() < 1e-9);
    assert_eq!(known.source, Source::Logged { at: at(later) });
    // Not seen, but written down with all figures: 45 L + 100 L + 2.6 kg / 2.6 = 146 L.
    let unseen = after(&[], &[logged(noon, Some(Litres(100.0)), Some(2.6), Some(45.0))]);
    assert!((unseen.strength.0 - (810.0 + 2600.0) / 146.0).abs() < 1e-9);
    for (seen, logged, source) in [
        (vec![seen(noon, 130.0, 175.0)], vec![], Source::RefillNotLogged { at: at(noon) }),
        (
            vec![seen(noon, 130.0, 175.0)],
            vec![logged(later, Some(Litres(130.0)), None, None)],
            Source::FiguresMissing { at: at(later) },
        ),
        (vec![], vec![logged(noon, None, Some(2.0), Some(45.0))], Source::FiguresMissing { at: at(noon) }),
        // An hour apart they are two refills, and the later one, seen, wasn't written down.
        (
            vec![seen("2027-04-20T13:00:00Z", 130.0, 175.0)],
            vec![logged(noon, None, Some(2.0), None)],
            Source::RefillNotLogged { at: at("2027-04-20T13:00:00Z") },
        ),
    ] {
        let unknown = after(&seen, &logged);
        assert_eq!((unknown.strength, unknown.source), (GramsPerLitre(18.0), source));
    }
}

proptest! {
    #[test]
    fn clay_is_neither_made_nor_lost_and_the_target_is_never_exceeded(
        full in 50.0..400.0_f64, share in 0.0..0.99_f64, target in 1.0..100.0_f64,
        strength in 0.0..100.0_f64, step in 0.01..0.5_f64,
    ) {
        let volume = full * share;
        if let Refill::Mix(mix) = Refill::of(&drum(full, target), &supply(step), Litres(volume), left(strength)) {
            let mass_after = volume * strength / 1000.0 + mix.clay.0;
            prop_assert!((mass_after - full * mix.gives.0 / 1000.0).abs() < 1e-9);
            prop_assert!((volume + mix.water.0 + mix.clay.0 / DENSITY - full).abs() < 1e-9);
            prop_assert!(mix.gives.0 <= target * (1.0 + 1e-9));
            prop_assert!(mix.gives.0 * full / 1000.0 > target * full / 1000.0 - step - 1e-9);
            prop_assert!(mix.water.0 >= 0.0);
        }
    }

    #[test]
    fn a_stronger_rest_never_wants_more_clay(
        volume in 1.0..170.0_f64, strength in 0.0..60.0_f64, stronger in 0.0..60.0_f64,
    ) {
        let clay = |strength| match Refill::of(&drum(175.0, 18.0), &supply(0.05), Litres(volume), left(strength)) {
            Refill::Mix(mix) => mix.clay.0,
            Refill::WaterOnly { .. } | Refill::NoRoom | Refill::TooThick { .. } => 0.0,
        };
        let (weak, strong) = (strength.min(stronger), strength.max(stronger));
        prop_assert!(clay(strong) <= clay(weak) + 1e-9);
    }
}
