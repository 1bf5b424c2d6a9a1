//! `claymark plan` and `stock`: the days ahead, and the clay on the floor.

use std::io::Write as _;

use clap::Args;

use claymark_words::{planning, stock};

use super::CommandFailure;
use super::past::{RoomAsOf, When};

/// The days ahead.
#[derive(Debug, Args)]
pub(super) struct PlanCommand {
    #[command(flatten)]
    when: When,
    /// How many days, today included
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(i32).range(1..=60))]
    days: i32,
}

pub(super) fn plan(asked: PlanCommand) -> Result<(), CommandFailure> {
    let standing = read(&asked.when)?;
    let days = standing.known().days_ahead(standing.now, asked.days);
    let site = &standing.settings.site;
    let apart = standing.known().water_apart(standing.now).map(|water| {
        planning::water_apart(site, &water)
            + "
"
    });
    let page = planning::page(site, standing.known().clouding().as_ref(), &days);
    say(&(apart.unwrap_or_default() + &page))
}

pub(super) fn stock(asked: When) -> Result<(), CommandFailure> {
    let standing = read(&asked)?;
    let site = &standing.settings.site;
    if site.stock.is_none() {
        return Err(CommandFailure::Wrong {
            what: "the site file has no [stock].".to_owned(),
            remedy: "Count the bags and write them there, as the example site file shows.".to_owned(),
        });
    }
    let Some(known) = standing.known().stock(standing.now) else {
        return Err(CommandFailure::Failed {
            what: "how much clay will be used isn't known.".to_owned(),
            remedy: "Write ntu_per_mg_l under [clay] and a [[batch]] with its plan, or log the clay of a week of refills."
                .to_owned(),
        });
    };
    say(&stock::page(site, &known, site.date_at(standing.now)))
}

pub(super) fn read(when: &When) -> Result<RoomAsOf, CommandFailure> {
    let standing = RoomAsOf::read(&when.site_file.config, when.at.as_deref())?;
    if let Some(stale) = standing.stale() {
        writeln!(std::io::stderr(), "{stale}")?;
    }
    Ok(standing)
}

pub(super) fn say(text: &str) -> Result<(), CommandFailure> {
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}
