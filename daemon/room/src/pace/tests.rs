//! Who is called when nobody answers, hour by hour.

use super::*;
use claymark_invented::minute;
use claymark_model::id::Id;

/// Everything that is told from minute 0 on, by (minute, who, why), until `end`.
fn night(people: &[&str], urgency: Urgency, end: i64) -> Vec<(i64, String, Call)> {
    let shift = Shift::Away { evening: minute(-60), visit: minute(900) };
    calls(people, shift, urgency, end)
}

fn calls(people: &[&str], shift: Shift, urgency: Urgency, end: i64) -> Vec<(i64, String, Call)> {
    let staff = claymark_invented::staff();
    let contacts: Vec<Contact> = people.iter().map(|name| claymark_invented::contact(name, name)).collect();
    let on_call = OnCall::of(contacts.clone(), contacts.clone());
    let pace = Pace { shift, staff: &staff, on_call: &on_call, rules: CallRules::default() };
    let mut told =
        vec![Told { number: 1, at: minute(0), to: audience::first(&contacts, shift), led_by: None }];
    let mut all = vec![(0, named(&told[0].to), Call::First)];
    while let Some(due) = pace.next(&told, urgency).filter(|due| due.at <= minute(end)) {
        all.push((due.at.duration_since(minute(0)).as_mins(), named(&due.to), due.call));
        told.push(Told { number: 1, at: due.at, to: due.to, led_by: None });
    }
    all
}

fn named(audience: &Audience) -> String {
    match audience {
        Audience::Everyone => "everyone".to_owned(),
        Audience::Only(contacts) => contacts.iter().map(Id::as_str).collect::<Vec<_>>().join("+"),
    }
}

#[test]
fn eight_hours_before_the_time_each_person_is_called_twice_and_then_it_is_danger() {
    let by = Urgency::By { by: minute(480) };
    let calls = night(&["ann", "kim"], by, 480);
    // (480 - 45) / 3 = 145, at most 120; (480 - 120 - 45) / 3 = 105; (480 - 225 - 45) / 3 = 70; danger from 390 on.
    let hours_left: Vec<_> =
        calls.iter().filter(|(at, ..)| *at < 390).map(|(at, to, _)| (*at, to.as_str())).collect();
    assert_eq!(hours_left, [(0, "ann"), (120, "kim"), (225, "ann"), (295, "kim")]);
    let danger: Vec<_> =
        calls.iter().filter(|(at, ..)| *at >= 390).map(|(at, to, _)| (*at, to.as_str())).collect();
    assert_eq!(danger, [(390, "ann"), (400, "kim"), (425, "ann"), (450, "kim"), (475, "ann")]);
}

#[test]
fn danger_goes_round_all_people_and_then_on_for_as_long_as_it_lasts() {
    let calls = night(&["ann", "kim", "lee"], Urgency::Danger { by: None }, 120);
    let told: Vec<_> = calls.iter().map(|(at, to, call)| (*at, to.as_str(), *call)).collect();
    let expected = [
        (0, "ann", Call::First),
        (10, "kim", Call::Next),
        (20, "lee", Call::Next),
        (45, "ann", Call::Again),
        (70, "kim", Call::Again),
        (95, "lee", Call::Again),
        (120, "ann", Call::Again),
    ];
    assert_eq!(told, expected);
    let alone: Vec<i64> =
        night(&["ann"], Urgency::Danger { by: None }, 60).iter().map(|(at, ..)| *at).collect();
    assert_eq!(alone, [0, 25, 50]);
    // Nobody to call is no reason to be silent: whoever listens hears it.
    let nobody: Vec<String> =
        night(&[], Urgency::Danger { by: None }, 30).into_iter().map(|(_, to, _)| to).collect();
    assert_eq!(nobody, ["everyone", "everyone"]);
}

#[test]
fn what_only_needs_a_look_wakes_each_person_once_and_by_day_everybody_twice() {
    let told: Vec<_> =
        night(&["ann", "kim"], Urgency::Look, 900).into_iter().map(|(at, to, _)| (at, to)).collect();
    assert_eq!(told, [(0, "ann".to_owned()), (30, "kim".to_owned())]);
    let day: Vec<_> = calls(&["ann", "kim"], Shift::Present, Urgency::Look, 900)
        .into_iter()
        .map(|(at, to, _)| (at, to))
        .collect();
    assert_eq!(day, [(0, "everyone".to_owned()), (120, "everyone".to_owned())]);
}

#[test]
fn what_was_told_by_day_does_not_stand_for_the_night() {
    let shift = Shift::Away { evening: minute(60), visit: minute(900) };
    let calls = calls(&["ann", "kim"], shift, Urgency::Danger { by: None }, 120);
    let told: Vec<_> = calls.iter().map(|(at, to, call)| (*at, to.as_str(), *call)).collect();
    assert_eq!(told[1..3], [(70, "ann", Call::Again), (80, "kim", Call::Next)]);
}
