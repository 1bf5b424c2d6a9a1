//! The week ahead: the plan's days, what fills each drum, and the clay on the floor.

use serde::Serialize;

use claymark_words::report as words;
use claymark_words::{caution, planning, stock};

use super::breakable;
use crate::facts::WeekFacts;
use crate::facts::ahead::DrumFilling;

/// The week ahead.
#[derive(Debug, Clone, Serialize)]
pub struct AheadPart {
    title: String,
    heads: Vec<String>,
    days: Vec<Vec<String>>,
    needs: Vec<String>,
    basis: String,
    fillings: Vec<Vec<String>>,
    remarks: Vec<String>,
    mixing: String,
    stock: Vec<String>,
    cautions: Vec<String>,
}

impl AheadPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        let (site, ahead) = (&facts.site, &facts.ahead);
        let (first, last) = (ahead.days.first(), ahead.days.last());
        let title = first.zip(last).map(|(first, last)| words::ahead::title(first.date, last.date));
        let known = ahead.from().zip(ahead.stock.as_ref());
        let stock = known.map_or_else(
            || vec![words::ahead::no_stock(site).to_owned()],
            |(today, known)| stock::sentences(site, known, today),
        );
        let remark = |filling: &DrumFilling| {
            words::ahead::remark(site, &filling.drum.name, facts.until, filling.refill.as_ref())
        };
        Self {
            title: title.unwrap_or_default(),
            heads: cells(planning::heads()),
            days: planning::rows(site, &ahead.days).into_iter().map(cells).collect(),
            needs: planning::sentences(site, &ahead.days),
            basis: planning::basis(site, ahead.clouding.as_ref()),
            fillings: ahead.refills.iter().map(|filling| line(filling, facts)).collect(),
            remarks: ahead.refills.iter().filter_map(remark).collect(),
            mixing: words::ahead::mixing(site, facts.until),
            stock,
            cautions: vec![
                caution::SILICA.to_owned(),
                caution::lifting(&site.units, site.clay.bag),
                caution::NEW_CLAY.to_owned(),
            ],
        }
    }
}

fn cells(row: planning::DayRow) -> Vec<String> {
    let planning::DayRow { day, fish, band, flow, mix, slurry, refills, clay, bags, after_dry } = row;
    vec![day, fish, band, flow, mix, slurry, refills, clay, bags, after_dry]
}

fn line(filling: &DrumFilling, facts: &WeekFacts) -> Vec<String> {
    let refill = filling.refill.as_ref();
    let words::ahead::FillingLine { holds, strength, clay, bags, buckets, water, gives, aims } =
        words::ahead::filling(
            &facts.site,
            facts.until,
            (filling.holds, &filling.books.left),
            (&filling.aim, refill),
        );
    vec![breakable(&filling.drum.name), holds, strength, clay, bags, buckets, water, gives, aims]
}
