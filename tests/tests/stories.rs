//! Stories of a room in which something goes wrong: when people are told, and what.

use claymark_model::forecast::{Forecast, Subject};
use claymark_notice::content::Verdict;
use claymark_notice::failure::{Failure, Fault, PumpChanged, Sign};
use claymark_notice::{Audience, NoticeKind};
use claymark_tests::story::script::at;
use claymark_tests::story::{NoticeAsRead, ScriptedStory, Telling, Truth, Which, rooms};
use jiff::{SignedDuration, Timestamp};

fn failure(told: &NoticeAsRead) -> &Failure {
    told.failure().unwrap_or_else(|| panic!("no failure: {}", told.words()))
}

/// Story 1: A is full at 17:30; at 18:10 somebody turns the pump up and doesn't write it down.
fn pump_turned_up(seed: u64, change: bool) -> Telling {
    pump_is_turned_up(seed, change).told("+1 05:30", &rooms::plain())
}

fn pump_is_turned_up(seed: u64, change: bool) -> ScriptedStory {
    let mut story = ScriptedStory::begin("11:00", seed, Truth::day_24());
    story.happens("17:26", |truth, _| truth.fill_a(175.0 + 0.209 * 4.0));
    story.written("17:30", r#""kind":"refill","drum":"a","water_l":130,"clay_kg":2.38"#);
    if change {
        story.happens("18:10", |truth, _| truth.pump = 300.0);
    }
    story
}

#[test]
fn a_pump_turned_up_without_a_word_is_told_with_the_new_end_within_three_quarters_of_an_hour() {
    let mut at_once = 0;
    for seed in 0..NIGHTS {
        let telling = pump_turned_up(seed, true);
        let early = telling.of_a("11:00", "18:56");
        let [only] = early.as_slice() else { panic!("seed {seed}:\n{}", telling.list()) };
        let Fault::PumpChanged(PumpChanged { from, to, ends, verdict, .. }) = &failure(only).fault else {
            panic!("{}", only.words());
        };
        let words = only.words();
        assert!((from.ml_per_min() - 209.0).abs() < 10.0, "seed {seed}: {words}");
        assert!((to.ml_per_min() - 300.0).abs() < 22.0, "seed {seed}: {words}");
        near(failure(only).since, "18:10", 4);
        let off = ends.and_then(|ends| ends.p50).expect("it ends").duration_since(at("+1 02:45")).abs();
        assert!(off <= SignedDuration::from_mins(25), "seed {seed}: {words}");
        assert_eq!(*verdict, Verdict::WillNotLast, "seed {seed}: {words}");
        assert!(only.subject.contains("will not last"), "{words}");
        let asked = words.replace("On it?", "").matches('?').count();
        assert_eq!(asked, 1, "one question: {words}");
        assert_eq!(only.notice.to, Audience::Everyone);
        assert!(telling.of_a("11:00", "22:30").len() <= 2, "seed {seed}:\n{}", telling.list());
        at_once += u64::from(forecast_as_told(&telling, only.at, seed));
    }
    // Else the level hasn't yet spoken as clearly as the head tank.
    assert!(at_once + 2 >= NIGHTS, "{at_once} of {NIGHTS} are forecast so with the notice");
}

/// Whether the forecast that goes with the notice says the same; each of ten minutes later and more must.
fn forecast_as_told(telling: &Telling, told: Timestamp, seed: u64) -> bool {
    let of_a = |forecast: &&Forecast| {
        matches!(&forecast.of, Subject::Drum(drum) if drum.as_str() == "a")
            && (told..at("+1 02:00")).contains(&forecast.at)
    };
    let off = |forecast: &Forecast| {
        let empty = forecast.outlook.empty_at().and_then(|empty| empty.p50).expect("it ends");
        empty.duration_since(at("+1 02:45"))
    };
    let forecasts: Vec<_> = telling.forecasts.iter().filter(of_a).collect();
    for later in forecasts.iter().filter(|later| later.at >= told + SignedDuration::from_mins(10)) {
        assert!(off(later).abs() <= NEAR, "seed {seed}, {}: off by {:#}", later.at, off(later));
    }
    let first = forecasts.first().filter(|first| first.at == told).expect("one goes with the notice");
    off(first).abs() <= NEAR
}

#[test]
fn after_a_restart_the_drum_is_forecast_as_people_were_told() {
    for seed in 0..SEEDS {
        let mut story = pump_is_turned_up(seed, true);
        story.until("19:00");
        let (site, recorded) = (rooms::plain(), story.recorded());
        let telling = Telling::of(&site, &recorded);
        let restarted = Telling::restarted(&site, &recorded, &telling.told, "19:00");
        let forecasts = restarted.room().known().forecasts(at("19:00"));
        let end = forecasts.first().and_then(|of_a| of_a.outlook.empty_at()?.p50).expect("it ends");
        let off = end.duration_since(at("+1 02:45"));
        assert!(off.abs() <= NEAR, "seed {seed}: off by {off:#}");
    }
}

#[test]
fn without_the_change_nobody_is_woken() {
    for seed in 0..NIGHTS {
        let telling = pump_turned_up(seed, false);
        let woken: Vec<_> = telling.of_a("11:00", "+1 05:30");
        assert!(woken.is_empty(), "seed {seed}:\n{}", telling.list());
    }
}

/// Story 2: half past midnight the blower stops.
#[test]
fn a_blower_that_stops_at_night_is_one_message_with_oxygen_first_and_no_clay() {
    for seed in 0..SEEDS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 00:30", |truth, _| {
            truth.settling = Some(0.0);
            truth.oxygen_goal = 6.83;
        });
        let telling = story.told("+1 01:30", &rooms::plain());
        let said = telling.of_a("20:00", "+1 01:30");
        let [only] = said.as_slice() else { panic!("seed {seed}:\n{}", telling.list()) };
        assert!(only.at <= at("+1 00:50") && only.notice.kind == NoticeKind::Air, "{}", telling.list());
        assert!(only.subject.contains("Blower") && only.subject.contains("oxygen first"), "{}", only.words());
        assert!(only.words().contains("Do not add clay"), "{}", only.words());
        near(failure(only).since, "+1 00:30", 6);
    }
}

/// Story 3: half the fresh water is lost; its twin, a doubled pump, gives the same head tank.
#[test]
fn half_the_fresh_water_is_told_as_that_and_a_doubled_pump_as_that() {
    for seed in 0..NIGHTS {
        let mut story = ScriptedStory::begin("20:00", seed, Truth::full());
        story.happens("+1 04:10", |truth, _| truth.fresh = 25.6);
        let telling = story.told("+1 05:00", &rooms::plain());
        let said = telling.of_a("+1 04:00", "+1 05:00");
        let [only] = said.as_slice() else { panic!("seed {seed}:\n{}", telling.list()) };
        assert!(
            only.clock.as_str() <= "+1 04:25" && only.notice.kind == NoticeKind::Water,
            "{}",
            telling.list()
        );
        assert!(only.subject.contains("Fresh water low") && only.subject.contains("Not too much clay"));
        assert!(failure(only).signs.iter().any(|sign| matches!(sign, Sign::DrawUnchanged { .. })));
        near(failure(only).since, "+1 04:10", 3);

        let mut twin = ScriptedStory::begin("20:00", seed, Truth::full());
        twin.happens("+1 04:10", |truth, _| truth.pump = 418.0);
        let telling = twin.told("+1 05:00", &rooms::plain());
        let said = telling.of_a("+1 04:00", "+1 05:00");
        let Some(first) = said.first() else { panic!("seed {seed}:\n{}", telling.list()) };
        assert!(matches!(failure(first).fault, Fault::PumpChanged(_)), "seed {seed}:\n{}", telling.list());
        assert!(first.words().contains("Pump 1"), "{}", first.words());
    }
}

/// Story 4: at 14:05 somebody pours 100 L of water into A, which holds 60 L, and no clay.
fn watered(seed: u64, clay: f64) -> ScriptedStory {
    let mut truth = Truth::day_24();
    truth.a.litres = 60.0 + 0.209 * 245.0;
    let mut story = ScriptedStory::begin("10:00", seed, truth);
    story.happens("14:05", move |truth, _| truth.pour(Which::A, 100.0, clay));
    story
}

#[test]
fn water_without_clay_is_asked_about_at_once_and_told_with_the_amount_half_an_hour_later() {
    for seed in 0..SEEDS {
        let telling = watered(seed, 0.0).told("16:00", &rooms::plain());
        let said = telling.of_a("10:00", "15:30");
        let [asked, due] = said.as_slice() else { panic!("seed {seed}:\n{}", telling.list()) };
        assert!(
            asked.at <= at("14:13") && asked.subject.contains("Where is the clay?"),
            "{}",
            telling.list()
        );
        near(due.at, "14:35", 2);
        let Fault::WaterOnly(poured) = &failure(due).fault else { panic!("{}", due.words()) };
        assert!((poured.clay.0 - 1.74).abs() < 0.12, "{poured:?}");
        assert!((poured.holds.0 - 153.7).abs() < 2.5, "{poured:?}");
        assert!((poured.goes_to - 26.0).abs() < 3.0, "{poured:?}");
        assert!(due.words().contains("stir") && due.words().contains(" lb of clay"), "{}", due.words());
    }
}

#[test]
fn clay_that_went_in_and_is_noted_a_little_later_is_not_asked_for() {
    for seed in 0..SEEDS {
        let mut story = watered(seed, 1.814);
        story.written("14:20", r#""kind":"refill","drum":"a","water_l":99,"clay_kg":1.81"#);
        let telling = story.told("16:00", &rooms::plain());
        assert!(telling.of_a("10:00", "16:00").is_empty(), "seed {seed}:\n{}", telling.list());
    }
}

/// Story 5: at 23:40 the level of A, 78 L, stands for ever, and the pump runs on; its twin: the pump stops.
#[test]
fn a_stuck_level_goes_by_the_pump_and_a_stopped_pump_is_told_by_the_head_tank() {
    for seed in 0..SEEDS {
        let mut truth = Truth::day_24();
        truth.a.litres = 78.0 + 0.209 * 340.0;
        let mut story = ScriptedStory::begin("18:00", seed, truth.clone());
        story.happens("23:40", |_, instruments| instruments.stuck = Some(78.0));
        let telling = story.told("+1 04:30", &rooms::plain());
        let early = telling.of_a("22:31", "+1 00:26");
        let [doubted] = early.as_slice() else { panic!("seed {seed}:\n{}", telling.list()) };
        assert_eq!(doubted.notice.kind, NoticeKind::LevelDoubt, "{}", doubted.words());
        let forecast = telling.forecast("a", "+1 00:30").expect("each ten minutes");
        let empty = forecast.outlook.empty_at().expect("by the pump");
        near(empty.p50.expect("it ends"), "+1 04:55", 20);
        // An hour before it is truly dry.
        let early = telling.of_a("+1 00:26", "+1 03:55");
        assert!(early.iter().any(|told| told.notice.kind == NoticeKind::Runout), "{}", telling.list());

        let mut twin = ScriptedStory::begin("18:00", seed, truth);
        twin.happens("23:40", |truth, _| truth.pump = 0.0);
        let telling = twin.told("+1 01:00", &rooms::plain());
        let said = telling.of_a("22:31", "+1 01:00");
        let Some(first) = said.first() else { panic!("seed {seed}:\n{}", telling.list()) };
        assert!(
            first.at <= at("23:50") && matches!(failure(first).fault, Fault::PumpStopped { .. }),
            "{}",
            telling.list()
        );
        assert_eq!(said.len(), 1, "seed {seed}:\n{}", telling.list());
    }
}

fn near(time: Timestamp, clock: &str, minutes: i64) {
    let off = time.duration_since(at(clock)).abs();
    assert!(off <= SignedDuration::from_mins(minutes), "{time} isn't within {minutes} min of {clock}");
}

/// How far off the forecast may be.
const NEAR: SignedDuration = SignedDuration::from_mins(20);
/// So many nights of the first and the third story hold.
const NIGHTS: u64 = 20;
/// The same of the others, of four.
const SEEDS: u64 = 4;
