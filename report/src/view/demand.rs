//! The oxygen that the fish take up.

use serde::Serialize;

use claymark_core::oxygen::demand::Demand as DayDemand;
use claymark_core::units::Kilograms;
use claymark_words::format;
use claymark_words::report as words;
use claymark_words::report::demand::{Lacking, Water};

use super::Line;
use crate::facts::WeekFacts;
use crate::facts::demand::{DemandDay, FlowFrom, Lack, OxygenDemand};

/// Day by day, or why not.
#[derive(Debug, Clone, Serialize)]
pub struct Demand {
    lines: Vec<Line>,
    days: Vec<Vec<String>>,
    means: String,
}

impl Demand {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts) -> Self {
        match &facts.demand {
            Ok(demand) => Self {
                lines: lines(demand),
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
                lines: vec![Line::of(words::demand::lacks(match lack {
                    Lack::TankOxygen => Lacking::TankOxygen,
                    Lack::HeadOxygen => Lacking::HeadOxygen,
                    Lack::Flow => Lacking::Flow,
                }))],
                days: Vec::new(),
                means: String::new(),
            },
        }
    }
}

fn lines(demand: &OxygenDemand) -> Vec<Line> {
    let known: Vec<&DayDemand> = demand.days.iter().filter_map(|day| day.demand.as_ref()).collect();
    let weight = |day: Option<&&DayDemand>| day.and_then(|day| day.biomass);
    let biomass = weight(known.first()).zip(weight(known.last()));
    let most: Option<Kilograms> = demand.days.iter().rev().find_map(|day| day.most);
    words::demand::trend(demand.trend.as_ref(), biomass, most).into_iter().map(Line::of).collect()
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
