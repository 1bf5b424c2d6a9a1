//! The oxygen that the fish take up.

use serde::Serialize;

use claymark_model::units::{Kilograms, Unit};
use claymark_words::format;
use claymark_words::report as words;
use claymark_words::report::demand::{Lacking, Water};

use super::{MarkedLine, Picture, Pictures, drums};
use crate::charts::Undrawn;
use crate::charts::demand as chart;
use crate::facts::WeekFacts;
use crate::facts::demand::{DemandDay, FlowFrom, Lack, OxygenDemand};

/// Day by day, or why not.
#[derive(Debug, Clone, Serialize)]
pub struct DemandPart {
    lines: Vec<MarkedLine>,
    picture: Option<Picture>,
    legend: String,
    days: Vec<Vec<String>>,
    means: String,
}

impl DemandPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        Ok(match &facts.demand {
            Ok(demand) => Self {
                lines: lines(demand),
                picture: picture(demand, facts, pictures)?,
                legend: words::demand::legend(demand.days.iter().any(|day| demand.by_weight(day).is_some())),
                days: demand.days.iter().map(|day| cells(day, facts)).collect(),
                means: words::demand::means(
                    demand.measured,
                    demand.tanks,
                    match demand.flow {
                        FlowFrom::Tanks => Water::Tanks,
                        FlowFrom::Head => Water::Head,
                        FlowFrom::Plan => Water::Plan,
                    },
                ),
            },
            Err(lack) => Self {
                lines: vec![MarkedLine::of(words::demand::lacks(match lack {
                    Lack::TankOxygen => Lacking::TankOxygen,
                    Lack::HeadOxygen => Lacking::HeadOxygen,
                    Lack::Flow => Lacking::Flow,
                }))],
                picture: None,
                legend: String::new(),
                days: Vec::new(),
                means: String::new(),
            },
        })
    }
}

fn picture(
    demand: &OxygenDemand,
    facts: &WeekFacts,
    pictures: &mut Pictures,
) -> Result<Option<Picture>, Undrawn> {
    let grams = |mass: Kilograms| Unit::Gram.from_base(mass.0);
    let days: Vec<chart::DayBar> = facts
        .week
        .days()
        .iter()
        .zip(&demand.days)
        .map(|(day, one)| chart::DayBar {
            from: day.start,
            to: day.end,
            taken: one.demand.map(|demand| grams(demand.taken)),
            by_weight: demand.by_weight(one).map(grams),
        })
        .collect();
    if days.iter().all(|day| day.taken.is_none()) {
        return Ok(None);
    }
    let most = demand
        .reserve
        .map(|reserve| reserve.most)
        .or_else(|| demand.days.iter().rev().find_map(|day| day.most));
    let ends = demand.ends();
    let trend = demand.trend.zip(ends).map(|(trend, (first, last))| {
        [first, last].map(|day| (day.at, grams(Kilograms(trend.taken.value_at(day.at)))))
    });
    let lettering = chart::DemandLettering {
        days: drums::day_names(facts),
        unit: words::demand::UNIT.to_owned(),
        trend,
        most: most.map(|most| (grams(most), words::demand::MOST.to_owned())),
        not_yet: words::glance::NOT_YET.to_owned(),
    };
    let svg = chart::draw(&days, &facts.week, facts.until, SIZE, &lettering)?;
    let (_, cut) = chart::scale(&days);
    let alt =
        words::demand::picture(ends.map(|(first, last)| (first.taken, last.taken)), demand.trend.as_ref());
    Ok(Some(pictures.keep_cut(svg, alt, cut, words::demand::UNIT)))
}

fn lines(demand: &OxygenDemand) -> Vec<MarkedLine> {
    let told = words::demand::trend(demand.trend.as_ref(), demand.ends(), demand.reserve.as_ref());
    told.into_iter().map(MarkedLine::of).collect()
}

fn cells(day: &DemandDay, facts: &WeekFacts) -> Vec<String> {
    let unknown = || words::drums::NOT_KNOWN.to_owned();
    let biomass = day.demand.and_then(|demand| demand.biomass);
    let each = day.demand.and_then(|demand| demand.per_kilogram());
    let fish = facts.site.batches_on(day.date).map(|(_, fish)| fish);
    vec![
        words::day(day.date),
        words::ahead::fish_days(fish),
        day.water.map_or_else(unknown, |water| format::flow(&facts.site.units, water)),
        biomass.map_or_else(unknown, |biomass| format!("{} kg", format::number(biomass.0, 1))),
        day.demand.map_or_else(unknown, |demand| words::demand::grams(demand.taken)),
        each.map_or_else(unknown, words::demand::each),
    ]
}

const SIZE: (u32, u32) = (1800, 400);
