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

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Value, json};

use claymark_words::report::unmade::{self, Part, WhyUnmade};
use claymark_words::report::{self as words, Mark};
use claymark_words::{caution, typed};

use crate::charts::Undrawn;
use crate::charts::scale::Cut;
use crate::facts::WeekFacts;
use crate::parts::attempt;

/// The content of the report.
#[derive(Debug, Clone, Serialize)]
pub struct View {
    title: String,
    foot: &'static str,
    span: String,
    so_far: Option<String>,
    date: PageDate,
    /// What isn't there; it stands above all.
    unmade: Vec<MarkedLine>,
    verdict: Vec<MarkedLine>,
    #[serde(flatten)]
    parts: BTreeMap<&'static str, Value>,
    #[serde(skip)]
    failed: BTreeMap<Part, WhyUnmade>,
    #[serde(skip)]
    hours: Option<MarkedLine>,
    #[serde(skip)]
    pictures: Pictures,
}

/// One sentence with its mark.
#[derive(Debug, Clone, Serialize)]
pub struct MarkedLine {
    mark: &'static str,
    shape: &'static str,
    text: String,
}

/// A picture and what it says in words.
#[derive(Debug, Clone, Serialize)]
pub struct Picture {
    file: String,
    alt: String,
    /// Below it: that its scale was cut.
    note: Option<String>,
}

/// The pictures by file name.
#[derive(Debug, Clone, Default)]
pub struct Pictures(Vec<(String, String)>);

#[derive(Debug, Clone, Serialize)]
struct PageDate {
    year: i16,
    month: i8,
    day: i8,
    hour: i8,
    minute: i8,
}

impl View {
    /// From the facts of a week, part by part.
    #[must_use]
    pub fn of(facts: &WeekFacts) -> Self {
        let mut view = Self::without_parts(facts);
        view.part(Part::Room, facts, |pictures| glance::RoomPart::of(facts, pictures));
        view.part(Part::Ahead, facts, |_| Ok(ahead::AheadPart::of(facts)));
        view.part(Part::Drums, facts, |pictures| drums::DrumsPart::of(facts, pictures));
        view.part(Part::Skill, facts, |_| Ok(skill::SkillPart::of(facts)));
        view.part(Part::Water, facts, |pictures| water::WaterPart::of(facts, pictures));
        view.part(Part::Demand, facts, |pictures| demand::DemandPart::of(facts, pictures));
        view.part(Part::Told, facts, |_| Ok(record::ToldPart::of(facts)));
        view.part(Part::Happened, facts, |_| Ok(record::HappenedPart::of(facts)));
        view.part(Part::Complete, facts, |pictures| record::CompletePart::of(facts, pictures));
        view.part(Part::Aside, facts, |_| Ok(record::AsidePart::of(facts)));
        view.part(Part::Log, facts, |_| Ok(record::LogPart::of(facts)));
        view
    }

    fn without_parts(facts: &WeekFacts) -> Self {
        let (week, site) = (&facts.week, &facts.site);
        let zone = &site.time_zone;
        let (first, last) = (week.days().first(), week.days().last());
        let span = first
            .zip(last)
            .map(|(first, last)| words::glance::span(first.date, last.date, week.length(), zone));
        let so_far =
            (!facts.complete()).then(|| words::glance::so_far(&words::dated_moment(facts.until, zone)));
        let hours =
            facts.unmade.hours().map(|unread| MarkedLine::of(unmade::hours(unread.hours, &unread.said)));
        Self {
            title: words::glance::title(site, week.number(), week.year()),
            foot: caution::NOT_LIFE_SUPPORT,
            span: span.unwrap_or_default(),
            so_far,
            date: PageDate::of(facts.until, facts),
            unmade: hours.iter().cloned().collect(),
            verdict: glance::verdict(facts),
            parts: BTreeMap::new(),
            failed: BTreeMap::new(),
            hours,
            pictures: Pictures::default(),
        }
    }

    fn part<T: Serialize>(
        &mut self,
        part: Part,
        facts: &WeekFacts,
        make: impl FnOnce(&mut Pictures) -> Result<T, Undrawn>,
    ) {
        if let Some(why) = facts.unmade.why(part) {
            return self.fail(part, why);
        }
        let kept = self.pictures.0.len();
        let made = attempt(|| make(&mut self.pictures));
        let written = made.and_then(|made| made.map_err(|undrawn| undrawn.to_string()));
        match written.and_then(|made| serde_json::to_value(made).map_err(|refusal| refusal.to_string())) {
            Ok(content) => {
                self.parts.insert(key(part), content);
            }
            Err(said) => {
                self.pictures.0.truncate(kept);
                self.fail(part, WhyUnmade::Fault(said));
            }
        }
    }

    /// A sentence instead of a part.
    pub fn fail(&mut self, part: Part, why: WhyUnmade) {
        let line = MarkedLine::of(unmade::part(&why));
        self.parts.insert(key(part), json!({ "failed": { "title": part.title(), "line": line } }));
        self.failed.insert(part, why);
        let parts: Vec<Part> = self.failed.keys().copied().collect();
        self.unmade =
            unmade::summary(&parts).map(MarkedLine::of).into_iter().chain(self.hours.clone()).collect();
    }

    /// Parts that a sentence stands for, and why.
    #[must_use]
    pub fn failed(&self) -> &BTreeMap<Part, WhyUnmade> {
        &self.failed
    }

    /// Parts that were made.
    #[must_use]
    pub fn made(&self) -> Vec<Part> {
        let made = |part: &Part| *part != Part::Daily && !self.failed.contains_key(part);
        Part::ALL.into_iter().filter(made).collect()
    }

    /// The same with sentences for all parts but one, to see whether that one can be set.
    #[must_use]
    pub fn only(&self, wanted: Part) -> Self {
        let mut view = self.clone();
        for part in self.made().into_iter().filter(|part| *part != wanted) {
            view.fail(part, WhyUnmade::Fault(String::new()));
        }
        view
    }

    /// The pictures by file name.
    #[must_use]
    pub fn pictures(&self) -> &[(String, String)] {
        &self.pictures.0
    }
}

/// What the templates call it.
fn key(part: Part) -> &'static str {
    match part {
        Part::Room => "room",
        Part::Ahead => "ahead",
        Part::Drums => "drums",
        Part::Skill => "skill",
        Part::Water => "water",
        Part::Demand => "demand",
        Part::Told => "told",
        Part::Happened => "happened",
        Part::Complete => "complete",
        Part::Aside => "aside",
        Part::Log => "log",
        Part::Daily => "daily",
    }
}

impl MarkedLine {
    fn of((mark, text): (Mark, String)) -> Self {
        Self { mark: mark.name(), shape: mark.shape(), text: breakable(&text) }
    }
}

impl Pictures {
    fn keep(&mut self, svg: String, alt: String) -> Picture {
        let file = format!("picture-{}.svg", self.0.len());
        self.0.push((file.clone(), svg));
        Picture { file, alt, note: None }
    }

    /// With what is told of its scale, where that was cut.
    fn keep_cut(&mut self, svg: String, alt: String, cut: Option<Cut>, unit: &str) -> Picture {
        let note = cut.map(|Cut { by, scale, figures }| words::cut::told(by, scale, figures, unit));
        let alt = note.iter().fold(alt, |alt, note| format!("{alt} {note}"));
        Picture { note, ..self.keep(svg, alt) }
    }
}

impl PageDate {
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

/// A text with what is told of a scale that was cut.
fn with_cut(text: String, cut: Option<Cut>, unit: &str) -> String {
    match cut {
        Some(Cut { by, scale, figures }) => {
            format!("{text} {}", words::cut::told(by, scale, figures, unit))
        }
        None => text,
    }
}

/// Lets a name without spaces break, so that it stays in its column: a zero-width space every so often, after those that
/// somebody typed are shown. A percent sign stays with its figure.
fn breakable(name: &str) -> String {
    let name = typed::lines(name).replace(" %", "\u{a0}%");
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
