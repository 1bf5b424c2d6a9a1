//! Mass balance, rounding and refusals of the refill line.

use jiff::Timestamp;
use proptest::prelude::*;

use super::books::{Books, LoggedRefill, StrengthSource, meant};
use super::seen::{Feeding, SettledHeadTank};
use super::*;
use crate::feed::HeadFeed;
use crate::water::{FlowBy, KnownFlow, Measured};
use crate::{Clouding, Yield};
use claymark_model::happening::SeenRefill;
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerMinute, LitresPerHour, LitresPerMinute, Millimetres, Turbidity, Unit};
use claymark_model::unseen::UnseenSign;

/// Kaolinite 2.60 kg/L (from memory).
const DENSITY: f64 = 2.6;

fn drum(full: f64, target: f64) -> Drum {
    let strapping = StrappingTable::upright_cylinder(Millimetres(571.5), Millimetres(851.0)).unwrap();
    let (full, target) = (Litres(full), GramsPerLitre(target));
    Drum { full, target, strapping, ..claymark_invented::drum("a", "p1") }
}

fn supply(step: f64) -> ClaySupply {
    ClaySupply {
        bag: Kilograms(Unit::Pound.to_base(50.0)),
        scale_step: Kilograms(step),
        mineral_density_kg_per_l: DENSITY,
        ..claymark_invented::clay()
    }
}

fn left(strength: f64) -> Residual {
    Residual { strength: GramsPerLitre(strength), sd: GramsPerLitre(0.0), source: StrengthSource::Told }
}

/// To the full line at the target.
fn fill(drum: &Drum, supply: &ClaySupply, volume: Litres, left: Residual) -> Refill {
    Refill::of(drum, supply, Wanted::full(drum), volume, Counted::Known(left))
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

    let to_the_line = mix(fill(&drum(fifty_gallons, 119.826_43), &supply(1e-4), Litres(0.0), left(0.0)));
    assert!((to_the_line.clay.0 - bag.0).abs() < 2e-4);
    assert!((to_the_line.bags - 1.0).abs() < 1e-5);
    assert!((to_the_line.water.0 - (fifty_gallons - 8.7229)).abs() < 2e-4);
    assert!((to_the_line.gives.0 - 119.826).abs() < 1e-3);
}

#[test]
fn what_is_left_is_counted_and_clay_is_rounded_to_the_scale() {
    for (full, target, volume, strength, step, clay) in [
        // 175 L at 18 g/L is 3.15 kg; 62 L at 18 g/L holds 1.116 kg: 2.034 kg are wanted.
        (175.0, 18.0, 62.0, 18.0, 0.1, 2.0),
        (175.0, 18.0, 62.0, 18.0, 0.05, 2.05),
        (175.0, 18.0, 62.0, 18.0, 0.01, 2.03),
        (175.0, 18.0, 62.0, 18.0, 0.02, 2.04),
        // Twice as strong a rest holds 2.232 kg: 0.918 kg.
        (175.0, 18.0, 62.0, 36.0, 0.1, 0.9),
        // Plain water left: the full 3.15 kg.
        (175.0, 18.0, 62.0, 0.0, 0.05, 3.15),
        // A whole number of steps stays whole: 0.3 kg in steps of 0.1.
        (100.0, 10.0, 70.0, 10.0, 0.1, 0.3),
    ] {
        let mix = mix(fill(&drum(full, target), &supply(step), Litres(volume), left(strength)));
        assert!((mix.clay.0 - clay).abs() < 1e-9, "{full} {volume} {strength} {step}: {}", mix.clay.0);
        assert!((mix.water.0 - (full - volume - clay / DENSITY)).abs() < 1e-9);
    }
}

#[test]
fn it_refuses_what_cannot_be_pumped_and_what_has_no_room() {
    let too_thick = fill(&drum(175.0, 180.0), &supply(0.1), Litres(20.0), left(18.0));
    assert!(matches!(too_thick, Refill::TooThick { thickest: GramsPerLitre(150.0), .. }), "{too_thick:?}");
    let hopeless = fill(&drum(175.0, 18.0), &supply(0.1), Litres(170.0), left(170.0));
    assert!(matches!(hopeless, Refill::TooThick { .. }), "{hopeless:?}");
    for volume in [175.0, 180.0] {
        assert_eq!(fill(&drum(175.0, 18.0), &supply(0.1), Litres(volume), left(18.0)), Refill::NoRoom);
    }
    // 1 L of room, but 3.1 kg of clay would take 1.2 L.
    assert_eq!(fill(&drum(175.0, 18.0), &supply(0.1), Litres(174.0), left(0.0)), Refill::NoRoom);
}

#[test]
fn a_rest_that_is_too_strong_gets_water_only_or_is_taken_out_or_pumped_slower() {
    let refill = |wanted, volume, strength| {
        let wanted = Wanted { to: Litres(wanted), strength: GramsPerLitre(18.0) };
        let counted = Counted::Known(left(strength));
        Refill::of(&drum(175.0, 18.0), &supply(0.1), wanted, Litres(volume), counted)
    };
    // 100 L at 30 g/L: thin enough at 166.7 L, above the mark of 150 L but within the drum.
    let Refill::WaterOnly { water, gives, up_to, .. } = refill(150.0, 100.0, 30.0) else { panic!() };
    assert!((water.0 - 66.667).abs() < 1e-3 && up_to == Some(Litres(100.0 * (30.0 / 18.0))));
    assert_eq!(gives, GramsPerLitre(18.0));
    // 100 L at 40 g/L: thin enough only at 222 L. 78.75 L of it fill the drum at 18 g/L.
    let Refill::TooStrong(strong) = refill(175.0, 100.0, 40.0) else { panic!() };
    assert!((strong.take_out.0 - 21.25).abs() < 1e-9 && (strong.then_water.0 - 96.25).abs() < 1e-9);
    assert!((strong.fill.0 - 75.0).abs() < 1e-9 && (strong.gives.0 - 4000.0 / 175.0).abs() < 1e-9);
    assert!((strong.pump_share - 18.0 * 175.0 / 4000.0).abs() < 1e-9);
    // Within five percent nobody takes anything out.
    let Refill::WaterOnly { up_to: None, .. } = refill(175.0, 170.0, 19.2) else { panic!() };
    assert_eq!(
        refill(176.0, 100.0, 18.0),
        Refill::DrumTooSmall { to: Litres(176.0), full: Litres(175.0) },
        "above the full line"
    );
}

#[test]
fn a_mark_that_water_alone_cannot_thin_enough_says_so_and_a_guess_throws_nothing_away() {
    let to = |to, strength, volume, residual| {
        let wanted = Wanted { to: Litres(to), strength: GramsPerLitre(strength) };
        Refill::of(&drum(175.0, 18.0), &supply(0.1), wanted, Litres(volume), Counted::Known(residual))
    };
    // 68 L of 18 g/L are 12.24 g/L at 100 L, and 10 g/L at 122.4 L.
    let Refill::WaterOnly { up_to: Some(up_to), at_mark: Some(mark), .. } = to(100.0, 10.0, 68.0, left(18.0))
    else {
        panic!()
    };
    assert!((up_to.0 - 122.4).abs() < 1e-9 && (mark.gives.0 - 12.24).abs() < 1e-9, "{mark:?}");
    assert_eq!((mark.to, mark.wanted), (Litres(100.0), GramsPerLitre(10.0)));
    // 170 L of 18.0 ± 3.6 g/L would be 17.5 at the line, 16 are wanted: it may be that already.
    let guess = Residual { sd: GramsPerLitre(3.6), source: StrengthSource::NothingLogged, ..left(18.0) };
    assert!(matches!(to(175.0, 16.0, 170.0, guess), Refill::WaterOnly { up_to: None, .. }));
    let sure = Residual { sd: GramsPerLitre(0.5), ..left(18.0) };
    assert!(matches!(to(175.0, 16.0, 170.0, sure), Refill::TooStrong(_)));
    // Only the full line is the line.
    assert!(mix(to(175.0, 18.0, 62.0, left(18.0))).to_line);
    assert!(!mix(to(170.0, 18.0, 62.0, left(18.0))).to_line);
}

#[test]
fn a_ramp_with_a_strong_rest_gets_what_was_worked_out_for_it() {
    // An invented room, worked out by hand. Day 34: 16.5 ± 1.5 g/L left, 11.29 g/L wanted, scale to a tenth of a pound.
    let tenth = Unit::Pound.to_base(0.1);
    let rest = Residual { sd: GramsPerLitre(1.5), ..left(16.5) };
    // (litres left, litres of water to the mark, pounds, ± NTU of 41).
    for (volume, water, pounds, ntu_sd) in [(45.0, 130.0, 2.7, 1.3), (110.0, 65.0, 0.4, 3.3)] {
        let mix = mix(fill(&drum(175.0, 11.29), &supply(tenth), Litres(volume), rest));
        assert!((Unit::Pound.from_base(mix.clay.0) - pounds).abs() < 1e-9, "{mix:?}");
        assert!((mix.water.0 + displaced(mix.clay, &supply(tenth)).0 - water).abs() < 1e-9);
        let ntu = (41.0 - 2.0) * mix.gives_sd.0 / mix.gives.0;
        assert!((ntu - ntu_sd).abs() < 0.1, "{ntu}");
    }
    // Day 37: 6.08 g/L wanted, 110 L left: no clay; take out about 46 L, or fill and turn the pump down to 152 of 260.
    let Refill::TooStrong(strong) = fill(&drum(175.0, 6.08), &supply(tenth), Litres(110.0), rest) else {
        panic!()
    };
    assert!((strong.take_out.0 - 46.0).abs() < 0.6, "{strong:?}");
    assert!((260.0 * strong.pump_share - 152.0).abs() < 1.0, "{strong:?}");
}

#[test]
fn full_but_not_enough_and_a_water_only_top_up_get_their_pounds() {
    let tenth = Unit::Pound.to_base(0.1);
    let four = Unit::PoundPer100Litres.to_base(4.0);
    for (volume, strength, target, pounds) in [
        // 62 L at 4.0 lb/100 L: full at 4.0, full at 5.0.
        (62.0, four, four, 4.5),
        (62.0, four, Unit::PoundPer100Litres.to_base(5.0), 6.3),
    ] {
        let mix = mix(fill(&drum(175.0, target), &supply(tenth), Litres(volume), left(strength)));
        assert!((Unit::Pound.from_base(mix.clay.0) - pounds).abs() < 1e-9, "{mix:?}");
        assert!((mix.water.0 + displaced(mix.clay, &supply(tenth)).0 - 113.0).abs() < 1e-9);
    }
    // 60 L at 18.14 g/L thinned to 160 L are 6.8 g/L; at 153.7 L that wants 3.8 lb to be 18.14 again.
    let thinned = GramsPerLitre(four) * (60.0 / 160.0);
    assert!((thinned.0 - 6.8).abs() < 0.01);
    let missing = (GramsPerLitre(four) - thinned).clay_in(Litres(153.7));
    assert!((Unit::Pound.from_base(missing.0) - 3.84).abs() < 0.01, "{missing:?}");
}

#[test]
fn buckets_are_counted_by_what_stirs_smooth_in_one() {
    // The usual bucket takes 10 L and 1.5 kg.
    for (clay, buckets) in [(0.3, 1), (1.5, 1), (1.6, 2), (3.15, 3)] {
        let target = clay / 175.0 * 1000.0;
        let mix = mix(fill(&drum(175.0, target), &supply(0.05), Litres(0.0), left(0.0)));
        assert_eq!(mix.buckets, buckets, "{clay} kg");
    }
}

#[test]
fn the_rest_takes_the_last_logged_strength_or_says_why_it_takes_the_target() {
    let logged = |at_text: &str, water, clay, held| LoggedRefill {
        key: at_text.to_owned(),
        at: at(at_text),
        water,
        clay: Option::map(clay, Kilograms),
        held: Option::map(held, Litres),
        aimed: GramsPerLitre(18.0),
    };
    let seen = |at_text: &str, added, to| SeenRefill {
        at: at(at_text),
        added: Litres(added),
        to: Litres(to),
        logged: true,
    };
    let after = |seen: &[SeenRefill], logged: &[LoggedRefill]| {
        Books::after(&drum(175.0, 18.0), &supply(0.1), seen, logged).left
    };
    let (noon, later) = ("2027-04-20T12:00:00Z", "2027-04-20T12:20:00Z");

    let nothing = after(&[], &[]);
    assert_eq!((nothing.strength, nothing.source), (GramsPerLitre(18.0), StrengthSource::NothingLogged));
    assert!(!nothing.is_known() && nothing.sd.0 > 3.0, "{nothing:?}");
    // 45 L at 18 g/L and 2.2 kg in 175 L: (0.81 + 2.2) / 175 L = 17.2 g/L.
    let known = after(&[seen(noon, 130.0, 175.0)], &[logged(later, None, Some(2.2), None)]);
    assert!((known.strength.0 - 17.2).abs() < 1e-9);
    assert_eq!(known.source, StrengthSource::Logged { at: at(later) });
    // A quarter of the drum is a fifth in doubt, the rest is weighed.
    assert!((0.9..1.2).contains(&known.sd.0), "{known:?}");
    // Not seen, but written down with all figures: 45 L + 100 L + 2.6 kg / 2.6 = 146 L.
    let unseen = after(&[], &[logged(noon, Some(Litres(100.0)), Some(2.6), Some(45.0))]);
    assert!((unseen.strength.0 - (810.0 + 2600.0) / 146.0).abs() < 1e-9);
    for (seen, logged, source) in [
        (vec![seen(noon, 130.0, 175.0)], vec![], StrengthSource::RefillNotLogged { at: at(noon) }),
        (
            vec![seen(noon, 130.0, 175.0)],
            vec![logged(later, Some(Litres(130.0)), None, None)],
            StrengthSource::FiguresMissing { at: at(later) },
        ),
        (
            vec![],
            vec![logged(noon, None, Some(2.0), Some(45.0))],
            StrengthSource::FiguresMissing { at: at(noon) },
        ),
        // An hour apart they are two refills, and the later one, seen, wasn't written down.
        (
            vec![seen("2027-04-20T13:00:00Z", 130.0, 175.0)],
            vec![logged(noon, None, Some(2.0), None)],
            StrengthSource::RefillNotLogged { at: at("2027-04-20T13:00:00Z") },
        ),
    ] {
        let unknown = after(&seen, &logged);
        assert_eq!((unknown.strength, unknown.source), (GramsPerLitre(18.0), source));
    }
}

proptest! {
    #[test]
    fn clay_is_neither_made_nor_lost_and_the_target_is_met_within_half_a_step(
        full in 50.0..400.0_f64, share in 0.0..0.99_f64, target in 1.0..100.0_f64,
        strength in 0.0..100.0_f64, step in 0.01..0.5_f64,
    ) {
        let volume = full * share;
        if let Refill::Mix(mix) = fill(&drum(full, target), &supply(step), Litres(volume), left(strength)) {
            let mass_after = volume * strength / 1000.0 + mix.clay.0;
            prop_assert!((mass_after - full * mix.gives.0 / 1000.0).abs() < 1e-9);
            prop_assert!((volume + mix.water.0 + mix.clay.0 / DENSITY - full).abs() < 1e-9);
            prop_assert!((mix.gives.0 - target).abs() * full / 1000.0 <= step / 2.0 + 1e-9);
            prop_assert!(mix.water.0 >= 0.0);
        }
    }

    #[test]
    fn a_stronger_rest_never_wants_more_clay(
        volume in 1.0..170.0_f64, strength in 0.0..60.0_f64, stronger in 0.0..60.0_f64,
    ) {
        let clay = |strength| match fill(&drum(175.0, 18.0), &supply(0.05), Litres(volume), left(strength)) {
            Refill::Mix(mix) => mix.clay.0,
            Refill::WaterOnly { .. }
            | Refill::TooStrong(_)
            | Refill::NoRoom
            | Refill::DrumTooSmall { .. }
            | Refill::TooThick { .. }
            | Refill::LookFirst { .. }
            | Refill::WrittenDown(_) => 0.0,
        };
        let (weak, strong) = (strength.min(stronger), strength.max(stronger));
        prop_assert!(clay(strong) <= clay(weak) + 1e-9);
    }

    #[test]
    fn both_ways_out_of_too_strong_a_rest_bring_the_clay_that_is_wanted(
        volume in 20.0..170.0_f64, strength in 20.0..100.0_f64, target in 2.0..18.0_f64,
    ) {
        let refill = fill(&drum(175.0, target), &supply(0.01), Litres(volume), left(strength));
        if let Refill::TooStrong(out) = refill {
            let stays = volume - out.take_out.0;
            prop_assert!(out.take_out.0 > 0.0 && (stays + out.then_water.0 - 175.0).abs() < 1e-9);
            prop_assert!((stays * strength - 175.0 * target).abs() < 1e-6, "taken out");
            prop_assert!((out.gives.0 * out.pump_share - target).abs() < 1e-9, "pumped slower");
            prop_assert!((out.gives.0 * (volume + out.fill.0) - volume * strength).abs() < 1e-6);
        }
    }
}

#[test]
fn clay_that_the_books_say_is_there_is_never_advised_again() {
    let noon = at("2027-04-20T12:00:00Z");
    let logged = |strength, sd| Books {
        left: Residual {
            strength: GramsPerLitre(strength),
            sd: GramsPerLitre(sd),
            source: StrengthSource::Logged { at: noon },
        },
        doubt: None,
        left_if_meant: None,
    };
    let seen = |strength, can_judge| Seen {
        strength: GramsPerLitre(strength),
        sd: GramsPerLitre(1.0),
        at: noon,
        turbidity: Turbidity(60.0),
        alone: true,
        can_judge,
    };
    let counted = |books: &Books, seen: Seen| Counted::of(books, Some(&seen));
    let book = logged(18.0, 1.0);
    assert_eq!(Counted::of(&book, None), Counted::Known(book.left));
    assert!(matches!(counted(&book, seen(15.2, true)), Counted::LookFirst { .. }), "15.6 % below");
    assert_eq!(
        counted(&book, seen(12.0, false)),
        Counted::Known(book.left),
        "a yield in doubt judges nothing"
    );
    let Counted::Known(agreed) = counted(&book, seen(15.4, true)) else { panic!("14.4 % below") };
    assert_eq!((agreed.strength, agreed.source), (book.left.strength, book.left.source));
    assert!(agreed.sd < book.left.sd, "two estimates that agree are surer than one");
    let Counted::Known(stronger) = counted(&book, seen(22.0, true)) else { panic!() };
    assert_eq!(stronger.source, StrengthSource::Seen { at: noon });
    let unknown = Books::after(&drum(175.0, 18.0), &supply(0.1), &[], &[]);
    let Counted::Known(by_water) = counted(&unknown, seen(12.0, true)) else { panic!() };
    assert_eq!(by_water.strength, GramsPerLitre(12.0), "no book says that the clay is there");
}

#[test]
fn pounds_typed_for_kilograms_are_asked_about_and_the_water_decides() {
    let kg = |typed: f64, expected: f64| meant(Kilograms(typed), Kilograms(expected)).map(|mass| mass.0);
    assert!((kg(7.0, 3.2).unwrap() - 3.175).abs() < 0.001);
    assert!((kg(1.45, 3.2).unwrap() - 3.197).abs() < 0.001, "kilograms typed where pounds are meant");
    for (typed, expected) in [(3.2, 3.2), (4.0, 3.2), (2.6, 3.2), (14.0, 3.2), (0.0, 3.2), (7.0, 0.0)] {
        assert_eq!(kg(typed, expected), None, "{typed} {expected}");
    }

    // Filled up with 113 L: 2.05 kg were expected, "4.5" is written down.
    let noon = at("2027-04-20T12:00:00Z");
    let filled = SeenRefill { at: noon, added: Litres(113.0), to: Litres(175.0), logged: true };
    let entry = LoggedRefill {
        key: "k1".to_owned(),
        at: noon,
        water: None,
        clay: Some(Kilograms(4.5)),
        held: None,
        aimed: GramsPerLitre(18.0),
    };
    let books = Books::after(&drum(175.0, 18.14), &supply(0.1), &[filled], &[entry]);
    let doubt = books.doubt.clone().unwrap();
    assert_eq!((doubt.key.as_str(), doubt.typed), ("k1", Kilograms(4.5)));
    assert!((doubt.meant.unwrap().0 - 2.041).abs() < 0.001 && (books.left.strength.0 - 32.1).abs() < 0.1);
    let seen = Seen {
        strength: GramsPerLitre(18.3),
        sd: GramsPerLitre(1.0),
        at: noon,
        turbidity: Turbidity(65.0),
        alone: true,
        can_judge: true,
    };
    let Counted::Known(believed) = Counted::of(&books, Some(&seen)) else { panic!("the data are believed") };
    assert!((believed.strength.0 - 18.09).abs() < 0.05, "{believed:?}");
}

#[test]
fn a_mass_that_no_pump_could_lift_is_not_counted_and_one_far_too_great_only_with_a_wide_margin() {
    let noon = at("2027-04-20T12:00:00Z");
    let filled = SeenRefill { at: noon, added: Litres(113.0), to: Litres(175.0), logged: true };
    let books = |kilograms| {
        let entry = LoggedRefill {
            key: "k1".to_owned(),
            at: noon,
            water: None,
            clay: Some(Kilograms(kilograms)),
            held: None,
            aimed: GramsPerLitre(18.14),
        };
        Books::after(&drum(175.0, 18.14), &supply(0.1), &[filled], &[entry])
    };
    // 62 L at 18.14 g/L: 2.05 kg are expected; 200 kg would make 1149 g/L.
    let slip = books(200.0);
    let doubt = slip.doubt.clone().unwrap();
    assert!((doubt.gives.unwrap().0 - (62.0 * 18.14 + 200_000.0) / 175.0).abs() < 0.1, "{doubt:?}");
    assert!((doubt.expected.0 - 2.05).abs() < 0.01 && doubt.meant.is_none(), "{doubt:?}");
    assert_eq!(
        (slip.left.strength, slip.left.source),
        (GramsPerLitre(18.14), StrengthSource::MassDoubtful { at: noon })
    );
    assert!(!slip.left.is_known() && slip.left.sd.0 > 3.0, "{slip:?}");
    // 7 kg could be pumped: the clay may be in there, and isn't advised again; but what was expected may be, too.
    let far = books(7.0);
    assert!(far.doubt.is_some_and(|doubt| doubt.gives.is_none() && doubt.meant.is_none()));
    assert!((far.left.strength.0 - 46.4).abs() < 0.1 && far.left.is_known(), "{:?}", far.left);
    assert!((13.0..20.0).contains(&far.left.sd.0), "{:?}", far.left);
    for fine in [0.5, 2.05, 2.8, 5.9] {
        assert!(books(fine).doubt.is_none_or(|doubt| doubt.meant.is_some()), "{fine} kg");
    }
}

#[test]
fn the_head_tank_shows_the_strength_of_what_feeds_it() {
    let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.85 * 0.05, since: None, exponent: 1.0 };
    let clouding = Clouding { clay, background: Turbidity(2.0) };
    let fresh = KnownFlow { flow: LitresPerMinute(51.2 - 0.209), by: FlowBy::Sensor };
    let draw = LitresPerHour::from_ml_per_min(209.0);
    let shows = |turbidity| SettledHeadTank {
        feed: HeadFeed { water: fresh.flow, others: GramsPerMinute(0.0), clouding },
        fresh,
        shows: Measured { turbidity: Turbidity(turbidity), at: at("2027-04-20T12:00:00Z") },
    };
    let one = Feeding { strength: GramsPerLitre(18.14), draw };
    let seen = shows(64.95).shows_of(&one, &[one]).unwrap();
    assert!((seen.strength.0 - 18.14).abs() < 0.01 && seen.alone && seen.can_judge, "{seen:?}");
    assert!((0.05..0.09).contains(&(seen.sd.0 / seen.strength.0)), "{seen:?}");
    // Of two that feed it, the shortfall is shared out.
    let half = Feeding { draw: draw * 0.5, ..one };
    let weak = shows(2.0 + 0.8 * 62.95).shows_of(&half, &[half, half]).unwrap();
    assert!((weak.strength.0 - 0.8 * 18.14).abs() < 0.01 && !weak.alone, "{weak:?}");
    assert_eq!(shows(64.95).shows_of(&one, &[]), None);
}

#[test]
fn one_that_was_written_down_is_kept_in_a_notice_and_found_again() {
    let refill = Refill::WrittenDown(Unseen {
        key: "9f3c".to_owned(),
        at: "2027-04-20T05:09:00Z".parse().unwrap(),
        water: Some(Litres(117.0)),
        clay: None,
        before: Some(Litres(49.0)),
        after: Some(Litres(166.0)),
        sign: UnseenSign::Denied { shows: Litres(48.5) },
        again: true,
        overfull: false,
    });
    let kept = serde_json::to_string(&refill).unwrap();
    assert_eq!(serde_json::from_str::<Refill>(&kept).unwrap(), refill, "{kept}");
}
