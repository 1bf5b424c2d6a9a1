//! Sheets as they are read beside a drum.

use claymark_clay::refill::{Counted, Wanted};
use claymark_clay::{Clouding, Yield};
use claymark_model::forecast::EmptyAt;
use claymark_model::id::Id;
use claymark_model::units::{GramsPerLitre, Kilograms, LitresPerHour, PeopleUnits, Turbidity, Unit};
use jiff::SignedDuration;

use super::*;
use crate::notice::tests::room;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn now() -> Timestamp {
    at("2027-04-20T14:00:00Z")
}

fn logged(strength: f64, sd: f64) -> Residual {
    let source = StrengthSource::Logged { at: at("2027-04-20T04:40:00Z") };
    Residual { strength: GramsPerLitre(strength), sd: GramsPerLitre(sd), source }
}

fn seen(strength: f64) -> Seen {
    Seen {
        strength: GramsPerLitre(strength),
        sd: GramsPerLitre(strength * 0.07),
        at: at("2027-04-20T13:58:00Z"),
        turbidity: Turbidity(2.0 + 3.5 * strength),
        alone: true,
        can_judge: true,
    }
}

/// Of the invented drum A with a full line of 175 L.
fn of(site: &Site, holds: Option<f64>, to: f64, wanted: f64, book: Residual, seen: Option<Seen>) -> String {
    let drum = &site.drums[0];
    let wanted = Wanted { to: Litres(to), strength: GramsPerLitre(wanted) };
    let holds = holds.map(Litres);
    let counted = match &seen {
        Some(seen) if seen.strength.0 < 0.85 * book.strength.0 => Counted::LookFirst { book, seen: *seen },
        Some(_) | None => Counted::Known(book),
    };
    let hours = |hours| Some(now() + SignedDuration::from_hours(hours));
    let then_empty =
        EmptyAt { p05: hours(15), p25: hours(16), p50: hours(17), p75: hours(18), p95: hours(19) };
    sheet(
        site,
        &Sheet {
            at: now(),
            drum: Id::new("a").unwrap(),
            wanted,
            plan: None,
            clouding: Some(clouding()),
            holds,
            refill: holds.map(|holds| Refill::of(drum, &site.clay, wanted, holds, counted)),
            then_shows: None,
            then_empty: Some(then_empty),
            book,
            seen,
            doubt: None,
            unseen: None,
        },
    )
}

fn clouding() -> Clouding {
    let since = Some("2027-04-12T05:00:00Z".parse().unwrap());
    let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.02, since, exponent: 1.0 };
    Clouding { clay, background: Turbidity(2.0) }
}

#[test]
fn a_sheet_says_how_much_or_why_nothing() {
    let site = room::site();
    let told = [
        ("mix", of(&site, Some(62.4), 175.0, 18.0, logged(17.2, 0.9), Some(seen(16.8)))),
        ("to a lower mark", of(&site, Some(62.4), 150.0, 18.0, logged(17.2, 0.9), None)),
        ("water only", of(&site, Some(100.0), 150.0, 18.0, logged(30.0, 1.0), None)),
        ("too strong", of(&site, Some(110.0), 175.0, 6.1, logged(16.5, 1.5), None)),
        ("look first", of(&site, Some(62.4), 175.0, 18.0, logged(18.1, 0.9), Some(seen(12.3)))),
        ("too thick", of(&site, Some(20.0), 175.0, 160.0, logged(18.1, 0.9), None)),
        ("drum too small", of(&site, Some(62.4), 190.0, 18.0, logged(18.1, 0.9), None)),
        ("volume unknown", of(&site, None, 175.0, 18.0, logged(18.1, 0.9), None)),
    ];
    let told: String = told.iter().map(|(name, sheet)| format!("==== {name}\n{sheet}\n")).collect();
    insta::assert_snapshot!(told);
}

#[test]
fn what_is_too_strong_gets_a_pump_setting_where_one_is_known() {
    let site = room::site();
    let clock = Clock::new(&site, now());
    let wanted = Wanted { to: Litres(175.0), strength: GramsPerLitre(6.1) };
    let counted = Counted::Known(logged(16.5, 1.5));
    let strong = Refill::of(&site.drums[0], &site.clay, wanted, Litres(110.0), counted);
    let told = |refill: &Refill| lines(&site, clock, Some(refill)).join("\n");
    assert!(
        told(&strong).contains("turn the pump down to 59 % of the flow that is right"),
        "{}",
        told(&strong)
    );
    let slurry = LitresPerHour::from_ml_per_min(152.3);
    let pumped = strong.with_pump(|_| Some(PumpTo { slurry, rpm: Some(72.9) }));
    let told = told(&pumped);
    assert!(told.contains("set the pump to about 152 mL/min (about 73 rpm), 59 % of the flow"), "{told}");
}

#[test]
fn a_sheet_says_what_the_head_tank_comes_to() {
    let shows = HeadShows { turbidity: Turbidity(41.0), sd: Turbidity(1.33) };
    assert_eq!(
        then_shows(&room::site(), shows),
        "With the pumps as they are the head tank then comes to 41 ± 1.3 NTU (one standard deviation, by that of the \
         strength)."
    );
}

#[test]
fn a_sheet_in_pounds_and_gallons_says_pounds_for_100_litres_of_finished_slurry() {
    let mut site = room::site();
    site.units = PeopleUnits {
        mass: Unit::Pound,
        volume: Unit::UsGallon,
        strength: Unit::PoundPer100Litres,
        ..PeopleUnits::default()
    };
    site.clay.scale_step = Kilograms(Unit::Pound.to_base(0.1));
    let four = Unit::PoundPer100Litres.to_base(4.0);
    let told = of(&site, Some(62.0), 175.0, four, logged(four, 0.5), None);
    assert!(told.contains("4.5 lb of clay"), "{told}");
    assert!(told.contains("lb/100 L of finished slurry"), "{told}");
}

#[test]
fn a_mass_in_the_wrong_unit_is_asked_about_with_the_entry_to_replace() {
    let site = room::site();
    let asked = MassDoubt {
        key: "9f3c".to_owned(),
        at: at("2027-04-20T11:05:00Z"),
        typed: Kilograms(7.0),
        expected: Kilograms(3.2),
        meant: Some(Kilograms(Unit::Pound.to_base(7.0))),
        gives: None,
        twice: false,
    };
    assert_eq!(
        doubt(&site, Clock::new(&site, now()), &asked),
        "The refill of 14:05 was written down with 7.00 kg of clay; about 3.20 kg was expected. Was 3.18 kg meant, with \
         pounds and kilograms mixed up? If so, write it down again with --replaces 9f3c."
    );
}

#[test]
fn a_mass_that_cannot_be_or_is_far_more_is_told_as_doubtful_with_the_reason() {
    let site = room::site();
    let asked = |typed, gives: Option<f64>| MassDoubt {
        key: "9f3c".to_owned(),
        at: at("2027-04-20T11:05:00Z"),
        typed: Kilograms(typed),
        expected: Kilograms(1.86),
        meant: None,
        gives: gives.map(GramsPerLitre),
        twice: false,
    };
    let told = |asked: &MassDoubt| doubt(&site, Clock::new(&site, now()), asked);
    assert_eq!(
        told(&asked(200.0, Some(1518.0))),
        "The refill of 14:05 was written down with 200.00 kg of clay; about 1.86 kg was expected. That would make \
         1518 g/L, and the pump can lift 150 g/L at most, so it isn't counted on and the target stands in. Is the \
         figure wrong? If so, write it down again with --replaces 9f3c."
    );
    let far = told(&asked(6.0, None));
    assert!(far.contains("6.00 kg") && far.contains("wide margin. Is the figure wrong? If so"), "{far}");
    let none = MassDoubt { expected: Kilograms(-0.5), ..asked(2.0, None) };
    assert!(told(&none).contains("none was expected, as what was left is strong enough"), "{}", told(&none));
}
