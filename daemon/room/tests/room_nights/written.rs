//! A refill that was written down counts from then on, until a level that can be believed says otherwise; and what was
//! poured is never advised again.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "the lints excuse test functions, but not what these call"
)]

use claymark_clay::refill::Refill;
use claymark_clay::refill::books::StrengthSource;
use claymark_clay::refill::sheet::Sheet;
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use claymark_model::units::{Kilograms, Litres};
use claymark_model::unseen::{Unseen, UnseenSign};
use jiff::SignedDuration;

use crate::night::{RoomNight, id};

/// Drum a holds 49 L at nine minutes past eight, of slurry that was written down with its clay.
fn low() -> RoomNight {
    let mut night = RoomNight::begin("2027-04-20T04:00");
    prepare(&mut night);
    night
}

fn prepare(night: &mut RoomNight) {
    night.drum("a").holds(40.0).draws(8.0);
    night.drum("b").holds(170.0).draws(3.0);
    night.until("2027-04-20T05:00");
    night.drum("a").pours(42.0);
    night.log(refill("a", 41.7, 0.75));
    night.until("2027-04-20T08:05");
    let now = night.drum("a").litres();
    night.drum("a").pours(49.0 - now);
    night.until("2027-04-20T08:09");
}

fn refill(drum: &str, water: f64, clay: f64) -> Deed {
    Deed::Refill { drum: Some(id(drum)), water: Some(Litres(water)), clay: Some(Kilograms(clay)) }
}

/// As it was written down that morning.
fn of_the_morning() -> Deed {
    refill("a", 117.0, 2.08)
}

/// What it adds: the clay displaces 0.8 L.
const ADDED: f64 = 117.8;

fn known(night: &RoomNight) -> (Basis, f64, EmptyAt) {
    known_of(&night.room.known().forecasts(night.now)[0])
}

fn known_of(forecast: &Forecast) -> (Basis, f64, EmptyAt) {
    let Outlook::Known { basis, volume, empty_at, .. } = &forecast.outlook else { panic!("{forecast:?}") };
    (*basis, volume.0, *empty_at)
}

fn sheet(night: &RoomNight) -> Sheet {
    night.room.known().sheet(night.now, &id("a"), (None, None)).expect("drum a is there")
}

/// The refill for which the sheet waits.
fn waits_for(night: &RoomNight) -> Unseen {
    match sheet(night).refill {
        Some(Refill::WrittenDown(unseen)) => unseen,
        other => panic!("at {}: {other:?}", night.now),
    }
}

/// Clay and water that the sheet or the outlook advises.
fn advised(night: &RoomNight) -> Vec<(f64, f64)> {
    let visit = night.room.known().next_visit(night.now).expect("people come every day");
    let (drums, _) = night.room.known().outlook(night.now, &visit, night.now);
    let remedy = drums.into_iter().next().expect("drum a is in it").remedy;
    let enough = remedy.enough.and_then(|enough| enough.refill);
    let advised = |refill| match refill {
        Refill::Mix(mix) => Some((mix.water.0, mix.clay.0)),
        Refill::WaterOnly { water, .. } => Some((water.0, 0.0)),
        Refill::TooStrong(_)
        | Refill::NoRoom
        | Refill::DrumTooSmall { .. }
        | Refill::TooThick { .. }
        | Refill::LookFirst { .. }
        | Refill::WrittenDown(_) => None,
    };
    let night_mix = remedy.night.map(|night| night.refill);
    [sheet(night).refill, remedy.refill, enough, night_mix]
        .into_iter()
        .flatten()
        .filter_map(advised)
        .collect()
}

/// Every minute until then.
fn each_minute(night: &mut RoomNight, until: &str, mut check: impl FnMut(&mut RoomNight)) {
    while night.now < night.at(until) {
        night.minutes(1);
        check(night);
    }
}

/// The morning of the foam: poured at five past eight, written down at nine past.
fn foams() -> RoomNight {
    let mut night = low();
    night.drum("a").pours(ADDED).foams();
    night.minutes(2);
    night.log_of("2027-04-20T08:09", of_the_morning());
    night
}

#[test]
fn a_refill_that_is_written_down_while_the_level_foams_counts_at_once_and_is_not_advised_again() {
    for failed_by_quality_tests in [false, true] {
        counts_from_the_minute_on(failed_by_quality_tests);
    }
}

fn counts_from_the_minute_on(failed_by_quality_tests: bool) {
    let mut night = low();
    let before = known(&night);
    assert!((before.1 - 49.0).abs() < 2.0 && advised(&night)[0].0 > 110.0, "{before:?}");
    night.drum("a").pours(ADDED);
    if failed_by_quality_tests {
        night.drum("a").fails();
    } else {
        night.drum("a").foams();
    }
    night.minutes(4);
    let (forecasts, sheets) = (night.forecasts.len(), night.sheets.len());
    night.log_of("2027-04-20T08:09", of_the_morning());

    // What stands beside the drum is told at once, too.
    let published = &night.sheets[sheets..];
    assert!(matches!(published[0].refill, Some(Refill::WrittenDown(_))), "{published:?}");
    let of_a = night.forecasts[forecasts..].iter().find(|forecast| forecast.of == Subject::Drum(id("a")));
    let told = known_of(of_a.expect("it is forecast anew"));
    assert!((told.1 - 166.0).abs() < 4.0 && told.0 == Basis::Pump, "{told:?}");

    let told = known(&night);
    assert!(told.2.p50.unwrap() > before.2.p50.unwrap() + SignedDuration::from_hours(13), "{told:?}");
    let width = |ends: &EmptyAt| ends.p95.unwrap().duration_since(ends.p05.unwrap());
    assert!(width(&told.2) > width(&before.2) * 3 / 2, "{told:?}, before {before:?}");
    assert!(told.2.p05.unwrap() > before.2.p50.unwrap() + SignedDuration::from_hours(12), "{told:?}");
    each_minute(&mut night, "2027-04-20T08:40", |night| {
        let (_, volume, _) = known(night);
        let truly = night.drum("a").litres();
        assert!((volume - truly).abs() < 12.0, "{}: {volume}, truly {truly}", night.now);
        let unseen = waits_for(night);
        assert_eq!((unseen.sign, unseen.clay), (UnseenSign::Awaited, Some(Kilograms(2.08))));
        assert_eq!(advised(night), [], "{}", night.now);
    });

    // The foam is gone: the level counts again, and says the same.
    night.drum("a").speaks_again();
    night.until("2027-04-20T09:20");
    let (basis, volume, _) = known(&night);
    let truly = night.drum("a").litres();
    assert!((volume - truly).abs() < 2.0 && basis == Basis::Level, "{volume}, truly {truly}");
    let sheet = sheet(&night);
    assert!(
        sheet.unseen.is_none() && matches!(sheet.book.source, StrengthSource::Logged { .. }),
        "{sheet:?}"
    );
    assert!(advised(&night).iter().all(|(water, clay)| *water < 20.0 && *clay < 0.4), "{sheet:?}");
}

#[test]
fn a_refill_without_figures_leaves_the_level_to_say_how_much_and_is_not_advised_again() {
    let mut night = low();
    let before = known(&night);
    night.drum("a").pours(ADDED).foams();
    night.minutes(2);
    let mut said = night.log(Deed::Refill { drum: Some(id("a")), water: None, clay: None });
    let now = known(&night);
    assert_eq!(now.0, Basis::Level, "nobody knows how much it was: {now:?}");
    assert!(now.2.p05.unwrap() > before.2.p05.unwrap() - SignedDuration::from_mins(10), "{now:?}");
    assert_eq!(waits_for(&night).after, None);
    assert_eq!(advised(&night), []);
    said.extend(night.minutes(10));
    let called: Vec<_> = said.iter().filter(|said| said.notice.drum == Some(id("a"))).collect();
    assert!(called.is_empty(), "nobody is called for it: {called:#?}");
}

#[test]
fn foam_alone_is_no_refill_and_the_sheet_goes_on() {
    let mut night = low();
    night.drum("a").foams();
    each_minute(&mut night, "2027-04-20T08:40", |night| {
        let (_, volume, _) = known(night);
        assert!((volume - night.drum("a").litres()).abs() < 8.0, "{}: {volume}", night.now);
        assert!(sheet(night).unseen.is_none() && advised(night)[0].0 > 100.0, "{:?}", sheet(night));
    });
}

#[test]
fn a_calm_level_that_shows_no_rise_is_believed_and_people_are_asked() {
    let (mut with, mut without) = (low(), low());
    let strength = sheet(&without).book.strength;
    with.log(of_the_morning());
    each_minute(&mut with, "2027-04-20T08:53", |with| {
        without.minutes(1);
        // A slip of the pen hides no run-out.
        let (earliest, truly) = (known(with).2.p05.unwrap(), known(&without).2.p05.unwrap());
        assert!(earliest <= truly + SignedDuration::from_mins(1), "{}: {earliest}, {truly}", with.now);
        assert_eq!(advised(with), [], "{}", with.now);
        if with.now >= with.at("2027-04-20T08:17") {
            assert_eq!(known(with), known(&without));
            let UnseenSign::Denied { shows } = waits_for(with).sign else { panic!("{:?}", waits_for(with)) };
            assert!((shows.0 - 49.0).abs() < 7.0, "{shows:?}");
        }
    });
    // Nobody can still be pouring: the sheet goes by the level again, and the question stands.
    with.minutes(2);
    assert!(advised(&with)[0].0 > 110.0, "{:?}", sheet(&with));
    let asked = sheet(&with).unseen.expect("it is asked about");
    assert!(asked.is_denied() && asked.key.starts_with("entry-"), "{asked:?}");
    assert_eq!(sheet(&with).book.strength, strength, "its clay isn't in the drum");
}

#[test]
fn a_refill_that_is_written_down_before_it_is_poured_is_found_when_it_comes() {
    for foams in [false, true] {
        let mut night = low();
        night.log(of_the_morning());
        night.until("2027-04-20T08:19");
        night.drum("a").pours(ADDED);
        if foams {
            night.drum("a").foams();
        }
        each_minute(&mut night, "2027-04-20T08:40", |night| {
            let large = |advised: &(f64, f64)| advised.0 > 20.0;
            assert!(!advised(night).iter().any(large), "{}: {:?}", night.now, sheet(night));
            if night.now >= night.at("2027-04-20T08:25") {
                let (volume, truly) = (known(night).1, night.drum("a").litres());
                assert!((volume - truly).abs() < 13.0, "{}: {volume}, truly {truly}", night.now);
            }
        });
    }
}

#[test]
fn what_the_level_shows_already_is_not_counted_twice() {
    // Found before it is written down; its litres are written down somewhat otherwise.
    let mut night = low();
    night.drum("a").pours(ADDED);
    night.until("2027-04-20T08:20");
    night.log_of("2027-04-20T08:10", refill("a", 125.0, 2.1));
    each_minute(&mut night, "2027-04-20T08:40", |night| {
        let (basis, volume, _) = known(night);
        let truly = night.drum("a").litres();
        assert!((volume - truly).abs() < 3.0 && basis == Basis::Level, "{volume}, truly {truly}");
        assert!(sheet(night).unseen.is_none());
    });
    assert_eq!(night.room.known().forecasts(night.now).len(), 2);

    // Half of it was found when the rest went in under foam.
    let mut night = low();
    night.drum("a").pours(60.0);
    night.until("2027-04-20T08:20");
    assert!((known(&night).1 - 107.0).abs() < 3.0, "{:?}", known(&night));
    night.drum("a").pours(ADDED - 60.0).foams();
    night.until("2027-04-20T08:34");
    night.log_of("2027-04-20T08:10", of_the_morning());
    let (volume, truly) = (known(&night).1, night.drum("a").litres());
    assert!((volume - truly).abs() < 12.0, "{volume}, truly {truly}");
    each_minute(&mut night, "2027-04-20T08:54", |night| {
        assert_eq!(advised(night), [], "{}", night.now);
        let (volume, truly) = (known(night).1, night.drum("a").litres());
        assert!((volume - truly).abs() < 14.0, "{}: {volume}, truly {truly}", night.now);
    });
}

#[test]
fn a_refill_that_is_written_down_twice_counts_once() {
    let mut night = foams();
    let (_, once, _) = known(&night);
    let strength = sheet(&night).book.strength;
    night.minutes(2);
    night.log(of_the_morning());
    let (_, twice, _) = known(&night);
    assert!((twice - once).abs() < 5.0, "{twice} after {once}");
    assert!(waits_for(&night).again);
    assert_eq!(sheet(&night).book.strength, strength);
}

#[test]
fn a_correction_takes_back_what_it_replaces() {
    let mut night = foams();
    assert!(known(&night).1 > 155.0);
    // It went into drum b: a holds what it held.
    night.correct(refill("b", 117.0, 2.08));
    assert!((known(&night).1 - 49.0).abs() < 6.0, "{:?}", known(&night));
    assert!(sheet(&night).unseen.is_none() && !advised(&night).is_empty());

    // 17 L were meant, and the mass was typed in another unit.
    let mut night = foams();
    night.correct(refill("a", 17.0, 0.31));
    assert!((known(&night).1 - 66.0).abs() < 6.0, "{:?}", known(&night));
    let unseen = waits_for(&night);
    assert_eq!((unseen.water, unseen.clay), (Some(Litres(17.0)), Some(Kilograms(0.31))));
    assert!((unseen.before.unwrap().0 - 49.0).abs() < 4.0, "{unseen:?}");
}

#[test]
fn a_mass_that_was_mistyped_is_asked_about_while_the_level_foams() {
    let mut night = low();
    night.drum("a").pours(ADDED).foams();
    night.minutes(4);
    night.log_of("2027-04-20T08:09", refill("a", 117.0, 20.8));
    let doubt = sheet(&night).doubt.expect("ten times the clay");
    assert!((doubt.expected.0 - 2.1).abs() < 0.3, "{doubt:?}");
    assert_eq!(advised(&night), []);
}

#[test]
fn more_than_fits_is_counted_up_to_the_full_line_and_said() {
    let mut night = low();
    night.drum("a").pours(ADDED).foams();
    night.minutes(4);
    night.log_of("2027-04-20T08:09", refill("a", 190.0, 3.4));
    let (_, volume, _) = known(&night);
    assert!(volume <= 175.0 && volume > 160.0, "{volume}");
    assert!(waits_for(&night).overfull);
}

#[test]
fn a_silent_sensor_leaves_the_log_to_count_with_and_the_strength_is_right() {
    let mut night = low();
    night.drum("a").falls_silent();
    night.until("2027-04-20T08:30");
    let held = night.drum("a").litres();
    night.drum("a").pours(ADDED);
    let before = sheet(&night).book.strength.0;
    night.log(of_the_morning());
    let (basis, volume, _) = known(&night);
    assert!((volume - held - ADDED).abs() < 3.0 && basis == Basis::Pump, "{volume}");
    // Of what was held before it, and not of what is held with it.
    let (is, should) = (sheet(&night).book.strength.0, (before * held + 2080.0) / (held + ADDED));
    assert!((is - should).abs() < 0.4, "{is}, should be {should}");
    assert!(advised(&night).iter().all(|(water, _)| *water < 20.0), "{:?}", sheet(&night));
}

#[test]
fn a_restart_in_between_forgets_nothing() {
    let mut night = foams();
    night.minutes(3);
    let (before, unseen) = (known(&night), waits_for(&night));
    night.restart(SignedDuration::ZERO);
    assert_eq!((known(&night), waits_for(&night)), (before, unseen));
}

#[test]
fn what_was_done_an_hour_ago_is_put_in_its_place() {
    // It foamed since, and nobody wrote it down until now.
    let mut night = low();
    night.until("2027-04-20T08:10");
    night.drum("a").pours(ADDED).foams();
    night.until("2027-04-20T09:10");
    night.log_of("2027-04-20T08:10", of_the_morning());
    let (volume, truly) = (known(&night).1, night.drum("a").litres());
    assert!((volume - truly).abs() < 14.0, "{volume}, truly {truly}");

    // The level was calm all the time: it wasn't this drum.
    let mut night = low();
    night.until("2027-04-20T09:10");
    let before = known(&night);
    night.log_of("2027-04-20T08:20", of_the_morning());
    let (after, earliest) = (known(&night), before.2.p05.unwrap());
    assert!((after.1 - before.1).abs() < 0.5 && after.0 == Basis::Level, "{after:?} after {before:?}");
    let off = after.2.p05.unwrap().duration_since(earliest);
    assert!(off.abs() < SignedDuration::from_mins(2), "{off:#}");
    assert!(sheet(&night).unseen.is_some_and(|unseen| unseen.is_denied()));
}

#[test]
fn drums_of_one_pump_count_it_together() {
    let mut night = RoomNight::begin_with_one_pump("2027-04-20T04:00");
    prepare(&mut night);
    let supply =
        |night: &RoomNight| known_of(night.room.known().forecasts(night.now).last().expect("of the pump"));
    let before = supply(&night);
    night.drum("a").pours(ADDED).foams();
    night.minutes(4);
    night.log_of("2027-04-20T08:09", of_the_morning());
    let after = supply(&night);
    assert!((after.1 - before.1 - ADDED).abs() < 6.0, "{after:?} after {before:?}");
}

#[test]
fn without_a_known_volume_nothing_is_advised_on_top() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").falls_silent();
    night.until("2027-04-20T08:09");
    night.log(of_the_morning());
    assert!(matches!(night.room.known().forecasts(night.now)[0].outlook, Outlook::Unknown { .. }));
    let unseen = waits_for(&night);
    assert_eq!((unseen.before, unseen.after, unseen.water), (None, None, Some(Litres(117.0))));
    night.until("2027-04-20T08:55");
    assert_eq!(sheet(&night).refill, None);
}

#[test]
fn whoever_reads_the_mark_settles_it() {
    for (litres, poured) in [(164.0, true), (48.0, false)] {
        let mut night = low();
        night.drum("a").pours(if poured { ADDED } else { 0.0 }).foams();
        night.minutes(4);
        night.log_of("2027-04-20T08:09", of_the_morning());
        night.minutes(3);
        night.log(Deed::Dip { drum: Some(id("a")), level: None, volume: Some(Litres(litres)) });
        assert!((known(&night).1 - litres).abs() < 4.0, "{litres}: {:?}", known(&night));
        assert!(sheet(&night).unseen.is_none());
        assert_eq!(advised(&night)[0].0 > 100.0, !poured, "{:?}", sheet(&night));
    }
}
