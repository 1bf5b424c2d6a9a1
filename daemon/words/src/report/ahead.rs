//! The week ahead: its heading, and what fills each drum. The days and the stock have their words elsewhere.

use claymark_clay::refill::books::Residual;
use claymark_clay::refill::{Aim, Refill};
use claymark_model::plan::FishDay;
use claymark_model::site::Site;
use claymark_model::units::Litres;
use jiff::Timestamp;
use jiff::civil::Date;

use crate::format::{self, Clock};
use crate::{caution, refill};

/// One drum's line in the table of refills.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FillingLine {
    /// What is in it.
    pub holds: String,
    /// Its strength, by the books.
    pub strength: String,
    /// Dry clay.
    pub clay: String,
    /// The same in bags.
    pub bags: String,
    /// Buckets in which it is wetted first.
    pub buckets: String,
    /// Water.
    pub water: String,
    /// Strength afterwards.
    pub gives: String,
    /// What the mix is aimed at.
    pub aims: String,
}

/// "The week ahead: Monday 26 April to Sunday 2 May 2027".
#[must_use]
pub fn title(first: Date, last: Date) -> String {
    format!("The week ahead: {} to {}", first.strftime("%A %-d %B"), last.strftime("%A %-d %B %Y"))
}

/// A drum's line; what can't be told is "–".
#[must_use]
pub fn filling(
    site: &Site,
    at: Timestamp,
    (holds, left): (Option<Litres>, &Residual),
    (aim, refill): (&Aim, Option<&Refill>),
) -> FillingLine {
    let units = &site.units;
    let none = || NOTHING.to_owned();
    let mut line = FillingLine {
        holds: holds.map_or_else(|| "not known".to_owned(), |holds| format::volume(units, holds)),
        strength: format::strength_sd(units, left.strength, left.sd),
        clay: none(),
        bags: none(),
        buckets: none(),
        water: none(),
        gives: none(),
        aims: aim
            .plan
            .map_or_else(|| "its target".to_owned(), |plan| refill::aimed(site, Clock::new(site, at), plan)),
    };
    match refill {
        Some(Refill::Mix(mix)) => {
            line.clay = format::mass(units, mix.clay, site.clay.scale_step);
            line.bags = format::number(mix.bags, 2);
            line.buckets = mix.buckets.max(1).to_string();
            line.water = format::volume_at_most(units, mix.water);
            line.gives = format::strength_sd(units, mix.gives, mix.gives_sd);
        }
        Some(Refill::WaterOnly { water, gives, .. }) => {
            line.clay = "none".to_owned();
            line.water = format::volume_at_most(units, *water);
            line.gives = format::strength(units, *gives);
        }
        Some(
            Refill::TooStrong(_)
            | Refill::NoRoom
            | Refill::DrumTooSmall { .. }
            | Refill::TooThick { .. }
            | Refill::LookFirst { .. }
            | Refill::WrittenDown(_),
        )
        | None => {}
    }
    line
}

/// What the line can't tell: why nothing is to be added, or what else to do; `None`: the line tells all.
#[must_use]
pub fn remark(site: &Site, name: &str, at: Timestamp, refill: Option<&Refill>) -> Option<String> {
    match refill {
        Some(Refill::Mix(_)) => None,
        other => Some(format!("{name}: {}", refill::lines(site, Clock::new(site, at), other).join(" "))),
    }
}

/// Under the table of refills.
#[must_use]
pub fn mixing(site: &Site, at: Timestamp) -> String {
    format!(
        "As the drums and their pumps stood at {}. Aimed at: what the plan wants in the middle of the mix's life, or the drum's \
         own target where the plan or the draw isn't known. A fresh sheet: claymark mix --drum ID. Strengths are of finished \
         slurry, ± one standard deviation. Mix the clay with water in buckets of {} first, pour it in, then fill up to the \
         line. {}",
        super::dated_moment(at, &site.time_zone),
        format::volume(&site.units, site.clay.premix.bucket),
        caution::PREMIX
    )
}

/// "25 (28 dph)"; of several batches one after the other.
#[must_use]
pub fn fish_days(fish: impl Iterator<Item = FishDay>) -> String {
    let days: Vec<String> = fish.map(|fish| format!("{} ({} dph)", fish.day, fish.dph)).collect();
    if days.is_empty() { "none".to_owned() } else { days.join(", ") }
}

/// Where the site file has no `[stock]`, or nothing is known of the use.
#[must_use]
pub fn no_stock(site: &Site) -> &'static str {
    if site.stock.is_none() {
        "How long the clay lasts isn't known: count the bags and write them under [stock] in the site file."
    } else {
        "How long the clay lasts isn't known: write ntu_per_mg_l under [clay] and a [[batch]] with its plan, or log the \
         clay of a week of refills."
    }
}

/// In a cell without a figure.
pub const NOTHING: &str = "–";
