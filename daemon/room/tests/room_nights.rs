//! Whole nights of an invented room: what people are told, when, and who.

#[path = "room_nights/asked.rs"]
mod asked;
#[path = "room_nights/calls.rs"]
mod calls;
#[path = "room_nights/doubted.rs"]
mod doubted;
#[path = "room_nights/house.rs"]
mod house;
#[path = "room_nights/kept.rs"]
mod kept;
#[path = "room_nights/learned.rs"]
mod learned;
#[path = "room_nights/levers.rs"]
mod levers;
#[path = "room_nights/link.rs"]
mod link;
#[path = "room_nights/night.rs"]
mod night;
#[path = "room_nights/ramp.rs"]
mod ramp;
#[path = "room_nights/reach.rs"]
mod reach;
#[path = "room_nights/roster.rs"]
mod roster;
#[path = "room_nights/shelf.rs"]
mod shelf;
#[path = "room_nights/written.rs"]
mod written;

use claymark_clay::refill::Refill;
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Forecast, Outlook, Subject};
use claymark_model::units::{Kilograms, Litres};
use claymark_notice::content::{Again, Because, Common, Content, ReadingsMissing, Verdict};
use claymark_notice::{Call, Calling, NoticeKind, Priority};
use claymark_room::Event;
use jiff::SignedDuration;

use night::{HeardNotice, RoomNight, id};

/// Time, kind and reader of each.
fn told(said: &[HeardNotice]) -> Vec<(&str, NoticeKind, &str)> {
    said.iter().map(|said| (said.clock.as_str(), said.notice.kind, said.to.as_str())).collect()
}

fn of_kind(said: &[HeardNotice], kind: NoticeKind) -> Vec<&HeardNotice> {
    said.iter().filter(|said| said.notice.kind == kind).collect()
}

fn because(said: &HeardNotice) -> &Because {
    let Content::Withdrawn(withdrawn) = &said.notice.content else { panic!("{said:?}") };
    &withdrawn.because
}

fn again(said: &HeardNotice) -> &Again {
    let Content::Runout(runout) = &said.notice.content else { panic!("{said:?}") };
    &runout.because
}

/// Drum a lasts in the evening; at ten past six somebody turns its pump from 4 to 14 L/h.
fn pump_turned_up() -> (RoomNight, Vec<HeardNotice>) {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(150.0).draws(4.0);
    night.drum("b").holds(170.0).draws(4.0);
    let evening = night.until("2027-04-20T18:10");
    assert_eq!(told(&evening), [("04-20 17:00", NoticeKind::EveningCheck, "everyone")]);
    night.drum("a").draws(14.0);
    let warning = night.until_said("2027-04-20T18:45");
    assert_eq!(warning.len(), 1, "told within 35 minutes, once: {:?}", told(&warning));
    (night, warning)
}

fn calling(said: &HeardNotice) -> &Calling {
    said.notice.calling.as_ref().expect("it calls people")
}

#[test]
fn a_quiet_night_has_one_message_the_evening_check() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(170.0).draws(4.0);
    night.drum("b").holds(165.0).draws(5.0);
    let said = night.until("2027-04-21T07:30");
    assert_eq!(told(&said), [("04-20 17:00", NoticeKind::EveningCheck, "everyone")]);
    let Content::EveningCheck(check) = &said[0].notice.content else { panic!() };
    assert!(check.drums.iter().all(|drum| drum.verdict == Verdict::Lasts), "{:?}", check.drums);
    assert_eq!((check.heard, check.silent.len(), said[0].notice.priority), (4, 0, Priority::Morning));
}

#[test]
fn forecasts_come_at_each_tenth_minute_for_each_drum_and_once_more_with_a_notice() {
    let (night, warning) = pump_turned_up();
    let at: Vec<_> = night.forecasts.iter().map(|forecast| forecast.at.as_second()).collect();
    let warned_at = warning[0].notice.at.as_second();
    let expected = (night.at("2027-04-20T08:00").as_second()..=warned_at)
        .filter(|second| second % 600 == 0 || *second == warned_at)
        .flat_map(|second| [second, second]);
    assert_eq!(at, expected.collect::<Vec<_>>());
}

#[test]
fn a_pump_turned_up_in_the_evening_and_noted_nowhere_is_told_at_once_to_one_person() {
    let (night, warning) = pump_turned_up();
    assert_eq!(warning[0].to, "ann");
    let Content::Runout(runout) = &warning[0].notice.content else { panic!() };
    assert!(matches!(runout.because, Again::Earlier { told: Some(_) }), "{:?}", runout.because);
    let by = runout.be_there_by.unwrap();
    assert_eq!(
        by,
        runout.state.forecast.outlook.empty_at().unwrap().p05.unwrap() - SignedDuration::from_mins(15)
    );
    assert!(by < night.at("2027-04-21T02:00"), "{by}");
    assert_eq!((warning[0].notice.cause.as_str(), warning[0].notice.priority), ("runout:a", Priority::Now));
}

#[test]
fn a_drum_that_will_not_last_is_told_in_the_evening_and_again_when_there_is_just_time_to_act() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    // 12 L/h from 110 L above the heel at five: dry about two o'clock.
    night.drum("a").holds(230.0).draws(12.0);
    let said = night.until("2027-04-21T02:00");
    let Content::EveningCheck(check) = &said[0].notice.content else { panic!() };
    assert_eq!(check.drums[0].verdict, Verdict::WillNotLast);
    assert_eq!(said[0].notice.priority, Priority::Soon);
    let warning = of_kind(&said, NoticeKind::Runout)[0];
    assert_eq!((again(warning), warning.to.as_str()), (&Again::Due, "ann"));
    let Content::Runout(runout) = &warning.notice.content else { panic!() };
    // Mixing 15, travel 30 and twice response 15 minutes before the earliest time, and at most a minute sooner.
    let p05 = runout.state.forecast.outlook.empty_at().unwrap().p05.unwrap();
    let lead = p05.duration_since(warning.notice.at);
    assert!((SignedDuration::from_mins(74)..=SignedDuration::from_mins(77)).contains(&lead), "{lead:#}");
}

#[test]
fn an_answer_stops_the_calls_but_not_the_calculation() {
    let (mut night, said) = pump_turned_up();
    night.answer(said[0].notice.number);
    let calls = night.until("2027-04-20T19:30");
    assert_eq!(told(&calls), [], "nobody else is woken");
    // It gets worse by more than half an hour: the one who was called hears that, and others when nobody comes.
    night.drum("a").draws(30.0);
    let worse = night.until("2027-04-20T22:00");
    assert_eq!((worse[0].to.as_str(), worse[0].notice.kind), ("ann", NoticeKind::Runout));
    assert!(matches!(again(&worse[0]), Again::Earlier { told: Some(_) }));
    assert!(worse.iter().any(|said| said.to.contains("lee")), "{:?}", told(&worse));
}

#[test]
fn a_drum_that_runs_dry_after_an_answer_is_told_once_more() {
    let (mut night, said) = pump_turned_up();
    night.answer(said[0].notice.number);
    let calls = night.until("2027-04-21T02:30");
    let dry: Vec<_> = calls.iter().filter(|said| matches!(again(said), Again::Empty)).collect();
    assert_eq!(dry.len(), 1, "{:?}", told(&calls));
    assert_eq!(dry[0].notice.kind, NoticeKind::Runout);
    // Whoever was called last hears that it has got worse.
    let before = calls.iter().rfind(|said| said.notice.number < dry[0].notice.number).expect("it was called");
    assert_eq!(dry[0].to, before.to, "{:?}", told(&calls));
    assert!(calls.iter().any(|said| said.to == "kim"), "an old answer doesn't cover it: {:?}", told(&calls));
}

#[test]
fn an_answer_to_another_notice_stops_nothing() {
    let (mut night, said) = pump_turned_up();
    night.answer(said[0].notice.number + 40);
    night.answer(1);
    let next = night.until_said("2027-04-20T22:00");
    assert_eq!((next[0].to.as_str(), calling(&next[0]).call), ("kim", Call::Next));
}

#[test]
fn a_refill_at_night_withdraws_the_warning() {
    let (mut night, said) = pump_turned_up();
    night.answer(said[0].notice.number);
    night.until("2027-04-20T20:00");
    night.drum("a").holds(175.0).draws(4.0);
    let said = night.until("2027-04-21T07:30");
    let [withdrawn] = said.as_slice() else { panic!("{:?}", told(&said)) };
    assert_eq!((withdrawn.notice.kind, withdrawn.to.as_str()), (NoticeKind::Withdrawn, "ann"));
    assert_eq!((withdrawn.notice.cause.as_str(), withdrawn.notice.replaces), ("runout:a", Some(2)));
    let Because::Refilled { refill, .. } = because(withdrawn) else { panic!("{withdrawn:?}") };
    assert!((refill.to.0 - 175.0).abs() < 3.0, "{refill:?}");
}

#[test]
fn a_refill_that_is_too_small_withdraws_and_is_warned_of_again_in_time() {
    let (mut night, said) = pump_turned_up();
    night.answer(said[0].notice.number);
    night.until("2027-04-20T20:00");
    night.drum("a").holds(120.0);
    let said = night.until("2027-04-21T03:00");
    let Because::Refilled { verdict, .. } = because(&said[0]) else { panic!("{:?}", said[0]) };
    assert_ne!(*verdict, Verdict::Lasts);
    assert_eq!(of_kind(&said, NoticeKind::Runout)[0].to, "ann", "{:?}", told(&said));
}

#[test]
fn a_refill_that_is_only_written_down_counts_as_an_answer() {
    let (mut night, _) = pump_turned_up();
    night.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(60.0)), clay: Some(Kilograms(1.1)) });
    assert_eq!(told(&night.minutes(15)), []);
}

#[test]
fn a_corrected_entry_replaces_the_wrong_one_in_the_amounts() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(60.0).draws(4.0);
    night.until("2027-04-20T10:00");
    night.drum("a").holds(172.0);
    let refill =
        |clay| Deed::Refill { drum: Some(id("a")), water: Some(Litres(118.0)), clay: Some(Kilograms(clay)) };
    let wrong = night.log(refill(9.0));
    assert_eq!(told(&wrong), []);
    night.correct(refill(2.0));
    let said = night.until("2027-04-20T17:01");
    let Content::EveningCheck(check) = &said[0].notice.content else { panic!("{said:?}") };
    let Some(Refill::Mix(mix)) = &check.drums[0].remedy.refill else { panic!("{:?}", check.drums[0].remedy) };
    // About 52 L at 18 g/L and 2 kg in 172 L: 17 g/L; with 9 kg it would be 58 g/L, and no clay wanted.
    assert!((mix.residual.strength.0 - 17.0).abs() < 0.6, "{:?}", mix.residual);
}

#[test]
fn a_drum_that_lasts_after_all_is_withdrawn_once() {
    let (mut night, said) = pump_turned_up();
    night.answer(said[0].notice.number);
    night.drum("a").draws(5.5);
    let said = night.until("2027-04-21T07:30");
    assert_eq!(said.len(), 1, "{:?}", told(&said));
    assert!(matches!(because(&said[0]), Because::LastsAfterAll { .. }));
}

#[test]
fn drums_that_share_a_pump_are_forecast_together_and_the_resting_one_by_the_draw_of_the_other() {
    let mut night = RoomNight::begin_with_one_pump("2027-04-20T08:00");
    night.log(Deed::InUse { pump: Some(id("p1")), drum: Some(id("a")) });
    night.drum("a").holds(150.0).draws(6.0);
    night.drum("b").holds(160.0).draws(0.0);
    night.until("2027-04-20T12:05");
    let [a, b, supply] = &night.forecasts[night.forecasts.len() - 3..] else { panic!() };
    assert_eq!(supply.of, Subject::Supply(id("p1")));
    assert!(a.in_use && !b.in_use, "{a:?} {b:?}");
    let Outlook::Known { draw, .. } = &b.outlook else { panic!("{b:?}") };
    assert!((draw.0 - 6.0).abs() < 1.0, "{draw:?}");
    let p50 = |forecast: &Forecast| forecast.outlook.empty_at().unwrap().p50.unwrap();
    assert!(p50(supply) > p50(a) + SignedDuration::from_hours(15), "{supply:?}");
}

#[test]
fn two_drums_at_once_are_two_causes() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    for drum in ["a", "b"] {
        night.drum(drum).holds(150.0).draws(4.0);
    }
    night.until("2027-04-20T18:10");
    for drum in ["a", "b"] {
        night.drum(drum).draws(14.0);
    }
    let mut said = night.until_said("2027-04-20T18:45");
    said.extend(night.minutes(8));
    let causes: Vec<_> = said.iter().map(|said| said.notice.cause.as_str()).collect();
    assert_eq!(causes, ["runout:a", "runout:b"]);
    night.answer(said[0].notice.number);
    let next = night.minutes(130);
    assert_eq!(next[0].notice.cause, "runout:b", "an answer to one doesn't quieten the other");
}

#[test]
fn a_level_sensor_that_falls_silent_at_eleven_wakes_each_person_once_until_one_answers() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").draws(4.0);
    night.until("2027-04-20T23:00");
    night.drum("a").falls_silent();
    let said = night.until("2027-04-21T07:29");
    let silent = of_kind(&said, NoticeKind::ReadingsMissing);
    let calls = [("04-20 23:10", "ann"), ("04-20 23:40", "kim"), ("04-21 00:10", "lee")];
    assert_eq!(told(&said), calls.map(|(clock, to)| (clock, NoticeKind::ReadingsMissing, to)));
    let Content::ReadingsMissing(ReadingsMissing::Silent { sensors, common, drums, .. }) =
        &silent[0].notice.content
    else {
        panic!()
    };
    assert_eq!(
        (sensors[0].sensor.as_str(), sensors.len(), common, drums.len()),
        ("drum-a-level", 1, &Common::One, 1)
    );
    assert_eq!(silent[0].notice.priority, Priority::Now);
}

#[test]
fn everything_silent_is_one_message_and_one_when_it_is_back() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T23:00");
    night.network_down(true);
    let mut said = night.until("2027-04-21T01:00");
    night.network_down(false);
    said.extend(night.until("2027-04-21T03:00"));
    let kinds: Vec<_> = said.iter().map(|said| said.notice.kind).collect();
    let [calls @ .., NoticeKind::Withdrawn] = kinds.as_slice() else { panic!("{:?}", told(&said)) };
    // What can't be seen can't be said to be well: it is called for as danger is.
    assert_eq!(calls, [NoticeKind::ReadingsMissing; 6], "one after the other: {:?}", told(&said));
    let Content::ReadingsMissing(ReadingsMissing::Silent { sensors, common, .. }) = &said[0].notice.content
    else {
        panic!()
    };
    assert_eq!((sensors.len(), common), (4, &Common::Everything));
    let Because::HeardAgain { heard, still_silent } = because(&said[6]) else { panic!() };
    assert_eq!((heard.len(), still_silent.len(), said[6].clock.as_str()), (4, 0, "04-21 01:16"));
}

#[test]
fn a_stuck_level_is_doubted_and_withdrawn_when_it_moves_again() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T22:00");
    night.drum("a").sticks();
    let mut said = night.until("2027-04-21T01:00");
    night.drum("a").speaks_again();
    said.extend(night.until("2027-04-21T04:00"));
    let doubts = of_kind(&said, NoticeKind::LevelDoubt);
    let people: Vec<&str> = doubts.iter().map(|doubt| doubt.to.as_str()).collect();
    assert_eq!(people, ["ann", "kim", "lee"], "{:?}", told(&said));
    let of_level =
        |said: &&HeardNotice| said.notice.cause == "level:a" && said.notice.kind == NoticeKind::Withdrawn;
    let back: Vec<&HeardNotice> = said.iter().filter(of_level).collect();
    assert_eq!(
        (back.len(), back[0].to.as_str()),
        (1, "everyone"),
        "all who were woken hear it: {:?}",
        told(&said)
    );
}

#[test]
fn a_forgotten_session_is_told_and_a_forgetful_broker_only_every_two_hours() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T12:00");
    let since = night.at("2027-04-20T11:40");
    assert_eq!(told(&night.event(Event::SessionLost { since })), [], "who did it shows in a moment");
    let said = night.minutes(1);
    let Content::ReadingsMissing(ReadingsMissing::SessionLost { since: told_since, .. }) =
        &said[0].notice.content
    else {
        panic!()
    };
    assert_eq!(
        (*told_since, said[0].to.as_str(), said[0].notice.priority),
        (since, "everyone", Priority::Soon)
    );
    night.until("2027-04-20T12:30");
    let again = night.at("2027-04-20T12:20");
    assert_eq!(told(&night.event(Event::SessionLost { since: again })), []);
    assert_eq!(
        told(&night.until("2027-04-20T14:05")),
        [("04-20 14:00", NoticeKind::ReadingsMissing, "everyone")]
    );
}

#[test]
fn a_failing_store_is_told_and_does_not_silence_the_drums() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(150.0).draws(4.0);
    night.until("2027-04-20T18:00");
    let failed = || Event::StoreFailed { why: "disk full".to_owned() };
    let first = night.event(failed());
    assert_eq!(told(&first), [("04-20 18:00", NoticeKind::ReadingsMissing, "ann")]);
    assert_eq!(told(&night.event(failed())), [], "told once");
    night.drum("a").draws(14.0);
    let said = night.until_said("2027-04-20T18:45");
    assert_eq!((said[0].notice.kind, said[0].to.as_str()), (NoticeKind::Runout, "ann"));
    night.answer(said[0].notice.number);
    night.event(Event::StoreWorks);
    let works: Vec<_> = night.minutes(16).into_iter().filter(|said| said.notice.cause == "store").collect();
    assert!(matches!(because(&works[0]), Because::StoreWorks { .. }));
}

#[test]
fn forwarding_that_falls_behind_is_told_once_and_withdrawn_when_it_has_caught_up() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(150.0).draws(4.0);
    night.until("2027-04-20T10:00");
    let behind = |why: &str| Event::NotForwarded {
        since: "2027-04-20T05:50:00Z".parse().unwrap(),
        why: why.to_owned(),
    };
    let first = night.event(behind("the server doesn't answer"));
    assert_eq!(told(&first), [("04-20 10:00", NoticeKind::ReadingsMissing, "everyone")]);
    assert_eq!(first[0].notice.priority, Priority::Morning);
    assert_eq!(told(&night.event(behind("the server answers 503"))), [], "one cause, one notice");
    assert_eq!(told(&night.restart(SignedDuration::from_mins(2))), []);
    let meanwhile = night.minutes(60);
    assert!(
        meanwhile.iter().all(|said| said.notice.cause != "forwarding"),
        "nothing is known after a restart"
    );
    night.event(Event::Forwarded);
    let over: Vec<_> =
        night.minutes(16).into_iter().filter(|said| said.notice.cause == "forwarding").collect();
    assert!(matches!(because(&over[0]), Because::Forwarded { .. }));
    assert_eq!(over[0].notice.replaces, Some(first[0].notice.number));
}

#[test]
fn a_restart_in_the_middle_of_the_night_repeats_nothing_and_forgets_nothing() {
    let (mut night, said) = pump_turned_up();
    assert_eq!(told(&night.restart(SignedDuration::from_mins(2))), []);
    let next = night.until_said("2027-04-20T22:00");
    let worse = calling(&next[0]).call == Call::Worse;
    assert_eq!(next[0].to, if worse { "ann" } else { "kim" }, "the call goes on where it was");
    assert_eq!(next[0].notice.number, said[0].notice.number + 1);
    night.answer(next[0].notice.number);
    assert_eq!(told(&night.restart(SignedDuration::from_mins(1))), []);
    // The forecast may still move; that is a new call.
    let quiet = night.minutes(30);
    assert!(quiet.iter().all(|said| calling(said).call == Call::Worse), "{:?}", told(&quiet));
    for said in &quiet {
        night.answer(said.notice.number);
    }
    night.drum("a").holds(175.0).draws(4.0);
    night.minutes(60);
    assert_eq!(told(&night.restart(SignedDuration::from_mins(1))), []);
    assert_eq!(told(&night.until("2027-04-21T07:30")), []);
}

#[test]
fn an_evening_check_that_was_missed_is_sent_late_and_knows_it() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.until("2027-04-20T16:50");
    assert_eq!(told(&night.restart(SignedDuration::from_mins(100))), []);
    let said = night.until("2027-04-20T19:00");
    assert_eq!(told(&said), [("04-20 18:35", NoticeKind::EveningCheck, "everyone")]);
    let Content::EveningCheck(check) = &said[0].notice.content else { panic!() };
    assert_eq!(check.due, night.at("2027-04-20T17:00"));
    assert_eq!(told(&night.restart(SignedDuration::from_mins(1))), []);
    assert_eq!(told(&night.until("2027-04-20T20:00")), [], "it isn't sent again");
}

#[test]
fn the_evening_check_comes_at_five_by_the_clock_on_both_sides_of_a_clock_change() {
    for (begin, end, visits) in [
        ("2027-03-27T12:00", "2027-03-29T08:00", ["2027-03-28T04:30:00Z", "2027-03-29T04:30:00Z"]),
        ("2027-10-30T12:00", "2027-11-01T08:00", ["2027-10-31T05:30:00Z", "2027-11-01T05:30:00Z"]),
    ] {
        let mut night = RoomNight::begin(begin);
        night.drum("a").holds(170.0).draws(1.0);
        night.drum("b").holds(170.0).draws(1.0);
        let said = night.until(end);
        let checks: Vec<_> = said
            .iter()
            .map(|said| {
                let Content::EveningCheck(check) = &said.notice.content else { panic!("{said:?}") };
                (said.clock.split_once(' ').unwrap().1, check.visit.at.to_string())
            })
            .collect();
        assert_eq!(checks, visits.map(|visit| ("17:00", visit.to_owned())));
    }
}

#[test]
fn by_day_a_drum_is_told_when_there_is_just_time_to_mix_and_told_again_until_somebody_sees_to_it() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(60.0).draws(16.0);
    let said = night.until("2027-04-20T14:00");
    let warning = of_kind(&said, NoticeKind::Runout);
    assert_eq!((warning[0].to.as_str(), warning[0].notice.priority), ("everyone", Priority::Now));
    for pair in warning.windows(2) {
        let pause = pair[1].notice.at.duration_since(pair[0].notice.at);
        assert!(pause <= SignedDuration::from_mins(30), "nobody has promised to come: {:?}", told(&said));
    }
    assert!(warning.len() > 5, "{:?}", told(&said));
    night.drum("a").holds(175.0);
    let said = night.until("2027-04-20T15:00");
    assert!(matches!(because(&said[0]), Because::Refilled { .. }));
}

#[test]
fn the_same_events_give_the_same_effects() {
    let said = || {
        let (mut night, mut said) = pump_turned_up();
        said.extend(night.until("2027-04-20T21:00"));
        (said.into_iter().map(|said| said.notice).collect::<Vec<_>>(), night.forecasts)
    };
    assert_eq!(said(), said());
}
