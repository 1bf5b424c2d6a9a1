//! What is told of readings, of calls and of the field log.

use std::path::Path;

use claymark_model::fieldlog::Deed;
use jiff::Timestamp;
use serde_json::Value;

use super::AgreedWeek;
use super::told::{Quantities, about, after, before, count, figures};

impl AgreedWeek {
    pub(super) fn readings(&self, all: &mut Quantities) {
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

    pub(super) fn calls(&self, all: &mut Quantities) {
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
        let cut = figures(&self.text("/told/more")).first().copied();
        all.told("call:all", "table", Some(count(call_rows().count())).filter(|_| cut.is_none()));
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
        for row in &rows {
            let issued = issued.iter().find(|issued| row["number"] == issued.notice.number).unwrap();
            let number = issued.notice.number;
            let quantity = format!("notice:{number}");
            all.told(&quantity, "store", Some(about(0.0, 0.0)));
            let subject = row["what"].as_str().unwrap().replace('\u{200b}', "").replace('\u{a0}', " ");
            all.told(&quantity, "table", Some(about(if subject == issued.subject { 0.0 } else { 1.0 }, 0.0)));
        }
        all.told("notice:all", "store", Some(count(issued.len())));
        let left_out = cut.map_or(0.0, |cut| cut.value);
        all.told("notice:all", "table", Some(about(count(rows.len()).value + left_out, 0.0)));
    }

    pub(super) fn log(&self, all: &mut Quantities) {
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
        let logged = entries
            .iter()
            .filter(|entry| matches!(entry.deed, Deed::Refill { .. }) && !replaced.contains(&&entry.key));
        all.told("log:refills", "sentence", refills);
        all.told("log:refills", "store", refills.map(|_| count(logged.count())));
    }
}

/// What went out to people, beside the report's table.
pub(super) fn sent(all: &mut Quantities, week: &AgreedWeek, path: &Path) {
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
