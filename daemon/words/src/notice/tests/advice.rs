//! What to do about a drum, where filling it as usual isn't the answer.

use claymark_clay::refill::books::StrengthSource;
use claymark_clay::refill::{Counted, Refill, Residual, Seen, Wanted};
use claymark_model::forecast::EmptyAt;
use claymark_model::units::{GramsPerLitre, Litres, LitresPerHour, Turbidity};
use claymark_notice::content::{EveningDrum, NightMix, Remedy, Verdict};
use jiff::SignedDuration;

use super::room::{at, lasting, not_lasting, remedy, site, visit};
use super::{evening, told};
use crate::notice::{Content, outlook};

fn residual() -> Residual {
    let source = StrengthSource::Logged { at: at("2027-04-20T04:40:00Z") };
    Residual { strength: GramsPerLitre(17.2), sd: GramsPerLitre(0.9), source }
}

/// Full it doesn't last, with 24 g/L and 145 mL/min it does.
fn both_levers() -> Remedy {
    let site = site();
    let wanted = Wanted { to: Litres(175.0), strength: GramsPerLitre(24.0) };
    let refill = Refill::of(&site.drums[0], &site.clay, wanted, Litres(62.4), Counted::Known(residual()));
    let later = |hours| Some(at("2027-04-20T14:00:00Z") + SignedDuration::from_hours(hours));
    let ends = EmptyAt { p05: later(17), p25: later(17), p50: later(18), p75: later(18), p95: later(19) };
    let night = NightMix {
        refill,
        slurry: LitresPerHour::from_ml_per_min(145.0),
        pump_share: 0.75,
        ends,
        turbidity: Turbidity(65.0),
        mix_alone: Turbidity(86.0),
    };
    Remedy { night: Some(night), ..remedy(Verdict::WillNotLast) }
}

fn evening_with(remedy: Remedy) -> String {
    let drum = EveningDrum { remedy, ..not_lasting("a") };
    let check = evening(vec![drum, lasting("b")]);
    told(&site(), &super::notice("2027-04-20T14:00:00Z", Content::EveningCheck(Box::new(check))))
}

#[test]
fn where_the_full_drum_does_not_last_the_only_amounts_are_those_that_make_it_last() {
    let told = evening_with(both_levers());
    let subject = told.lines().next().unwrap();
    assert!(subject.ends_with("Add 111 L water, 3.15 kg clay, pump 145 mL/min."), "{subject}");
    let drum_a = told.split("Drum B:").next().unwrap();
    assert!(drum_a.contains("To fill it from 62 L now: 3.15 kg of clay"), "{told}");
    assert!(drum_a.contains("set the pump to 145 mL/min, 56 rpm or less (75 %)"), "{told}");
    assert!(!drum_a.contains("2.10 kg"), "the mix that doesn't last\n{told}");
    insta::assert_snapshot!(told);
}

#[test]
fn while_clay_does_not_come_nothing_is_filled_and_no_pump_is_set() {
    let seen = Seen {
        strength: GramsPerLitre(9.0),
        sd: GramsPerLitre(0.7),
        at: at("2027-04-20T13:58:00Z"),
        turbidity: Turbidity(33.0),
        alone: true,
        can_judge: true,
    };
    let refill = Some(Refill::LookFirst { book: residual(), seen });
    let drum = EveningDrum { remedy: Remedy { refill, ..both_levers() }, ..not_lasting("a") };
    let told = outlook(&site(), at("2027-04-20T14:00:00Z"), &visit(), &[drum], &[]);
    for (words, are_said) in [
        ("Don't add clay yet.", true),
        ("ask again what to add: claymark mix --drum a", true),
        ("this clay clouds the water less", true),
        ("et the pump", false),
        ("Fill it", false),
        ("fill it", false),
    ] {
        assert_eq!(told.contains(words), are_said, "'{words}' in\n{told}");
    }
}

#[test]
fn a_slower_pump_that_keeps_the_fishs_band_is_offered_plainly() {
    let mut remedy = remedy(Verdict::Lasts);
    if let Some(clearer) = remedy.slower_pump.as_mut().and_then(|slower| slower.clearer.as_mut()) {
        clearer.to = Turbidity(55.0);
    }
    let told = evening_with(remedy);
    assert!(told.contains("Or without a refill: set the pump to 39 rpm"), "{told}");
    assert!(!told.contains("BELOW"), "{told}");
}

#[test]
fn a_change_that_was_told_is_no_agreement_though_the_rating_may_be_off_by_as_much() {
    for (drawn, since, says) in [
        (10.5, "2027-04-20T13:10:00Z", "9.4 L/h; 10.5 L/h leave since 16:10."),
        (9.4, "2027-04-20T13:10:00Z", "Level and pump agree:"),
        // Within the hour after it was set it draws as it was set.
        (10.5, "2027-04-20T04:20:00Z", "Level and pump agree:"),
        (11.5, "2027-04-20T13:10:00Z", "Level and log don't agree:"),
    ] {
        let mut drum = lasting("b");
        drum.state.pump.drawn = Some(LitresPerHour(drawn));
        drum.state.draw_since = Some(at(since));
        let check = evening(vec![drum]);
        let told =
            told(&site(), &super::notice("2027-04-20T14:00:00Z", Content::EveningCheck(Box::new(check))));
        assert!(told.contains(says), "{drawn} L/h since {since}: {told}");
    }
}
