//! What can be meant, and what hardly.

use jiff::Timestamp;
use proptest::prelude::*;

use super::*;
use claymark_model::site::Place;

fn log(deed: Deed) -> LogEntry {
    let at = Timestamp::from_second(1_800_000_000).unwrap();
    LogEntry { key: "k".to_owned(), at, received_at: at, by: None, replaces: None, deed }
}

fn catch(litres: f64, seconds: f64) -> Deed {
    Deed::FlowCheck { place: Some(Place::Head), volume: Some(Litres(litres)), seconds: Some(seconds) }
}

const ALL: [Figure; 14] = [
    Figure::Water,
    Figure::Clay,
    Figure::Speed,
    Figure::Caught,
    Figure::CatchTime,
    Figure::Flow,
    Figure::CleaningTime,
    Figure::Level,
    Figure::Volume,
    Figure::Bags,
    Figure::Delivered,
    Figure::Fish,
    Figure::Measured(Quantity::Turbidity),
    Figure::Value,
];

#[test]
fn what_is_usual_is_possible_and_what_is_possible_can_be_squared_and_kept() {
    let measured = Quantity::NAMES.map(|(_, quantity)| Figure::Measured(quantity));
    for figure in ALL.into_iter().chain(measured) {
        let (possible, usual) = (figure.possible(), figure.usual());
        assert!(possible.hold(usual.least) && possible.hold(usual.most), "{figure:?}");
        for bound in [possible.least, possible.most] {
            // SQLite's integers go to 9.2e18, and the variance of many is a sum of squares.
            assert!(bound.abs() <= 1e9 && (bound * bound * 1e6).is_finite(), "{figure:?}");
        }
    }
}

#[test]
fn what_a_hatchery_writes_is_taken() {
    for deed in [
        Deed::Refill { drum: None, water: Some(Litres(150.0)), clay: Some(Kilograms(2.7)) },
        Deed::Refill { drum: None, water: None, clay: None },
        Deed::PumpSetting { pump: None, rpm: Some(0.0) },
        catch(0.0, 60.0),
        catch(0.105, 30.0),
        Deed::Delivery { bags: Some(40.0), mass: Some(Kilograms(1000.0)), lot: Some("K-17".to_owned()) },
        Deed::Fish { place: None, what: Some("counted".to_owned()), number: Some(120_000.0) },
        Deed::Note { text: Some("fed well \u{1F41F}".to_owned()) },
        Deed::Note { text: Some("x".repeat(LONGEST_TEXT)) },
    ] {
        assert_eq!(entry(&log(deed.clone())), Ok(()), "{deed:?}");
    }
}

#[test]
fn a_catch_is_bounded_by_what_it_comes_to() {
    // Both figures can be, their quotient can't.
    let too_fast = deed(&catch(10_000.0, 0.05));
    assert!(
        matches!(too_fast, Err(Impossible::Figure { figure: Figure::Flow, found: Some(_), .. })),
        "{too_fast:?}"
    );
    // 500 mL in 1e-300 s, and more than a number holds.
    for (litres, seconds) in [(0.5, 1e-300), (1e305, 1e-300), (0.5, 0.0)] {
        assert!(deed(&catch(litres, seconds)).is_err(), "{litres} L in {seconds} s");
    }
}

#[test]
fn a_text_that_nobody_typed_is_refused_with_its_length() {
    let note = Deed::Note { text: Some("\u{1F41F}".repeat(LONGEST_TEXT + 1)) };
    let long = Impossible::Text { key: "text".to_owned(), chars: 2001, most: 2000 };
    assert_eq!(entry(&log(note)), Err(long));
    let by = LogEntry { by: Some("A".repeat(64 * 1024)), ..log(Deed::Note { text: None }) };
    assert!(matches!(entry(&by), Err(Impossible::Text { most: LONGEST_NAME, .. })));
}

#[test]
fn only_a_number_that_a_notice_can_have_is_one() {
    for number in [1, 7, 9_223_372_036_854_775_807] {
        assert_eq!(notice_number(number), Ok(()));
    }
    for number in [0, 9_223_372_036_854_775_808, u64::MAX] {
        assert_eq!(notice_number(number), Err(Impossible::NoticeNumber { found: number }));
    }
}

/// Any float: NaN, infinities, and numbers whose square is none.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        Just(f64::MAX),
        Just(f64::MIN),
        Just(f64::MIN_POSITIVE),
        Just(0.0),
        -1e3..1e6_f64
    ]
}

proptest! {
    #[test]
    fn what_is_taken_is_finite_however_it_is_reckoned_with(
        litres in any_number(), seconds in any_number(), kilograms in any_number(), value in any_number(),
    ) {
        if deed(&catch(litres, seconds)).is_ok() {
            let flow = LitresPerMinute::caught(Litres(litres), seconds).unwrap().0;
            prop_assert!((flow * flow).is_finite() && flow >= 0.0, "{litres} L in {seconds} s");
        }
        let refill = Deed::Refill { drum: None, water: Some(Litres(litres)), clay: Some(Kilograms(kilograms)) };
        if deed(&refill).is_ok() {
            prop_assert!((litres * kilograms).is_finite());
        }
        for (_, quantity) in Quantity::NAMES {
            if Figure::Measured(quantity).check(value).is_ok() {
                prop_assert!((value * value).is_finite());
            }
        }
    }

    #[test]
    fn what_is_found_impossible_comes_back_from_json_as_it_was(value in any_number()) {
        if let Err(found) = Figure::Water.check(value) {
            let json = serde_json::to_string(&found).unwrap();
            prop_assert_eq!(serde_json::from_str::<Impossible>(&json).unwrap(), found);
        }
    }
}
