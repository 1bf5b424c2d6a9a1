//! What went to whom, when it arrived, and who answered.

use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::{Answer, Channel, Notice};
use jiff::Timestamp;

use crate::format::Clock;
use crate::names::{self, short};
use crate::typed;

/// How far one notice came to one contact by one way.
#[derive(Debug, Clone, PartialEq)]
pub struct WentBy {
    /// To whom.
    pub contact: Id,
    /// By what.
    pub channel: Channel,
    /// How often it was tried; 0: never, or that wasn't counted.
    pub attempts: u32,
    /// How far it came.
    pub came: Came,
}

/// How far it came.
#[derive(Debug, Clone, PartialEq)]
pub enum Came {
    /// The next server, or the program, took it then.
    Accepted(Timestamp),
    /// It was given up then, and why.
    GivenUp(Timestamp, String),
    /// It is tried again then; what the last attempt said.
    Waits(Timestamp, Option<String>),
    /// It was taken without an answer and may have arrived; it is tried again then.
    Unanswered(Timestamp),
}

/// The lines on one notice.
#[must_use]
pub fn lines(
    site: &Site,
    now: Timestamp,
    (notice, subject): (&Notice, &str),
    ways: &[WentBy],
    answers: &[Answer],
) -> Vec<String> {
    let clock = Clock::new(site, now);
    let mut lines =
        vec![format!("Notice {}, {}: {}", notice.number, clock.time(notice.at), typed::line(subject))];
    if ways.is_empty() {
        lines.push("  to nobody: no contact that it is for has a way".to_owned());
    }
    lines.extend(ways.iter().map(|way| format!("  {}", line(site, clock, way))));
    lines.extend(answers.iter().map(|answer| format!("  {}", answered(clock, answer))));
    if answers.is_empty() && notice.kind.calls() {
        lines.push("  nobody has answered it".to_owned());
    }
    lines
}

/// No notice went out in that time.
#[must_use]
pub fn nothing(clock: Clock<'_>, from: Timestamp) -> String {
    format!("No notice was decided since {}.", clock.time(from))
}

fn line(site: &Site, clock: Clock<'_>, way: &WentBy) -> String {
    let (who, by) = (names::contact(site, &way.contact), names::channel(way.channel));
    let times = match way.attempts {
        0 | 1 => String::new(),
        attempts => format!(", after {attempts} attempts"),
    };
    let why = |why: &str| short(&typed::line(why), REASON_CHARS);
    match &way.came {
        Came::Accepted(at) => format!("to {who} by {by}: accepted {}{times}", clock.time(*at)),
        Came::GivenUp(at, reason) => {
            format!("to {who} by {by}: given up {}{times}: {}", clock.time(*at), why(reason))
        }
        Came::Waits(next, reason) => {
            let said = reason.as_deref().map(|reason| format!(": {}", why(reason))).unwrap_or_default();
            format!("to {who} by {by}: not yet{times}, next try {}{said}", clock.time(*next))
        }
        Came::Unanswered(next) => format!(
            "to {who} by {by}: taken without an answer, it may have arrived{times}; next try {}",
            clock.time(*next)
        ),
    }
}

fn answered(clock: Clock<'_>, answer: &Answer) -> String {
    let who =
        answer.by.as_deref().map_or_else(|| "somebody".to_owned(), |by| short(&typed::name(by), NAME_CHARS));
    let there = answer.there_by.map(|by| format!(", there by {}", clock.time(by))).unwrap_or_default();
    format!("answered by {who} {}{there}", clock.time(answer.at))
}

const REASON_CHARS: usize = 160;
const NAME_CHARS: usize = 32;
