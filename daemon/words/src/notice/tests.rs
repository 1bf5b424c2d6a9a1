//! Every kind of message as people read it: the snapshots are meant to be read aloud.

mod advice;
mod calling;
mod clocks;
mod handover;
mod reach;
pub(crate) mod room;

use claymark_clay::Yield;
use claymark_model::doubt::Grounds;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::Outlook;
use claymark_model::plan::{Batch, Plan, Ramp, Row};
use claymark_model::routine::HandCheck;
use claymark_model::routine::StockRules;
use claymark_model::site::{Place, Quantity};
use claymark_model::units::{Litres, PeopleUnits, Unit};
use claymark_notice::content::{
    Again, Because, Common, EveningCheck, LevelDoubt, ReadingsMissing, Runout, SilentSensor, Verdict,
    Withdrawn,
};
use claymark_notice::failure::{Failure, Fault};
use claymark_notice::{Audience, Content, Notice, NoticeKind};
use claymark_room::{Effect, Event, Room};
use jiff::SignedDuration;
use proptest::prelude::*;

use super::*;
use room::*;

fn pounds_and_gallons() -> PeopleUnits {
    PeopleUnits {
        mass: Unit::Pound,
        volume: Unit::UsGallon,
        strength: Unit::PoundPer100Litres,
        flow: Unit::UsGallonPerMinute,
        temperature: Unit::Fahrenheit,
    }
}

fn told(site: &Site, notice: &Notice) -> String {
    let Wording { subject, text } = wording(site, notice);
    let length = subject.chars().count();
    assert!(length <= SUBJECT_CHARS, "{length}: {subject}");
    assert!(!subject.contains('\n') && text.ends_with('\n') && !text.ends_with("\n\n"), "{text:?}");
    format!("{subject}\n[{length} characters]\n\n{text}")
}

fn evening(drums: Vec<claymark_notice::content::EveningDrum>) -> EveningCheck {
    EveningCheck {
        standing: Vec::new(),
        overdue: Vec::new(),
        doubtful_catches: Vec::new(),
        order_due: None,
        shelved: Vec::new(),
        due: at("2027-04-20T14:00:00Z"),
        visit: visit(),
        drums,
        supplies: Vec::new(),
        silent: Vec::new(),
        heard: 14,
        confirm_by: None,
        first_called: Some(id("ann")),
        store_failing_since: None,
    }
}

fn runout(because: Again) -> Runout {
    Runout {
        state: falling_faster("2027-04-20T20:45:00Z"),
        visit: Some(visit()),
        be_there_by: Some(at("2027-04-20T23:05:00Z")),
        remedy: at_some_speed(remedy(Verdict::Lasts)),
        because,
        supply: None,
    }
}

#[test]
fn a_yield_that_changed_is_not_over_and_a_fixed_target_is_told_with_what_holds_the_band() {
    let clay = |ntu_per_mg_l| Yield { ntu_per_mg_l, sd: 0.02, since: None, exponent: 1.0 };
    let failure = Failure {
        fault: Fault::YieldChanged { from: clay(0.9), to: clay(0.6), lot: None },
        since: at("2027-04-20T08:00:00Z"),
        signs: Vec::new(),
        near: None,
        drum: None,
        visit: None,
        stage: 0,
        comes_of: Vec::new(),
        origins: Vec::new(),
    };
    let site = site();
    assert!(site.batches.is_empty());
    let target = site.drums[0].target;
    let holds = format!(
        "{} instead of {} for Drum A",
        crate::format::strength(&site.units, target * 1.5),
        crate::format::strength(&site.units, target)
    );
    let changed = told(&site, &notice("2027-04-20T14:00:00Z", Content::Failure(Box::new(failure.clone()))));
    assert!(
        changed.contains("keep to the target strength of the site file") && changed.contains(&holds),
        "{changed}"
    );
    let because = Because::FailureOver { failure: Box::new(failure) };
    let withdrawn = Withdrawn { told_at: at("2027-04-20T08:30:00Z"), because };
    let goes_on = told(&site, &notice("2027-04-20T20:00:00Z", Content::Withdrawn(Box::new(withdrawn))));
    assert!(
        goes_on.starts_with("The new yield of the clay is counted with: 0.60 NTU for each mg/L."),
        "{goes_on}"
    );
    assert!(goes_on.contains(&holds) && !goes_on.contains("over"), "{goes_on}");
}

#[test]
fn an_evening_when_all_is_well() {
    let check = evening(vec![lasting("a"), lasting("b")]);
    insta::assert_snapshot!(told(
        &site(),
        &notice("2027-04-20T14:00:00Z", Content::EveningCheck(Box::new(check)))
    ));
}

#[test]
fn an_evening_when_one_drum_will_not_last() {
    let check = evening(vec![not_lasting("a"), lasting("b")]);
    insta::assert_snapshot!(told(
        &site(),
        &notice("2027-04-20T14:00:00Z", Content::EveningCheck(Box::new(check)))
    ));
}

#[test]
fn an_outlook_for_whoever_asks_at_noon() {
    let mut drums = vec![not_lasting("a"), lasting("b")];
    let evening = at("2027-04-20T14:00:00Z");
    for (drum, holds) in drums.iter_mut().zip([84.0, 160.0]) {
        let enough = drum.remedy.enough.as_mut().unwrap();
        (enough.at, enough.holds) = (evening, Some(Litres(holds)));
        enough.refill = enough.refill.take().filter(|_| holds < enough.litres.0);
    }
    insta::assert_snapshot!(outlook(&site(), at("2027-04-20T09:00:00Z"), &visit(), &drums, &[]));
}

#[test]
fn an_evening_in_pounds_and_gallons_when_even_full_it_will_not_last() {
    let site = Site { units: pounds_and_gallons(), ..site() };
    let mut drum = not_lasting("a");
    drum.remedy = remedy(Verdict::WillNotLast);
    let check = evening(vec![drum, lasting("b")]);
    insta::assert_snapshot!(told(
        &site,
        &notice("2027-04-20T14:00:00Z", Content::EveningCheck(Box::new(check)))
    ));
}

#[test]
fn a_late_evening_check_with_an_unknown_drum_a_resting_drum_and_silent_sensors() {
    let mut resting = lasting("b");
    resting.state.forecast.in_use = false;
    let silent = vec![SilentSensor {
        sensor: id("drum-a-level"),
        last: Some(at("2027-04-20T12:12:00Z")),
        doubted: false,
    }];
    let check = EveningCheck {
        silent,
        heard: 13,
        store_failing_since: Some(at("2027-04-20T13:30:00Z")),
        ..evening(vec![unknown("a"), resting])
    };
    insta::assert_snapshot!(told(
        &site(),
        &notice("2027-04-20T15:35:00Z", Content::EveningCheck(Box::new(check)))
    ));
}

#[test]
fn a_run_out_that_moved_earlier() {
    let runout = runout(Again::Earlier { told: Some(at("2027-04-21T08:00:00Z")) });
    insta::assert_snapshot!(told(
        &site(),
        &notice("2027-04-20T20:45:00Z", Content::Runout(Box::new(runout)))
    ));
}

#[test]
fn a_run_out_of_a_drum_that_is_empty() {
    let mut runout = runout(Again::Due);
    runout.state = empty("2027-04-20T23:50:00Z");
    runout.be_there_by = Some(at("2027-04-20T23:35:00Z"));
    insta::assert_snapshot!(told(
        &site(),
        &notice("2027-04-20T23:50:00Z", Content::Runout(Box::new(runout)))
    ));
}

#[test]
fn a_drum_that_ran_dry_although_somebody_answered() {
    let mut runout = runout(Again::Empty);
    runout.state = empty("2027-04-20T23:50:00Z");
    let said = told(&site(), &notice("2027-04-20T23:50:00Z", Content::Runout(Box::new(runout))));
    assert!(said.contains("It has run dry since you were told, and no refill was seen."), "{said}");
    assert!(said.starts_with("Drum A: dry since 02:47. Go now."), "{said}");
    // The forecast says it a little before the level has settled it.
    let mut runout = self::runout(Again::Empty);
    runout.state = empty("2027-04-20T23:50:00Z");
    runout.state.ran_empty = None;
    let said = told(&site(), &notice("2027-04-20T23:50:00Z", Content::Runout(Box::new(runout))));
    assert!(said.contains("the tanks go on clearing, for"), "{said}");
}

#[test]
fn a_run_out_by_day_in_pounds_and_gallons() {
    let site = Site { units: pounds_and_gallons(), ..site() };
    let mut runout = Runout { visit: None, ..runout(Again::Due) };
    runout.remedy = by_day();
    let notice = Notice {
        to: Audience::Everyone,
        ..notice("2027-04-20T22:55:00Z", Content::Runout(Box::new(runout)))
    };
    insta::assert_snapshot!(told(&site, &notice));
}

#[test]
fn a_warning_withdrawn_after_a_refill_and_one_after_too_small_a_refill() {
    let refill = refill_seen();
    let withdrawn = |verdict, state| {
        let because = Because::Refilled { state, refill, visit: Some(visit()), verdict };
        let told_at = at("2027-04-20T20:45:00Z");
        notice("2027-04-20T23:40:00Z", Content::Withdrawn(Box::new(Withdrawn { told_at, because })))
    };
    let enough = told(&site(), &withdrawn(Verdict::Lasts, lasting("a").state));
    let too_little = told(&site(), &withdrawn(Verdict::WillNotLast, falling_faster("2027-04-20T23:40:00Z")));
    insta::assert_snapshot!(format!("{enough}\n=====\n\n{too_little}"));
}

#[test]
fn other_warnings_withdrawn() {
    let state = || lasting("a").state;
    let since = at("2027-04-20T20:20:00Z");
    let still_silent = vec![SilentSensor { sensor: id("head-turbidity"), last: Some(since), doubted: false }];
    let all: Vec<_> = [
        Because::LastsAfterAll { state: state(), visit: Some(visit()) },
        Because::LevelBelieved { state: state(), since, until: None },
        Because::HeardAgain { heard: vec![id("drum-a-level")], still_silent: Vec::new() },
        Because::HeardAgain { heard: vec![id("drum-a-level"), id("drum-b-level")], still_silent },
        Because::StoreWorks { since },
        Because::Forwarded { since },
    ]
    .into_iter()
    .map(|because| {
        let withdrawn = Withdrawn { told_at: at("2027-04-20T20:45:00Z"), because };
        told(&site(), &notice("2027-04-20T23:40:00Z", Content::Withdrawn(Box::new(withdrawn))))
    })
    .collect();
    insta::assert_snapshot!(all.join("\n=====\n\n"));
}

#[test]
fn a_level_that_is_not_believed() {
    let known = LevelDoubt { state: doubted("a"), visit: Some(visit()) };
    let mut state = doubted("a");
    state.forecast.outlook = Outlook::Unknown {
        why: Grounds::Earlier("the level isn't believed and the pump's rate isn't known".to_owned()),
    };
    let unknown = LevelDoubt { state, visit: None };
    let both = [known, unknown]
        .map(|doubt| told(&site(), &notice("2027-04-20T20:45:00Z", Content::LevelDoubt(Box::new(doubt)))));
    insta::assert_snapshot!(both.join("\n=====\n\n"));
}

#[test]
fn readings_that_are_missing() {
    let last = Some(at("2027-04-20T20:00:00Z"));
    let silent = |sensors: &[&str], common, drums| ReadingsMissing::Silent {
        sensors: sensors
            .iter()
            .map(|sensor| SilentSensor { sensor: id(sensor), last, doubted: false })
            .collect(),
        common,
        drums,
        visit: Some(visit()),
        link: None,
        unseen: Vec::new(),
    };
    let never = ReadingsMissing::Silent {
        sensors: vec![SilentSensor { sensor: id("t1-oxygen"), last: None, doubted: false }],
        common: Common::One,
        drums: Vec::new(),
        visit: None,
        link: None,
        unseen: Vec::new(),
    };
    let since = at("2027-04-20T19:30:00Z");
    let probe = SilentSensor { sensor: id("t1-oxygen"), last, doubted: true };
    let unseen = ReadingsMissing::Silent {
        sensors: vec![probe],
        common: Common::One,
        drums: Vec::new(),
        visit: Some(visit()),
        link: None,
        unseen: vec![Quantity::Temperature, Quantity::Oxygen],
    };
    let all: Vec<_> = [
        unseen,
        silent(&["drum-a-level"], Common::One, vec![doubted("a")]),
        silent(&["drum-a-level", "drum-b-level"], Common::Together, vec![doubted("a"), unknown("b").state]),
        silent(&["drum-a-level", "drum-b-level", "head-turbidity"], Common::Everything, vec![doubted("a")]),
        never,
        ReadingsMissing::SessionLost { since, until: at("2027-04-20T20:40:00Z") },
        ReadingsMissing::StoreFailing { since, why: "database or disk is full".to_owned() },
        ReadingsMissing::NotForwarded { since, why: "the server answers 401: unauthorized".to_owned() },
    ]
    .into_iter()
    .map(|missing| told(&site(), &notice("2027-04-20T20:45:00Z", Content::ReadingsMissing(missing))))
    .collect();
    insta::assert_snapshot!(all.join("\n=====\n\n"));
}

proptest! {
    #[test]
    fn the_first_line_fits_a_lock_screen_whatever_things_are_called(
        drum in "\\PC{0,200}", sensor_place in ".{0,200}", minutes in 0_i64..6000, full in 0_usize..3,
    ) {
        let mut site = site();
        for each in &mut site.drums {
            each.name = format!("{drum} {}", each.id);
        }
        site.head_tank.name = sensor_place;
        let verdict = [Verdict::Lasts, Verdict::MayNotLast, Verdict::WillNotLast][full];
        for content in every_kind(verdict) {
            let mut notice = notice("2027-04-20T14:00:00Z", content);
            notice.at += SignedDuration::from_mins(minutes);
            let Wording { subject, text } = wording(&site, &notice);
            prop_assert!(subject.chars().count() <= SUBJECT_CHARS, "{subject}");
            prop_assert!(!subject.contains(['\n', '\r']), "{subject:?}");
            prop_assert!(!text.is_empty());
        }
    }
}

/// One notice of every kind, and of every way to say it.
fn every_kind(full: Verdict) -> Vec<Content> {
    let since = at("2027-04-20T19:30:00Z");
    let sensors = ["drum-a-level", "drum-b-level", "head-turbidity"].map(|sensor| SilentSensor {
        sensor: id(sensor),
        last: Some(since),
        doubted: false,
    });
    let silent = |how_many: usize, common, drums| {
        let unseen = vec![Quantity::Oxygen; usize::from(how_many == 1)];
        let sensors = sensors.iter().take(how_many).cloned().collect();
        Content::ReadingsMissing(ReadingsMissing::Silent {
            sensors,
            common,
            drums,
            visit: None,
            link: None,
            unseen,
        })
    };
    let withdrawn = |because| Content::Withdrawn(Box::new(Withdrawn { told_at: since, because }));
    let mut not_lasting = not_lasting("a");
    not_lasting.remedy = remedy(full);
    let state = || lasting("a").state;
    vec![
        Content::EveningCheck(Box::new(evening(vec![lasting("a"), lasting("b")]))),
        Content::EveningCheck(Box::new(evening(vec![
            not_lasting.clone(),
            not_lasting.clone(),
            unknown("b"),
        ]))),
        Content::EveningCheck(Box::new(evening(vec![unknown("a"), unknown("b")]))),
        Content::Runout(Box::new(Runout { remedy: remedy(full), ..runout(Again::Due) })),
        Content::Runout(Box::new(Runout {
            state: unknown("a").state,
            be_there_by: None,
            ..runout(Again::Due)
        })),
        withdrawn(Because::Refilled { state: state(), refill: refill_seen(), visit: None, verdict: full }),
        withdrawn(Because::LastsAfterAll { state: state(), visit: None }),
        withdrawn(Because::LevelBelieved { state: state(), since, until: None }),
        withdrawn(Because::HeardAgain { heard: vec![id("head-turbidity")], still_silent: sensors.to_vec() }),
        withdrawn(Because::StoreWorks { since }),
        withdrawn(Because::Forwarded { since }),
        withdrawn(Because::NameFree { since, until: since }),
        Content::LevelDoubt(Box::new(LevelDoubt { state: doubted("a"), visit: None })),
        silent(1, Common::One, vec![doubted("a")]),
        silent(1, Common::One, Vec::new()),
        silent(3, Common::Together, vec![doubted("a"), state()]),
        silent(3, Common::Everything, vec![doubted("a")]),
        Content::ReadingsMissing(ReadingsMissing::SessionLost { since, until: since }),
        Content::ReadingsMissing(ReadingsMissing::StoreFailing { since, why: "no".to_owned() }),
        Content::ReadingsMissing(ReadingsMissing::NotForwarded { since, why: "no".to_owned() }),
    ]
    .into_iter()
    .chain(reach::every_kind(not_lasting.remedy))
    .chain(clocks::every_kind())
    .collect()
}

/// A room of 4500 L: 52.5 L/min at 65 NTU want 6.83 g/min, 9.83 kg, 0.43 bags a day; two bags are there, the next delivery is ten days away.
fn short_of_clay() -> Site {
    let mut site = site();
    site.tanks[0].volume = Litres(4500.0);
    site.clay.ntu_per_mg_l = Some(0.5);
    site.batches = vec![Batch {
        id: id("spring"),
        name: "Spring batch".to_owned(),
        stocked: "2027-04-18".parse().unwrap(),
        dph_at_stocking: 4,
        day_at_stocking: 0,
        ended: None,
        tanks: vec![id("t1")],
        plan: Plan::new(Ramp::Linear, vec![Row { day: 0, exchanges_per_h: Some(0.7), ..Row::default() }])
            .unwrap(),
    }];
    site.stock = Some(StockRules {
        counted_bags: 2.0,
        counted_on: "2027-04-20".parse().unwrap(),
        on_order: None,
        delivery_days: 10.0,
        delivery_sd_days: 2.0,
        freight: 180.0,
        bag_price: 14.0,
        holding_share_a_year: 0.25,
        pallet_bags: 40,
        floor_bags: 120,
        one_lot_days: 90.0,
        service: 0.95,
    });
    let check = |what, days: i64| HandCheck {
        what,
        place: Place::Head,
        every: SignedDuration::from_hours(24 * days),
    };
    site.hand_checks = vec![check(Quantity::Turbidity, 1), check(Quantity::Flow, 7)];
    site
}

#[test]
fn the_rooms_evening_asks_for_clay_that_comes_too_late_and_for_the_check_that_is_overdue() {
    let site = short_of_clay();
    let mut room = Room::new(site.clone());
    let entry = |when: &str, deed| LogEntry {
        key: when.to_owned(),
        at: at(when),
        received_at: at(when),
        by: None,
        replaces: None,
        deed,
    };
    let (quantity, unit) = (Some("turbidity".to_owned()), Some("NTU".to_owned()));
    let sample = Deed::GrabSample { place: Some(Place::Head), quantity, value: Some(64.0), unit };
    let caught =
        Deed::FlowCheck { place: Some(Place::Head), volume: Some(Litres(26.25)), seconds: Some(30.0) };
    let began = at("2027-04-20T13:00:00Z");
    room.handle(began, Event::Remembered(entry("2027-04-18T06:00:00Z", sample)));
    room.handle(began, Event::Remembered(entry("2027-04-19T06:00:00Z", caught)));
    room.handle(began, Event::GoLive);
    while let Some((due, _)) = room.next_deadline().filter(|(due, _)| *due <= at("2027-04-20T14:00:00Z")) {
        room.handle(due, Event::Tick);
    }
    let evening = room.take_effects().into_iter().find_map(|effect| {
        let Effect::Notify(notice) = effect else { return None };
        (notice.kind == NoticeKind::EveningCheck).then_some(notice)
    });
    let text = told(&site, &evening.unwrap());
    for line in [
        "ORDER CLAY NOW: 40 bags. 2 are on the dry floor. They last 4 days, until Fri 23 Apr (by the plan: 0.43 bags a day while \
         a delivery is on its way).\n",
        "Checks by hand that are overdue; make them before you go, and write them down (claymark log flow_check, claymark log \
         grab_sample):\n- turbidity at Head tank: last Sun 09:00, wanted every 24 h.\n",
    ] {
        assert!(text.contains(line), "'{line}' isn't in\n{text}");
    }
    assert!(!text.contains("- flow at"), "that was checked yesterday:\n{text}");
}
