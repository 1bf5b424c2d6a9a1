//! What stands on the page and on the wall: one sentence for the whole room, then each drum, each water, each call.
//!
//! What isn't known, is old or is doubted says so in words; nothing goes by colour or shape alone.

mod calls;
mod drum;
mod form;
mod water;

use claymark_model::site::Site;
use claymark_notice::content::Verdict;
use claymark_notice::glance::{Glance, StandingAlarm};

use crate::format::{self, Clock};
use crate::{names, typed};

pub use calls::{CallLines, call, whose_night};
pub use drum::{DrumLines, drum};
pub use form::{
    asked, bad_figure, below_zero, choose_one, figure_missing, kept, no_answer, no_drum, no_notice, no_page,
    no_such_entry, nothing_here, refused, sent_before, taken_not_kept, who_is_it,
};
pub use water::{NewestReading, WaterLine, water};

/// How much a line presses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// All is as it should be.
    Quiet,
    /// It isn't known, or can't be believed.
    Unsure,
    /// It leaves what is wanted.
    Drifts,
    /// Fish are in danger, or will be.
    Danger,
}

/// What whoever looks must know first, and how much it presses.
#[must_use]
pub fn first_sentence(site: &Site, glance: &Glance) -> (String, Weight) {
    let danger = glance.standing.iter().filter(|alarm| alarm.is_danger()).count();
    let has_somebody = |alarm: &&StandingAlarm| alarm.promise.is_some() || alarm.shelf.is_some();
    let open = glance.standing.iter().filter(|alarm| !has_somebody(alarm)).count();
    match (danger, open, glance.standing.len()) {
        (0, 0, 0) => drums(site, glance),
        (0, 0, 1) => ("One thing is wrong; somebody has seen to it.".to_owned(), Weight::Drifts),
        (0, 0, n) => (format!("{n} things are wrong; somebody has seen to each of them."), Weight::Drifts),
        (0, 1, _) => ("One thing needs somebody.".to_owned(), Weight::Drifts),
        (0, n, _) => (format!("{n} things need somebody."), Weight::Drifts),
        (1, _, _) => ("DANGER for the fish: read what is first below.".to_owned(), Weight::Danger),
        (n, _, _) => (format!("DANGER for the fish, {n} times: read what is first below."), Weight::Danger),
    }
}

/// Whether the drums last, where nothing else is wrong.
fn drums(site: &Site, glance: &Glance) -> (String, Weight) {
    let in_use = || glance.drums.iter().filter(|drum| drum.outlook.state.forecast.in_use);
    let of = |verdict| in_use().filter(move |drum| drum.outlook.verdict == verdict);
    let named = |verdict| {
        names::list(&of(verdict).map(|drum| names::drum(site, &drum.outlook.state.drum)).collect::<Vec<_>>())
    };
    let clock = Clock::new(site, glance.at);
    let Some(visit) = glance.visit else {
        return ("No visit is known, so nobody can say whether the drums last.".to_owned(), Weight::Unsure);
    };
    let until = clock.time(visit.at);
    if of(Verdict::WillNotLast).next().is_some() {
        return (format!("Will not last until {until}: {}.", named(Verdict::WillNotLast)), Weight::Drifts);
    }
    if of(Verdict::MayNotLast).next().is_some() {
        return (format!("May not last until {until}: {}.", named(Verdict::MayNotLast)), Weight::Drifts);
    }
    if of(Verdict::Unknown).next().is_some() {
        return (format!("Nobody knows whether it lasts: {}.", named(Verdict::Unknown)), Weight::Unsure);
    }
    let beyond = format::duration(visit.margin);
    match in_use().count() {
        0 => ("No drum is being drawn.".to_owned(), Weight::Unsure),
        1 => (format!("The drum in use lasts until {until} and {beyond} beyond."), Weight::Quiet),
        2 => (format!("Both drums in use last until {until} and {beyond} beyond."), Weight::Quiet),
        n => (format!("All {n} drums in use last until {until} and {beyond} beyond."), Weight::Quiet),
    }
}

/// The tanks that a wall has no room for, and those in which all that is measured is as it should be.
#[must_use]
pub fn other_tanks(more: &[String], quiet: &[String]) -> Option<String> {
    let more = (!more.is_empty()).then(|| format!("LOOK ALSO AT {}.", names::list(more)));
    let quiet = match quiet {
        [] => None,
        [one] => Some(format!("All that is measured in {one} is as it should be.")),
        several => Some(format!(
            "All that is measured in the other {} tanks is as it should be: {}.",
            several.len(),
            names::list(several)
        )),
    };
    let said: Vec<String> = more.into_iter().chain(quiet).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// Nothing comes from the broker.
#[must_use]
pub fn not_connected(why: &str) -> String {
    format!("No new readings: the connection to the broker is down ({}).", typed::line(why))
}

/// Nothing can be kept.
#[must_use]
pub fn nothing_kept(why: &str) -> String {
    format!("Readings can't be kept now; warnings go on ({}).", typed::line(why))
}

/// The last notice didn't arrive anywhere.
#[must_use]
pub fn reached_nobody(number: u64) -> String {
    format!(
        "Notice {number} has reached nobody by any way: tell people yourself, and look at the ways (claymark told)."
    )
}

#[cfg(test)]
mod tests;
