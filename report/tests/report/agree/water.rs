//! What is told of the water and of what the fish take from it.

use claymark_model::units::Unit;
use serde_json::Value;

use super::AgreedWeek;
use super::told::{Quantities, about, after, before, figures, percent};

impl AgreedWeek {
    /// The head tank and each rearing tank: its card, its row, and its days.
    pub(super) fn tanks(&self, all: &mut Quantities) {
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
            let span = card.rsplit(" | ").next().filter(|line| line.contains(" to ")).map(figures);
            let span = span.unwrap_or_default();
            all.told(&quantity("least turbidity"), "card", span.first().copied());
            all.told(&quantity("most turbidity"), "card", span.get(1).copied());
            self.extremes(all, &name, n);
        }
    }

    /// The lowest and the highest of the week, in a tank's row and in its days.
    fn extremes(&self, all: &mut Quantities, name: &str, n: usize) {
        let row = |column: &str| self.text(&format!("/water/tanks/{n}/{column}"));
        let warm = self.facts.site.units.temperature;
        for (what, cell, unit) in [
            ("turbidity", row("turbidity"), None),
            ("temperature", row("temperature"), Some(warm)),
            ("oxygen_saturation", row("saturation"), None),
            ("oxygen", row("oxygen"), None),
        ] {
            let of_days = |column: &str| -> Vec<f64> {
                self.daily(name, what).filter_map(|row| row[column].parse().ok()).collect()
            };
            let least = of_days("lowest").into_iter().min_by(f64::total_cmp);
            let most = of_days("highest").into_iter().max_by(f64::total_cmp);
            let printed = figures(&cell);
            let shown = |value: f64| about(unit.map_or(value, |unit: Unit| unit.from_base(value)), 0.006);
            let quantity = |end: &str| format!("tank:{name} {end} {what}");
            all.told(&quantity("least"), "row", printed.first().copied());
            all.told(&quantity("least"), "csv", least.map(shown));
            // Of oxygen in mg/L the row has only the least.
            if what != "oxygen" {
                all.told(&quantity("most"), "row", printed.get(1).copied());
                all.told(&quantity("most"), "csv", most.map(shown));
            }
        }
    }

    /// The pictures of temperature and oxygen against the rows under them.
    pub(super) fn water(&self, all: &mut Quantities) {
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

    pub(super) fn band_days(&self, all: &mut Quantities) {
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

    pub(super) fn demand(&self, all: &mut Quantities) {
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
}
