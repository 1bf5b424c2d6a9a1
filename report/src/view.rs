//! What stands on the pages: words and pictures made from facts, as the Typst templates read them.
//!
//! Nothing is computed here; `claymark-words` makes the sentences, [`crate::charts`] the pictures.

mod ahead;
mod demand;
mod drums;
mod glance;
mod record;
mod skill;
mod water;

use jiff::Timestamp;
use serde::Serialize;

use claymark_words::caution;
use claymark_words::report::{self as words, Mark};

use crate::charts::Undrawn;
use crate::facts::WeekFacts;

/// The content of the report.
#[derive(Debug, Clone, Serialize)]
pub struct View {
    title: String,
    foot: &'static str,
    span: String,
    so_far: Option<String>,
    date: Moment,
    verdict: Vec<Line>,
    room: glance::Room,
    ahead: ahead::Ahead,
    drums: drums::Drums,
    skill: skill::Skill,
    water: water::Water,
    demand: demand::Demand,
    record: record::Record,
    #[serde(skip)]
    pictures: Pictures,
}

/// One sentence with its mark.
#[derive(Debug, Clone, Serialize)]
pub struct Line {
    mark: &'static str,
    shape: &'static str,
    text: String,
}

/// A picture and what it says in words.
#[derive(Debug, Clone, Serialize)]
pub struct Picture {
    file: String,
    alt: String,
}

/// The pictures by file name.
#[derive(Debug, Clone, Default)]
pub struct Pictures(Vec<(String, String)>);

#[derive(Debug, Clone, Serialize)]
struct Moment {
    year: i16,
    month: i8,
    day: i8,
    hour: i8,
    minute: i8,
}

impl View {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Result<Self, Undrawn> {
        let mut pictures = Pictures::default();
        let (week, site) = (&facts.week, &facts.site);
        let zone = &site.time_zone;
        let (first, last) = (week.days().first(), week.days().last());
        let span = first
            .zip(last)
            .map(|(first, last)| words::glance::span(first.date, last.date, week.length(), zone));
        let so_far =
            (!facts.complete()).then(|| words::glance::so_far(&words::dated_moment(facts.until, zone)));
        Ok(Self {
            title: words::glance::title(site, week.number(), week.year()),
            foot: caution::NOT_LIFE_SUPPORT,
            span: span.unwrap_or_default(),
            so_far,
            date: Moment::of(facts.until, facts),
            verdict: glance::verdict(facts),
            room: glance::Room::of(facts, &mut pictures)?,
            ahead: ahead::Ahead::of(facts),
            drums: drums::Drums::of(facts, &mut pictures)?,
            skill: skill::Skill::of(facts),
            water: water::Water::of(facts, &mut pictures)?,
            demand: demand::Demand::of(facts, &mut pictures)?,
            record: record::Record::of(facts, &mut pictures)?,
            pictures,
        })
    }

    /// The pictures by file name.
    #[must_use]
    pub fn pictures(&self) -> &[(String, String)] {
        &self.pictures.0
    }
}

impl Line {
    fn of((mark, text): (Mark, String)) -> Self {
        Self { mark: mark.name(), shape: mark.shape(), text: breakable(&text) }
    }
}

impl Pictures {
    fn keep(&mut self, svg: String, alt: String) -> Picture {
        let file = format!("picture-{}.svg", self.0.len());
        self.0.push((file.clone(), svg));
        Picture { file, alt }
    }
}

impl Moment {
    fn of(at: Timestamp, facts: &WeekFacts) -> Self {
        let local = at.to_zoned_datetime(facts.site.time_zone.clone());
        Self {
            year: local.year(),
            month: local.month(),
            day: local.day(),
            hour: local.hour(),
            minute: local.minute(),
        }
    }
}

/// Lets a name without spaces break, so that it stays in its column: a zero-width space every so often. A
/// percent sign stays with its figure.
fn breakable(name: &str) -> String {
    let name = name.replace(" %", "\u{a0}%");
    let mut text = String::with_capacity(name.len());
    let mut run = 0;
    for letter in name.chars() {
        run = if letter.is_whitespace() || letter == '-' { 0 } else { run + 1 };
        if run > UNBROKEN {
            text.push('\u{200b}');
            run = 1;
        }
        text.push(letter);
    }
    text
}

/// So many letters stand in the narrowest column.
const UNBROKEN: usize = 14;
