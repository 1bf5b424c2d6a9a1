//! Range checks of what people write and sensors send: what can't be, and what can hardly be.
//!
//! *Impossible* is what no drum, pump, water or person can mean: it is refused at the door, before the room or the store
//! hold it. *Unlikely* is kept and asked about, unless whoever wrote it says that it is sure. The bounds of each figure
//! stand in one table; what the site file knows (brim, speed, strength) narrows what is likely.

mod table;

use jiff::SignedDuration;
use serde::{Deserialize, Serialize};

use crate::verify::{self, Saturation};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::id::Id;
use claymark_model::site::{Drum, Quantity, Site};
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, LitresPerMinute, Unit};

pub use table::{LONGEST_NAME, LONGEST_TEXT};

/// A figure that people write down or read off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Figure {
    /// Water of a refill, L.
    Water,
    /// Clay of a refill, kg.
    Clay,
    /// A pump's speed, rpm.
    Speed,
    /// What a flow check caught, L.
    Caught,
    /// How long a flow check caught it, s.
    CatchTime,
    /// What a flow check comes to, L/min.
    Flow,
    /// How long a cleaning took, min.
    CleaningTime,
    /// A drum's level read by eye, mm.
    Level,
    /// A drum's volume read by eye, L.
    Volume,
    /// Bags of a delivery.
    Bags,
    /// Clay of a delivery, kg.
    Delivered,
    /// Fish that were stocked, moved or counted.
    Fish,
    /// A measured value, in the base unit of what was measured.
    Measured(Quantity),
    /// A value of something that Claymark doesn't know.
    Value,
}

/// From where to where a figure goes, in its base unit; the ends are within.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FigureBounds {
    /// The least.
    pub least: f64,
    /// The most.
    pub most: f64,
}

/// Why something can't be meant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "impossible", rename_all = "kebab-case")]
pub enum Impossible {
    /// A figure outside what can be.
    Figure {
        /// Which.
        figure: Figure,
        /// Its value in the base unit; `None`: more than a number can hold.
        found: Option<f64>,
        /// What can be.
        bounds: FigureBounds,
    },
    /// A text that nobody typed.
    Text {
        /// Its key in the entry.
        key: String,
        /// How many characters it has.
        chars: usize,
        /// How many it may have.
        most: usize,
    },
    /// No notice can have this number.
    NoticeNumber {
        /// It.
        found: u64,
    },
}

/// Why something can hardly be meant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "unlikely", rename_all = "kebab-case")]
pub enum Unlikely {
    /// A figure outside what is usual.
    Figure {
        /// Which.
        figure: Figure,
        /// Its value in the base unit.
        found: f64,
        /// What is usual.
        bounds: FigureBounds,
    },
    /// More than the drum holds.
    OverBrim {
        /// Which.
        drum: Id,
        /// So much was written.
        volume: Litres,
        /// It holds so much up to its brim.
        brim: Litres,
    },
    /// Faster than the pump turns.
    TooFast {
        /// Which.
        pump: Id,
        /// So fast was written, rpm.
        rpm: f64,
        /// The fastest by the site file, rpm.
        most: f64,
    },
    /// More clay than slurry holds that a pump can lift, even spread through the drum full to its brim.
    TooThick {
        /// So much was written.
        clay: Kilograms,
        /// What was to be expected.
        expected: Kilograms,
        /// The strength that it would give.
        gives: GramsPerLitre,
    },
    /// A hand meter's value that no water shows which fish live in.
    NoWater {
        /// As written.
        value: f64,
        /// As written.
        unit: Unit,
        /// What is passed, in the base unit.
        bound: f64,
    },
    /// A delivery of nothing.
    NothingDelivered,
    /// A note without a word.
    NothingWritten,
    /// It was done long before it was written down.
    LongAgo {
        /// So many days.
        days: i64,
    },
}

impl FigureBounds {
    /// Whether a value lies within; what isn't a number doesn't.
    #[must_use]
    pub fn hold(self, value: f64) -> bool {
        (self.least..=self.most).contains(&value)
    }
}

impl Figure {
    /// What can be, in the base unit.
    #[must_use]
    pub fn possible(self) -> FigureBounds {
        table::row(self).possible
    }

    /// What is usual, in the base unit.
    #[must_use]
    pub fn usual(self) -> FigureBounds {
        table::row(self).usual
    }

    /// Whether that value can be.
    pub fn check(self, value: f64) -> Result<(), Impossible> {
        let bounds = self.possible();
        if bounds.hold(value) {
            return Ok(());
        }
        Err(Impossible::Figure { figure: self, found: Some(value).filter(|value| value.is_finite()), bounds })
    }
}

/// Whether an entry can be meant: each figure, what the figures come to together, each text.
pub fn entry(entry: &LogEntry) -> Result<(), Impossible> {
    deed(&entry.deed)?;
    let names = [("by", &entry.by), ("replaces", &entry.replaces)];
    names.into_iter().try_for_each(|(key, name)| text(key, name.as_deref(), LONGEST_NAME))?;
    text("key", Some(&entry.key), LONGEST_NAME)
}

/// Whether what was done can be meant.
pub fn deed(deed: &Deed) -> Result<(), Impossible> {
    figures(deed).into_iter().try_for_each(|(figure, value)| figure.check(value))?;
    match deed {
        Deed::Note { text: note } => text("text", note.as_deref(), LONGEST_TEXT),
        Deed::GrabSample { quantity, unit, .. } => {
            text("quantity", quantity.as_deref(), LONGEST_NAME)?;
            text("unit", unit.as_deref(), LONGEST_NAME)
        }
        Deed::Delivery { lot, .. } => text("lot", lot.as_deref(), LONGEST_NAME),
        Deed::Fish { what, .. } => text("what", what.as_deref(), LONGEST_NAME),
        Deed::Refill { .. }
        | Deed::PumpSetting { .. }
        | Deed::InUse { .. }
        | Deed::FlowCheck { .. }
        | Deed::Cleaning { .. }
        | Deed::Dip { .. }
        | Deed::Wipe { .. }
        | Deed::TubeChange { .. }
        | Deed::ClogCleared { .. }
        | Deed::Tonight { .. } => Ok(()),
        Deed::Shelve { notice, why, .. } => {
            notice_number(*notice)?;
            text("why", Some(why), LONGEST_TEXT)
        }
    }
}

/// Whether somebody can mean that notice: numbers count up from 1, and the store holds 63 bits.
pub fn notice_number(number: u64) -> Result<(), Impossible> {
    match i64::try_from(number) {
        Ok(held) if held > 0 => Ok(()),
        Ok(_) | Err(_) => Err(Impossible::NoticeNumber { found: number }),
    }
}

/// Whether a name that stands under `key` can be meant.
pub fn name(key: &str, name: Option<&str>) -> Result<(), Impossible> {
    text(key, name, LONGEST_NAME)
}

fn text(key: &str, written: Option<&str>, most: usize) -> Result<(), Impossible> {
    match written.map(|text| text.chars().count()) {
        Some(chars) if chars > most => Err(Impossible::Text { key: key.to_owned(), chars, most }),
        Some(_) | None => Ok(()),
    }
}

/// What speaks against what was done so long before it was written down; `full` is the saturation of a sample of oxygen,
/// where known. `None`: nothing.
#[must_use]
pub fn unlikely(site: &Site, deed: &Deed, (ago, full): (SignedDuration, Saturation)) -> Option<Unlikely> {
    let long_ago = || {
        let days = ago.as_hours() / HOURS_A_DAY;
        (days >= table::LONG_AGO_DAYS).then_some(Unlikely::LongAgo { days })
    };
    let by_site = match deed {
        Deed::Refill { drum, water, clay } => {
            over_brim(site, drum.as_ref(), *water).or_else(|| too_thick(site, drum.as_ref(), *clay))
        }
        Deed::Dip { drum, volume, .. } => over_brim(site, drum.as_ref(), *volume),
        Deed::PumpSetting { pump: Some(pump), rpm: Some(rpm) } => too_fast(site, pump, *rpm),
        Deed::GrabSample { value: Some(value), unit: Some(unit), .. } => {
            let bound = verify::beyond_water(deed, full);
            let unit = Unit::parse(unit).ok();
            bound.zip(unit).map(|(bound, unit)| Unlikely::NoWater { value: *value, unit, bound })
        }
        Deed::Delivery { bags, mass, .. } => {
            let none = bags.is_some_and(|bags| bags <= 0.0) || mass.is_some_and(|mass| mass.0 <= 0.0);
            none.then_some(Unlikely::NothingDelivered)
        }
        Deed::Note { text } => {
            let blank = text.as_deref().is_none_or(|text| text.trim().is_empty());
            blank.then_some(Unlikely::NothingWritten)
        }
        Deed::PumpSetting { .. }
        | Deed::GrabSample { .. }
        | Deed::InUse { .. }
        | Deed::FlowCheck { .. }
        | Deed::Cleaning { .. }
        | Deed::Wipe { .. }
        | Deed::TubeChange { .. }
        | Deed::ClogCleared { .. }
        | Deed::Tonight { .. }
        | Deed::Shelve { .. }
        | Deed::Fish { .. } => None,
    };
    by_site.or_else(|| unusual(deed)).or_else(long_ago)
}

fn unusual(deed: &Deed) -> Option<Unlikely> {
    figures(deed).into_iter().find_map(|(figure, found)| {
        let bounds = figure.usual();
        (!bounds.hold(found)).then_some(Unlikely::Figure { figure, found, bounds })
    })
}

fn over_brim(site: &Site, drum: Option<&Id>, volume: Option<Litres>) -> Option<Unlikely> {
    let (drum, volume) = (site.drum(drum?)?, volume?);
    let brim = drum.strapping.brim();
    (volume > brim).then(|| Unlikely::OverBrim { drum: drum.id.clone(), volume, brim })
}

fn too_fast(site: &Site, pump: &Id, rpm: f64) -> Option<Unlikely> {
    let pump = site.pump(pump)?;
    let most = pump.max_rpm.filter(|most| rpm > *most)?;
    Some(Unlikely::TooFast { pump: pump.id.clone(), rpm, most })
}

fn too_thick(site: &Site, drum: Option<&Id>, clay: Option<Kilograms>) -> Option<Unlikely> {
    let only = || site.drums.first().filter(|_| site.drums.len() == 1);
    let drum: &Drum = drum.and_then(|id| site.drum(id)).or_else(only)?;
    let clay = clay?;
    let gives = GramsPerLitre::of(clay, drum.strapping.brim()).filter(|gives| *gives > site.clay.thickest)?;
    Some(Unlikely::TooThick { clay, expected: drum.target.clay_in(drum.full), gives })
}

/// Every figure of a deed in its base unit, and what they come to together.
fn figures(deed: &Deed) -> Vec<(Figure, f64)> {
    let some = |figure: Figure, value: Option<f64>| value.map(|value| (figure, value));
    let found = match deed {
        Deed::Refill { water, clay, .. } => {
            vec![some(Figure::Water, water.map(|v| v.0)), some(Figure::Clay, clay.map(|m| m.0))]
        }
        Deed::PumpSetting { rpm, .. } => vec![some(Figure::Speed, *rpm)],
        Deed::FlowCheck { volume, seconds, .. } => {
            let flow = volume.zip(*seconds).and_then(|(volume, s)| LitresPerMinute::caught(volume, s));
            vec![
                some(Figure::Caught, volume.map(|v| v.0)),
                some(Figure::CatchTime, *seconds),
                some(Figure::Flow, flow.map(|flow| flow.0)),
            ]
        }
        Deed::GrabSample { quantity, value, unit, .. } => {
            vec![value.map(|value| sampled(quantity.as_deref(), value, unit.as_deref()))]
        }
        Deed::Cleaning { minutes, .. } => vec![some(Figure::CleaningTime, *minutes)],
        Deed::Dip { level, volume, .. } => {
            vec![some(Figure::Level, level.map(|l| l.0)), some(Figure::Volume, volume.map(|v| v.0))]
        }
        Deed::Delivery { bags, mass, .. } => {
            vec![some(Figure::Bags, *bags), some(Figure::Delivered, mass.map(|m| m.0))]
        }
        Deed::Fish { number, .. } => vec![some(Figure::Fish, *number)],
        Deed::InUse { .. }
        | Deed::Wipe { .. }
        | Deed::TubeChange { .. }
        | Deed::ClogCleared { .. }
        | Deed::Tonight { .. }
        | Deed::Shelve { .. }
        | Deed::Note { .. } => vec![],
    };
    found.into_iter().flatten().collect()
}

fn sampled(quantity: Option<&str>, value: f64, unit: Option<&str>) -> (Figure, f64) {
    let quantity = quantity.and_then(Quantity::parse);
    let unit = unit.and_then(|unit| Unit::parse(unit).ok());
    match quantity.zip(unit) {
        Some((quantity, unit)) if quantity.dimensions().contains(&unit.dimension()) => {
            (Figure::Measured(quantity), unit.to_base(value))
        }
        Some(_) | None => (Figure::Value, value),
    }
}

const HOURS_A_DAY: i64 = 24;

#[cfg(test)]
mod tests;
