//! `claymark mix`, `dose`, `wait`, `settle`: the arithmetic of clay on the room as it stands.

use std::io::Write as _;

use clap::Args;
use jiff::{SignedDuration, Span, SpanRelativeTo};

use claymark_clay::settling::GRAINS_UM;
use claymark_model::id::Id;
use claymark_model::site::{Quantity, Site};
use claymark_model::units::{Dimension, GramsPerLitre, Litres, Turbidity, Unit};
use claymark_notice::dose::{MissingFigure, NoDose};
use claymark_room::Knowledge;
use claymark_words::{checks, dosing, refill, settling};

use super::past::{RoomAsOf, When};
use super::{CommandFailure, meant, names};
use crate::amount::Amount;

/// A refill sheet.
#[derive(Debug, Args)]
pub(super) struct MixCommand {
    #[command(flatten)]
    when: When,
    /// Which drum: its id or name; all, if left out
    #[arg(long)]
    drum: Option<String>,
    /// To which mark, in the site's unit of volume or with its own; the full line, if left out
    #[arg(long, value_name = "VOLUME", value_parser = Amount::parse, allow_negative_numbers = true)]
    to: Option<Amount>,
    /// At which strength of finished slurry, in the site's unit or with its own; if left out, what the fish's plan wants in
    /// the middle of the mix's life, or the drum's target
    #[arg(long, value_name = "STRENGTH", value_parser = Amount::parse, allow_negative_numbers = true)]
    strength: Option<Amount>,
    /// The figures are right as they stand, also where they can hardly be meant
    #[arg(long)]
    sure: bool,
}

/// Both levers.
#[derive(Debug, Args)]
pub(super) struct DoseCommand {
    #[command(flatten)]
    when: When,
    /// Which drum: its id or name; every drum that is drawn, if left out
    #[arg(long)]
    drum: Option<String>,
    /// Turbidity wanted in the head tank; if left out, the middle of the fish's band: now for the pump, in the middle of
    /// its life for a new mix
    #[arg(long, value_name = "NTU", value_parser = Amount::parse, allow_negative_numbers = true)]
    turbidity: Option<Amount>,
    /// The figure is right as it stands, also where it can hardly be meant
    #[arg(long)]
    sure: bool,
}

/// How long a change takes.
#[derive(Debug, Args)]
pub(super) struct WaitCommand {
    #[command(flatten)]
    when: When,
    /// Foretell the tanks for a feed that is steady at this turbidity
    #[arg(long, value_name = "NTU", value_parser = Amount::parse, allow_negative_numbers = true)]
    to: Option<Amount>,
    /// An early reading in this tank, to tell where it will end; with --from and --after
    #[arg(long, value_name = "TANK", requires_all = ["from", "after", "read"])]
    tank: Option<String>,
    /// What tank and head tank showed before the change
    #[arg(long, value_name = "NTU", requires = "tank", value_parser = Amount::parse, allow_negative_numbers = true)]
    from: Option<Amount>,
    /// What the tank shows now
    #[arg(long, value_name = "NTU", requires = "tank", value_parser = Amount::parse, allow_negative_numbers = true)]
    read: Option<Amount>,
    /// How long after the change that is: "25 min"
    #[arg(long, value_name = "TIME", requires = "tank")]
    after: Option<String>,
}

/// What a failing air supply does.
#[derive(Debug, Args)]
pub(super) struct SettleCommand {
    #[command(flatten)]
    when: When,
    /// Which drum: its id or name; all, if left out
    #[arg(long)]
    drum: Option<String>,
    /// A tenth of the clay is coarser than this, µm; what the site file says, if left out
    #[arg(long, value_name = "UM", allow_negative_numbers = true)]
    coarse: Option<f64>,
}

pub(super) fn mix(asked: MixCommand) -> Result<(), CommandFailure> {
    let standing = read(&asked.when)?;
    print(&standing, &mix_told(&standing, asked)?)
}

fn mix_told(standing: &RoomAsOf, asked: MixCommand) -> Result<String, CommandFailure> {
    let site = &standing.settings.site;
    let of = |what, typed: Option<Amount>, dimension, usual: Unit| {
        let base = typed.map(|amount| amount.in_base(dimension, Some(usual))).transpose();
        let base = base.map_err(|bad| CommandFailure::Wrong {
            what: format!("the {what} can't be used: {bad}."),
            remedy: format!(
                "Write a number, which is taken as {usual}, or a number with its unit in quotes."
            ),
        })?;
        positive(what, base)
    };
    let to = of("mark", asked.to, Dimension::Volume, site.units.volume)?.map(Litres);
    let strength =
        of("strength", asked.strength, Dimension::Strength, site.units.strength)?.map(GramsPerLitre);
    let mut sheets = Vec::new();
    for id in drums(standing, asked.drum.as_deref(), |_| true)? {
        let sheet = standing.known().sheet(standing.now, &id, (to, strength));
        let sheet = sheet.ok_or_else(|| no(MissingFigure::Drum))?;
        if let Some(asked_for) = strength.filter(|_| !asked.sure) {
            let usual = standing.known().sheet(standing.now, &id, (to, None));
            meant::strength(site, &id, asked_for, usual.map(|sheet| sheet.wanted.strength))?;
        }
        sheets.push(refill::sheet(site, &sheet));
    }
    Ok(sheets.join("\n"))
}

pub(super) fn dose(asked: DoseCommand) -> Result<(), CommandFailure> {
    let standing = read(&asked.when)?;
    print(&standing, &dose_told(&standing, asked)?)
}

fn dose_told(standing: &RoomAsOf, asked: DoseCommand) -> Result<String, CommandFailure> {
    let target = turbidity(&standing.settings.site, asked.turbidity)?;
    if let Some(target) = target.filter(|_| !asked.sure) {
        meant::turbidity(&standing.settings.site, standing.now, target)?;
    }
    let drawn = |id: &Id| is_drawn(standing.known(), standing.now, id);
    let mut parts = Vec::new();
    for id in drums(standing, asked.drum.as_deref(), drawn)? {
        let site = &standing.settings.site;
        let dose = standing.known().dose(standing.now, &id, target).map_err(|why| {
            let (what, remedy) = dosing::no_dose(site, why);
            match why {
                NoDose::OutOfReach { .. } if target.is_some() => CommandFailure::Wrong { what, remedy },
                NoDose::OutOfReach { .. } | NoDose::MissingFigure(_) => {
                    CommandFailure::Failed { what, remedy }
                }
            }
        })?;
        parts.push(dosing::dose(site, &dose));
    }
    Ok(parts.join("\n"))
}

pub(super) fn wait(asked: WaitCommand) -> Result<(), CommandFailure> {
    let standing = read(&asked.when)?;
    print(&standing, &wait_told(&standing, asked)?)
}

fn wait_told(standing: &RoomAsOf, asked: WaitCommand) -> Result<String, CommandFailure> {
    let site = &standing.settings.site;
    let response = standing.known().response(standing.now).ok_or_else(|| no(MissingFigure::FreshWater))?;
    if let (Some(tank), Some(from), Some(seen), Some(after)) =
        (&asked.tank, asked.from, asked.read, &asked.after)
    {
        let id = names::tank(site, tank)?;
        let found = response.tanks.iter().find(|known| known.tank == id);
        let found = found.ok_or_else(|| CommandFailure::Wrong {
            what: format!("the flow through {} isn't known.", claymark_words::names::tank(site, &id)),
            remedy: "Catch it with bucket and watch: claymark log flow_check --place tank:ID.".to_owned(),
        })?;
        let after = duration(after)?;
        let (from, seen) = (turbidity(site, Some(from))?, turbidity(site, Some(seen))?);
        let ends = from.zip(seen).and_then(|(from, seen)| found.cascade.ends(from, seen, after));
        return Ok(dosing::early(site, found, ends, after));
    }
    let to = turbidity(site, asked.to)?;
    Ok(dosing::waiting(site, &response, to))
}

pub(super) fn settle(asked: SettleCommand) -> Result<(), CommandFailure> {
    let standing = read(&asked.when)?;
    print(&standing, &settle_told(&standing, asked)?)
}

fn settle_told(standing: &RoomAsOf, asked: SettleCommand) -> Result<String, CommandFailure> {
    let coarse = grain(asked.coarse)?;
    let mut parts = Vec::new();
    for id in drums(standing, asked.drum.as_deref(), |_| true)? {
        let still = standing.room().unstirred_drum(standing.now, &id, coarse).map_err(no)?;
        parts.push(settling::still(&standing.settings.site, &still));
    }
    Ok(parts.join("\n"))
}

fn read(when: &When) -> Result<RoomAsOf, CommandFailure> {
    RoomAsOf::read(&when.site_file.config, when.at.as_deref())
}

/// The drum that was named, or those that are `usual`, or all.
fn drums(
    standing: &RoomAsOf,
    named: Option<&str>,
    usual: impl Fn(&Id) -> bool,
) -> Result<Vec<Id>, CommandFailure> {
    let site = &standing.settings.site;
    if let Some(word) = named {
        return Ok(vec![names::drum(site, word)?]);
    }
    let all: Vec<Id> = site.drums.iter().map(|drum| drum.id.clone()).collect();
    let chosen: Vec<Id> = all.iter().filter(|id| usual(id)).cloned().collect();
    Ok(if chosen.is_empty() { all } else { chosen })
}

fn is_drawn(known: &Knowledge, now: jiff::Timestamp, drum: &Id) -> bool {
    let of = claymark_model::forecast::Subject::Drum(drum.clone());
    known.forecasts(now).iter().any(|forecast| forecast.of == of && forecast.in_use)
}

/// What is old is said to be old before anything else.
fn print(standing: &RoomAsOf, text: &str) -> Result<(), CommandFailure> {
    let mut out = std::io::stdout();
    if let Some(stale) = standing.stale() {
        writeln!(out, "{stale}\n")?;
    }
    for doubt in standing.known().doubtful_catches(standing.now) {
        writeln!(out, "{}\n", checks::catch_doubt(&standing.settings.site, standing.now, &doubt))?;
    }
    out.write_all(text.as_bytes())?;
    Ok(())
}

/// In µm.
fn grain(um: Option<f64>) -> Result<Option<f64>, CommandFailure> {
    match um {
        Some(bad) if !GRAINS_UM.contains(&bad) => Err(CommandFailure::Wrong {
            what: format!("{bad} µm is no size of a grain of clay."),
            remedy: format!("Write it in µm, from {} to {}.", GRAINS_UM.start(), GRAINS_UM.end()),
        }),
        usable => Ok(usable),
    }
}

/// In the unit of the site's sensors: NTU and FNU don't convert into each other.
fn turbidity(site: &Site, typed: Option<Amount>) -> Result<Option<Turbidity>, CommandFailure> {
    let sensors = || site.sensors.iter().filter(|sensor| sensor.quantity == Quantity::Turbidity);
    let usual = sensors().next().map_or(Unit::Ntu, |sensor| sensor.unit.base());
    let base = typed.map(|amount| amount.in_base(usual.dimension(), Some(usual))).transpose();
    let base = base.map_err(|bad| CommandFailure::Wrong {
        what: format!("the turbidity can't be used: {bad}."),
        remedy: format!("Write a number, which is taken as {usual}, as the sensors here speak."),
    })?;
    Ok(positive("turbidity", base)?.map(Turbidity))
}

fn positive(what: &str, figure: Option<f64>) -> Result<Option<f64>, CommandFailure> {
    match figure {
        Some(bad) if bad <= 0.0 || !bad.is_finite() => Err(CommandFailure::Wrong {
            what: format!("{bad} can't be the {what}."),
            remedy: "Write a number above zero.".to_owned(),
        }),
        usable => Ok(usable),
    }
}

fn duration(typed: &str) -> Result<SignedDuration, CommandFailure> {
    let read = typed.parse::<Span>().ok();
    let read = read.and_then(|span| span.to_duration(SpanRelativeTo::days_are_24_hours()).ok());
    read.filter(|after| *after > SignedDuration::ZERO).ok_or_else(|| CommandFailure::Wrong {
        what: format!("'{typed}' isn't a time that can have passed."),
        remedy: "Write a number with its unit in quotes, for instance \"25 min\".".to_owned(),
    })
}

fn no(missing: MissingFigure) -> CommandFailure {
    let (what, remedy) = dosing::missing(missing);
    CommandFailure::Failed { what: what.to_owned(), remedy: remedy.to_owned() }
}

#[cfg(test)]
mod tests {
    use clap::Parser as _;

    use super::*;
    use crate::cli::past::tests::day;

    /// The four, as they are typed.
    #[derive(clap::Parser)]
    enum Typed {
        Mix(MixCommand),
        Dose(DoseCommand),
        Wait(WaitCommand),
        Settle(SettleCommand),
    }

    /// What a command says of the room.
    fn told(standing: &RoomAsOf, typed: &[&str]) -> Result<String, String> {
        let typed =
            Typed::try_parse_from(["claymark"].iter().chain(typed)).map_err(|error| error.to_string())?;
        let told = match typed {
            Typed::Mix(asked) => mix_told(standing, asked),
            Typed::Dose(asked) => dose_told(standing, asked),
            Typed::Wait(asked) => wait_told(standing, asked),
            Typed::Settle(asked) => settle_told(standing, asked),
        };
        told.map_err(|failure| failure.text(false))
    }

    #[test]
    fn the_four_commands_show_the_arithmetic_of_a_recorded_day() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        let standing = RoomAsOf::at(settings, "2027-04-17T14:50:00Z".parse().unwrap()).unwrap();
        for (typed, expected) in [
            (
                &["mix", "--drum", "Drum A"][..],
                &["Wanted: 175 L at 18.", "what the plan wants", "kg of clay", "By the head tank's"][..],
            ),
            (
                &["mix", "--drum", "a", "--to", "170", "--strength", "4 lb/100 L"],
                &["Wanted: 170 L at 18.1 g/L"],
            ),
            (&["mix", "--drum", "a", "--to", "50 US gal"], &["The drum is too small: 189 L"]),
            (
                &["dose", "--drum", "a"],
                &["by flow sensor", "QUICK TRIM", "NEW MIX", "FOR THE NIGHT", "balance"],
            ),
            (&["mix", "--drum", "a", "--to", "15 L"], &["up to the mark that is wanted: there is no room"]),
            (&["dose", "--drum", "a", "--turbidity", "60 NTU"], &["Wanted in the head tank: 60 NTU."]),
            (&["dose"], &["Drum A at", "Drum B at"]),
            (&["wait", "--to", "70"], &["exchanged in 11 min", "by the plan", "steady at 70 NTU"]),
            (
                &["wait", "--tank", "tank:t1", "--from", "64", "--read", "61", "--after", "60 min"],
                &["Tank 1 shows 44 % of a change after 1 h: it is on its way to 57 NTU."],
            ),
            (
                &["wait", "--tank", "t1", "--from", "64", "--read", "61", "--after", "60 min"],
                &["Tank 1 shows 44 %"],
            ),
            (&["settle", "--drum", "a"], &["at the latest", "minutes, not hours", "How to tell"]),
        ] {
            let said = told(&standing, typed).unwrap_or_else(|words| panic!("{typed:?}: {words}"));
            for words in expected {
                assert!(said.contains(words), "{typed:?}: no '{words}' in\n{said}");
            }
        }
        assert!(!told(&standing, &["dose"]).unwrap().contains("Drum C at"), "it isn't drawn");
    }

    #[test]
    fn what_cannot_be_meant_is_refused_with_what_was_typed() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        let standing = RoomAsOf::at(settings, "2027-04-17T14:50:00Z".parse().unwrap()).unwrap();
        for (typed, words) in [
            (&["mix", "--drum", "z"][..], "there is no drum 'z'"),
            (&["mix", "--drum", "a", "--to", "3 kg"], "the mark can't be used"),
            (&["dose", "--turbidity", "0"], "0 can't be the turbidity"),
            (
                &["dose", "--turbidity", "190"],
                "190 NTU is far from what the fish want today, 50 NTU to 80 NTU.",
            ),
            (
                &["mix", "--drum", "a", "--strength", "1.8"],
                "1.8 g/L is a 10th of what Drum A is to have today, 18.6 g/L.",
            ),
            (&["dose", "--turbidity", "65 FNU"], "'FNU' can't be used here; write it in NTU"),
            (&["mix", "--drum", "a", "--to", "-5"], "-5 can't be the mark"),
            (&["mix", "--drum", "a", "--strength", "-5"], "-5 can't be the strength"),
            (&["dose", "--turbidity", "2"], "Ask for more than 2 NTU, which is the water without clay"),
            (&["dose", "--turbidity", "-5"], "-5 can't be the turbidity"),
            (&["wait", "--to", "-5"], "-5 can't be the turbidity"),
            (
                &["wait", "--tank", "tank:t1", "--from", "-5", "--read", "2", "--after", "1 h"],
                "-5 can't be the turbidity",
            ),
            (
                &["wait", "--tank", "tank:t1", "--from", "5", "--read", "-2", "--after", "1 h"],
                "-2 can't be the turbidity",
            ),
            (&["settle", "--coarse", "-1"], "-1 µm is no size of a grain of clay"),
            (&["settle", "--coarse", "100"], "100 µm is no size of a grain of clay"),
            (&["settle", "--coarse", "0.001"], "0.001 µm is no size of a grain of clay"),
            (&["wait", "--to", "cloudy"], "'cloudy' doesn't begin with a number"),
            (
                &["wait", "--tank", "head", "--from", "1", "--read", "2", "--after", "1 h"],
                "there is no rearing tank 'head'",
            ),
            (&["wait", "--tank", "t1"], "--from"),
        ] {
            let said = told(&standing, typed).unwrap_err();
            assert!(said.contains(words), "{typed:?}: {said}");
        }
    }

    #[test]
    fn a_sheet_is_published_beside_its_forecast_with_the_time_until_it_holds() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        let standing = RoomAsOf::at(settings, "2027-04-17T14:50:00Z".parse().unwrap()).unwrap();
        let drum = Id::new("a").unwrap();
        let sheet = standing.known().sheet(standing.now, &drum, (None, None)).unwrap();
        let published = crate::publish::sheet("claymark/alder-bend", &sheet).unwrap();
        assert_eq!(published.topic, "claymark/alder-bend/drum/a/refill");
        let line: serde_json::Value = serde_json::from_slice(&published.payload).unwrap();
        assert_eq!((&line["drum"], &line["to_l"]), (&"a".into(), &175.0.into()));
        // By the plan, near the 18 g/L that the drum is mixed to where there is none.
        let target = line["target_g_per_l"].as_f64().unwrap();
        assert!((target - 18.6).abs() < 0.3, "{target} g/L");
        assert_eq!(line["valid_until"], "2027-04-17T15:10:00Z");
        let (held, water, clay) = (&line["volume_l"], &line["water_l"], &line["clay_kg"]);
        let sum = [held, water].iter().map(|litres| litres.as_f64().unwrap()).sum::<f64>()
            + clay.as_f64().unwrap() / 2.6;
        assert!((sum - 175.0).abs() < 0.11, "water and clay fill it to the line: {line}");
    }
}
