//! How good the forecasts were.

use serde::Serialize;

use claymark_words::report as words;
use claymark_words::report::skill::Held;

use super::MarkedLine;
use crate::facts::WeekFacts;
use crate::facts::skill::{ENOUGH, IntervalVerdict, LeadScore};

/// By how far ahead.
#[derive(Debug, Clone, Serialize)]
pub struct SkillPart {
    verdict: MarkedLine,
    judged: String,
    leads: Vec<LeadRow>,
    means: String,
}

#[derive(Debug, Clone, Serialize)]
struct LeadRow {
    cells: Vec<String>,
    held: MarkedLine,
}

impl SkillPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        let skill = &facts.skill;
        let verdict = if skill.any() {
            let each: Vec<_> =
                skill.leads.iter().map(|lead| (lead.lead, held(lead), lead.median_off)).collect();
            words::skill::verdict(&each)
        } else {
            words::skill::nothing()
        };
        let since = skill.since.map(|since| words::skill::judged(facts.site.date_at(since)));
        Self {
            verdict: MarkedLine::of(verdict),
            judged: since.unwrap_or_default(),
            leads: if skill.any() { skill.leads.iter().map(LeadRow::of).collect() } else { Vec::new() },
            means: words::skill::means(ENOUGH),
        }
    }
}

impl LeadRow {
    fn of(lead: &LeadScore) -> Self {
        let (mark, says) = held(lead).says();
        Self {
            cells: vec![
                words::skill::lead(lead.lead),
                lead.outer.of.to_string(),
                lead.drum_days.to_string(),
                words::skill::time(lead.median_off),
                words::skill::share(lead.inner, lead.inner_bounds()),
                words::skill::share(lead.outer, lead.outer_bounds()),
                words::skill::time(lead.crps),
            ],
            held: MarkedLine::of((mark, says.to_owned())),
        }
    }
}

fn held(lead: &LeadScore) -> Held {
    match lead.verdict() {
        IntervalVerdict::TooLittle => Held::TooLittle,
        IntervalVerdict::Fits => Held::Fits,
        IntervalVerdict::TooNarrow => Held::TooSeldom,
        IntervalVerdict::TooWide => Held::TooOften,
    }
}
