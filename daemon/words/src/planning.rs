//! The days ahead by the plan, in words.

use claymark_clay::Clouding;
use claymark_clay::ahead::{DayAhead, Mixed, Needs};
use claymark_clay::stock::supply::WaterApart;
use claymark_clay::water::FlowBy;
use claymark_model::site::Site;
use claymark_model::units::{Kilograms, Litres};

use crate::format::date;
use crate::{caution, clouding, format};

/// One line of the table of days: the same figures stand in the weekly report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayRow {
    /// "Tue 20 Apr".
    pub day: String,
    /// Fish day of each batch, and days post hatch: "8 (11 dph)".
    pub fish: String,
    /// "50 to 80".
    pub band: String,
    /// Through the head tank, with its unit.
    pub flow: String,
    /// Strength of the day's mixes, with its unit.
    pub mix: String,
    /// Slurry of the day, with its unit.
    pub slurry: String,
    /// Drums emptied that day.
    pub refills: String,
    /// Clay of the day, with its unit.
    pub clay: String,
    /// The same in bags.
    pub bags: String,
    /// "54 min".
    pub after_dry: String,
}

/// The table of days.
#[must_use]
pub fn rows(site: &Site, days: &[DayAhead]) -> Vec<DayRow> {
    days.iter().map(|day| row(site, day)).collect()
}

fn row(site: &Site, day: &DayAhead) -> DayRow {
    let units = &site.units;
    let unknown = || "?".to_owned();
    let fish: Vec<String> =
        day.fish.iter().map(|(_, fish)| format!("{} ({} dph)", fish.day, fish.dph)).collect();
    let needs = day.needs;
    DayRow {
        day: date(day.date),
        fish: if fish.is_empty() { "none".to_owned() } else { fish.join(", ") },
        band: if fish.is_empty() && !site.batches.is_empty() {
            "-".to_owned()
        } else {
            format!("{} to {}", format::number(day.band.min(), 0), format::number(day.band.max(), 0))
        },
        flow: day.flow.map_or_else(unknown, |flow| format::flow(units, flow)),
        mix: needs.map_or_else(unknown, |needs| mix(site, &needs)),
        slurry: needs.map_or_else(unknown, |needs| format::volume(units, needs.slurry)),
        refills: needs.map_or_else(unknown, |needs| format::number(needs.refills, 1)),
        clay: needs.map_or_else(unknown, |needs| mass(site, needs.clay)),
        bags: needs.map_or_else(unknown, |needs| format::number(needs.bags, 2)),
        after_dry: day.after_dry.map_or_else(unknown, format::duration),
    }
}

fn mix(site: &Site, needs: &Needs) -> String {
    if needs.clay.0 > 0.0 {
        format::strength(&site.units, needs.mixed.strength())
    } else {
        "no clay".to_owned()
    }
}

/// What the days need in all, and each change of the flow, which wants a change of the pump in the same visit.
#[must_use]
pub fn sentences(site: &Site, days: &[DayAhead]) -> Vec<String> {
    let mut lines = vec![in_all(site, days)];
    for two in days.windows(2) {
        let [before, after] = two else { continue };
        let (Some(from), Some(to)) = (before.flow, after.flow) else { continue };
        let ratio = to.0 / from.0;
        if (ratio - 1.0).abs() > 0.005 {
            lines.push(format!(
                "On {} the water goes from {} to {}: set the pumps to {} times their speed in the same visit; a drum then \
                 lasts {} times as long.",
                date(after.date),
                format::flow(&site.units, from),
                format::flow(&site.units, to),
                format::number(ratio, 2),
                format::number(1.0 / ratio, 2),
            ));
        }
    }
    lines.push(AFTER_DRY.to_owned());
    lines
}

fn in_all(site: &Site, days: &[DayAhead]) -> String {
    let needs: Option<Vec<_>> = days.iter().map(|day| day.needs).collect();
    let Some(needs) = needs else {
        return "Clay and slurry can't be worked out for every day: write ntu_per_mg_l and background_ntu under [clay], and \
                exchanges_per_h into the plan."
            .to_owned();
    };
    let slurry = Litres(needs.iter().map(|needs| needs.slurry.0).sum());
    let clay = Kilograms(needs.iter().map(|needs| needs.clay.0).sum());
    let refills: f64 = needs.iter().map(|needs| needs.refills).sum();
    format!(
        "In all {} of slurry{}, {} drums from the full line to the heel, {} of clay ({} bags of {}).",
        format::volume(&site.units, slurry),
        mixed_to(&needs),
        format::number(refills, 1),
        mass(site, clay),
        format::number(clay.0 / site.clay.bag.0, 1),
        format::bag(&site.units, site.clay.bag),
    )
}

fn mixed_to(needs: &[Needs]) -> &'static str {
    match needs.iter().find(|needs| needs.clay.0 > 0.0).map(|needs| needs.mixed) {
        None => "",
        Some(Mixed::ByPlan(_)) => {
            " mixed as each day of the plan wants it with the pumps as they are, turned only with the water"
        }
        Some(Mixed::ToTarget(_)) => " at the drums' target strength",
    }
}

/// What the figures go by.
#[must_use]
pub fn basis(site: &Site, clouding: Option<&Clouding>) -> String {
    let by = if site.batches.is_empty() {
        "No fish are planned (the site file has no [[batch]]): by its usual limits under [water], and the water as it is now"
    } else {
        "By the rearing plan"
    };
    format!("{by}; {}. A day begins at midnight.", clouding::sentence(site, clouding))
}

/// The plan's water and the measured one, where they differ.
#[must_use]
pub fn water_apart(site: &Site, water: &WaterApart) -> String {
    let by = match water.measured.by {
        FlowBy::Sensor => "the flow sensor says",
        FlowBy::Check { .. } => "bucket and watch say",
        FlowBy::Plan | FlowBy::Share => "it is",
    };
    format!(
        "BUT the plan wants {} of water today, and {by} {}. What goes by the plan goes by its figure: set the water right, or exchanges_per_h in the plan.",
        format::flow(&site.units, water.planned),
        format::flow(&site.units, water.measured.flow)
    )
}

/// The whole page for the command line.
#[must_use]
pub fn page(site: &Site, clouding: Option<&Clouding>, days: &[DayAhead]) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    let line = |text: &mut String, row: &DayRow| {
        writeln!(
            text,
            "{:<11} {:<14} {:>9} {:>12} {:>13} {:>8} {:>8} {:>9} {:>6} {:>12}",
            row.day,
            row.fish,
            row.band,
            row.flow,
            row.mix,
            row.slurry,
            row.refills,
            row.clay,
            row.bags,
            row.after_dry
        )
        .expect("a String takes all");
    };
    line(&mut text, &heads());
    for row in rows(site, days) {
        line(&mut text, &row);
    }
    text.push('\n');
    text.push_str(&basis(site, clouding));
    text.push('\n');
    for sentence in sentences(site, days) {
        text.push_str(&sentence);
        text.push('\n');
    }
    text.push('\n');
    text.push_str(caution::HANDLING);
    text.push('\n');
    text.push_str(caution::ADVISES);
    text.push('\n');
    text
}

/// The heads of the columns.
#[must_use]
pub fn heads() -> DayRow {
    let [day, fish, band, flow, mix, slurry, refills, clay, bags, after_dry] =
        ["Day", "Fish day", "Band", "Water", "Mix", "Slurry", "Refills", "Clay", "Bags", "Dry drum"]
            .map(str::to_owned);
    DayRow { day, fish, band, flow, mix, slurry, refills, clay, bags, after_dry }
}

fn mass(site: &Site, clay: Kilograms) -> String {
    format::mass(&site.units, clay, site.clay.scale_step)
}

const AFTER_DRY: &str = "Dry drum: how long the fish have once no clay comes any more, from the middle of the band to its lower end, in \
the tank that clears first (stirred tanks in series).";

#[cfg(test)]
mod tests {
    use claymark_clay::ahead::{Today, ahead};
    use claymark_clay::{Clouding, Yield};
    use claymark_model::plan::{Batch, Plan, Ramp, Row};
    use claymark_model::quality::thresholds::Span;
    use claymark_model::units::{LitresPerHour, LitresPerMinute, Turbidity};

    use super::*;
    use crate::notice::tests::room;

    #[test]
    fn the_days_ahead_are_a_table_and_say_what_to_change_when() {
        let mut site = room::site();
        let row = |day, low, high, flow| Row {
            day,
            turbidity: Some(Span::new(low, high).unwrap()),
            exchanges_per_h: Some(flow),
            ..Row::default()
        };
        let rows = vec![row(0, 50.0, 80.0, 0.5), row(3, 50.0, 80.0, 0.7), row(6, 20.0, 50.0, 0.7)];
        site.batches = vec![Batch {
            id: claymark_model::id::Id::new("spring").unwrap(),
            name: "Spring batch".to_owned(),
            stocked: "2027-04-18".parse().unwrap(),
            dph_at_stocking: 4,
            day_at_stocking: 0,
            ended: None,
            tanks: site.tanks.iter().map(|tank| tank.id.clone()).collect(),
            plan: Plan::new(Ramp::Linear, rows).unwrap(),
        }];
        let clay = Yield { ntu_per_mg_l: 0.5, sd: 0.0, since: None, exponent: 1.0 };
        let clouding = Clouding { clay, background: Turbidity(2.0) };
        let known = Today { clouding: Some(clouding), ..Today::default() };
        let days = |today| ahead(&site, "2027-04-20".parse().unwrap(), 5, &today);
        insta::assert_snapshot!(page(&site, Some(&clouding), &days(known)));
        let drawn =
            days(Today { water: Some(LitresPerMinute(2.333)), slurry: Some(LitresPerHour(1.2)), ..known });
        let by_plan = page(&site, Some(&clouding), &drawn);
        insta::assert_snapshot!("the_days_ahead_with_the_pumps_as_they_are", by_plan);
        let unknown = days(Today::default());
        assert!(in_all(&site, &unknown).starts_with("Clay and slurry can't be worked out"));
    }
}
