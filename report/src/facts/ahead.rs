//! The week ahead: what the plan will need, the clay on the floor, and what fills each drum as it stands.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};

use claymark_clay::Clouding;
use claymark_clay::ahead::{self, DayAhead, Today};
use claymark_clay::refill::aim::{DrawnNow, Life};
use claymark_clay::refill::books::{Books, LoggedRefill};
use claymark_clay::refill::{Aim, Counted, Refill, Wanted};
use claymark_clay::stock::supply::Stock;
use claymark_model::fieldlog::{Deed, LogEntry, Place as LogPlace};
use claymark_model::forecast::{Forecast, Subject};
use claymark_model::happening::SeenRefill;
use claymark_model::happening::What;
use claymark_model::id::Id;
use claymark_model::site::{Drum, Place, Quantity, Site};
use claymark_model::units::{Litres, LitresPerMinute};

use super::HeldRows;
use super::drums::BREAK;
use super::trace::{WeekTrace, mean};

/// From the day after what is reported.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekAhead {
    /// Seven days.
    pub days: Vec<DayAhead>,
    /// What clay does to the water; `None`: nobody knows.
    pub clouding: Option<Clouding>,
    /// The clay on the floor; `None`: the site file has no `[stock]`, or nothing is known of the use.
    pub stock: Option<Stock>,
    /// What fills each drum, in the order of the site file.
    pub refills: Vec<DrumFilling>,
}

/// What fills one drum.
#[derive(Debug, Clone, PartialEq)]
pub struct DrumFilling {
    /// Which.
    pub drum: Drum,
    /// What is in it; `None`: that isn't known.
    pub holds: Option<Litres>,
    /// What its refills left in it, by the books.
    pub books: Books,
    /// What a full drum should hold.
    pub aim: Aim,
    /// What to add, up to the full line.
    pub refill: Option<Refill>,
}

impl WeekAhead {
    /// Nothing is known.
    pub const NONE: Self = Self { days: Vec::new(), clouding: None, stock: None, refills: Vec::new() };

    /// As it was known at `until`: what was learned of the clay by then, else the site file's figures.
    #[must_use]
    pub fn of(site: &Site, until: Timestamp, traces: &BTreeMap<Id, WeekTrace>, rows: &HeldRows) -> Self {
        let from = site.date_at(until);
        let learned = rows.yields.iter().rev().find(|learned| learned.learned_at <= until);
        let forecasts = forecasts_at(site, until, rows);
        let today = Today {
            clouding: Clouding::known(&site.clay, learned.map(|learned| learned.clay)),
            water: flow_of_late(site, until, traces, rows),
            slurry: DrawnNow::new(site, &forecasts).in_all(),
        };
        Self {
            days: ahead::ahead(site, from, DAYS, &today),
            clouding: today.clouding,
            stock: Stock::of(site, &rows.ledger, (from, &today)),
            refills: site
                .drums
                .iter()
                .map(|drum| DrumFilling::of(site, drum, (until, &today), rows))
                .collect(),
        }
    }

    /// On which day it begins.
    #[must_use]
    pub fn from(&self) -> Option<Date> {
        self.days.first().map(|day| day.date)
    }
}

impl DrumFilling {
    fn of(site: &Site, drum: &Drum, (until, today): (Timestamp, &Today), rows: &HeldRows) -> Self {
        let aim = |at| aim(site, drum, (at, today), rows);
        let logged = logged(site, drum, (until, &aim), rows);
        let books = Books::after(drum, &site.clay, &seen(drum, until, rows), &logged);
        let holds = held(drum, until, rows);
        let counted = Counted::of(&books, None);
        let aim = aim(until);
        let wanted = Wanted { to: drum.full, strength: aim.strength };
        let refill = holds.map(|holds| Refill::of(drum, &site.clay, wanted, holds, counted));
        Self { drum: drum.clone(), holds, books, aim, refill }
    }
}

/// What a drum that is filled at that time should hold: by the plan, else its own target.
fn aim(site: &Site, drum: &Drum, (at, today): (Timestamp, &Today), rows: &HeldRows) -> Aim {
    let forecasts = forecasts_at(site, at, rows);
    let draws = DrawnNow::new(site, &forecasts);
    let by_plan = || {
        let draw = forecast_at(drum, at, rows)?.outlook.draw()?;
        let lasts = draw.per_minute().time_for(drum.full - drum.heel)?;
        let life = Life { begins: draws.begins(drum, at), lasts, draw };
        draws.aim(drum, today.water.or_else(|| site.plan_flow(at))?, today.clouding?, &life)
    };
    by_plan().unwrap_or(Aim { strength: drum.target, plan: None })
}

/// The mean of the last day at the head tank's flow sensor, else the last check by bucket and watch there.
fn flow_of_late(
    site: &Site,
    until: Timestamp,
    traces: &BTreeMap<Id, WeekTrace>,
    rows: &HeldRows,
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
    LitresPerMinute::caught(*volume, *seconds).filter(|flow| flow.0.is_finite())
}

fn seen(drum: &Drum, until: Timestamp, rows: &HeldRows) -> Vec<SeenRefill> {
    let of_drum =
        rows.happenings.iter().filter(|happening| happening.drum == drum.id && happening.at <= until);
    let refill = |happening: &claymark_model::happening::Happening| {
        let What::Refilled { added, to, logged } = happening.what else { return None };
        Some(SeenRefill { at: happening.at, added, to, logged })
    };
    of_drum.filter_map(refill).collect()
}

fn logged(
    site: &Site,
    drum: &Drum,
    (until, aim): (Timestamp, &dyn Fn(Timestamp) -> Aim),
    rows: &HeldRows,
) -> Vec<LoggedRefill> {
    let first = rows.happenings.first().map_or(until, |happening| happening.at);
    let mut logged: Vec<LoggedRefill> = rows
        .ledger
        .entries()
        .filter(|entry| entry.at <= until && entry.at >= first)
        .filter_map(|entry| {
            let Deed::Refill { drum: of, water, clay } = &entry.deed else { return None };
            let mine = of.as_ref().map_or(site.drums.len() == 1, |of| *of == drum.id);
            let (key, at, water, clay) = (entry.key.clone(), entry.at, *water, *clay);
            let (held, aimed) = (held(drum, at, rows), aim(at).strength);
            mine.then_some(LoggedRefill { key, at, water, clay, held, aimed })
        })
        .collect();
    logged.sort_by_key(|refill| refill.at);
    logged
}

/// The last volume that was believed by then, unless that is too old.
fn held(drum: &Drum, at: Timestamp, rows: &HeldRows) -> Option<Litres> {
    forecast_at(drum, at, rows)?.outlook.volume()
}

/// Of each drum of which there is one.
fn forecasts_at(site: &Site, at: Timestamp, rows: &HeldRows) -> Vec<Forecast> {
    site.drums.iter().filter_map(|drum| forecast_at(drum, at, rows).cloned()).collect()
}

/// The last one by then, unless that is too old.
fn forecast_at<'a>(drum: &Drum, at: Timestamp, rows: &'a HeldRows) -> Option<&'a Forecast> {
    let of_drum = |forecast: &&Forecast| forecast.of == Subject::Drum(drum.id.clone()) && forecast.at <= at;
    rows.forecasts.iter().rev().find(of_drum).filter(|last| at.duration_since(last.at) <= BREAK)
}

const DAYS: i32 = 7;
