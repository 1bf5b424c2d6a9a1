//! Nights over changes of the clock, weekends and holidays.

use jiff::civil::Time;

use super::*;
use crate::invented;
use crate::roster::OtherVisit;

fn site(evening_check: &str, next_visit: &str) -> Site {
    let time = |text: &str| text.parse::<Time>().unwrap();
    let staff =
        Staff { evening_check: time(evening_check), next_visit: time(next_visit), ..invented::staff() };
    Site { staff, ..invented::site() }
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn night(evening: &str, visit: &str) -> Shift {
    Shift::Away { evening: at(evening), visit: at(visit) }
}

#[test]
fn the_night_is_an_hour_shorter_in_spring_and_longer_in_autumn() {
    // Europe/Helsinki changes on 28 March and 31 October 2027 (EU rule: last Sunday, 01:00 UTC).
    let site = site("17:00", "07:30");
    for (inside, evening, visit, hours) in [
        ("2027-03-26T22:00:00Z", "2027-03-26T15:00:00Z", "2027-03-27T05:30:00Z", 14.5),
        ("2027-03-27T22:00:00Z", "2027-03-27T15:00:00Z", "2027-03-28T04:30:00Z", 13.5),
        ("2027-10-30T22:00:00Z", "2027-10-30T14:00:00Z", "2027-10-31T05:30:00Z", 15.5),
    ] {
        let night = night(evening, visit);
        assert_eq!(site.shift(at(inside)), night);
        assert_eq!(site.shift(at(evening)), night, "the check itself belongs to the night");
        assert_eq!(site.shift(at(visit)), Shift::Present, "the visit ends it");
        assert!((at(visit).duration_since(at(evening)).as_secs_f64() / 3600.0 - hours).abs() < 1e-9);
        assert_eq!(site.visit_after(at(evening)), Some(at(visit)));
    }
    assert_eq!(site.next_evening_check(at("2027-03-27T15:00:00Z")), Some(at("2027-03-28T14:00:00Z")));
}

#[test]
fn a_doubtful_clock_time_makes_the_night_longer() {
    // 03:30 happens twice on 31 October (00:30 and 01:30 UTC) and never on 28 March.
    let in_fold = site("22:00", "03:30").shift(at("2027-10-31T01:00:00Z"));
    assert_eq!(in_fold, night("2027-10-30T19:00:00Z", "2027-10-31T01:30:00Z"));
    let check_in_fold = site("03:30", "09:00").next_evening_check(at("2027-10-30T22:00:00Z"));
    assert_eq!(check_in_fold, Some(at("2027-10-31T00:30:00Z")));
    let in_gap = site("22:00", "03:30").shift(at("2027-03-28T01:00:00Z"));
    assert_eq!(in_gap, night("2027-03-27T20:00:00Z", "2027-03-28T01:30:00Z"));
}

#[test]
fn a_night_may_begin_after_midnight() {
    let site = Site { time_zone: TimeZone::UTC, ..site("01:00", "07:00") };
    assert_eq!(site.shift(at("2027-04-20T03:00:00Z")), night("2027-04-20T01:00:00Z", "2027-04-20T07:00:00Z"));
    assert_eq!(site.shift(at("2027-04-20T12:00:00Z")), Shift::Present);
}

#[test]
fn on_saturday_people_come_later_and_on_a_day_without_a_visit_the_night_goes_on() {
    let other = |on, at: Option<&str>| OtherVisit { on, at: at.map(|at| at.parse().unwrap()) };
    let mut site = site("17:00", "07:30");
    site.staff.other_visits = vec![
        other(VisitDay::Each(WeekDay::Sat), Some("09:00")),
        other(VisitDay::Each(WeekDay::Sun), None),
        other(VisitDay::Date("2027-05-01".parse().unwrap()), Some("11:00")),
    ];
    // Helsinki is three hours ahead of UTC; 24 April 2027 is a Saturday, and so is 1 May.
    let friday = night("2027-04-23T14:00:00Z", "2027-04-24T06:00:00Z");
    assert_eq!(site.shift(at("2027-04-24T05:00:00Z")), friday, "08:00 on Saturday");
    assert_eq!(site.shift(at("2027-04-24T07:00:00Z")), Shift::Present, "10:00 on Saturday");
    let weekend = night("2027-04-24T14:00:00Z", "2027-04-26T04:30:00Z");
    assert_eq!(site.shift(at("2027-04-25T09:00:00Z")), weekend, "Sunday noon");
    let sunday = night("2027-04-25T14:00:00Z", "2027-04-26T04:30:00Z");
    assert_eq!(site.shift(at("2027-04-25T20:00:00Z")), sunday, "its evening has a check of its own");
    assert_eq!(site.last_visit(at("2027-04-25T20:00:00Z")), Some(at("2027-04-24T06:00:00Z")));
    assert_eq!(
        site.visit_after(at("2027-04-30T14:00:00Z")),
        Some(at("2027-05-01T08:00:00Z")),
        "the date's own"
    );
}

#[test]
fn managers_are_called_last_and_outside_all_hours_nobody_is_named() {
    let mut site = site("17:00", "07:30");
    let contact = |name: &str, role| Contact { role, ..invented::contact(name, name) };
    site.contacts =
        vec![contact("lee", Role::Manager), contact("ann", Role::Day), contact("kim", Role::Night)];
    let on = |at: Timestamp| site.on_call(at).into_iter().map(|who| who.id.as_str()).collect::<Vec<_>>();
    assert_eq!(on(at("2027-04-20T09:00:00Z")), ["ann", "lee"]);
    assert_eq!(on(at("2027-04-20T23:00:00Z")), ["kim", "lee"]);
    site.contacts.truncate(2);
    site.contacts.remove(0);
    assert_eq!(site.on_call(at("2027-04-20T23:00:00Z")), Vec::<&Contact>::new());
}
