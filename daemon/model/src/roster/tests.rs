//! Who may be called, hour by hour.

use super::*;

fn at(text: &str) -> DateTime {
    text.parse().unwrap()
}

fn hours(days: &[WeekDay], from: (i8, i8), to: (i8, i8)) -> CallHours {
    let time = |(hour, minute)| Time::constant(hour, minute, 0, 0);
    CallHours { days: days.to_vec(), from: time(from), to: time(to) }
}

fn somebody() -> Contact {
    Contact::always(Id::new("kim").unwrap(), "Kim (invented)".to_owned())
}

#[test]
fn a_window_over_midnight_belongs_to_the_day_on_which_it_begins() {
    // 23 April 2027 is a Friday.
    let kim = Contact { hours: vec![hours(&[WeekDay::Fri], (17, 0), (7, 30))], ..somebody() };
    for (when, on) in [
        ("2027-04-23T16:59", false),
        ("2027-04-23T17:00", true),
        ("2027-04-24T07:29", true),
        ("2027-04-24T07:30", false),
        ("2027-04-24T17:00", false),
        ("2027-04-23T03:00", false),
    ] {
        assert_eq!(kim.is_on(at(when), true), on, "{when}");
    }
    let whole_day = Contact { hours: vec![hours(&[WeekDay::Sat], (0, 0), (0, 0))], ..somebody() };
    assert!(whole_day.is_on(at("2027-04-24T00:00"), true) && whole_day.is_on(at("2027-04-24T23:59"), true));
    assert!(!whole_day.is_on(at("2027-04-25T00:00"), true) && !whole_day.is_on(at("2027-04-23T23:59"), true));
}

#[test]
fn a_day_off_takes_the_night_that_begins_on_it_and_not_the_end_of_the_one_before() {
    let off = vec![("2027-04-23".parse().unwrap(), "2027-04-24".parse().unwrap())];
    let nights = vec![hours(&WeekDay::NAMES.map(|(_, day)| day), (17, 0), (7, 30))];
    let kim = Contact { hours: nights, days_off: off, ..somebody() };
    for (when, on) in [
        ("2027-04-23T03:00", true),
        ("2027-04-23T18:00", false),
        ("2027-04-24T03:00", false),
        ("2027-04-25T03:00", false),
        ("2027-04-25T18:00", true),
    ] {
        assert_eq!(kim.is_on(at(when), true), on, "{when}");
    }
}

#[test]
fn who_has_no_hours_is_called_by_role() {
    let noon = at("2027-04-23T12:00");
    for (role, by_day, by_night) in [
        (Role::All, true, true),
        (Role::Manager, true, true),
        (Role::Day, true, false),
        (Role::Night, false, true),
    ] {
        let somebody = Contact { role, ..somebody() };
        assert_eq!((somebody.is_on(noon, false), somebody.is_on(noon, true)), (by_day, by_night), "{role:?}");
    }
}
