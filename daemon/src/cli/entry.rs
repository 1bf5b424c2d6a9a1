//! `claymark log KIND …`: what hands did, as it is typed, made into a field-log entry.

use clap::{Args, Subcommand};
use jiff::Timestamp;
use jiff::tz::TimeZone;

use claymark_model::fieldlog::Deed;
use claymark_model::site::{Quantity, Site};
use claymark_model::units::{Dimension, Kilograms, Litres, Millimetres, Unit};
use claymark_notice::alarm::Alarm;

use super::moment::ahead;
use super::{CommandFailure, names};
use crate::amount::Amount;
use crate::suggest::did_you_mean;

/// What was done. Figures that nobody knows are left out.
#[derive(Debug, Subcommand)]
#[command(rename_all = "snake_case")]
pub(super) enum EntryKind {
    /// A drum was topped up
    Refill {
        #[command(flatten)]
        drum: DrumFlag,
        /// Water added, in the site's unit or with its own: 150, "40 US gal"
        #[arg(long, value_name = "VOLUME", value_parser = Amount::parse, allow_hyphen_values = true)]
        water: Option<Amount>,
        /// Dry clay added, in the site's unit or with its own: 4.2, "9 lb"
        #[arg(long, value_name = "MASS", value_parser = Amount::parse, allow_hyphen_values = true)]
        clay: Option<Amount>,
    },
    /// A pump's speed was set
    #[command(alias = "pump-setting")]
    PumpSetting {
        #[command(flatten)]
        pump: PumpFlag,
        /// Revolutions per minute; 0 is off
        #[arg(long, allow_negative_numbers = true)]
        rpm: Option<f64>,
    },
    /// From now on this drum is drawn from
    #[command(alias = "in-use")]
    InUse {
        #[command(flatten)]
        pump: PumpFlag,
        #[command(flatten)]
        drum: DrumFlag,
    },
    /// Water was caught with cylinder and watch
    #[command(alias = "flow-check")]
    FlowCheck {
        #[command(flatten)]
        place: PlaceFlag,
        /// How much was caught, in mL or with its own unit
        #[arg(long, value_name = "VOLUME", value_parser = Amount::parse, allow_hyphen_values = true)]
        volume: Option<Amount>,
        /// In how many seconds
        #[arg(long, allow_negative_numbers = true)]
        seconds: Option<f64>,
    },
    /// Something was measured with a hand instrument
    #[command(alias = "grab-sample")]
    GrabSample {
        #[command(flatten)]
        place: PlaceFlag,
        /// What: turbidity, temperature, oxygen, …
        #[arg(long)]
        quantity: Option<String>,
        /// The value, with its unit: "64 NTU", "20.1 °C"
        #[arg(long, value_parser = Amount::parse, allow_hyphen_values = true)]
        value: Option<Amount>,
    },
    /// A tank was cleaned
    Cleaning {
        #[command(flatten)]
        place: PlaceFlag,
        /// For how many minutes
        #[arg(long, allow_negative_numbers = true)]
        minutes: Option<f64>,
    },
    /// A drum was read by eye
    Dip {
        #[command(flatten)]
        drum: DrumFlag,
        /// The level, in mm or with its own unit
        #[arg(long, value_parser = Amount::parse, allow_hyphen_values = true)]
        level: Option<Amount>,
        /// Or the volume at the marks, in the site's unit or with its own
        #[arg(long, value_parser = Amount::parse, allow_hyphen_values = true, conflicts_with = "level")]
        volume: Option<Amount>,
    },
    /// A sensor was wiped
    Wipe {
        /// Which: its id or name
        #[arg(long)]
        sensor: Option<String>,
    },
    /// A new tube was put into a pump
    #[command(alias = "tube-change")]
    TubeChange(PumpFlag),
    /// A clog was cleared
    #[command(alias = "clog-cleared")]
    ClogCleared(PumpFlag),
    /// Clay was delivered
    Delivery {
        /// How many bags
        #[arg(long, allow_negative_numbers = true)]
        bags: Option<f64>,
        /// Mass in all, in the site's unit or with its own
        #[arg(long, value_parser = Amount::parse, allow_hyphen_values = true)]
        mass: Option<Amount>,
        /// The supplier's lot
        #[arg(long)]
        lot: Option<String>,
    },
    /// Fish were stocked, moved or counted
    Fish {
        #[command(flatten)]
        place: PlaceFlag,
        /// stocked, moved or counted
        #[arg(long)]
        what: Option<String>,
        /// How many
        #[arg(long, allow_negative_numbers = true)]
        number: Option<f64>,
    },
    /// Somebody has this night, or the one that comes
    Tonight {
        /// Who: id or name of a contact
        person: String,
    },
    /// Nobody is called for a notice until then
    Shelve(ShelfFlags),
    /// Anything else
    Note {
        /// What there is to say
        text: String,
    },
}

#[derive(Debug, Args)]
pub(super) struct ShelfFlags {
    /// The number of the notice
    pub(super) notice: u64,
    /// When people are called for it again: a time within 8 hours, such as 02:30
    #[arg(long, value_name = "TIME")]
    until: String,
    /// Why nobody need be called
    #[arg(long, value_name = "TEXT")]
    why: String,
}

#[derive(Debug, Args)]
pub(super) struct DrumFlag {
    /// Which drum: its id or name
    #[arg(long)]
    drum: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct PumpFlag {
    /// Which pump: its id or name
    #[arg(long)]
    pump: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct PlaceFlag {
    /// Where: tank:t1, drum:a, pump:p1, head, room, or a name
    #[arg(long)]
    place: Option<String>,
}

impl EntryKind {
    /// Clay was typed as a bare number: its unit is only taken for granted.
    pub(super) fn takes_unit_of_clay_for_granted(&self) -> bool {
        matches!(self, Self::Refill { clay: Some(clay), .. } if clay.unit().is_none())
    }

    /// With everything that it names found in the site, and every figure in its base unit.
    pub(super) fn deed(self, site: &Site, now: Timestamp) -> Result<Deed, CommandFailure> {
        let (mass, volume) = (site.units.mass, site.units.volume);
        let drum = |flag: DrumFlag| flag.drum.map(|word| names::drum(site, &word)).transpose();
        let pump = |flag: PumpFlag| flag.pump.map(|word| names::pump(site, &word)).transpose();
        let place = |flag: PlaceFlag| flag.place.map(|word| names::place(site, &word)).transpose();
        let litres = |typed, usual| in_base("volume", typed, Dimension::Volume, usual).map(|v| v.map(Litres));
        let kilograms = |typed| in_base("mass", typed, Dimension::Mass, mass).map(|m| m.map(Kilograms));
        Ok(match self {
            Self::Refill { drum: flag, water, clay } => {
                let (drum, water) = (drum(flag)?, litres(water, volume)?);
                Deed::Refill { drum, water, clay: kilograms(clay)? }
            }
            Self::PumpSetting { pump: flag, rpm } => {
                let (pump, rpm) = (pump(flag)?, not_negative("rpm", rpm)?);
                Deed::PumpSetting { pump, rpm }
            }
            Self::InUse { pump: of, drum: flag } => Deed::InUse { pump: pump(of)?, drum: drum(flag)? },
            Self::FlowCheck { place: flag, volume, seconds } => Deed::FlowCheck {
                place: place(flag)?,
                volume: litres(volume, Unit::Millilitre)?,
                seconds: some_time(seconds)?,
            },
            Self::GrabSample { place: flag, quantity, value } => sample(place(flag)?, quantity, value)?,
            Self::Cleaning { place: flag, minutes } => {
                Deed::Cleaning { place: place(flag)?, minutes: not_negative("minutes", minutes)? }
            }
            Self::Dip { drum: flag, level, volume: read } => {
                let (drum, read) = (drum(flag)?, litres(read, volume)?);
                let level = in_base("level", level, Dimension::Length, Unit::Millimetre)?.map(Millimetres);
                Deed::Dip { drum, level, volume: read }
            }
            Self::Wipe { sensor } => {
                Deed::Wipe { sensor: sensor.map(|word| names::sensor(site, &word)).transpose()? }
            }
            Self::TubeChange(flag) => Deed::TubeChange { pump: pump(flag)? },
            Self::ClogCleared(flag) => Deed::ClogCleared { pump: pump(flag)? },
            Self::Delivery { bags, mass, lot } => {
                let (bags, mass) = (not_negative("bags", bags)?, kilograms(mass)?);
                Deed::Delivery { bags, mass, lot }
            }
            Self::Fish { place: flag, what, number } => Deed::Fish {
                place: place(flag)?,
                what: what.map(|word| fish_deed(&word)).transpose()?,
                number: not_negative("number", number)?,
            },
            Self::Tonight { person } => Deed::Tonight { person: Some(names::contact(site, &person)?) },
            Self::Shelve(ShelfFlags { notice, until, why }) => {
                Deed::Shelve { notice, until: shelf_end(&until, now, &site.time_zone)?, why }
            }
            Self::Note { text } => Deed::Note { text: Some(text) },
        })
    }
}

/// No shelf lasts longer than a night's watch.
fn shelf_end(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, CommandFailure> {
    let until = ahead(typed, now, zone)?;
    if until <= now + Alarm::LONGEST_SHELF {
        return Ok(until);
    }
    Err(CommandFailure::Wrong {
        what: format!("A notice can be shelved for {} hours at most.", Alarm::LONGEST_SHELF.as_hours()),
        remedy: "Write an earlier time; who is there then can shelve it again, with its reason.".to_owned(),
    })
}

/// What is done to fish, by the field log's words.
fn fish_deed(word: &str) -> Result<String, CommandFailure> {
    if FISH.contains(&word) {
        return Ok(word.to_owned());
    }
    Err(CommandFailure::Wrong {
        what: format!("'{word}' is nothing that the log knows of fish."),
        remedy: format!(
            "{}Write one of {}; for anything else: claymark log note \"…\".",
            did_you_mean(word, FISH),
            FISH.join(", ")
        ),
    })
}

const FISH: [&str; 3] = ["stocked", "moved", "counted"];

/// In no time nothing can be caught.
fn some_time(seconds: Option<f64>) -> Result<Option<f64>, CommandFailure> {
    match not_negative("seconds", seconds)? {
        Some(none) if none <= 0.0 => Err(CommandFailure::Wrong {
            what: "nothing can be caught in 0 seconds.".to_owned(),
            remedy: "Write how long the catch took, or leave it out if nobody knows.".to_owned(),
        }),
        usable => Ok(usable),
    }
}

/// The quantity is one that Claymark knows, and the unit, which must be typed, one of its units.
fn sample(
    place: Option<claymark_model::site::Place>,
    quantity: Option<String>,
    value: Option<Amount>,
) -> Result<Deed, CommandFailure> {
    let names = Quantity::NAMES.map(|(name, _)| name);
    let known = quantity.as_deref().map(|word| {
        Quantity::parse(word).ok_or_else(|| CommandFailure::Wrong {
            what: format!("'{word}' isn't something that Claymark knows."),
            remedy: format!("{}Write one of {}.", did_you_mean(word, names), names.join(", ")),
        })
    });
    let known = known.transpose()?;
    let unit = value.map(|value| {
        value.unit().ok_or_else(|| CommandFailure::Wrong {
            what: "the value has no unit.".to_owned(),
            remedy: "Write the value with its unit in quotes: --value \"64 NTU\".".to_owned(),
        })
    });
    let unit = unit.transpose()?;
    if let (Some(quantity), Some(unit)) = (known, unit)
        && !quantity.dimensions().contains(&unit.dimension())
    {
        return Err(CommandFailure::Wrong {
            what: format!("'{unit}' is no unit of {}.", quantity.name()),
            remedy:
                "Write the value with a unit of what was measured: --quantity turbidity --value \"64 NTU\"."
                    .to_owned(),
        });
    }
    Ok(Deed::GrabSample {
        place,
        quantity,
        value: value.map(Amount::number),
        unit: unit.map(|unit| unit.symbol().to_owned()),
    })
}

fn in_base(
    what: &str,
    typed: Option<Amount>,
    dimension: Dimension,
    usual: Unit,
) -> Result<Option<f64>, CommandFailure> {
    let base = typed.map(|amount| amount.in_base(dimension, Some(usual))).transpose();
    let base = base.map_err(|bad| CommandFailure::Wrong {
        what: format!("the {what} can't be used: {bad}."),
        remedy: format!("Write a number, which is taken as {usual}, or a number with its unit in quotes."),
    })?;
    // As it was typed: a refusal in another unit would be a riddle.
    not_negative(what, typed.map(Amount::number))?;
    Ok(base)
}

fn not_negative(what: &str, figure: Option<f64>) -> Result<Option<f64>, CommandFailure> {
    match figure {
        Some(bad) if bad < 0.0 || !bad.is_finite() => Err(CommandFailure::Wrong {
            what: format!("{bad} can't be the {what}."),
            remedy: "Write a number of zero or more, or leave it out if nobody knows.".to_owned(),
        }),
        usable => Ok(usable),
    }
}
