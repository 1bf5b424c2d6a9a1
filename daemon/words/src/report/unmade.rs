//! What couldn't be made or read, in its place: what failed, what it means, what to do.

use super::{Mark, counted};
use crate::typed;

/// A part of the report that is made by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// Drums, head tank and rearing tanks at a glance.
    Room,
    /// The week ahead.
    Ahead,
    /// Drums, day by day.
    Drums,
    /// How good the forecasts were.
    Skill,
    /// Turbidity, temperature and oxygen.
    Water,
    /// The oxygen that the fish take up.
    Demand,
    /// What people were told.
    Told,
    /// What the sensors saw happen to the drums.
    Happened,
    /// How complete the readings are.
    Complete,
    /// What was kept aside.
    Aside,
    /// The field log.
    Log,
    /// The daily figures.
    Daily,
}

/// Rows of one kind that the report reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Readings of the sensors.
    Readings,
    /// Forecasts of the drums.
    Forecasts,
    /// What happened to drums.
    Happenings,
    /// What people were told.
    Notices,
    /// How messages fared.
    Deliveries,
    /// Who answered.
    Answers,
    /// What hands did.
    Log,
    /// What was forecast, held against what came.
    Marks,
    /// What was learned of the clay.
    Yields,
    /// What was kept aside.
    Quarantined,
}

/// Why a part isn't there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyUnmade {
    /// Its rows can't be read, with what the store or InfluxDB said.
    Unread(Kind, String),
    /// The program has a fault, with what it said.
    Fault(String),
}

impl Part {
    /// All, in the order of the pages.
    pub const ALL: [Self; 12] = [
        Self::Room,
        Self::Ahead,
        Self::Drums,
        Self::Skill,
        Self::Water,
        Self::Demand,
        Self::Told,
        Self::Happened,
        Self::Complete,
        Self::Aside,
        Self::Log,
        Self::Daily,
    ];

    /// Its heading.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Room => "The room at a glance",
            Self::Ahead => "The week ahead",
            Self::Drums => "Drums, day by day",
            Self::Skill => "How good the forecasts were",
            Self::Water => "Water",
            Self::Demand => "Oxygen that the fish take up",
            Self::Told => "What people were told",
            Self::Happened => "What the sensors saw happen to the drums",
            Self::Complete => "How complete the readings are",
            Self::Aside => "Kept aside because it couldn't be used",
            Self::Log => "Field log",
            Self::Daily => "Daily figures (CSV)",
        }
    }
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Forecasts => "forecasts",
            Self::Happenings => "records of what happened to the drums",
            Self::Notices => "records of what people were told",
            Self::Deliveries => "records of what was delivered",
            Self::Answers => "answers",
            Self::Log => "entries of the field log",
            Self::Marks => "records of how the forecasts came true",
            Self::Yields => "records of what was learned of the clay",
            Self::Quarantined => "records of what was kept aside",
        }
    }
}

/// In the place of a part.
#[must_use]
pub fn part(why: &WhyUnmade) -> (Mark, String) {
    let says = match why {
        WhyUnmade::Unread(kind, said) => format!(
            "This part couldn't be made: the {} can't be read ({}). Nothing is known here, good or bad. Copy the store \
             away, look at its disk, and make the report again; the rest of it doesn't go by these.",
            kind.name(),
            typed::line(&typed::at_most(said.trim_end_matches('.'), SAID))
        ),
        WhyUnmade::Fault(said) => format!(
            "This part couldn't be made: the program has a fault here ({}). Nothing is known here, good or bad. Keep the \
             store and tell the developers this text; the rest of the report was made without it.",
            typed::line(&typed::at_most(said.trim_end_matches('.'), SAID))
        ),
    };
    (Mark::Bad, says)
}

/// First of all, which parts aren't there; `None`: all are.
#[must_use]
pub fn summary(parts: &[Part]) -> Option<(Mark, String)> {
    let titles: Vec<String> = parts.iter().map(|part| format!("\"{}\"", part.title())).collect();
    (!titles.is_empty()).then(|| {
        let says = format!(
            "{} of this report couldn't be made: {}. Why stands in its place.",
            counted(titles.len(), "part", "parts"),
            titles.join(", ")
        );
        (Mark::Bad, says)
    })
}

/// Hours whose readings can't be read.
#[must_use]
pub fn hours(unread: usize, said: &str) -> (Mark, String) {
    let says = format!(
        "The readings of {} can't be read ({}); they count as missing. Copy the store away and look at its disk.",
        counted(unread, "hour", "hours"),
        typed::line(&typed::at_most(said.trim_end_matches('.'), SAID))
    );
    (Mark::Bad, says)
}

/// On the command line: one file isn't there.
#[must_use]
pub fn file(name: &str, why: &str) -> String {
    format!(
        "{name} couldn't be made: {}. This is a fault of the program: keep the store and tell the developers this \
         text. The other files were made.",
        typed::line(&typed::at_most(why.trim_end_matches('.'), SAID))
    )
}

/// On the command line: a part isn't there.
#[must_use]
pub fn told(part: Part, why: &WhyUnmade) -> String {
    format!("{}: {}", part.title(), self::part(why).1)
}

/// So much of what a program said is repeated.
const SAID: usize = 300;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_that_is_missing_says_why_what_it_means_and_what_to_do() {
        let (mark, says) = part(&WhyUnmade::Unread(Kind::Answers, "no such table: answer_v".to_owned()));
        assert_eq!(mark, Mark::Bad);
        assert_eq!(
            says,
            "This part couldn't be made: the answers can't be read (no such table: answer_v). Nothing is known here, \
             good or bad. Copy the store away, look at its disk, and make the report again; the rest of it doesn't go \
             by these."
        );
        let (_, says) = part(&WhyUnmade::Fault("index\u{1b}[2J out of bounds".to_owned()));
        assert!(
            says.contains("index[U+001B escape][2J out of bounds") && says.contains("developers"),
            "{says}"
        );
        assert_eq!(summary(&[]), None);
        let (_, says) = summary(&[Part::Told, Part::Log]).unwrap();
        assert_eq!(
            says,
            "2 parts of this report couldn't be made: \"What people were told\", \"Field log\". Why stands in its place."
        );
    }
}
