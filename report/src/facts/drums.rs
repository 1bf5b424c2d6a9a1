//! One drum's week: its volume, refills, run-outs, doubts, and how good the forecasts were.

use std::collections::HashSet;

use jiff::{SignedDuration, Timestamp};

use claymark_clay::gauge::Gauge;
use claymark_model::doubt::{Grounds, WhyDoubted};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, Forecast, Outlook, Subject};
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::site::{Drum, Site};
use claymark_model::units::{Kilograms, Litres};
use claymark_notice::NoticeKind;

use super::HeldRows;
use super::hindsight::{self, Hindsight, Refuted};
use super::trace::{SLOT_S, WeekTrace};
use crate::week::{Day, Week};

/// One drum's week.
#[derive(Debug, Clone, PartialEq)]
pub struct DrumWeek {
    /// The drum.
    pub drum: Drum,
    /// Believed volume, in the order of time.
    pub volume: Vec<Believed>,
    /// What the level sensor itself showed: lowest and highest volume per slot.
    pub seen: Vec<Option<(Litres, Litres)>>,
    /// Refills in the week.
    pub refills: Vec<ShownRefill>,
    /// Times without slurry, those that began before the week included.
    pub run_outs: Vec<RunOut>,
    /// When the level couldn't be believed.
    pub doubts: Vec<TimeInDoubt>,
    /// Forecasts that a refill proved wrong.
    pub refuted: Refuted,
    /// Litres drawn on each day; `None` where the volume at a midnight isn't known.
    pub drawn: Vec<Option<Litres>>,
}

/// A volume that a forecast went by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Believed {
    /// When.
    pub at: Timestamp,
    /// All slurry, heel included; `None` where nothing could be said.
    pub volume: Option<Litres>,
    /// What it went by.
    pub basis: Option<Basis>,
}

/// One refill that the data show.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownRefill {
    /// When.
    pub at: Timestamp,
    /// Litres added.
    pub added: Litres,
    /// Volume afterwards.
    pub to: Litres,
    /// The field-log entry that tells of it.
    pub logged: Option<RefillEntry>,
}

/// What the field log says of a refill.
#[derive(Debug, Clone, PartialEq)]
pub struct RefillEntry {
    /// Dry clay.
    pub clay: Option<Kilograms>,
    /// By whom.
    pub by: Option<String>,
}

/// One time without slurry.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOut {
    /// When the volume came down to the heel.
    pub at: Timestamp,
    /// When it was refilled; `None` where it wasn't by the end of what is reported.
    pub refilled: Option<Timestamp>,
    /// The first run-out warning of this emptying.
    pub warned: Option<Warned>,
    /// What the forecasts had said.
    pub hindsight: Vec<Hindsight>,
}

/// The first warning before a run-out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Warned {
    /// Number of the notice.
    pub number: u64,
    /// How long before the drum was empty; negative: afterwards.
    pub ahead: SignedDuration,
}

/// A time in which the level couldn't be believed.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeInDoubt {
    /// Since when.
    pub from: Timestamp,
    /// Until when; `None`: still.
    pub to: Option<Timestamp>,
    /// Why, in a few plain words.
    pub why: Grounds<WhyDoubted>,
}

impl DrumWeek {
    /// From the rows of the week and what happened before it.
    #[must_use]
    pub fn of(
        site: &Site,
        drum: &Drum,
        week: &Week,
        until: Timestamp,
        trace: Option<&WeekTrace>,
        rows: &HeldRows,
    ) -> Self {
        let forecasts: Vec<&Forecast> =
            rows.forecasts.iter().filter(|forecast| forecast.of == Subject::Drum(drum.id.clone())).collect();
        let happenings: Vec<&Happening> = rows
            .happenings
            .iter()
            .filter(|happening| happening.drum == drum.id && happening.at < until)
            .collect();
        let volume: Vec<Believed> = forecasts
            .iter()
            // With the one of the last midnight, by which the drum is told as it stood at the end.
            .filter(|forecast| (week.start()..=until).contains(&forecast.at))
            .map(|forecast| believed(forecast))
            .collect();
        let refills = refills(&drum.id, site, week, &happenings, &rows.log);
        let drawn = week.days().iter().map(|day| drawn(day, &forecasts, &happenings)).collect();
        let gauge = site.level_sensor(&drum.id).and_then(|sensor| Gauge::of(drum, sensor, &site.clay));
        let seen = trace.zip(gauge).map_or_else(Vec::new, |(trace, gauge)| seen(&gauge, trace));
        Self {
            run_outs: run_outs(&drum.id, week, &happenings, &forecasts, rows),
            doubts: doubts(week, &happenings),
            refuted: hindsight::refuted(week, &happenings, &forecasts),
            drum: drum.clone(),
            volume,
            seen,
            refills,
            drawn,
        }
    }

    /// The lowest believed volume of the week.
    #[must_use]
    pub fn lowest(&self) -> Option<Litres> {
        self.volume.iter().filter_map(|point| point.volume).min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The last believed volume of the week.
    #[must_use]
    pub fn last(&self) -> Option<Litres> {
        self.volume.last().and_then(|point| point.volume)
    }

    /// Seconds without slurry from `from` to `to`, as far as the time up to `until` tells.
    #[must_use]
    pub fn empty_s(&self, from: Timestamp, to: Timestamp, until: Timestamp) -> f64 {
        self.run_outs
            .iter()
            .map(|run_out| {
                let end = run_out.refilled.unwrap_or(until).min(to);
                end.duration_since(run_out.at.max(from)).as_secs_f64().max(0.0)
            })
            .fold(0.0, |sum, seconds| sum + seconds)
    }

    /// For how much of the week the volume is known.
    #[must_use]
    pub fn known_percent(&self, week: &Week, until: Timestamp) -> f64 {
        let due_s = until.duration_since(week.start()).as_secs_f64();
        let mut known_to = week.start();
        let mut unknown_s = 0.0;
        for point in self.volume.iter().filter(|point| point.volume.is_some()) {
            unknown_s += unknown(known_to, point.at);
            known_to = point.at;
        }
        unknown_s += unknown(known_to, until);
        if due_s > 0.0 { 100.0 * (1.0 - unknown_s / due_s) } else { 0.0 }
    }

    /// Dry clay that the log tells of.
    #[must_use]
    pub fn clay_logged(&self) -> Kilograms {
        Kilograms(
            self.refills.iter().filter_map(|refill| refill.logged.as_ref()?.clay).map(|clay| clay.0).sum(),
        )
    }
}

impl RunOut {
    /// How long there was no slurry, as far as the time up to `until` tells.
    #[must_use]
    pub fn lasted(&self, until: Timestamp) -> SignedDuration {
        self.refilled.unwrap_or(until).duration_since(self.at)
    }
}

/// Between two known volumes: nothing, unless a forecast is missing.
fn unknown(from: Timestamp, to: Timestamp) -> f64 {
    let apart = to.duration_since(from);
    if apart > BREAK { apart.as_secs_f64() } else { 0.0 }
}

fn believed(forecast: &Forecast) -> Believed {
    match &forecast.outlook {
        Outlook::Known { basis, volume, .. } => {
            Believed { at: forecast.at, volume: Some(*volume), basis: Some(*basis) }
        }
        Outlook::Unknown { .. } => Believed { at: forecast.at, volume: None, basis: None },
    }
}

fn seen(gauge: &Gauge, trace: &WeekTrace) -> Vec<Option<(Litres, Litres)>> {
    let volumes = |(low, high): (f64, f64)| {
        let (a, b) = (gauge.volume(low)?, gauge.volume(high)?);
        Some(if a.0 <= b.0 { (a, b) } else { (b, a) })
    };
    trace.slots().iter().map(|slot| slot.range().and_then(volumes)).collect()
}

fn refills(
    drum: &Id,
    site: &Site,
    week: &Week,
    happenings: &[&Happening],
    log: &[LogEntry],
) -> Vec<ShownRefill> {
    let mut told = HashSet::new();
    let mut refills = Vec::new();
    for happening in happenings.iter().filter(|happening| week.contains(happening.at)) {
        let What::Refilled { added, to, logged } = &happening.what else { continue };
        let entry = nearest_entry(drum, site, happening.at, log, &told);
        let logged = match entry {
            Some((key, logged)) => {
                told.insert(key);
                Some(logged)
            }
            None => logged.then_some(RefillEntry { clay: None, by: None }),
        };
        refills.push(ShownRefill { at: happening.at, added: *added, to: *to, logged });
    }
    refills
}

fn nearest_entry(
    drum: &Id,
    site: &Site,
    at: Timestamp,
    log: &[LogEntry],
    told: &HashSet<String>,
) -> Option<(String, RefillEntry)> {
    let only_drum = site.drums.len() == 1;
    log.iter()
        .filter(|entry| !told.contains(&entry.key))
        .filter_map(|entry| {
            let Deed::Refill { drum: of, clay, .. } = &entry.deed else { return None };
            let meant = of.as_ref() == Some(drum) || (of.is_none() && only_drum);
            let apart = entry.at.duration_since(at).abs();
            (meant && apart <= LOGGED_WITHIN).then_some((apart, entry, *clay))
        })
        .min_by_key(|(apart, _, _)| *apart)
        .map(|(_, entry, clay)| (entry.key.clone(), RefillEntry { clay, by: entry.by.clone() }))
}

fn run_outs(
    drum: &Id,
    week: &Week,
    happenings: &[&Happening],
    forecasts: &[&Forecast],
    rows: &HeldRows,
) -> Vec<RunOut> {
    dry_times(happenings)
        .into_iter()
        .filter(|dry| dry.at < week.end() && dry.refilled.is_none_or(|at| at > week.start()))
        .map(|dry| {
            let told = rows.notices.iter().map(|issued| &issued.notice).filter(|notice| {
                notice.kind == NoticeKind::Runout
                    && notice.drum.as_ref() == Some(drum)
                    && dry.filled.is_none_or(|filled| notice.at > filled)
                    && notice.at < dry.refilled.unwrap_or(week.end())
            });
            let warned = told
                .min_by_key(|notice| notice.at)
                .map(|notice| Warned { number: notice.number, ahead: dry.at.duration_since(notice.at) });
            let hindsight = hindsight::before(dry.at, happenings, forecasts);
            RunOut { at: dry.at, refilled: dry.refilled, warned, hindsight }
        })
        .collect()
}

/// From the last refill before it to the next one.
struct Dry {
    filled: Option<Timestamp>,
    at: Timestamp,
    refilled: Option<Timestamp>,
}

/// A second sign of emptiness without a refill between is the same run-out.
fn dry_times(happenings: &[&Happening]) -> Vec<Dry> {
    let mut all: Vec<Dry> = Vec::new();
    let mut filled = None;
    for happening in happenings {
        let open = all.last_mut().filter(|dry| dry.refilled.is_none());
        if happening.what.added().is_some() {
            if let Some(dry) = open {
                dry.refilled = Some(happening.at);
            }
            filled = Some(happening.at);
        } else if happening.what == What::RanEmpty && open.is_none() {
            all.push(Dry { filled, at: happening.at, refilled: None });
        }
    }
    all
}

fn doubts(week: &Week, happenings: &[&Happening]) -> Vec<TimeInDoubt> {
    let mut doubts: Vec<TimeInDoubt> = Vec::new();
    for happening in happenings {
        let open = doubts.last_mut().filter(|doubt| doubt.to.is_none());
        if let (What::LevelDoubted { why }, None) = (&happening.what, &open) {
            doubts.push(TimeInDoubt { from: happening.at, to: None, why: why.clone() });
        } else if let (What::LevelBelieved, Some(doubt)) = (&happening.what, open) {
            doubt.to = Some(happening.at);
        }
    }
    doubts.retain(|doubt| doubt.from < week.end() && doubt.to.is_none_or(|to| to > week.start()));
    doubts
}

fn drawn(day: &Day, forecasts: &[&Forecast], happenings: &[&Happening]) -> Option<Litres> {
    let at = |midnight: Timestamp| {
        forecasts
            .iter()
            .filter_map(|forecast| {
                Some((forecast.at.duration_since(midnight).abs(), believed(forecast).volume?))
            })
            .filter(|(apart, _)| *apart <= AT_MIDNIGHT)
            .min_by_key(|(apart, _)| *apart)
            .map(|(_, volume)| volume.0)
    };
    let added: f64 = happenings
        .iter()
        .filter(|happening| (day.start..day.end).contains(&happening.at))
        .filter_map(|happening| Some(happening.what.added()?.0))
        .sum();
    Some(Litres((at(day.start)? - at(day.end)? + added).max(0.0)))
}

/// A log entry this near to a rise of the level tells of it. Our own choice: entries are written by memory.
const LOGGED_WITHIN: SignedDuration = SignedDuration::from_hours(2);

/// A volume this near to midnight stands for it.
const AT_MIDNIGHT: SignedDuration = SignedDuration::from_secs(2 * SLOT_S);

/// A volume known for less than so much of the week is told as not always known. Our own choice.
pub const WELL_KNOWN_PERCENT: f64 = 99.0;

/// Longer than this without a volume is unknown: three forecasts of ten minutes.
pub const BREAK: SignedDuration = SignedDuration::from_mins(30);
