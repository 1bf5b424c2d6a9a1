//! What would make a drum last does, and what was said of a drum is judged by what came.

use claymark_model::fieldlog::Deed;
use claymark_model::skill::{Fate, MarkForecast};
use claymark_model::units::Litres;
use claymark_notice::content::{Content, EveningCheck, PumpSetting, Remedy, Verdict};
use claymark_room::Event;
use jiff::SignedDuration;

use crate::night::{RoomNight, id};

/// What the evening check says, told at this very minute.
fn evening_check(night: &mut RoomNight) -> EveningCheck {
    let mut said = night.until("2027-04-20T17:00");
    said.extend(night.event(Event::Tick));
    let check = said.iter().find_map(|said| {
        let Content::EveningCheck(check) = &said.notice.content else { return None };
        Some(check.as_ref().clone())
    });
    check.unwrap_or_else(|| panic!("{said:?}"))
}

#[test]
fn whoever_asks_at_the_minute_of_the_evening_check_gets_its_figures() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(230.0).draws(12.0);
    night.drum("b").holds(160.0).draws(6.0);
    night.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(40.0)), clay: None });
    let check = evening_check(&mut night);
    let (drums, supplies) = night.room.known().outlook(check.due, &check.visit, check.due);
    assert_eq!((&drums, &supplies), (&check.drums, &check.supplies));
    assert!(drums.iter().any(|drum| drum.remedy.enough.is_some() && drum.remedy.slower_pump.is_some()));
}

#[test]
fn a_pump_stays_as_it_was_set_last_week_over_a_restart() {
    let set = Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(80.0) };
    let mut night = RoomNight::begin_remembering("2027-04-20T08:00", "2027-04-13T09:00", set);
    let check = evening_check(&mut night);
    let at = night.at("2027-04-13T09:00");
    let settings: Vec<_> = check.drums.iter().map(|drum| drum.state.pump.set).collect();
    assert_eq!(settings, [Some(PumpSetting { rpm: 80.0, at }), None]);
}

/// 12 L/h from 110 L above the heel at five in the evening; what the evening check says of it.
fn too_little() -> (RoomNight, Remedy) {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(230.0).draws(12.0);
    let said = night.until("2027-04-20T17:01");
    let Some(Content::EveningCheck(check)) = said.last().map(|said| said.notice.content.clone()) else {
        panic!("{said:?}")
    };
    let drum = check.drums.first().expect("drum a is in it");
    assert_eq!(drum.verdict, Verdict::WillNotLast);
    let remedy = drum.remedy.clone();
    (night, remedy)
}

/// The verdict on drum a until the next visit, once the forecast has seen what changed.
fn later(night: &RoomNight) -> Verdict {
    let visit = night.room.known().next_visit(night.now).expect("people come every day");
    let (drums, _) = night.room.known().outlook(night.now, &visit, night.now);
    drums.first().expect("drum a is in it").verdict
}

#[test]
fn the_slower_pump_of_the_evening_lasts_and_a_little_faster_does_not() {
    let (mut night, remedy) = too_little();
    let slower = remedy.slower_pump.expect("some speed lasts");
    // Until 08:30, a day after 15 h 30 min: 110 L want 7.1 L/h or less, a little less to be sure.
    assert!((0.40..0.60).contains(&slower.share), "{slower:?}");
    night.drum("a").draws(12.0 * slower.share);
    night.until("2027-04-20T22:00");
    assert_eq!(later(&night), Verdict::Lasts);

    let (mut night, _) = too_little();
    night.drum("a").draws(12.0 * slower.share * 1.3);
    night.until("2027-04-20T22:00");
    assert_ne!(later(&night), Verdict::Lasts);
}

#[test]
fn the_litres_of_the_evening_are_enough_and_some_less_are_not() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(155.0).draws(6.0);
    night.until("2027-04-20T12:00");
    let visit = night.room.known().next_visit(night.now).expect("people come every day");
    let evening = night.room.known().next_evening(night.now).unwrap();
    assert_eq!(evening, night.at("2027-04-20T17:00"));
    let (drums, _) = night.room.known().outlook(night.now, &visit, evening);
    let enough = drums[0].remedy.enough.clone().expect("the full drum lasts");
    // 15 h 30 min at 6 L/h are 93 L, over a heel of 12 L; more to be sure.
    assert!((103.0..125.0).contains(&enough.litres.0), "{enough:?}");
    // 131 L at noon less five hours: about 101 L, which isn't enough; what is missing is to be added.
    let holds = enough.holds.expect("its level is believed");
    assert!((holds.0 - 101.0).abs() < 3.0, "{enough:?}");
    assert!(enough.refill.is_some());

    for (litres, verdict) in
        [(enough.litres + Litres(2.0), Verdict::Lasts), (Litres(98.0), Verdict::WillNotLast)]
    {
        let mut night = RoomNight::begin("2027-04-20T12:00");
        night.drum("a").holds(litres.0 + 30.0).draws(6.0);
        night.until("2027-04-20T17:00");
        assert_eq!(later(&night), verdict, "{litres:?}");
    }
}

fn came(said: &MarkForecast) -> bool {
    matches!(said.fate, Fate::Came { .. })
}

#[test]
fn what_was_said_of_a_drum_is_judged_when_its_level_comes_down() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(170.0).draws(9.0);
    night.until("2027-04-20T20:00");
    let of_a = |said: &&MarkForecast| said.drum.as_str() == "a" && came(said);
    let judged: Vec<_> = night.marks.iter().filter(of_a).cloned().collect();
    assert!(judged.len() >= 20, "{} of {}", judged.len(), night.marks.len());
    let first_hour_over: jiff::Timestamp = "2027-04-20T06:00:00Z".parse().unwrap();
    // In its first hour the watch hardly knows the drum, and says so by wide intervals.
    for said in judged.iter().filter(|said| said.made_at >= first_hour_over) {
        let off = said.off().expect("it is settled");
        assert!(off.abs() <= SignedDuration::from_mins(45), "{off:#}: {said:?}");
    }
    let counted: u32 = night.room.known().skill().leads().map(|(_, skill)| skill.outer.of).sum();
    assert_eq!(usize::try_from(counted).unwrap(), night.marks.iter().filter(|said| came(said)).count());

    // A restart goes on where it was, and knows how good it had been.
    let before = night.room.known().skill().clone();
    night.restart(SignedDuration::from_mins(3));
    assert_eq!(
        night.room.known().skill().leads().map(|(_, skill)| skill.outer).collect::<Vec<_>>(),
        before.leads().map(|(_, skill)| skill.outer).collect::<Vec<_>>()
    );
    let open = night.marks.iter().filter(|said| said.fate == Fate::Open).count();
    night.until("2027-04-20T23:00");
    let settled_since = night.marks.iter().filter(|said| came(said)).count();
    assert!(open > 0 && settled_since > judged.len());
}

#[test]
fn a_refill_lets_what_was_said_before_it_go() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(130.0).draws(9.0);
    night.until("2027-04-20T12:00");
    let refilled = night.at("2027-04-20T12:00");
    night.drum("a").holds(170.0);
    night.until("2027-04-20T14:00");
    let before = night.marks.iter().filter(|said| said.drum.as_str() == "a" && said.made_at < refilled);
    let open: Vec<_> = before.clone().filter(|said| said.fate == Fate::Open).collect();
    assert!(open.is_empty(), "{open:?}");
    assert!(before.clone().any(|said| said.fate == Fate::Dropped) && before.clone().any(came));
}
