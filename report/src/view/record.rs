//! Warnings, completeness, what was kept aside, and the field log.

use serde::Serialize;

use claymark_words::report as words;
use claymark_words::{names, reasons};

use super::{Line, Picture, Pictures, breakable};
use crate::charts::{Undrawn, coverage};
use crate::facts::trace::Shares;
use crate::facts::{SensorWeek, WeekFacts};

/// What is on record.
#[derive(Debug, Clone, Serialize)]
pub struct Record {
    warnings: Vec<Warning>,
    complete: Line,
    late: Option<String>,
    sensors: Vec<Sensor>,
    quarantined: Vec<(String, String)>,
    log: Vec<Entry>,
    log_more: Option<String>,
}

#[derive(Debug, Clone, Serialize)]
struct Warning {
    number: u64,
    when: String,
    urgency: &'static str,
    what: String,
    answered: String,
    delivered: String,
}

#[derive(Debug, Clone, Serialize)]
struct Sensor {
    name: String,
    known: String,
    picture: Picture,
    lacks: String,
}

#[derive(Debug, Clone, Serialize)]
struct Entry {
    when: String,
    who: String,
    what: String,
}

impl Record {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let lacking: Vec<&SensorWeek> =
            facts.sensors.iter().filter(|sensor| lacks_something(sensor)).collect();
        let sensors = lacking
            .iter()
            .map(|sensor| Sensor::of(sensor, facts, pictures))
            .collect::<Result<Vec<_>, _>>()?;
        let zone = &facts.site.time_zone;
        let log = facts
            .log
            .iter()
            .take(ENTRIES)
            .map(|entry| {
                let (when, who) = words::record::when_and_who(entry, zone);
                let what = breakable(&words::record::deed(entry, &facts.site));
                Entry { when, who: breakable(&who), what }
            })
            .collect();
        let left_out = facts.log.len().saturating_sub(ENTRIES);
        Ok(Self {
            warnings: facts.warnings.iter().map(|warning| Warning::of(warning, facts)).collect(),
            complete: Line::of(words::record::complete(
                facts.sensors.len() - lacking.len(),
                facts.sensors.len(),
            )),
            late: words::record::late(facts.sensors.iter().map(|sensor| sensor.trace.counts.late).sum()),
            sensors,
            quarantined: facts
                .quarantined
                .iter()
                .map(|(reason, count)| (reasons::quarantine(*reason).to_owned(), count.to_string()))
                .collect(),
            log,
            log_more: (left_out > 0).then(|| words::record::more_entries(left_out)),
        })
    }
}

impl Warning {
    fn of(warning: &crate::facts::warnings::Warning, facts: &WeekFacts) -> Self {
        let notice = &warning.notice;
        let fared = warning.delivery;
        let took = fared.first_sent.map(|sent| sent.duration_since(notice.at));
        Self {
            number: notice.number,
            when: words::moment(notice.at, &facts.site.time_zone),
            urgency: reasons::priority(notice.priority),
            what: breakable(&warning.subject),
            answered: warning.answered.as_ref().map_or_else(
                || words::record::unanswered(notice.priority).to_owned(),
                |answer| words::record::answered(answer.by.as_deref(), answer.after),
            ),
            delivered: words::record::delivered(fared.sent, fared.pending, fared.given_up, took),
        }
    }
}

impl Sensor {
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

/// Less than 99 % usable, or something that failed a test.
fn lacks_something(sensor: &SensorWeek) -> bool {
    sensor.known_percent() < 99.0 || Shares::of(sensor.trace.slots()).doubtful_s > 0.0
}

/// So many entries of the field log are shown; the rest is counted.
const ENTRIES: usize = 60;

const STRIP: (u32, u32) = (700, 40);
