//! From rows to the facts of a week: pure, no words, no pictures.
//!
//! Time weighs, not the number of readings; what is missing or doubtful is never counted as good; an
//! instant is told in the site's time zone by others.

pub mod ahead;
pub mod alarms;
pub mod days;
pub mod demand;
pub mod drums;
pub mod hindsight;
pub mod oxygen;
pub mod skill;
pub mod trace;
pub mod warnings;
pub mod water;

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::Forecast;
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::ledger::Ledger;
use claymark_model::quarantine::Reason;
use claymark_model::reading::Assessed;
use claymark_model::site::{Place, Sensor, Site, WaterLimits};
use claymark_model::skill::MarkForecast;
use claymark_notice::Answer;
use claymark_store::batch::{Delivery, Issued};
use claymark_store::limits::Limits;
use claymark_words::report::unmade::Part;

use ahead::WeekAhead;
use alarms::WeekAlarms;
use days::BandDay;
use demand::{Lack, OxygenDemand};
use drums::DrumWeek;
use skill::ForecastSkill;
use trace::{Shares, TraceBuilder, WeekTrace};
use warnings::Warning;
use water::PlaceWeek;

use crate::parts::Unmade;
use crate::week::Week;

/// All that the report tells of a week.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekFacts {
    /// The site as it stands.
    pub site: Site,
    /// Which week.
    pub week: Week,
    /// Up to when it is reported: its end, or now while it isn't over.
    pub until: Timestamp,
    /// In the order of the site file.
    pub drums: Vec<DrumWeek>,
    /// The head tank first, then the rearing tanks in the order of the site file.
    pub places: Vec<PlaceWeek>,
    /// How the rearing tanks kept their band on each day.
    pub band_days: Vec<BandDay>,
    /// The oxygen that the fish took up, or why that isn't known.
    pub demand: Result<OxygenDemand, Lack>,
    /// How well the drums were forecast of late.
    pub skill: ForecastSkill,
    /// What comes next.
    pub ahead: WeekAhead,
    /// How complete each sensor's readings are, in the order of the site file.
    pub sensors: Vec<SensorWeek>,
    /// What people were told.
    pub warnings: Vec<Warning>,
    /// How much they were called; `None`: that couldn't be reckoned.
    pub alarms: Option<WeekAlarms>,
    /// What was kept aside, most frequent first.
    pub quarantined: Vec<(Reason, u64)>,
    /// What hands did; entries that were corrected later are left out.
    pub log: Vec<LogEntry>,
    /// What the level sensors saw happen; refills that somebody wrote down are told by drum.
    pub happenings: Vec<Happening>,
    /// What couldn't be read or reckoned.
    pub unmade: Unmade,
}

/// How complete one sensor's readings are.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorWeek {
    /// The sensor.
    pub sensor: Sensor,
    /// What it said.
    pub trace: WeekTrace,
}

impl SensorWeek {
    /// How much of the week usable readings cover.
    #[must_use]
    pub fn known_percent(&self) -> f64 {
        let shares = Shares::of(self.trace.slots());
        shares.percent(shares.known_s()).unwrap_or(0.0)
    }
}

/// Rows of the store that are small enough to be held; those of readings stream through [`WeekTraces`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HeldRows {
    /// Of the week, in the order of time; a few more before it for what was known at its start.
    pub forecasts: Vec<Forecast>,
    /// Of the week and the time before it, in the order of time.
    pub happenings: Vec<Happening>,
    /// Of the week and the day before it.
    pub notices: Vec<Issued>,
    /// Of the same notices.
    pub answers: Vec<Answer>,
    /// Of the same notices.
    pub deliveries: Vec<Delivery>,
    /// Of the week, in the order of time.
    pub log: Vec<LogEntry>,
    /// Clay that came and went since the bags were counted, and refills of the last two weeks.
    pub ledger: Ledger,
    /// What was said of drums' marks in the four weeks up to the end, and what became of it.
    pub marks: Vec<MarkForecast>,
    /// What was learned of the clay in the four weeks up to the end, in the order of time.
    pub yields: Vec<LearnedYield>,
    /// Of the week, by reason.
    pub quarantined: BTreeMap<Reason, u64>,
    /// What couldn't be read.
    pub unmade: Unmade,
}

/// Condenses the readings of all sensors while they stream by.
#[derive(Debug)]
pub struct WeekTraces(BTreeMap<Id, TraceBuilder>);

impl WeekTraces {
    /// For every sensor of the site.
    #[must_use]
    pub fn new(site: &Site, week: &Week, until: Timestamp) -> Self {
        let builder = |sensor: &Sensor| {
            let limits = |at| Limits::of(site, sensor, at);
            TraceBuilder::new(sensor, limits, week, until)
        };
        Self(site.sensors.iter().map(|sensor| (sensor.id.clone(), builder(sensor))).collect())
    }

    /// The next reading of any sensor; those of one sensor in the order of time. A sensor that is no longer
    /// in the site file is passed over.
    pub fn push(&mut self, assessed: &Assessed) {
        if let Some(builder) = self.0.get_mut(&assessed.reading.sensor) {
            builder.push(assessed);
        }
    }

    /// The condenser of one sensor.
    pub fn of(&mut self, sensor: &Id) -> Option<&mut TraceBuilder> {
        self.0.get_mut(sensor)
    }

    /// All have been told.
    #[must_use]
    pub fn finish(self) -> BTreeMap<Id, WeekTrace> {
        self.0.into_iter().map(|(id, builder)| (id, builder.finish())).collect()
    }
}

impl WeekFacts {
    /// From the rows of the week.
    #[must_use]
    pub fn of(
        site: Site,
        week: Week,
        until: Timestamp,
        traces: &BTreeMap<Id, WeekTrace>,
        mut rows: HeldRows,
    ) -> Self {
        use Part::{Ahead, Daily, Demand, Drums, Room, Skill, Told, Water};
        let mut unmade = std::mem::take(&mut rows.unmade);
        let until = until.clamp(week.start(), week.end());
        let drums =
            unmade.fact(&[Drums, Room, Daily], Vec::new(), || drums_of(&site, &week, until, traces, &rows));
        let sensors = site
            .sensors
            .iter()
            .filter_map(|sensor| {
                let trace = traces.get(&sensor.id)?.clone();
                Some(SensorWeek { sensor: sensor.clone(), trace })
            })
            .collect();
        let mut quarantined: Vec<(Reason, u64)> = rows.quarantined.iter().map(|(r, n)| (*r, *n)).collect();
        quarantined.sort_by_key(|(reason, count)| (std::cmp::Reverse(*count), *reason));
        let places = unmade.fact(&[Water, Room, Daily], Vec::new(), || water::places(&site, traces));
        Self {
            band_days: unmade.fact(&[Water], Vec::new(), || days::of(&site, &week, &places)),
            demand: unmade.fact(&[Demand], Err(Lack::Flow), || OxygenDemand::of(&site, &week, until, traces)),
            skill: unmade.fact(&[Skill], ForecastSkill::NONE, || ForecastSkill::of(&site, &rows.marks)),
            ahead: unmade.fact(&[Ahead], WeekAhead::NONE, || WeekAhead::of(&site, until, traces, &rows)),
            alarms: unmade.fact(&[Told], None, || Some(WeekAlarms::of(&week, until, &rows))),
            warnings: unmade.fact(&[Told], Vec::new(), || warnings::of(&week, &rows)),
            places,
            log: in_force(&week, rows.log),
            happenings: telling(&week, until, rows.happenings, &drums),
            drums,
            sensors,
            quarantined,
            until,
            week,
            site,
            unmade,
        }
    }

    /// Whether the week is over.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.until >= self.week.end()
    }

    /// What the fish wanted of the water from the head tank on the first and on the last day of the week.
    #[must_use]
    pub fn wanted(&self) -> (WaterLimits, WaterLimits) {
        let last = self.week.days().last().map_or(self.week.start(), |day| day.start);
        let on = |at| self.site.limits_at(&Place::Head, at);
        (on(self.week.start()), on(last))
    }

    /// How the time of all sensors together divides.
    #[must_use]
    pub fn coverage(&self) -> Shares {
        let all = self.sensors.iter().map(|sensor| Shares::of(sensor.trace.slots()));
        all.fold(Shares::default(), Shares::plus)
    }

    /// Whether a single reading came in.
    #[must_use]
    pub fn heard_anything(&self) -> bool {
        self.sensors.iter().any(|sensor| sensor.trace.counts.readings > 0)
    }
}

fn drums_of(
    site: &Site,
    week: &Week,
    until: Timestamp,
    traces: &BTreeMap<Id, WeekTrace>,
    rows: &HeldRows,
) -> Vec<DrumWeek> {
    let trace_of_level = |drum| site.level_sensor(drum).and_then(|sensor| traces.get(&sensor.id));
    let of = |drum| DrumWeek::of(site, drum, week, until, trace_of_level(&drum.id), rows);
    site.drums.iter().map(of).collect()
}

fn telling(week: &Week, until: Timestamp, happenings: Vec<Happening>, drums: &[DrumWeek]) -> Vec<Happening> {
    let told_by_drum = |seen: &Happening| {
        let Some(drum) = drums.iter().find(|week| week.drum.id == seen.drum) else { return false };
        if seen.what == What::RanEmpty {
            // A second sign of the same emptiness is no second one.
            drum.run_outs.iter().all(|run_out| run_out.at != seen.at)
        } else {
            let written_down = |refill: &drums::ShownRefill| refill.at == seen.at && refill.logged.is_some();
            matches!(seen.what, What::Refilled { .. }) && drum.refills.iter().any(written_down)
        }
    };
    let seen = happenings.into_iter().filter(|seen| week.contains(seen.at) && seen.at < until);
    seen.filter(|seen| !told_by_drum(seen)).collect()
}

fn in_force(week: &Week, log: Vec<LogEntry>) -> Vec<LogEntry> {
    let replaced: BTreeSet<String> = log.iter().filter_map(|entry| entry.replaces.clone()).collect();
    log.into_iter().filter(|entry| week.contains(entry.at) && !replaced.contains(&entry.key)).collect()
}
