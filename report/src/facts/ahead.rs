//! The week ahead: what the plan will need, the clay on the floor, and what fills each drum as it stands.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};

use claymark_core::clay::Clouding;
use claymark_core::fieldlog::{Deed, LogEntry, Place as LogPlace};
use claymark_core::forecast::{Forecast, Outlook, Subject};
use claymark_core::happening::What;
use claymark_core::id::Id;
use claymark_core::notice::content::SeenRefill;
use claymark_core::plan::ahead::{self, DayAhead};
use claymark_core::refill::books::{Books, LoggedRefill};
use claymark_core::refill::{Counted, Refill, Wanted};
use claymark_core::room::Stock;
use claymark_core::site::{Drum, Place, Quantity, Site};
use claymark_core::units::{Litres, LitresPerMinute};

use super::Rows;
use super::drums::BREAK;
use super::trace::{Trace, mean};

/// From the day after what is reported.
#[derive(Debug, Clone, PartialEq)]
pub struct Ahead {
    /// Seven days.
    pub days: Vec<DayAhead>,
    /// The clay on the floor; `None`: the site file has no `[stock]`, or nothing is known of the use.
    pub stock: Option<Stock>,
    /// What fills each drum, in the order of the site file.
    pub refills: Vec<Filling>,
}

/// What fills one drum.
#[derive(Debug, Clone, PartialEq)]
pub struct Filling {
    /// Which.
    pub drum: Drum,
    /// What is in it; `None`: that isn't known.
    pub holds: Option<Litres>,
    /// What its refills left in it, by the books.
    pub books: Books,
    /// What to add, to the full line at the target strength.
    pub refill: Option<Refill>,
}

impl Ahead {
    /// As it was known at `until`: by the site file's figures for the clay, not by what a running daemon has learned.
    #[must_use]
    pub fn of(site: &Site, until: Timestamp, traces: &BTreeMap<Id, Trace>, rows: &Rows) -> Self {
        let today = site.date_at(until);
        let clouding = Clouding::written(&site.clay);
        let flow = flow_of_late(site, until, traces, rows);
        Self {
            days: ahead::ahead(site, today, DAYS, clouding.as_ref(), flow),
            stock: Stock::of(site, &rows.ledger, today, clouding.as_ref(), flow),
            refills: site.drums.iter().map(|drum| Filling::of(site, drum, until, rows)).collect(),
        }
    }

    /// On which day it begins.
    #[must_use]
    pub fn from(&self) -> Option<Date> {
        self.days.first().map(|day| day.date)
    }
}

impl Filling {
    fn of(site: &Site, drum: &Drum, until: Timestamp, rows: &Rows) -> Self {
        let books =
            Books::after(drum, &site.clay, &seen(drum, until, rows), &logged(site, drum, until, rows));
        let holds = held(drum, until, rows);
        let counted = Counted::of(&books, None);
        let refill = holds.map(|holds| Refill::of(drum, &site.clay, Wanted::full(drum), holds, counted));
        Self { drum: drum.clone(), holds, books, refill }
    }
}

/// The mean of the last day at the head tank's flow sensor, else the last check by bucket and watch there.
fn flow_of_late(
    site: &Site,
    until: Timestamp,
    traces: &BTreeMap<Id, Trace>,
    rows: &Rows,
) -> Option<LitresPerMinute> {
    let day_before = until.saturating_sub(SignedDuration::from_hours(24)).unwrap_or(until);
    let sensor = site.sensors.iter().find(|s| s.place == Place::Head && s.quantity == Quantity::Flow);
    let measured = sensor.and_then(|sensor| mean(traces.get(&sensor.id)?.between(day_before, until)));
    let caught = || {
        let checks = rows.ledger.entries().filter(|entry| entry.at <= until);
        let caught = checks.filter_map(|entry| Some((entry.at, caught_at_head(entry)?)));
        caught.max_by_key(|(at, _)| *at).map(|(_, flow)| flow)
    };
    measured.map(LitresPerMinute).or_else(caught)
}

fn caught_at_head(entry: &LogEntry) -> Option<LitresPerMinute> {
    let Deed::FlowCheck { place: Some(LogPlace::Head), volume: Some(volume), seconds: Some(seconds) } =
        &entry.deed
    else {
        return None;
    };
    LitresPerMinute::caught(*volume, *seconds)
}

fn seen(drum: &Drum, until: Timestamp, rows: &Rows) -> Vec<SeenRefill> {
    let of_drum =
        rows.happenings.iter().filter(|happening| happening.drum == drum.id && happening.at <= until);
    let refill = |happening: &claymark_core::happening::Happening| {
        let What::Refilled { added, to, logged } = happening.what else { return None };
        Some(SeenRefill { at: happening.at, added, to, logged })
    };
    of_drum.filter_map(refill).collect()
}

fn logged(site: &Site, drum: &Drum, until: Timestamp, rows: &Rows) -> Vec<LoggedRefill> {
    let first = rows.happenings.first().map_or(until, |happening| happening.at);
    let mut logged: Vec<LoggedRefill> = rows
        .ledger
        .entries()
        .filter(|entry| entry.at <= until && entry.at >= first)
        .filter_map(|entry| {
            let Deed::Refill { drum: of, water, clay } = &entry.deed else { return None };
            let mine = of.as_ref().map_or(site.drums.len() == 1, |of| *of == drum.id);
            let (key, at, water, clay) = (entry.key.clone(), entry.at, *water, *clay);
            mine.then(|| LoggedRefill {
                key,
                at,
                water,
                clay,
                held: held(drum, at, rows),
                aimed: drum.target,
            })
        })
        .collect();
    logged.sort_by_key(|refill| refill.at);
    logged
}

/// The last volume that was believed by then, unless that is too old.
fn held(drum: &Drum, at: Timestamp, rows: &Rows) -> Option<Litres> {
    let of_drum = |forecast: &&Forecast| forecast.of == Subject::Drum(drum.id.clone()) && forecast.at <= at;
    let last = rows.forecasts.iter().rev().find(of_drum)?;
    match last.outlook {
        Outlook::Known { volume, .. } if at.duration_since(last.at) <= BREAK => Some(volume),
        Outlook::Known { .. } | Outlook::Unknown { .. } => None,
    }
}

const DAYS: i32 = 7;
