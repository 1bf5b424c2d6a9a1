//! One drum: what is in it, when it is empty, what to add now.

use claymark_model::forecast::{EmptyAt, Outlook};
use claymark_model::site::Site;
use claymark_notice::content::Verdict;
use claymark_notice::glance::{DrumAtAGlance, Glance};

use super::Weight;
use crate::format::{self, Clock};
use crate::notice::drum_lines;
use crate::{doubt, drying, names, refill};

/// A drum in lines.
#[derive(Debug, Clone, PartialEq)]
pub struct DrumLines {
    /// Its name.
    pub name: String,
    /// "Empty about 02:45", "Not in use", "I don't know".
    pub end: String,
    /// "earliest 02:20, latest 03:30", where there is an end.
    pub range: Option<String>,
    /// "Lasts until Wed 07:30", "WILL NOT LAST until Wed 07:30".
    pub verdict: String,
    /// How much that presses.
    pub weight: Weight,
    /// "62 L of 175 L".
    pub holds: String,
    /// "17.2 ± 0.9 g/L by what was written down".
    pub strength: String,
    /// What to add now, in a line; `None`: nothing can be said, or nothing is wanted.
    pub add: Option<String>,
    /// The same at length, with its reasons.
    pub sheet: String,
    /// What is known of it, and of its pump.
    pub known: Vec<String>,
}

/// A drum of `glance`.
#[must_use]
pub fn drum(site: &Site, glance: &Glance, drum: &DrumAtAGlance) -> DrumLines {
    let (state, clock) = (&drum.outlook.state, Clock::new(site, glance.at));
    let ends = state.forecast.outlook.empty_at();
    let (verdict, weight) = verdict(clock, glance, drum);
    DrumLines {
        name: names::drum(site, &state.drum),
        end: end(clock, glance, drum),
        range: ends.filter(|_| state.forecast.in_use).and_then(|ends| range(clock, glance, &ends)),
        verdict,
        weight,
        holds: holds(site, drum),
        strength: strength(site, drum),
        add: drum.sheet.refill.as_ref().and_then(|add| refill::short(site, add)),
        sheet: refill::sheet(site, &drum.sheet),
        known: drum_lines(site, glance.at, state),
    }
}

fn end(clock: Clock<'_>, glance: &Glance, drum: &DrumAtAGlance) -> String {
    let state = &drum.outlook.state;
    if let Some(at) = state.ran_empty {
        return format!("EMPTY since {}", clock.time(at));
    }
    if !state.forecast.in_use {
        return "Not in use".to_owned();
    }
    match state.forecast.outlook.empty_at() {
        None => "Nobody knows when it is empty".to_owned(),
        Some(ends) if drying::is_empty(glance.at, &ends) => "EMPTY".to_owned(),
        Some(EmptyAt { p50: Some(p50), .. }) => format!("Empty about {}", clock.about(p50)),
        Some(_) => "Not empty within 3 days".to_owned(),
    }
}

fn range(clock: Clock<'_>, glance: &Glance, ends: &EmptyAt) -> Option<String> {
    if drying::is_empty(glance.at, ends) {
        return None;
    }
    let clock = clock.together(&[ends.p05, ends.p50, ends.p95]);
    match (ends.p05, ends.p95) {
        (Some(p05), Some(p95)) => Some(format!("earliest {}, latest {}", clock.by(p05), clock.about(p95))),
        (Some(p05), None) => Some(format!("earliest {}", clock.by(p05))),
        (None, _) => None,
    }
}

fn verdict(clock: Clock<'_>, glance: &Glance, drum: &DrumAtAGlance) -> (String, Weight) {
    let state = &drum.outlook.state;
    let ends = state.forecast.outlook.empty_at();
    let empty = state.ran_empty.is_some() || ends.is_some_and(|ends| drying::is_empty(glance.at, &ends));
    if !state.forecast.in_use {
        let word = if empty { "Fill it before it is drawn from" } else { "Nothing is drawn from it" };
        return (word.to_owned(), Weight::Quiet);
    }
    if empty {
        return ("NO CLAY COMES FROM IT".to_owned(), Weight::Danger);
    }
    if let Outlook::Unknown { why } = &state.forecast.outlook {
        return (format!("Look at it: {}", doubt::unknown(why)), Weight::Unsure);
    }
    let Some(visit) = glance.visit else {
        return ("No visit is known".to_owned(), Weight::Unsure);
    };
    let until = clock.time(visit.at);
    match drum.outlook.verdict {
        Verdict::Lasts => (format!("Lasts until {until}"), Weight::Quiet),
        Verdict::MayNotLast => (format!("MAY NOT LAST until {until}"), Weight::Drifts),
        Verdict::WillNotLast => (format!("WILL NOT LAST until {until}"), Weight::Drifts),
        Verdict::Unknown => (format!("Nobody knows whether it lasts until {until}"), Weight::Unsure),
    }
}

fn holds(site: &Site, drum: &DrumAtAGlance) -> String {
    let state = &drum.outlook.state;
    let Some(volume) = state.forecast.outlook.volume() else {
        return "What is in it isn't known".to_owned();
    };
    let held = format::volume(&site.units, volume);
    let of = site.drum(&state.drum).map(|drum| format!(" of {}", format::volume(&site.units, drum.full)));
    let doubted = if state.doubt.is_some() { ", by the pump; its level isn't believed" } else { "" };
    format!("{held}{}{doubted}", of.unwrap_or_default())
}

fn strength(site: &Site, drum: &DrumAtAGlance) -> String {
    let (units, book) = (&site.units, &drum.sheet.book);
    match (&drum.sheet.seen, book.is_known()) {
        (Some(seen), _) => {
            format!("{} by the head tank", format::strength_sd(units, seen.strength, seen.sd))
        }
        (None, true) => format!("{} by the log", format::strength_sd(units, book.strength, book.sd)),
        (None, false) => "strength isn't known".to_owned(),
    }
}
