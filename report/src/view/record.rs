//! Warnings, completeness, what was kept aside, and the field log.

use std::collections::BTreeMap;

use serde::Serialize;

use claymark_model::fieldlog::LogEntry;
use claymark_model::happening::Happening;
use claymark_model::quarantine::Reason;
use claymark_notice::Call;
use claymark_words::report as words;
use claymark_words::{alarms, happening, names, reasons};

use super::{MarkedLine, Picture, Pictures, breakable};
use crate::charts::{Undrawn, coverage};
use crate::facts::warnings::Warning;
use crate::facts::{SensorWeek, WeekFacts};

/// What people were told.
#[derive(Debug, Clone, Serialize)]
pub struct ToldPart {
    warnings: Vec<WarningRow>,
    more: Option<String>,
    figures: Vec<[String; 3]>,
}

/// What the sensors saw happen.
#[derive(Debug, Clone, Serialize)]
pub struct HappenedPart {
    list: Vec<(String, String)>,
    more: Option<String>,
}

/// How complete the readings are.
#[derive(Debug, Clone, Serialize)]
pub struct CompletePart {
    verdict: MarkedLine,
    not_passed: Option<String>,
    late: Option<String>,
    sensors: Vec<SensorRow>,
}

/// What was kept aside.
#[derive(Debug, Clone, Serialize)]
pub struct AsidePart {
    list: Vec<(String, String)>,
}

/// The field log.
#[derive(Debug, Clone, Serialize)]
pub struct LogPart {
    routine: String,
    entries: Vec<EntryRow>,
    more: Option<String>,
}

#[derive(Debug, Clone, Serialize)]
struct WarningRow {
    number: u64,
    when: String,
    urgency: String,
    what: String,
    answered: String,
    delivered: String,
}

#[derive(Debug, Clone, Serialize)]
struct SensorRow {
    name: String,
    known: String,
    picture: Picture,
    lacks: String,
}

#[derive(Debug, Clone, Serialize)]
struct EntryRow {
    when: String,
    who: String,
    what: String,
}

impl ToldPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        let shown = told(&facts.warnings);
        let left_out = facts.warnings.len() - shown.len();
        let figures = facts.alarms.as_ref().filter(|_| !facts.warnings.is_empty());
        let figures = figures.map(|alarms| alarms::lines(&alarms.week)).unwrap_or_default();
        Self {
            warnings: shown.into_iter().map(|warning| WarningRow::of(warning, facts)).collect(),
            more: words::record::more_notices(left_out),
            figures: figures
                .into_iter()
                .map(|line| [line.what.to_owned(), line.found, line.wanted])
                .collect(),
        }
    }
}

impl HappenedPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        let left_out = facts.happenings.len().saturating_sub(HAPPENINGS);
        Self {
            list: facts.happenings.iter().take(HAPPENINGS).map(|seen| happened(seen, facts)).collect(),
            more: words::record::more_happenings(left_out),
        }
    }
}

impl CompletePart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let lacking: Vec<&SensorWeek> =
            facts.sensors.iter().filter(|sensor| sensor.known_percent() < COMPLETE_PERCENT).collect();
        let failed = facts.sensors.iter().map(|sensor| sensor.trace.counts.failed);
        let sensors = lacking.iter().map(|sensor| SensorRow::of(sensor, facts, pictures));
        Ok(Self {
            sensors: sensors.collect::<Result<_, _>>()?,
            verdict: MarkedLine::of(words::record::complete(
                facts.sensors.len() - lacking.len(),
                facts.sensors.len(),
            )),
            not_passed: words::record::failed(
                failed.clone().sum(),
                failed.filter(|failed| *failed > 0).count(),
            ),
            late: words::record::late(facts.sensors.iter().map(|sensor| sensor.trace.counts.late).sum()),
        })
    }
}

impl AsidePart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        let line =
            |(reason, count): &(Reason, u64)| (reasons::quarantine(*reason).to_owned(), count.to_string());
        Self { list: facts.quarantined.iter().map(line).collect() }
    }
}

impl LogPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        let (routine, telling): (Vec<&LogEntry>, Vec<&LogEntry>) =
            facts.log.iter().partition(|entry| words::record::routine(&entry.deed).is_some());
        let line = |entry: &&LogEntry| {
            let (when, who) = words::record::when_and_who(entry, &facts.site.time_zone);
            let what = breakable(&words::record::deed(entry, &facts.site));
            EntryRow { when, who: breakable(&who), what }
        };
        let left_out = telling.len().saturating_sub(ENTRIES);
        Self {
            routine: words::record::entries(facts.log.len(), &kinds(&routine)),
            entries: telling.iter().take(ENTRIES).map(line).collect(),
            more: (left_out > 0).then(|| words::record::more_entries(left_out)),
        }
    }
}

/// All, or, where these are too many to be read, those that were news: calls that were told again are left out first.
fn told(warnings: &[Warning]) -> Vec<&Warning> {
    let again = |warning: &&Warning| {
        let call = warning.notice.calling.as_ref().map(|calling| calling.call);
        matches!(call, Some(Call::Again | Call::Next))
    };
    let many = warnings.len() > NOTICES;
    warnings.iter().filter(|warning| !(many && again(warning))).take(NOTICES).collect()
}

/// How many entries of each routine kind, most frequent first.
fn kinds(routine: &[&LogEntry]) -> Vec<(usize, &'static str, &'static str)> {
    let mut kinds: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for names in routine.iter().filter_map(|entry| words::record::routine(&entry.deed)) {
        *kinds.entry(names).or_default() += 1;
    }
    let mut counted: Vec<_> = kinds.into_iter().map(|((one, many), number)| (number, one, many)).collect();
    counted.sort_by_key(|(number, _, _)| std::cmp::Reverse(*number));
    counted
}

fn happened(seen: &Happening, facts: &WeekFacts) -> (String, String) {
    let when = words::moment(seen.at, &facts.site.time_zone);
    (when, breakable(&happening::told(&facts.site, seen, &facts.log).what))
}

impl WarningRow {
    fn of(warning: &Warning, facts: &WeekFacts) -> Self {
        let notice = &warning.notice;
        let fared = warning.delivery;
        let took = fared.first_sent.map(|sent| sent.duration_since(notice.at));
        Self {
            number: notice.number,
            when: words::moment(notice.at, &facts.site.time_zone),
            urgency: words::record::to_act(
                notice.priority,
                notice.calling.as_ref().map(|calling| calling.call),
            ),
            what: breakable(&warning.subject),
            answered: warning.answered.as_ref().map_or_else(
                || words::record::unanswered(notice.calling.is_some(), warning.answered_by_number),
                |answer| words::record::answered(answer.by.as_deref(), answer.after),
            ),
            delivered: words::record::delivered(fared.sent, fared.pending, fared.given_up, took),
        }
    }
}

impl SensorRow {
    fn of(sensor: &SensorWeek, facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let trace = &sensor.trace;
        let name = names::sensor(&facts.site, &sensor.sensor.id);
        let known = words::percent(sensor.known_percent());
        let gap = trace.longest_gap.map(|gap| (gap.length(), words::moment(gap.from, &facts.site.time_zone)));
        let counts = trace.counts;
        let lacks = words::record::lacks(counts.readings, gap, counts.failed, counts.suspect);
        let svg = coverage::draw(trace, &facts.week, facts.until, STRIP)?;
        let picture = pictures.keep(svg, words::record::coverage(&name, &known));
        Ok(Self { name: breakable(&name), known, picture, lacks })
    }
}

/// A sensor with usable readings for less than so much of the week is shown. Our own choice.
pub const COMPLETE_PERCENT: f64 = 99.0;

/// So many entries of the field log are shown; the rest is counted.
const ENTRIES: usize = 60;

/// So many notices are shown; the rest is counted.
const NOTICES: usize = 60;

/// So much of what happened is shown; the rest is counted.
const HAPPENINGS: usize = 40;

const STRIP: (u32, u32) = (700, 40);
