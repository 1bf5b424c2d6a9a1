//! The first page: the week in a few sentences, and what stands in each tank's card.

use jiff::SignedDuration;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use claymark_model::site::Site;

use super::{Mark, counted, names, percent};
use crate::format::duration;
use crate::typed;

/// One sentence with its mark.
pub type Marked = (Mark, String);

/// "Alder Bend Hatchery: week 47 of 2026".
#[must_use]
pub fn title(site: &Site, number: i8, year: i16) -> String {
    format!("{}: week {number} of {year}", typed::name(&site.name))
}

/// "Monday 16 November to Sunday 22 November 2026, times of Europe/Helsinki", and more where it matters.
#[must_use]
pub fn span(first: Date, last: Date, length: SignedDuration, zone: &TimeZone) -> String {
    let zone = zone.iana_name().map(|name| format!(", local time of {name}")).unwrap_or_default();
    let clocks = if length == SignedDuration::from_hours(168) {
        String::new()
    } else {
        format!("; the clocks changed, so it has {} hours", length.as_hours())
    };
    format!("{} to {}{zone}{clocks}", first.strftime("%A %-d %B"), last.strftime("%A %-d %B %Y"))
}

/// Under the picture of the room.
#[must_use]
pub fn legend(steady_percent: f64) -> String {
    format!(
        "Each tank's strip is its turbidity from Monday to Sunday, all on one scale: shaded, the band that is wanted; \
         line, the ten-minute mean; veil, lowest to highest reading; thick line, outside the band; hatched, no usable \
         reading. ● steady: in band for {} of the week or more, and never out for longer than an hour. ▲ drifted: neither \
         steady nor poor. ■ poor: out for over a fifth of the time, or for over 4 hours at a stretch. ▨ not judged: known \
         for less than nine tenths of the week. Our own grades; no standard sets them.",
        percent(steady_percent)
    )
}

/// For a week that isn't over.
#[must_use]
pub fn so_far(until: &str) -> String {
    format!("The week isn't over: this is what was known by {until}.")
}

/// For a week without a reading.
#[must_use]
pub fn nothing_heard() -> Marked {
    let says = "Not a single reading came in. Nothing can be said about drums, water or fish.";
    (Mark::Unknown, says.to_owned())
}

/// Run-outs of all drums: name, how often, how long altogether, and whether its volume was known all week.
#[must_use]
pub fn drums(all: &[(&str, usize, SignedDuration)], unknown: &[&str]) -> Marked {
    let empty: Vec<String> = all
        .iter()
        .filter(|(_, times, _)| *times > 0)
        .map(|(name, times, length)| match times {
            1 => format!("{name} ran empty once, for {}", duration(*length)),
            2 => format!("{name} ran empty twice, for {} in all", duration(*length)),
            times => format!("{name} ran empty {times} times, for {} in all", duration(*length)),
        })
        .collect();
    match (empty.as_slice(), unknown) {
        ([], []) => (Mark::Good, "No drum ran empty.".to_owned()),
        ([], unknown) => (
            Mark::Unknown,
            format!(
                "No drum is known to have run empty, but the volume of {} wasn't always known.",
                names(unknown)
            ),
        ),
        (empty, _) => (Mark::Bad, format!("{}.", empty.join("; "))),
    }
}

/// How the rearing tanks kept the turbidity band.
#[derive(Debug, Clone, Default)]
pub struct Tanks<'a> {
    /// Inside nearly all week.
    pub steady: Vec<&'a str>,
    /// Outside for some of it.
    pub drifting: Vec<&'a str>,
    /// Outside for much of it.
    pub poor: Vec<&'a str>,
    /// Not judged, for want of data.
    pub unknown: Vec<&'a str>,
}

/// The turbidity of all tanks in one sentence.
#[must_use]
pub fn tanks(tanks: &Tanks<'_>, steady_percent: f64) -> Marked {
    let judged = tanks.steady.len() + tanks.drifting.len() + tanks.poor.len();
    let share = percent(steady_percent);
    let mut says = match (tanks.steady.len(), judged) {
        (_, 0) => {
            return (Mark::Unknown, "No tank's turbidity could be judged, for want of readings.".to_owned());
        }
        (all, judged) if all == judged && all == 1 => {
            format!("The tank kept its turbidity band ({share} of the week, never out for over an hour)")
        }
        (all, judged) if all == judged => format!(
            "All {all} judged tanks kept their turbidity band ({share} of the week, never out for over an hour)"
        ),
        (0, 1) => "The tank didn't keep its turbidity band".to_owned(),
        (0, judged) => format!(
            "None of {judged} judged tanks kept its turbidity band ({share} of the week, never out for over an hour)"
        ),
        (some, judged) => format!(
            "{some} of {judged} judged tanks kept their turbidity band ({share} of the week, never out for over an hour)"
        ),
    };
    let told =
        |some: &[&str]| if some.len() == judged && judged > 1 { "all".to_owned() } else { names(some) };
    if !tanks.drifting.is_empty() {
        says.push_str(&format!("; {} drifted", told(&tanks.drifting)));
    }
    if !tanks.poor.is_empty() {
        says.push_str(&format!("; {} did poorly", told(&tanks.poor)));
    }
    if !tanks.unknown.is_empty() {
        says.push_str(&format!("; too little is known of {}", names(&tanks.unknown)));
    }
    says.push('.');
    let mark = match (tanks.poor.len(), tanks.drifting.len(), tanks.unknown.len()) {
        (0, 0, 0) => Mark::Good,
        (0, 0, _) => Mark::Unknown,
        (0, _, _) => Mark::Look,
        _ => Mark::Bad,
    };
    (mark, says)
}

/// Temperature and oxygen: tanks outside their limits with the time, and tanks of which too little is known.
#[must_use]
pub fn water(
    warmth: &[(&str, String)],
    oxygen: &[(&str, String)],
    unknown: &[&str],
    measured: bool,
) -> Marked {
    if !measured {
        return (Mark::Unknown, "Temperature and oxygen aren't measured.".to_owned());
    }
    let told = |what: &str, tanks: &[(&str, String)]| {
        let each: Vec<String> =
            tanks.iter().take(3).map(|(name, time)| format!("{name} for {time}")).collect();
        let more = tanks.len().saturating_sub(each.len());
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        (!each.is_empty()).then(|| format!("{what} in {}{more}", each.join(", ")))
    };
    let outside: Vec<String> =
        [told("Temperature outside its limits", warmth), told("oxygen too low", oxygen)]
            .into_iter()
            .flatten()
            .collect();
    match (outside.as_slice(), unknown) {
        ([], []) => (Mark::Good, "Temperature and oxygen stayed within their limits.".to_owned()),
        ([], unknown) => (
            Mark::Unknown,
            format!(
                "Temperature and oxygen stayed within their limits as far as known; too little is known of {}.",
                names(unknown)
            ),
        ),
        (outside, _) if !oxygen.is_empty() => (Mark::Bad, sentence(&outside.join("; "))),
        (outside, _) => (Mark::Look, sentence(&outside.join("; "))),
    }
}

/// How much of the readings is usable.
#[must_use]
pub fn data(known_percent: f64, doubtful_percent: f64, poor_sensors: usize, sensors: usize) -> Marked {
    let doubtful = if doubtful_percent > 0.0 {
        format!(", {} doubtful", percent(doubtful_percent))
    } else {
        String::new()
    };
    let gaps = if poor_sensors == 0 {
        String::new()
    } else {
        format!("; {poor_sensors} of {} gave less than 99 %", counted(sensors, "sensor", "sensors"))
    };
    let mark = if known_percent >= 98.0 {
        Mark::Good
    } else if known_percent >= 90.0 {
        Mark::Look
    } else {
        Mark::Bad
    };
    (mark, format!("Usable readings cover {} of the week{doubtful}{gaps}.", percent(known_percent)))
}

/// How often people were called to act, and how many of the causes were answered, over before, and neither.
#[must_use]
pub fn calls(calls: usize, (answered, settled, open): (usize, usize, usize), undelivered: usize) -> Marked {
    let ends: Vec<String> =
        [(answered, "answered"), (settled, "over before anybody answered"), (open, "never answered")]
            .into_iter()
            .filter(|(number, _)| *number > 0)
            .map(|(number, what)| format!("{number} {what}"))
            .collect();
    let lost = match undelivered {
        0 => String::new(),
        undelivered => format!(" {} never delivered.", counted(undelivered, "message was", "messages were")),
    };
    let says = match (answered + settled + open, ends.as_slice()) {
        (0, _) => "Nobody had to be called.".to_owned(),
        (causes, ends) => format!(
            "{} to act went out for {}: {}.",
            counted(calls, "call", "calls"),
            counted(causes, "cause", "causes"),
            ends.join(", ")
        ),
    };
    let mark = match (open + undelivered, answered + settled) {
        (0, 0) => Mark::Good,
        (0, _) => Mark::Look,
        _ => Mark::Bad,
    };
    (mark, format!("{says}{lost}"))
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).chain(['.']).collect())
}

/// Over the part of the week that isn't past.
pub const NOT_YET: &str = "not yet";
