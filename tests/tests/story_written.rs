//! A refill that was written down while the level can't say: it counts, and isn't advised a second time.

use claymark_core::forecast::{Forecast, Outlook};
use claymark_core::id::Id;
use claymark_core::refill::Refill;
use claymark_core::refill::sheet::Sheet;
use claymark_tests::story::script::at;
use claymark_tests::story::{Story, Telling, Truth, Which, rooms};

/// Drum A comes down to 49 L at five past eight; then that happens.
fn morning(seed: u64, pours: bool, foams: bool, writes: bool) -> String {
    let mut truth = Truth::day_24();
    truth.a.litres = 49.0 + 0.209 * 245.0;
    let mut story = Story::begin("04:00", seed, truth);
    story.happens("08:05", move |truth, instruments| {
        if pours {
            truth.pour(Which::A, 117.8, 2.08);
        }
        instruments.foam = if foams { 40.0 } else { 0.0 };
    });
    if writes {
        story.written("08:09", r#""kind":"refill","drum":"a","water_l":117,"clay_kg":2.08"#);
    }
    story.happens("08:45", |_, instruments| instruments.foam = 0.0);
    story.until("09:30").recorded()
}

/// What a person at the command line reads at that time.
fn asked(recorded: &str, clock: &str) -> (f64, Sheet, Forecast) {
    let telling = Telling::heard(&rooms::plain(), recorded, clock);
    let drum = Id::new("a").expect("an id");
    let sheet = telling.room().sheet(at(clock), &drum, (None, None)).expect("drum A is there");
    let forecast = telling.room().forecasts(at(clock)).remove(0);
    let Outlook::Known { volume, .. } = &forecast.outlook else { panic!("{forecast:?}") };
    (volume.0, sheet, forecast)
}

fn clay_advised(sheet: &Sheet) -> f64 {
    if let Some(Refill::Mix(mix)) = &sheet.refill { mix.clay.0 } else { 0.0 }
}

#[test]
fn what_was_poured_and_written_down_under_foam_counts_at_once_and_is_not_advised_again() {
    for seed in 0..SEEDS {
        let recorded = morning(seed, true, true, true);
        for clock in ["08:10", "08:12", "08:15", "08:20", "08:30", "08:40"] {
            let (volume, sheet, _) = asked(&recorded, clock);
            let truly = 166.8 - 12.54 * at(clock).duration_since(at("08:05")).as_secs_f64() / 3600.0;
            assert!((volume - truly).abs() < 15.0, "seed {seed}, {clock}: {volume}, truly {truly}");
            assert!(clay_advised(&sheet) < 0.4, "seed {seed}, {clock}: {sheet:?}");
        }
        let (volume, sheet, _) = asked(&recorded, "09:25");
        assert!((volume - 150.1).abs() < 3.0 && sheet.unseen.is_none(), "seed {seed}: {volume}");

        // Forecast and sheet are published when it is written down, not at the next tenth minute.
        let telling = Telling::of(&rooms::plain(), &recorded);
        let told = telling.forecast("a", "08:10").expect("it is forecast");
        assert!(told.at >= at("08:09") && told.at < at("08:10"), "{told:?}");
    }
}

#[test]
fn foam_without_a_refill_changes_no_sheet() {
    for seed in 0..SEEDS {
        let recorded = morning(seed, false, true, false);
        for clock in ["08:10", "08:15", "08:30", "08:44"] {
            let (volume, sheet, _) = asked(&recorded, clock);
            assert!(volume < 60.0 && clay_advised(&sheet) > 1.9, "seed {seed}, {clock}: {volume} {sheet:?}");
        }
    }
}

#[test]
fn what_was_written_down_and_never_poured_hides_no_empty_drum() {
    for seed in 0..SEEDS {
        let (with, without) = (morning(seed, false, false, true), morning(seed, false, false, false));
        for clock in ["08:10", "08:12", "08:20", "08:40", "09:10"] {
            let (_, sheet, forecast) = asked(&with, clock);
            let (_, _, truly) = asked(&without, clock);
            let earliest = |forecast: &Forecast| forecast.outlook.empty_at().and_then(|ends| ends.p05);
            let (told, truly) = (earliest(&forecast).expect("soon"), earliest(&truly).expect("soon"));
            assert!(told.duration_since(truly).as_secs() < 120, "seed {seed}, {clock}: {told}, {truly}");
            let looks = matches!(sheet.refill, Some(Refill::WrittenDown(_)));
            assert_eq!(looks, at(clock) < at("08:54"), "seed {seed}, {clock}: {sheet:?}");
            assert!(sheet.unseen.is_some(), "it is asked about");
        }
    }
}

/// Noise differs by them.
const SEEDS: u64 = 3;
