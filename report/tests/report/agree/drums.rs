//! What is told of the drums.

use claymark_model::happening::What;
use claymark_notice::NoticeKind;
use jiff::Timestamp;

use super::AgreedWeek;
use super::told::{Quantities, SaidFigure, about, after, before, count, figures, minutes};

impl AgreedWeek {
    pub(super) fn drums(&self, all: &mut Quantities) {
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

    pub(super) fn empty_times(&self, all: &mut Quantities, lines: &str, n: usize) {
        let drum = &self.facts.site.drums[n];
        let quantity = format!("drum:{} empty, min", drum.id);
        let each = lines.split("Ran empty ").skip(1).filter_map(|one| {
            let (_, length) = one.split_once(", after ")?;
            minutes(length.split(" without slurry").next()?)
        });
        let each: Vec<SaidFigure> = each.collect();
        let sum = |of: fn(&SaidFigure) -> f64| each.iter().map(of).sum();
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
    pub(super) fn doubts(&self, all: &mut Quantities) {
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
                    // Of many the longest are shown.
                    if drum.doubts.len() <= 5 {
                        all.told(&quantity, "line", told(lines.contains(&minute(at))));
                    }
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

    pub(super) fn drawn(&self, all: &mut Quantities) {
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
}
