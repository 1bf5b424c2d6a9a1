//! One quantity is one number: whatever stands in more than one place of a week's report is read out of all of them and
//! compared, on the pages, in the picture, in the daily figures, in the store, and in what people were told.
//!
//! The pages' words come from the report's view, which is all that the templates get; that each of its figures stands on the
//! PDF and in the picture is checked by itself.

mod pages;
mod told;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use claymark_model::happening::What;
use claymark_model::units::Unit;
use claymark_notice::NoticeKind;
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
use told::{Figure, Quantities, about, after, before, count, figures, minutes, percent};

#[test]
fn in_the_demos_week_every_quantity_is_one_number_everywhere() {
    let dir = tempfile::tempdir().unwrap();
    let made = Command::new(claymark()).args(["demo", "--once", "--out"]).arg(dir.path()).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let week = AgreedWeek::read(&dir.path().join("claymark.db"), "2027-W16");
    let mut all = week.quantities();
    sent(&mut all, &week, &dir.path().join("notices.ndjson"));
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
        println!("{}: {compared:?}", self.facts.week);
        assert_eq!(all.disagreements(), Vec::<String>::new());
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
    fn sum(&self, place: &str, quantity: &str, column: &str, within: f64) -> Option<Figure> {
        let each: Option<Vec<f64>> =
            self.daily(place, quantity).map(|row| row[column].parse().ok()).collect();
        let each = each.filter(|each| !each.is_empty())?;
        Some(about(each.iter().sum(), within * f64::from(u32::try_from(each.len()).unwrap())))
    }

    fn drums(&self, all: &mut Quantities) {
        let volume = self.facts.site.units.volume;
        let mass = self.facts.site.units.mass;
        let happened = self.store.happenings(self.span().0, self.span().1).unwrap();
        for (n, drum) in self.facts.site.drums.iter().enumerate() {
            let place = format!("drum:{}", drum.id);
            let quantity = |what: &str| format!("drum:{} {what}", drum.id);
            let card = self.texts(&format!("/room/vessels/{n}/lines"));
            let alt = self.text(&format!("/room/vessels/{n}/picture/alt"));
            let chart = self.text(&format!("/drums/all/{n}/picture/alt"));
            let lines = self.texts(&format!("/drums/all/{n}/lines"));
            let seen = |which: fn(&What) -> bool| {
                count(happened.iter().filter(|one| one.drum == drum.id && which(&one.what)).count())
            };
            let refilled = |what: &What| matches!(what, What::Refilled { .. });
            for (place, text) in [("card", &card), ("card's words", &alt), ("chart's words", &chart)] {
                all.told(&quantity("refills"), place, before(text, " refill"));
                all.told(&quantity("run-outs"), place, before(text, " run-out"));
            }
            all.told(&quantity("refills"), "line", before(&lines, " refill"));
            all.told(&quantity("refills"), "csv", self.sum(&place, "volume", "refills", 0.0));
            all.told(&quantity("refills"), "store", Some(seen(refilled)));
            all.told(&quantity("run-outs"), "csv", self.sum(&place, "volume", "ran_empty", 0.0));
            all.told(&quantity("run-outs"), "lines", Some(count(lines.matches("Ran empty ").count())));
            for (place, text) in [("card's words", &alt), ("chart's words", &chart)] {
                all.told(&quantity("at the end"), place, after(text, "at the end "));
                all.told(&quantity("lowest"), place, after(text, "lowest "));
            }
            all.told(
                &quantity("at the end"),
                "card",
                before(&card, " of ").filter(|_| card.contains("at the end")),
            );
            let holds = self.text(&format!("/ahead/fillings/{n}/1"));
            all.told(&quantity("at the end"), "to fill it", figures(&holds).first().copied());
            let lowest = self.daily(&place, "volume").filter_map(|row| row["lowest"].parse::<f64>().ok());
            let lowest = lowest.min_by(f64::total_cmp).map(|litres| about(volume.from_base(litres), 0.06));
            all.told(&quantity("lowest"), "csv", lowest);
            let added = self.sum(&place, "volume", "added_l", 0.05);
            let added = added.map(|sum| about(volume.from_base(sum.value), volume.from_base(sum.within)));
            all.told(&quantity("added"), "csv", added.filter(|added| added.value > 0.0));
            all.told(&quantity("added"), "line", before(&lines, &format!(" {volume} in all")));
            let clay = self.sum(&place, "volume", "clay_logged_kg", 0.0005);
            let clay = clay.map(|sum| about(mass.from_base(sum.value), 0.01)).filter(|sum| sum.value > 0.0);
            all.told(&quantity("clay"), "csv", clay);
            all.told(&quantity("clay"), "line", after(&lines, "the log tells of "));
            let unlogged = self.sum(&place, "volume", "refills_not_logged", 0.0);
            all.told(&quantity("not logged"), "csv", unlogged.filter(|sum| sum.value > 0.0));
            all.told(&quantity("not logged"), "line", before(&lines, " of them not written down"));
            self.empty_times(all, &lines, n);
        }
    }

    fn empty_times(&self, all: &mut Quantities, lines: &str, n: usize) {
        let drum = &self.facts.site.drums[n];
        let quantity = format!("drum:{} empty, min", drum.id);
        let each = lines.split("Ran empty ").skip(1).filter_map(|one| {
            let (_, length) = one.split_once(", after ")?;
            minutes(length.split(" without slurry").next()?)
        });
        let each: Vec<Figure> = each.collect();
        let sum = |of: fn(&Figure) -> f64| each.iter().map(of).sum();
        let lines = about(sum(|one| one.value), sum(|one| one.within));
        all.told(&quantity, "lines", (!each.is_empty()).then_some(lines));
        let csv = self.sum(&format!("drum:{}", drum.id), "volume", "empty_minutes", 0.05);
        all.told(&quantity, "csv", csv.filter(|sum| sum.value > 0.0));
        let verdict = self.texts("/verdict");
        let told = verdict.split(&format!("{} ran empty ", drum.name)).nth(1);
        let told = told.and_then(|told| minutes(told.split_once("for ")?.1.split(['.', ';', '|']).next()?));
        all.told(&quantity, "verdict", told);
    }

    /// Since when and until when a level wasn't believed: on the drum's page, in the list of what happened, and to people.
    fn doubts(&self, all: &mut Quantities) {
        let minute = |at: Timestamp| {
            at.to_zoned_datetime(self.facts.site.time_zone.clone()).strftime("%a %H:%M").to_string()
        };
        let clock = |at: Timestamp| {
            at.to_zoned_datetime(self.facts.site.time_zone.clone()).strftime("%H:%M").to_string()
        };
        let happened: Vec<String> =
            self.list("/happened/list").iter().map(|row| row[0].as_str().unwrap().to_owned()).collect();
        let notices = self.store.notices(self.span().0, self.span().1).unwrap();
        for (n, drum) in self.facts.drums.iter().enumerate() {
            let lines = self.texts(&format!("/drums/all/{n}/lines"));
            for (which, doubt) in drum.doubts.iter().enumerate() {
                for (end, at) in [("from", Some(doubt.from)), ("to", doubt.to)] {
                    let quantity = format!("doubt:{} {which} {end}", drum.drum.id);
                    let Some(at) = at.filter(|at| self.facts.week.contains(*at)) else { continue };
                    // All as minutes of the store's time: a page that has another one has none.
                    all.told(&quantity, "store", Some(about(0.0, 0.0)));
                    let told = |there: bool| Some(about(if there { 0.0 } else { 1.0 }, 0.0));
                    all.told(&quantity, "line", told(lines.contains(&minute(at))));
                    all.told(&quantity, "what happened", told(happened.contains(&minute(at))));
                }
                let of_drum = |kind: NoticeKind| {
                    let since = doubt.from;
                    notices.iter().find(move |one| {
                        one.notice.kind == kind
                            && one.notice.drum.as_ref() == Some(&drum.drum.id)
                            && one.notice.at >= since
                    })
                };
                let Some(told) = of_drum(NoticeKind::LevelDoubt) else { continue };
                if doubt.to.is_some_and(|to| told.notice.at > to) {
                    continue;
                }
                let told_of = |what: &str, at: Timestamp, notice: &claymark_store::batch::Issued| {
                    let there = notice.text.contains(&clock(at)) || notice.subject.contains(&clock(at));
                    (
                        format!("doubt:{} {which} {what}", drum.drum.id),
                        Some(about(if there { 0.0 } else { 1.0 }, 0.0)),
                    )
                };
                let (quantity, there) = told_of("from", doubt.from, told);
                all.told(&quantity, "notice", there);
                let cleared = notices.iter().find(|one| one.notice.replaces == Some(told.notice.number));
                if let (Some(to), Some(cleared)) = (doubt.to, cleared) {
                    let (quantity, there) = told_of("to", to, cleared);
                    all.told(&quantity, "all clear", there);
                }
            }
        }
    }

    fn drawn(&self, all: &mut Quantities) {
        let volume = self.facts.site.units.volume;
        for (n, drum) in self.facts.site.drums.iter().enumerate() {
            let place = format!("drum:{}", drum.id);
            for (day, row) in self.daily(&place, "volume").enumerate() {
                let quantity = format!("drawn:{} {}", drum.id, row["date"]);
                let litres = row["drawn_l"].parse::<f64>().ok();
                all.told(&quantity, "csv", litres.map(|litres| about(volume.from_base(litres), 0.05)));
                let cell = self.text(&format!("/drums/drawn/rows/{n}/1/{day}"));
                all.told(&quantity, "table", figures(&cell).first().copied());
            }
        }
    }

    /// The head tank and each rearing tank: its card, its row, and its days.
    fn tanks(&self, all: &mut Quantities) {
        let whole = self.facts.week.length().as_secs_f64() / 3600.0;
        for (n, place) in self.facts.places.iter().enumerate().filter(|(_, place)| place.turbidity.len() == 1)
        {
            let name = place.place.to_string();
            let quantity = |what: &str| format!("tank:{name} {what}");
            let card = if n == 0 { "/room/head/0".to_owned() } else { format!("/room/tanks/{}", n - 1) };
            let (card, alt) =
                (self.texts(&format!("{card}/lines")), self.text(&format!("{card}/picture/alt")));
            let row = |column: &str| self.text(&format!("/water/tanks/{n}/{column}"));
            for (place, text) in [("card", &card), ("card's words", &alt)] {
                let share =
                    text.split(" in band").next().map(|head| head.rsplit(", ").next().unwrap_or(head));
                all.told(&quantity("in band"), place, share.and_then(percent));
            }
            all.told(&quantity("in band"), "row", percent(&row("inside")));
            let bar = self.text(&format!("/water/tanks/{n}/bar/alt"));
            all.told(
                &quantity("in band"),
                "bar's words",
                bar.split("in its band for ").nth(1).and_then(percent),
            );
            let share = |column: &str| {
                let parts = self.daily(&name, "turbidity").filter_map(|row| {
                    Some(row[column].parse::<f64>().ok()? * row["day_hours"].parse::<f64>().ok()? / whole)
                });
                about(parts.sum(), 0.006)
            };
            all.told(&quantity("in band"), "csv", Some(share("in_limits_percent")));
            let end = |what: &str, last: bool, column: &str| {
                let all = self.daily(&name, what).filter_map(|row| row[column].parse::<f64>().ok());
                if last { all.max_by(f64::total_cmp) } else { all.min_by(f64::total_cmp) }
            };
            let warm = self.facts.site.units.temperature;
            for (what, cell, unit) in [
                ("turbidity", row("turbidity"), None),
                ("temperature", row("temperature"), Some(warm)),
                ("oxygen_saturation", row("saturation"), None),
                ("oxygen", row("oxygen"), None),
            ] {
                let printed = figures(&cell);
                let shown = |value: f64| about(unit.map_or(value, |unit: Unit| unit.from_base(value)), 0.006);
                all.told(&quantity(&format!("least {what}")), "row", printed.first().copied());
                all.told(&quantity(&format!("least {what}")), "csv", end(what, false, "lowest").map(shown));
                if what != "oxygen" {
                    all.told(&quantity(&format!("most {what}")), "row", printed.get(1).copied());
                    all.told(
                        &quantity(&format!("most {what}")),
                        "csv",
                        end(what, true, "highest").map(shown),
                    );
                }
            }
            let span = card.rsplit(" | ").next().map(figures).unwrap_or_default();
            all.told(
                &quantity("least turbidity"),
                "card",
                span.first().copied().filter(|_| card.contains(" to ")),
            );
            all.told(
                &quantity("most turbidity"),
                "card",
                span.get(1).copied().filter(|_| card.contains(" to ")),
            );
        }
    }

    /// The pictures of temperature and oxygen against the rows under them.
    fn water(&self, all: &mut Quantities) {
        for (what, unit) in [("temperature", Some(self.facts.site.units.temperature)), ("oxygen", None)] {
            let alt = self.text(&format!("/water/{what}/alt"));
            let span = figures(alt.split(": from ").nth(1).unwrap_or_default());
            let shown = |value: f64| about(unit.map_or(value, |unit| unit.from_base(value)), 0.006);
            let each = |column: &str| -> Vec<f64> {
                let rows = self.rows.iter().filter(|row| row["quantity"] == what);
                rows.filter_map(|row| row[column].parse::<f64>().ok()).collect()
            };
            let quantity = |end: &str| format!("tank:all {end} {what}");
            all.told(&quantity("least"), "picture's words", span.first().copied());
            all.told(&quantity("least"), "csv", each("lowest").into_iter().min_by(f64::total_cmp).map(shown));
            all.told(&quantity("most"), "picture's words", span.get(1).copied());
            all.told(&quantity("most"), "csv", each("highest").into_iter().max_by(f64::total_cmp).map(shown));
        }
    }

    fn band_days(&self, all: &mut Quantities) {
        let days = self.list("/water/days");
        for (day, row) in self.facts.week.days().iter().zip(&days) {
            let date = day.date.to_string();
            let of_tanks = || {
                let rows =
                    self.rows.iter().filter(|row| row["date"] == date && row["quantity"] == "turbidity");
                rows.filter(|row| row["place"].starts_with("tank:"))
            };
            let tanks = f64::from(u32::try_from(of_tanks().count()).unwrap());
            let share = |column: &str| {
                let parts = of_tanks().filter_map(|row| row[column].parse::<f64>().ok());
                about(parts.sum::<f64>() / tanks, 0.006)
            };
            for (cell, column) in
                [(3, "in_limits_percent"), (4, "below_limits_percent"), (5, "above_limits_percent")]
            {
                let quantity = format!("band:{date} {column}");
                all.told(&quantity, "table", row[cell].as_str().and_then(percent));
                all.told(&quantity, "csv", Some(share(column)));
            }
        }
    }

    fn demand(&self, all: &mut Quantities) {
        let lines = self.texts("/demand/lines");
        let alt = self.text("/demand/picture/alt");
        let cell = |row: &Value, n: usize| figures(row[n].as_str().unwrap_or_default()).first().copied();
        let days = self.list("/demand/days");
        let known: Vec<&Value> = days.iter().filter(|row| cell(row, 4).is_some()).collect();
        let (first, last) = (known.first(), known.last());
        all.told("demand:first day", "table", first.and_then(|row| cell(row, 4)));
        all.told("demand:first day", "picture's words", before(&alt, " g on the first"));
        all.told("demand:last day", "table", last.and_then(|row| cell(row, 4)));
        all.told(
            "demand:last day",
            "picture's words",
            before(&alt, " g on the last").or(after(&alt, "that is known, ")),
        );
        let line = before(&lines, " g on the last").or_else(|| after(&lines, "on the last day it was "));
        all.told("demand:last day", "line", line);
        for (which, day, phrase) in [("first", first, " kg at first"), ("last", last, " kg at the end")] {
            let quantity = format!("demand:weight on the {which} day");
            all.told(&quantity, "table", day.and_then(|row| cell(row, 3)));
            all.told(
                &quantity,
                "line",
                lines
                    .split(phrase)
                    .next()
                    .filter(|head| head.len() < lines.len())
                    .and_then(|head| figures(head).pop()),
            );
        }
        for (row, date) in days.iter().zip(self.facts.week.days()) {
            let (Some(weight), Some(taken), Some(each)) = (cell(row, 3), cell(row, 4), cell(row, 5)) else {
                continue;
            };
            let quantity = format!("demand:{} a kilogram", date.date);
            all.told(&quantity, "table", Some(each));
            let off =
                taken.value / weight.value * (taken.within / taken.value + weight.within / weight.value);
            all.told(&quantity, "taken by weight", Some(about(taken.value / weight.value, off)));
        }
        let share = lines.split("they took ").nth(1).and_then(percent);
        let brings = after(&lines, "the water brings ");
        let by_hand = self.facts.demand.as_ref().ok().and_then(|demand| demand.reserve);
        let taken = last.and_then(|row| cell(row, 4)).filter(|_| by_hand.is_some());
        all.told("demand:share of the water", "line", share);
        let by_hand = taken.zip(brings).map(|(taken, brings)| {
            let share = 100.0 * taken.value / brings.value;
            about(share, share * (taken.within / taken.value + brings.within / brings.value))
        });
        all.told("demand:share of the water", "taken by brought", by_hand);
    }

    fn readings(&self, all: &mut Quantities) {
        let (verdict, complete) = (self.texts("/verdict"), self.text("/complete/verdict/text"));
        let lacking = self.list("/complete/sensors").len();
        let sensors = self.facts.site.sensors.len();
        all.told("sensors:lacking", "table", Some(count(lacking)));
        let told = before(&verdict, " of ").filter(|_| verdict.contains("gave less than 99 %"));
        let told = told.and(verdict.split(" gave less than 99 %").next()).and_then(|head| {
            let figures = figures(head.rsplit("; ").next()?);
            figures.first().copied()
        });
        all.told("sensors:lacking", "verdict", told.or_else(|| (lacking == 0).then(|| count(0))));
        let whole = complete.split(" of ").next().and_then(|head| figures(head).pop());
        let whole = if complete.starts_with("None") { Some(count(0)) } else { whole };
        all.told("sensors:whole", "sentence", whole);
        all.told("sensors:whole", "table", Some(count(sensors - lacking)));
    }

    fn calls(&self, all: &mut Quantities) {
        let (from, to) = self.span();
        let verdict = self.texts("/verdict");
        let rows = self.list("/told/warnings");
        let issued = self.store.notices(from, to).unwrap();
        let called = || issued.iter().filter(|one| one.notice.calling.is_some());
        let call_rows = || rows.iter().filter(|row| row["urgency"] != "no call");
        let figure = |n: usize| figures(&self.text(&format!("/told/figures/{n}/1"))).first().copied();
        let none = verdict.contains("Nobody had to be called");
        let calls = if none {
            Some(count(0))
        } else {
            before(&verdict, " to act went out").or_else(|| before(&verdict, " calls to act"))
        };
        all.told("call:all", "verdict", calls);
        all.told("call:all", "table", Some(count(call_rows().count())));
        all.told("call:all", "figures", figure(1));
        all.told("call:all", "store", Some(count(called().count())));
        all.told("call:all", "csv", self.sum("room", "alarms", "calls", 0.0));
        for (n, column) in [(0, "alarms"), (2, "waking_calls"), (3, "promises_not_kept")] {
            all.told(&format!("alarms:{column}"), "figures", figure(n));
            all.told(&format!("alarms:{column}"), "csv", self.sum("room", "alarms", column, 0.0));
        }
        // A cause that was answered has its answer or points to it in each of its rows.
        let causes = figures(verdict.split("went out for ").nth(1).unwrap_or_default());
        let unanswered = call_rows().filter(|row| row["answered"] == "nobody").count();
        let answered =
            before(&verdict, " answered").or_else(|| after(&verdict, "went out for ").map(|_| count(0)));
        if answered.is_some_and(|answered| {
            causes.first().is_some_and(|all| (all.value - answered.value).abs() < 0.5)
        }) {
            all.told("call:unanswered rows", "verdict", Some(count(0)));
            all.told("call:unanswered rows", "table", Some(count(unanswered)));
        }
        for (row, issued) in rows.iter().zip(&issued) {
            let number = issued.notice.number;
            let quantity = format!("notice:{number}");
            all.told(&quantity, "store", Some(about(0.0, 0.0)));
            let subject = row["what"].as_str().unwrap().replace('\u{200b}', "").replace('\u{a0}', " ");
            let same = row["number"] == number && subject == issued.subject;
            all.told(&quantity, "table", Some(about(if same { 0.0 } else { 1.0 }, 0.0)));
        }
        all.told("notice:all", "store", Some(count(issued.len())));
        all.told("notice:all", "table", Some(count(rows.len())));
    }

    fn log(&self, all: &mut Quantities) {
        let routine = self.text("/log/routine");
        let (from, to) = self.span();
        let entries = self.store.log(from, to).unwrap();
        let replaced: Vec<_> = entries.iter().filter_map(|entry| entry.replaces.as_ref()).collect();
        let stand = entries.iter().filter(|entry| !replaced.contains(&&entry.key)).count();
        let told =
            if routine.starts_with("Nobody") { Some(count(0)) } else { figures(&routine).first().copied() };
        all.told("log:entries", "sentence", told);
        all.told("log:entries", "store", Some(count(stand)));
        let refills = before(&routine, " refill");
        let logged = entries.iter().filter(|entry| {
            matches!(entry.deed, claymark_model::fieldlog::Deed::Refill { .. })
                && !replaced.contains(&&entry.key)
        });
        all.told("log:refills", "sentence", refills);
        all.told("log:refills", "store", refills.map(|_| count(logged.count())));
    }
}

/// What went out to people, beside the report's table.
fn sent(all: &mut Quantities, week: &AgreedWeek, path: &Path) {
    let text = std::fs::read_to_string(path).unwrap();
    for line in text.lines() {
        let sent: Value = serde_json::from_str(line).unwrap();
        let at: Timestamp = sent["at"].as_str().unwrap().parse().unwrap();
        if !week.facts.week.contains(at) {
            continue;
        }
        let rows = week.list("/told/warnings");
        let row = rows.iter().find(|row| row["number"] == sent["number"]);
        let subject =
            |row: &Value| row["what"].as_str().unwrap().replace('\u{200b}', "").replace('\u{a0}', " ");
        let same = row.is_some_and(|row| subject(row) == sent["subject"].as_str().unwrap());
        all.told(
            &format!("notice:{}", sent["number"]),
            "sent",
            Some(about(if same { 0.0 } else { 1.0 }, 0.0)),
        );
    }
}
