//! The drums' page.

use serde::Serialize;

use claymark_model::units::Litres;
use claymark_words::format;
use claymark_words::report as words;
use claymark_words::report::Mark;

use super::{MarkedLine, Picture, Pictures, breakable};
use crate::charts::scale::Cut;
use crate::charts::{Undrawn, drum};
use crate::facts::WeekFacts;
use crate::facts::drums::{DrumWeek, RunOut, TimeInDoubt, WELL_KNOWN_PERCENT};

/// All drums.
#[derive(Debug, Clone, Serialize)]
pub struct DrumsPart {
    all: Vec<DrumCard>,
    drawn: DrawnByDay,
}

#[derive(Debug, Clone, Serialize)]
struct DrumCard {
    name: String,
    picture: Picture,
    lines: Vec<MarkedLine>,
}

/// Litres drawn by day.
#[derive(Debug, Clone, Serialize)]
struct DrawnByDay {
    unit: &'static str,
    days: Vec<String>,
    rows: Vec<(String, Vec<String>)>,
}

impl DrumsPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let all =
            facts.drums.iter().map(|drum| DrumCard::of(drum, facts, pictures)).collect::<Result<_, _>>()?;
        let unit = facts.site.units.volume;
        let cell = |litres: &Option<Litres>| {
            litres.map_or_else(
                || words::drums::NOT_KNOWN.to_owned(),
                |litres| format::number(unit.from_base(litres.0), 0),
            )
        };
        let rows = facts
            .drums
            .iter()
            .map(|drum| (breakable(&drum.drum.name), drum.drawn.iter().map(cell).collect()))
            .collect();
        Ok(Self { all, drawn: DrawnByDay { unit: unit.symbol(), days: day_names(facts), rows } })
    }
}

impl DrumCard {
    fn of(week: &DrumWeek, facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let units = &facts.site.units;
        let lettering = drum::DrumLettering {
            days: day_names(facts),
            unit: units.volume,
            heel: words::drums::HEEL.to_owned(),
            full: words::drums::FULL.to_owned(),
            empty: words::drums::EMPTY.to_owned(),
            doubt: words::drums::DOUBT.to_owned(),
            not_yet: words::glance::NOT_YET.to_owned(),
            refills: week
                .refills
                .iter()
                .map(|refill| words::drums::refill_label(refill.added, refill.logged.is_some(), units))
                .collect(),
        };
        let svg = drum::draw(week, &facts.week, facts.until, SIZE, &lettering)?;
        let in_units = |(low, high)| (units.volume.from_base(low), units.volume.from_base(high));
        let cut = drum::scale(week).1.map(|cut| Cut {
            scale: in_units(cut.scale),
            figures: in_units(cut.figures),
            ..cut
        });
        let alt = words::drums::picture(
            &week.drum.name,
            week.lowest(),
            week.last(),
            week.refills.len(),
            week.run_outs.len(),
            units,
        );
        Ok(Self {
            name: breakable(&week.drum.name),
            picture: pictures.keep_cut(svg, alt, cut, units.volume.symbol()),
            lines: lines(week, facts).into_iter().map(MarkedLine::of).collect(),
        })
    }
}

fn lines(week: &DrumWeek, facts: &WeekFacts) -> Vec<(Mark, String)> {
    let added: Vec<Litres> = week.refills.iter().map(|refill| refill.added).collect();
    let unlogged = week.refills.iter().filter(|refill| refill.logged.is_none()).count();
    let mark = if unlogged > 0 { Mark::Look } else { Mark::Good };
    let known = week.known_percent(&facts.week, facts.until);
    let mut lines = Vec::new();
    if known < WELL_KNOWN_PERCENT {
        lines.push((Mark::Unknown, words::drums::known_for(known)));
    }
    if known > 0.0 {
        lines.push((mark, words::drums::refills(&added, unlogged, week.clay_logged(), &facts.site)));
    }
    lines.extend(week.run_outs.iter().map(|run_out| (Mark::Bad, told(run_out, facts))));
    lines.extend(doubts(week, facts));
    let refuted = words::drums::refuted(week.refuted.checked, week.refuted.too_early);
    let mark = if week.refuted.too_early > 0 { Mark::Look } else { Mark::Good };
    lines.extend(refuted.map(|says| (mark, says)));
    lines
}

/// The longest times in which the level wasn't believed, in order, and how many more there were.
fn doubts(week: &DrumWeek, facts: &WeekFacts) -> Vec<(Mark, String)> {
    let lasted = |doubt: &TimeInDoubt| doubt.to.unwrap_or(facts.until).duration_since(doubt.from);
    let mut longest: Vec<&TimeInDoubt> = week.doubts.iter().collect();
    longest.sort_by_key(|doubt| (std::cmp::Reverse(lasted(doubt)), doubt.from));
    let rest = longest.split_off(DOUBTS.min(longest.len()));
    longest.sort_by_key(|doubt| doubt.from);
    let zone = &facts.site.time_zone;
    let each = longest.into_iter().map(|doubt| words::drums::doubt(doubt.from, doubt.to, &doubt.why, zone));
    let more = words::drums::more_doubts(rest.len(), rest.iter().map(|doubt| lasted(doubt)).sum());
    each.chain(more).map(|says| (Mark::Unknown, says)).collect()
}

fn told(run_out: &RunOut, facts: &WeekFacts) -> String {
    let zone = &facts.site.time_zone;
    let mut says =
        vec![words::drums::run_out(run_out.at, run_out.refilled, run_out.lasted(facts.until), zone)];
    says.push(words::drums::warned(run_out.warned.map(|warned| (warned.ahead, warned.number))));
    says.extend(
        run_out.hindsight.iter().map(|hindsight| {
            words::drums::hindsight(hindsight.ahead, hindsight.likely_error, hindsight.held)
        }),
    );
    says.join(" ")
}

/// The names of the days of the week.
pub fn day_names(facts: &WeekFacts) -> Vec<String> {
    facts.week.days().iter().map(|day| words::day(day.date)).collect()
}

/// So many times of doubt are shown; the rest is counted.
const DOUBTS: usize = 5;

const SIZE: (u32, u32) = (1800, 360);
