//! The sentences of a notice: a first line that stands alone on a lock screen, and a plain text.

mod amounts;
mod calling;
mod clocks;
mod doubt;
mod drum;
mod evening;
mod failure;
mod handover;
mod keeping;
mod missing;
mod outlook;
mod query;
mod runout;
mod short;
mod unattended;
mod undelivered;
mod withdrawn;

use claymark_model::site::Site;
use claymark_notice::content::DrumState;
use claymark_notice::{Call, Calling, Content, Failure, Notice, OnTonight};
use jiff::Timestamp;

use crate::caution;
use crate::format::Clock;

pub use outlook::outlook;
pub(crate) use query::records;
pub use short::{SHORT_CHARS, short};

/// What a notice says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wording {
    /// The first line, at most [`SUBJECT_CHARS`] characters.
    pub subject: String,
    /// The rest, plain text, lines ended by `\n`.
    pub text: String,
}

/// The sentences of `notice` for the people of `site`.
#[must_use]
pub fn wording(site: &Site, notice: &Notice) -> Wording {
    let teller = Teller::new(site, notice.at);
    let said = said(teller, notice);
    let tonight = whose_night(notice).map(|tonight| teller.whose_night(tonight));
    let Some(calling) = &notice.calling else {
        let Some(tonight) = tonight else { return said };
        let mut text = Text::default();
        text.lines(said.text.lines().map(str::to_owned)).gap().line(tonight);
        return text.wording(said.subject);
    };
    let whose_night = || tonight.iter().cloned();
    let mut text = called(teller, (notice, calling), &said.text, usize::MAX);
    text.lines(whose_night());
    // What must be known to go and act stands first and stays; signs are what is left out first, then what is longest.
    let mut most = said.text.lines().count();
    while text.0.chars().count() > CALL_CHARS && most > 0 {
        most -= 1;
        text = called(teller, (notice, calling), &said.text, most);
        text.lines(whose_night());
    }
    text.wording(said.subject)
}

/// The text of a call, of whose own lines after the first ones so many are told.
fn called(teller: Teller<'_>, (notice, calling): (&Notice, &Calling), said: &str, most: usize) -> Text {
    let mut text = Text::default();
    text.lines(teller.why_again(calling)).gap();
    let (first, rest) = said.split_once("\n\n").unwrap_or((said, ""));
    text.lines(first.lines().map(str::to_owned)).gap();
    text.lines(teller.also(&calling.also)).gap();
    text.lines(shortened(rest, most)).gap();
    text.lines(teller.answering(notice, calling));
    text
}

/// At most so many lines: without signs first, then without what is longest.
fn shortened(rest: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<&str> = rest.lines().collect();
    while lines.iter().filter(|line| !line.is_empty()).count() > most {
        let sign = lines.iter().rposition(|line| line.starts_with("- "));
        // What keeps people from harm stays.
        let stays = |line: &str| line.is_empty() || line == caution::HANDLING;
        let longest = || {
            let all = lines.iter().enumerate().filter(|(_, line)| !stays(line));
            all.max_by_key(|(_, line)| line.len()).map(|(place, _)| place)
        };
        let Some(place) = sign.or_else(longest) else { break };
        lines.remove(place);
    }
    lines.into_iter().map(str::to_owned).collect()
}

/// Who has the night, where the notice's own words don't say so.
fn whose_night(notice: &Notice) -> Option<&OnTonight> {
    match &notice.content {
        Content::EveningCheck(_) | Content::Handover(_) | Content::Morning(_) => None,
        Content::Runout(_)
        | Content::Withdrawn(_)
        | Content::LevelDoubt(_)
        | Content::ReadingsMissing(_)
        | Content::Failure(_)
        | Content::Query(_)
        | Content::Undelivered(_)
        | Content::Unattended(_)
        | Content::TestCall(_) => notice.tonight.as_ref(),
    }
}

/// What happened, what it means and what to do.
fn said(teller: Teller<'_>, notice: &Notice) -> Wording {
    match &notice.content {
        Content::EveningCheck(check) => evening::wording(teller, check),
        Content::Runout(runout) => runout::wording(teller, runout, again(notice)),
        Content::Failure(failure) => failure::wording(teller, failure),
        Content::Withdrawn(withdrawn) => withdrawn::wording(teller, notice, withdrawn),
        Content::LevelDoubt(doubt) => doubt::wording(teller, doubt),
        Content::ReadingsMissing(missing) => missing::wording(teller, missing),
        Content::Query(queries) => query::wording(teller, queries),
        Content::Undelivered(undelivered) => undelivered::wording(teller, undelivered),
        Content::Unattended(unattended) => unattended::wording(teller, unattended),
        Content::Handover(handover) => handover::wording(teller, notice, handover),
        Content::Morning(morning) => handover::morning(teller, morning),
        Content::TestCall(test) => handover::test_call(teller, notice, test),
    }
}

/// Whether the same is told once more.
fn again(notice: &Notice) -> bool {
    notice.calling.as_ref().is_some_and(|calling| !matches!(calling.call, Call::First | Call::Worse))
}

/// A failure in the answer to a question: its first line after "NOW", then its signs.
pub(crate) fn failure(site: &Site, now: Timestamp, failure: &Failure) -> Vec<String> {
    failure::lines(Teller::new(site, now), failure)
}

/// What is known of a drum and of its pump, as every message says it.
pub(crate) fn drum_lines(site: &Site, now: Timestamp, state: &DrumState) -> Vec<String> {
    Teller::new(site, now).known(state)
}

/// What every sentence needs.
#[derive(Clone, Copy)]
struct Teller<'a> {
    site: &'a Site,
    /// When it is told.
    at: Timestamp,
    clock: Clock<'a>,
}

impl<'a> Teller<'a> {
    fn new(site: &'a Site, at: Timestamp) -> Self {
        Self { site, at, clock: Clock::new(site, at) }
    }
}

/// A text that grows by whole lines.
#[derive(Default)]
struct Text(String);

impl Text {
    fn line(&mut self, line: impl AsRef<str>) -> &mut Self {
        self.0.push_str(line.as_ref());
        self.0.push('\n');
        self
    }

    fn lines(&mut self, lines: impl IntoIterator<Item = String>) -> &mut Self {
        for line in lines {
            self.line(line);
        }
        self
    }

    /// An empty line, unless one is there.
    fn gap(&mut self) -> &mut Self {
        if !self.0.is_empty() && !self.0.ends_with("\n\n") {
            self.0.push('\n');
        }
        self
    }

    fn wording(&mut self, subject: String) -> Wording {
        Wording { subject, text: std::mem::take(&mut self.0) }
    }
}

/// A first line that fits: `build` gets the room for a name, which shrinks until the line is short enough.
fn fit(build: impl Fn(usize) -> String) -> String {
    fitting(&build).unwrap_or_else(|| crate::names::short(&build(7), SUBJECT_CHARS))
}

/// The same; `None`: even a short name doesn't make it fit.
fn fitting(build: impl Fn(usize) -> String) -> Option<String> {
    const ROOMS: [usize; 7] = [80, 48, 32, 24, 16, 11, 7];
    let fits = |line: &String| line.chars().count() <= SUBJECT_CHARS;
    ROOMS.into_iter().map(&build).find(fits)
}

/// The first line with `extra` when both fit, else without.
fn fit_with(line: impl Fn(usize) -> String, extra: &str) -> String {
    let plain = fit(&line);
    let long = format!("{plain} {extra}");
    if !extra.is_empty() && long.chars().count() <= SUBJECT_CHARS { long } else { plain }
}

/// A call is read at night, on a small screen.
pub const CALL_CHARS: usize = 1200;

/// What a lock screen shows.
pub const SUBJECT_CHARS: usize = 110;

#[cfg(test)]
pub(crate) mod tests;
