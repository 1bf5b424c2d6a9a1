//! The report against invented weeks that are written into a real store.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

mod agree;
mod ahead;
mod command;
mod edges;
mod facts;
mod hostile;
mod invented;
mod iso_weeks;
mod pages;

use std::path::Path;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use claymark_report::facts::WeekFacts;
use claymark_report::source;
use claymark_report::week::Week;
use claymark_store::Reader;

use invented::RoomPlan;

/// The facts of an invented week, by way of a store in `dir`.
fn facts_of(dir: &Path, plan: &RoomPlan, week: &str) -> WeekFacts {
    let week = Week::parse(week, &TimeZone::get(plan.zone).unwrap()).unwrap();
    let path = dir.join("claymark.db");
    invented::store(&path, plan, &week);
    let store = Reader::open(&path).unwrap();
    let now = monday_after(&week);
    source::facts(&store, store.site().unwrap(), week, now)
}

fn monday_after(week: &Week) -> Timestamp {
    week.end().checked_add(SignedDuration::from_hours(6)).unwrap()
}
