//! The page's sentences, of the invented room.

use claymark_clay::refill::Wanted;
use claymark_clay::refill::books::{Residual, StrengthSource};
use claymark_clay::refill::sheet::Sheet;
use claymark_invented as invented;
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::site::{Place, Quantity};
use claymark_model::units::{GramsPerLitre, Litres};
use claymark_notice::calling::{Later, OnTonight, Promise};
use claymark_notice::content::{DrumState, EveningDrum};
use claymark_notice::glance::{DrumAtAGlance, StandingAlarm};
use claymark_notice::{Audience, ShelvedAlarm, Urgency};
use jiff::Timestamp;

use super::*;
use crate::notice::tests::room;

const NOW: &str = "2027-04-20T14:00:00Z";

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn drum_of(outlook: EveningDrum) -> DrumAtAGlance {
    let book = Residual {
        strength: GramsPerLitre(17.2),
        sd: GramsPerLitre(0.9),
        source: StrengthSource::Logged { at: at("2027-04-20T04:40:00Z") },
    };
    let sheet = Sheet {
        at: at(NOW),
        drum: outlook.state.drum.clone(),
        wanted: Wanted { to: Litres(175.0), strength: GramsPerLitre(18.0) },
        plan: None,
        clouding: None,
        holds: outlook.state.forecast.outlook.volume(),
        book,
        seen: None,
        doubt: None,
        unseen: None,
        refill: outlook.remedy.refill.clone(),
        then_shows: None,
        then_empty: None,
    };
    DrumAtAGlance { outlook, sheet }
}

fn glance(drums: Vec<EveningDrum>) -> Glance {
    Glance {
        at: at(NOW),
        visit: Some(room::visit()),
        drums: drums.into_iter().map(drum_of).collect(),
        supplies: Vec::new(),
        silent: Vec::new(),
        tonight: None,
        first_called: Some(Id::new("ann").unwrap()),
        hands_seen: None,
        standing: Vec::new(),
    }
}

fn alarm(urgency: Urgency) -> StandingAlarm {
    StandingAlarm {
        cause: "runout:a".to_owned(),
        first: 7,
        number: 8,
        notices: 2,
        since: at("2027-04-20T13:10:00Z"),
        urgency,
        calls: true,
        promise: None,
        shelf: None,
        later: None,
    }
}

#[test]
fn tanks_that_a_wall_has_no_room_for_are_named() {
    let names = |numbers: &[u8]| numbers.iter().map(|n| format!("Tank {n}")).collect::<Vec<_>>();
    assert_eq!(other_tanks(&[], &[]), None);
    assert_eq!(
        other_tanks(&names(&[9]), &names(&[1, 2])).unwrap(),
        "LOOK ALSO AT Tank 9. All that is measured in the other 2 tanks is as it should be: Tank 1 and Tank 2."
    );
}

fn first(glance: &Glance) -> (String, Weight) {
    first_sentence(&room::site(), glance)
}

#[test]
fn the_first_sentence_puts_danger_before_all_and_silence_is_never_well() {
    let quiet = glance(vec![room::lasting("b")]);
    assert_eq!(
        first(&quiet),
        ("The drum in use lasts until Wed 07:30 and 1 h beyond.".to_owned(), Weight::Quiet)
    );
    let short = glance(vec![room::lasting("b"), room::not_lasting("a")]);
    assert_eq!(first(&short), ("Will not last until Wed 07:30: Drum A.".to_owned(), Weight::Drifts));
    let dark = glance(vec![room::lasting("b"), room::unknown("a")]);
    assert_eq!(first(&dark), ("Nobody knows whether it lasts: Drum A.".to_owned(), Weight::Unsure));
    let nobody_comes = Glance { visit: None, ..quiet.clone() };
    assert_eq!(first(&nobody_comes).1, Weight::Unsure);
    let by = at("2027-04-20T17:00:00Z");
    let told = Glance { standing: vec![alarm(Urgency::By { by })], ..quiet.clone() };
    assert_eq!(first(&told), ("One thing needs somebody.".to_owned(), Weight::Drifts));
    let danger =
        Glance { standing: vec![alarm(Urgency::Danger { by: None }), alarm(Urgency::Look)], ..quiet };
    assert_eq!(first(&danger).1, Weight::Danger);
}

#[test]
fn a_drum_says_its_end_in_words_and_what_is_doubted_with_it() {
    let site = room::site();
    let told = |outlook: EveningDrum| {
        let glance = glance(vec![outlook]);
        let DrumLines { end, range, verdict, holds, .. } = drum(&site, &glance, &glance.drums[0]);
        format!("{end} | {} | {verdict} | {holds}", range.unwrap_or_default())
    };
    let with = |state: DrumState| EveningDrum { state, ..room::lasting("a") };
    let resting = {
        let mut outlook = room::lasting("b");
        outlook.state.forecast.in_use = false;
        outlook
    };
    insta::assert_snapshot!(
        [
            told(room::lasting("b")),
            told(room::not_lasting("a")),
            told(room::unknown("a")),
            told(with(room::empty(NOW))),
            told(with(room::doubted("a"))),
            told(resting),
        ]
        .join("\n")
    );
}

#[test]
fn a_reading_that_is_old_missing_or_not_believed_never_shows_a_value_as_good() {
    let site = room::site();
    let sensor = invented::sensor("t", Place::Tank(site.tanks[0].id.clone()), Quantity::Turbidity);
    let band = site.limits_at(&sensor.place, at(NOW)).turbidity;
    let middle = f64::midpoint(band.min(), band.max());
    let newest = |when: &str, value, flag| Some(NewestReading { at: at(when), value, flag });
    let fresh = "2027-04-20T13:59:40Z";
    let told = |newest, silent| {
        let line = water(&site, at(NOW), &sensor, (newest, silent));
        format!("{} | {} | {:?} | {:?}", line.value, line.says, line.weight, line.in_band)
    };
    insta::assert_snapshot!(
        [
            told(newest(fresh, middle, Flag::Pass), false),
            told(newest(fresh, middle, Flag::Suspect), false),
            told(newest(fresh, band.min() - 20.0, Flag::Pass), false),
            told(newest(fresh, band.max() + 20.0, Flag::NotEvaluated), false),
            told(newest(fresh, middle, Flag::Fail), false),
            told(newest(fresh, middle, Flag::Missing), false),
            told(newest(fresh, middle, Flag::Pass), true),
            told(newest("2027-04-20T03:00:00Z", middle, Flag::Pass), false),
            told(None, false),
        ]
        .join("\n")
    );
}

#[test]
fn what_stands_says_who_has_it_and_who_is_told_next() {
    let site = room::site();
    let by = at("2027-04-20T17:02:00Z");
    let open = alarm(Urgency::By { by });
    let later = Later { at: at("2027-04-20T14:20:00Z"), to: Audience::one(Id::new("ann").unwrap()) };
    let promise = Promise {
        by: Some("ann".to_owned()),
        at: at(NOW),
        until: at("2027-04-20T14:45:00Z"),
        comes_late: None,
        unspoken: false,
    };
    let glance = glance(Vec::new());
    let told = |alarm: &StandingAlarm| {
        let CallLines { said, since, who, .. } =
            call(&site, &glance, alarm, Some("Drum A: dry about 20:00."));
        format!("{said} {since}. {who}.")
    };
    let shelf = ShelvedAlarm {
        notice: 8,
        until: at("2027-04-20T16:00:00Z"),
        by: Some("kim".to_owned()),
        why: "probe out for calibration".to_owned(),
    };
    let unspoken = Promise { by: None, unspoken: true, ..promise.clone() };
    insta::assert_snapshot!(
        [
            told(&open),
            told(&StandingAlarm { later: Some(later), ..open.clone() }),
            told(&StandingAlarm { promise: Some(promise), ..open.clone() }),
            told(&StandingAlarm { promise: Some(unspoken), ..open.clone() }),
            told(&StandingAlarm { shelf: Some(shelf), ..open.clone() }),
            told(&alarm(Urgency::Danger { by: None })),
        ]
        .join("\n")
    );
    let night = |confirmed| Glance {
        tonight: Some(OnTonight { person: Id::new("ann").unwrap(), confirmed }),
        ..glance.clone()
    };
    let said = [
        whose_night(&site, &glance),
        whose_night(&site, &night(None)),
        whose_night(&site, &night(Some(at(NOW)))),
    ];
    assert!(said[0].ends_with("is told first"), "{said:?}");
    assert!(said[1].ends_with("hasn't confirmed it"), "{said:?}");
    assert!(said[2].contains("has the night (said so at 17:00)"), "{said:?}");
}
