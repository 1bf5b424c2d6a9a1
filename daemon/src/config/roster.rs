//! Who is called when: hours, days off and roles of `[[contact]]`, other visits of `[staff]`, and whether each hour has
//! somebody.

use std::ops::Range;

use jiff::civil::{Date, Time};
use jiff::{SignedDuration, Span, Timestamp};
use toml::Spanned;
use toml::de::DeValue;

use claymark_model::calls::WeeklyTime;
use claymark_model::id::Id;
use claymark_model::roster::{CallHours, Contact, OtherVisit, Role, VisitDay, WeekDay};
use claymark_model::site::Site;

use super::mistake::Findings;
use super::table::Table;
use super::value::{self, Wrong, wrong};

/// A contact with hours, days off and role.
pub(super) fn contact(table: &Table<'_>, id: Id, name: String) -> Contact {
    let hours = table.maybe("hours", value::texts).map(Spanned::into_inner).unwrap_or_default();
    let days_off = table.maybe("days_off", value::texts).map(Spanned::into_inner).unwrap_or_default();
    Contact {
        role: table.or("role", Role::All, value::one_of(ROLES)),
        hours: each(table.findings, "hours", &hours, call_hours),
        days_off: each(table.findings, "days_off", &days_off, days),
        only_danger: table.maybe("only", value::one_of(&[("danger", true)])).is_some(),
        ..Contact::always(id, name)
    }
}

/// `visits = { sat = "09:00", sun = "none", "2027-12-25" = "10:00" }`.
pub(super) fn other_visits(staff: &Table<'_>) -> Vec<OtherVisit> {
    let Some(value) = staff.raw("visits") else { return Vec::new() };
    let Some(table) = value.get_ref().as_table() else {
        let what = "visits: a table of days with their times was expected";
        staff.findings.mistake(value.span(), what, VISITS_EXAMPLE);
        return Vec::new();
    };
    let mut all = Vec::new();
    for (day, time) in table {
        let day_found = visit_day(day.get_ref()).map_err(|wrong| (day.span(), wrong));
        let time_found = visit_time(time.get_ref()).map_err(|wrong| (time.span(), wrong));
        match (day_found, time_found) {
            (Ok(on), Ok(at)) => all.push(OtherVisit { on, at }),
            (Err((span, Wrong { what, remedy })), _) | (_, Err((span, Wrong { what, remedy }))) => {
                staff.findings.mistake(span, format!("visits: {what}"), remedy);
            }
        }
    }
    let weekly = |day| all.iter().any(|other| other.on == VisitDay::Each(day) && other.at.is_none());
    if WeekDay::NAMES.iter().all(|(_, day)| weekly(*day)) {
        staff.findings.mistake(value.span(), "visits: on no day of the week anybody comes", VISITS_EXAMPLE);
        all.clear();
    }
    all
}

/// `wed 14:00`.
pub(super) fn weekly_time(value: &DeValue<'_>) -> Result<WeeklyTime, Wrong> {
    let text = value::text(value)?;
    let read = || {
        let (day, at) = text.split_once(' ')?;
        let [day] = *week_days(day)? else { return None };
        Some(WeeklyTime { day, at: clock_time(at)? })
    };
    read().ok_or_else(|| Wrong {
        what: format!("'{text}' isn't a time of the week"),
        remedy: "Write a day and a time, for instance \"wed 14:00\".".to_owned(),
    })
}

/// What the site file says of hours and visits, a line each.
pub(super) fn described(site: &Site) -> Vec<String> {
    let time = |at: Time| at.strftime("%H:%M").to_string();
    let visits: Vec<String> = site
        .staff
        .other_visits
        .iter()
        .map(|other| {
            let day = match other.on {
                VisitDay::Each(day) => day_name(day).to_owned(),
                VisitDay::Date(date) => date.to_string(),
            };
            format!("{day} {}", other.at.map_or_else(|| "none".to_owned(), time))
        })
        .collect();
    let mut lines = Vec::new();
    if !visits.is_empty() {
        lines.push(format!("Other visits: {}", visits.join(", ")));
    }
    lines.extend(site.contacts.iter().filter_map(contact_line));
    lines
}

/// `None`: called at all hours, for everything.
fn contact_line(contact: &Contact) -> Option<String> {
    let time = |at: Time| at.strftime("%H:%M").to_string();
    let mut when: Vec<String> = contact
        .hours
        .iter()
        .map(|hours| {
            let days: Vec<_> = hours.days.iter().map(|day| day_name(*day)).collect();
            let to = if hours.to == Time::midnight() { "24:00".to_owned() } else { time(hours.to) };
            format!("{} {}-{to}", days.join(","), time(hours.from))
        })
        .collect();
    let by_role = match contact.role {
        Role::All => None,
        Role::Day => Some("while people are about"),
        Role::Night => Some("while nobody is there"),
        Role::Manager => Some("after everybody else"),
    };
    when.extend(by_role.filter(|_| when.is_empty() || contact.role == Role::Manager).map(str::to_owned));
    when.extend(contact.days_off.iter().map(|(from, to)| {
        if from == to { format!("not on {from}") } else { format!("not from {from} to {to}") }
    }));
    when.extend(contact.only_danger.then(|| "for danger only".to_owned()));
    (!when.is_empty()).then(|| format!("{} is called {}", contact.name, when.join(", ")))
}

fn day_name(day: WeekDay) -> &'static str {
    WeekDay::NAMES.iter().find(|(_, known)| *known == day).map_or("", |(name, _)| name)
}

/// Each hour must have somebody for danger, each evening check somebody to read it.
pub(super) fn check_covered(findings: &Findings, at: Option<Range<usize>>, site: &Site) {
    let Some(span) = at.filter(|_| !site.contacts.is_empty()) else { return };
    let mut alone: Option<(Timestamp, Timestamp)> = None;
    if let Some(date) = deserted(site) {
        let what = format!("after {date} nobody comes for more than {MOST_DAYS_ALONE} days");
        findings.mistake(span, what, "Let a day in [staff] visits have a visit.");
        return;
    }
    for (number, (begins, ends)) in weeks(site).into_iter().enumerate() {
        let shown = |at: Timestamp| {
            let at = site.time_zone.to_datetime(at);
            at.strftime(if number == 0 { "%a %H:%M" } else { "%a %Y-%m-%d %H:%M" }).to_string()
        };
        let when = if number == 0 { "each week " } else { "" };
        let mut now = begins;
        while now < ends {
            let on = site.on_call(now);
            match (&mut alone, on.is_empty()) {
                (Some((_, until)), true) => *until = now + STEP,
                (None, true) => alone = Some((now, now + STEP)),
                (Some(_), false) => break,
                (None, false) => {}
            }
            now += STEP;
        }
        if let Some((from, until)) = alone {
            let what = format!(
                "{when}from {} to {} nobody may be called, not even for danger",
                shown(from),
                shown(until)
            );
            let remedy = "Widen the hours of a [[contact]], or let somebody stand in on the day off.";
            findings.mistake(span, what, remedy);
            return;
        }
        let evenings = std::iter::successors(site.next_evening_check(begins - STEP), |evening| {
            site.next_evening_check(*evening)
        });
        let unread = |evening: &Timestamp| site.on_call(*evening).iter().all(|contact| contact.only_danger);
        if let Some(evening) = evenings.take_while(|evening| *evening < ends).find(unread) {
            let what = format!("{when}nobody is there to read the evening message of {}", shown(evening));
            let remedy = "Let a [[contact]] without only = \"danger\" have hours at the evening check.";
            findings.mistake(span, what, remedy);
            return;
        }
    }
}

/// From when on nobody comes for so many days that the night has no end.
fn deserted(site: &Site) -> Option<Date> {
    let dates = site.staff.other_visits.iter().filter(|other| other.at.is_none());
    let dates = dates.filter_map(|other| match other.on {
        VisitDay::Date(date) => Some(date),
        VisitDay::Each(_) => None,
    });
    let visited = |date: Date, days: i64| {
        (1..=days).any(|day| site.staff.visit_on(date.saturating_add(Span::new().days(day))).is_some())
    };
    dates.into_iter().find(|date| !visited(*date, MOST_DAYS_ALONE))
}

/// A week in which nothing is special, and all days that are.
fn weeks(site: &Site) -> Vec<(Timestamp, Timestamp)> {
    let mut special: Vec<(Date, Date)> =
        site.contacts.iter().flat_map(|contact| contact.days_off.iter().copied()).collect();
    special.extend(site.staff.other_visits.iter().filter_map(|other| match other.on {
        VisitDay::Date(date) => Some((date, date)),
        VisitDay::Each(_) => None,
    }));
    let week = |monday: &Date| {
        let sunday = monday.saturating_add(Span::new().days(6));
        !special.iter().any(|(from, to)| *from <= sunday && *to >= *monday)
    };
    let mondays =
        std::iter::successors(Some(A_MONDAY), |monday| Some(monday.saturating_add(Span::new().days(7))));
    let usual = mondays.take(MOST_WEEKS).find(week).unwrap_or(A_MONDAY);
    special.insert(0, (usual, usual.saturating_add(Span::new().days(6))));
    let midnight = |date: Date| {
        site.time_zone.to_ambiguous_timestamp(date.to_datetime(Time::midnight())).compatible().ok()
    };
    let whole = |(from, to): (Date, Date)| {
        let to = to.min(from.saturating_add(Span::new().days(MOST_DAYS_OFF)));
        Some((midnight(from)?, midnight(to.saturating_add(Span::new().days(1)))?))
    };
    special.into_iter().filter_map(whole).collect()
}

/// Every text that can be read; the others are mistakes at their place.
fn each<T>(
    findings: &Findings,
    key: &str,
    texts: &[Spanned<String>],
    read: impl Fn(&str) -> Result<T, Wrong>,
) -> Vec<T> {
    let mut all = Vec::new();
    for text in texts {
        match read(text.get_ref()) {
            Ok(found) => all.push(found),
            Err(Wrong { what, remedy }) => findings.mistake(text.span(), format!("{key}: {what}"), remedy),
        }
    }
    all
}

/// `mon-fri 17:00-07:30`, `sat,sun 00:00-24:00`, `daily 22:00-06:00`.
fn call_hours(text: &str) -> Result<CallHours, Wrong> {
    let read = || {
        let (days, times) = text.trim().split_once(' ')?;
        let (from, to) = times.trim().split_once('-')?;
        Some(CallHours { days: week_days(days)?, from: clock_time(from)?, to: clock_time(to)? })
    };
    read().ok_or_else(|| Wrong {
        what: format!("'{text}' isn't a time of the week"),
        remedy: "Write days and times, for instance \"mon-fri 17:00-07:30\" or \"daily 22:00-06:00\"."
            .to_owned(),
    })
}

fn week_days(text: &str) -> Option<Vec<WeekDay>> {
    if text == "daily" {
        return Some(WeekDay::NAMES.map(|(_, day)| day).to_vec());
    }
    let place = |name: &str| WeekDay::NAMES.iter().position(|(known, _)| known.eq_ignore_ascii_case(name));
    let mut days = Vec::new();
    for part in text.split(',') {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let (first, last) = (place(first)?, place(last)?);
        let last = if last < first { last + WeekDay::NAMES.len() } else { last };
        days.extend(WeekDay::NAMES.iter().cycle().take(last + 1).skip(first).map(|(_, day)| *day));
    }
    days.sort_unstable();
    days.dedup();
    Some(days)
}

fn clock_time(text: &str) -> Option<Time> {
    let (hours, minutes) = text.trim().split_once(':')?;
    let (hours, minutes): (i8, i8) = (hours.parse().ok()?, minutes.parse().ok()?);
    Time::new(if (hours, minutes) == (24, 0) { 0 } else { hours }, minutes, 0, 0).ok()
}

/// `2027-12-24`, `2027-12-24..2028-01-02`.
fn days(text: &str) -> Result<(Date, Date), Wrong> {
    let (from, to) = text.split_once("..").unwrap_or((text, text));
    match (from.trim().parse::<Date>(), to.trim().parse::<Date>()) {
        (Ok(from), Ok(to)) if from <= to => Ok((from, to)),
        _ => wrong(
            format!("'{text}' isn't a day or a row of days"),
            "Write \"2027-12-24\", or \"2027-12-24..2028-01-02\" from the first day off to the last.",
        ),
    }
}

fn visit_day(text: &str) -> Result<VisitDay, Wrong> {
    let week_day = WeekDay::NAMES.iter().find(|(name, _)| name.eq_ignore_ascii_case(text));
    let each = week_day.map(|(_, day)| VisitDay::Each(*day));
    each.or_else(|| text.parse().ok().map(VisitDay::Date)).ok_or_else(|| Wrong {
        what: format!("'{text}' is neither a day of the week nor a date"),
        remedy: VISITS_EXAMPLE.to_owned(),
    })
}

fn visit_time(value: &DeValue<'_>) -> Result<Option<Time>, Wrong> {
    if value.as_str() == Some("none") {
        return Ok(None);
    }
    value::time_of_day(value).map(Some)
}

const ROLES: &[(&str, Role)] = &[("day", Role::Day), ("night", Role::Night), ("manager", Role::Manager)];
const VISITS_EXAMPLE: &str =
    "Write visits = { sat = \"09:00\", sun = \"none\", \"2027-12-25\" = \"10:00\" }.";

/// The calendar looks a day further than this.
const MOST_DAYS_ALONE: i64 = 7;
/// Hours are looked at in such steps.
const STEP: SignedDuration = SignedDuration::from_mins(15);
const A_MONDAY: Date = Date::constant(2027, 1, 4);
/// A week without a day off is looked for within ten years.
const MOST_WEEKS: usize = 520;
/// Longer absences aren't looked at day by day.
const MOST_DAYS_OFF: i64 = 60;
