//! One quantity is one number: whatever stands in more than one place of a week's report is read out of all of them and
//! compared, on the pages, in the picture, in the daily figures, in the store, and in what people were told.
//!
//! The pages' words come from the report's view, which is all that the templates get; that each of its figures stands on the
//! PDF and in the picture is checked by itself.

#![expect(clippy::indexing_slicing, reason = "a cell that isn't there fails the test")]

mod drums;
mod pages;
mod people;
mod told;
mod water;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use claymark_report::facts::WeekFacts;
use claymark_report::sheet;
use claymark_report::source;
use claymark_report::view::View;
use claymark_report::week::Week;
use claymark_store::Reader;
use jiff::Timestamp;
use serde_json::Value;

use crate::invented::{self, RoomPlan};
use crate::monday_after;
use told::{Quantities, SaidFigure, about};

#[test]
fn in_the_demos_week_every_quantity_is_one_number_everywhere() {
    let dir = tempfile::tempdir().unwrap();
    let made = Command::new(claymark()).args(["demo", "--once", "--out"]).arg(dir.path()).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let week = AgreedWeek::read(&dir.path().join("claymark.db"), "2027-W16");
    let mut all = week.quantities();
    people::sent(&mut all, &week, &dir.path().join("notices.ndjson"));
    week.agrees(&all, &["alarms", "band", "call", "demand", "drawn", "drum", "notice", "tank"]);
    pages::hold_every_figure(&week.view, dir.path());
}

#[test]
fn in_a_messy_week_every_quantity_is_one_number_everywhere() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("claymark.db");
    for (plan, name) in [
        (RoomPlan::ORDINARY, "2026-W47"),
        (RoomPlan { tanks: 3, zone: "America/Chicago", ..RoomPlan::ORDINARY }, "2026-W44"),
    ] {
        let week = Week::parse(name, &jiff::tz::TimeZone::get(plan.zone).unwrap()).unwrap();
        invented::store(&path, &plan, &week);
        let week = AgreedWeek::read(&path, name);
        let all = week.quantities();
        week.agrees(&all, &["alarms", "call", "drawn", "drum", "notice", "tank"]);
        pages::hold_every_figure(&week.view, dir.path());
        std::fs::remove_file(&path).unwrap();
    }
}

/// Built beside the report's program.
fn claymark() -> PathBuf {
    let report = Path::new(env!("CARGO_BIN_EXE_claymark-report"));
    let beside = report.with_file_name("claymark");
    let path = std::env::var_os("CLAYMARK_BIN_DIR").map_or(beside, |dir| Path::new(&dir).join("claymark"));
    assert!(path.is_file(), "{} isn't there: build it first (cargo build)", path.display());
    path
}

/// A week with all that is told of it.
struct AgreedWeek {
    facts: WeekFacts,
    view: View,
    pages: Value,
    rows: Vec<BTreeMap<String, String>>,
    store: Reader,
}

impl AgreedWeek {
    fn read(path: &Path, week: &str) -> Self {
        let store = Reader::open(path).unwrap();
        let site = store.site().unwrap();
        let week = Week::parse(week, &site.time_zone).unwrap();
        let now = monday_after(&week);
        let facts = source::facts(&store, site, week, now);
        let view = View::of(&facts);
        let csv = sheet::csv(&facts).unwrap();
        let rows =
            csv::Reader::from_reader(csv.as_slice()).into_deserialize().map(|row| row.unwrap()).collect();
        Self { pages: serde_json::to_value(&view).unwrap(), facts, view, rows, store }
    }

    fn span(&self) -> (Timestamp, Timestamp) {
        (self.facts.week.start(), self.facts.week.end())
    }

    /// All that stands in more than one place.
    fn quantities(&self) -> Quantities {
        let mut all = Quantities::default();
        self.drums(&mut all);
        self.doubts(&mut all);
        self.drawn(&mut all);
        self.tanks(&mut all);
        self.water(&mut all);
        self.band_days(&mut all);
        self.demand(&mut all);
        self.readings(&mut all);
        self.calls(&mut all);
        self.log(&mut all);
        all
    }

    /// Nothing differs, and of each kind something was compared.
    fn agrees(&self, all: &Quantities, kinds: &[&str]) {
        let compared = all.compared();
        assert_eq!(all.disagreements(), Vec::<String>::new(), "of {compared:?}");
        for kind in kinds {
            assert!(compared.get(kind).is_some_and(|compared| *compared > 0), "no {kind} in {compared:?}");
        }
    }

    fn text(&self, pointer: &str) -> String {
        self.pages.pointer(pointer).and_then(Value::as_str).unwrap_or_default().to_owned()
    }

    /// The texts of a list, one behind the other.
    fn texts(&self, pointer: &str) -> String {
        let list = self.pages.pointer(pointer).and_then(Value::as_array).cloned().unwrap_or_default();
        let text =
            |item: &Value| item.as_str().or_else(|| item["text"].as_str()).unwrap_or_default().to_owned();
        list.iter().map(text).collect::<Vec<_>>().join(" | ")
    }

    fn list(&self, pointer: &str) -> Vec<Value> {
        self.pages.pointer(pointer).and_then(Value::as_array).cloned().unwrap_or_default()
    }

    /// Rows of the daily figures.
    fn daily<'a>(
        &'a self,
        place: &'a str,
        quantity: &'a str,
    ) -> impl Iterator<Item = &'a BTreeMap<String, String>> {
        self.rows.iter().filter(move |row| row["place"] == place && row["quantity"] == quantity)
    }

    /// The sum of a column over the week, and by how much it may be off.
    fn sum(&self, place: &str, quantity: &str, column: &str, within: f64) -> Option<SaidFigure> {
        let each: Option<Vec<f64>> =
            self.daily(place, quantity).map(|row| row[column].parse().ok()).collect();
        let each = each.filter(|each| !each.is_empty())?;
        Some(about(each.iter().sum(), within * f64::from(u32::try_from(each.len()).unwrap())))
    }
}
