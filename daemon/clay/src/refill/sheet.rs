//! The refill sheet of one drum: what is in it, what to add, and how long it then lasts.

use jiff::Timestamp;
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use crate::Clouding;
use crate::refill::books::MassDoubt;
use crate::refill::{PlanAim, Refill, Residual, Seen, Wanted};
use claymark_model::forecast::EmptyAt;
use claymark_model::id::Id;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Turbidity};
use claymark_model::unseen::Unseen;

/// One drum's sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// When it was made.
    pub at: Timestamp,
    /// Of which drum.
    pub drum: Id,
    /// To which mark, at which strength.
    pub wanted: Wanted,
    /// What the strength is aimed at by the plan; `None`: it is the drum's target, or was asked for.
    pub plan: Option<PlanAim>,
    /// What clay does to the water, by which plan and head tank are reckoned; `None`: nobody knows.
    pub clouding: Option<Clouding>,
    /// What is in it; `None`: that isn't known.
    pub holds: Option<Litres>,
    /// Strength by the books.
    pub book: Residual,
    /// Strength by the head tank, where it shows one.
    pub seen: Option<Seen>,
    /// The mass of the last refill looks like the wrong unit.
    pub doubt: Option<MassDoubt>,
    /// A refill that was written down and that no level shows.
    pub unseen: Option<Unseen>,
    /// What to add; `None`: what is in it isn't known.
    pub refill: Option<Refill>,
    /// What the head tank shows of it with the pumps as they are; `None`: yield, water or draw isn't known.
    pub then_shows: Option<HeadShows>,
    /// When it is empty if it is filled to the mark now, and pump and valves stay.
    pub then_empty: Option<EmptyAt>,
}

/// Of the head tank, once it has settled down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeadShows {
    /// Its turbidity.
    pub turbidity: Turbidity,
    /// Its standard deviation by that of the drum's strength.
    pub sd: Turbidity,
}

impl Sheet {
    /// The sheet as it is published: litres with one decimal, clay in kilograms, the keys always in this order.
    #[must_use]
    pub fn line(&self) -> SheetLine<'_> {
        SheetLine(self)
    }
}

/// A sheet as one flat record.
#[derive(Debug, Clone, Copy)]
pub struct SheetLine<'a>(&'a Sheet);

impl Serialize for SheetLine<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Sheet { at, drum, wanted, holds, book, seen, refill, then_empty, .. } = self.0;
        let mut line = serializer.serialize_map(None)?;
        line.serialize_entry("at", at)?;
        line.serialize_entry("drum", drum)?;
        line.serialize_entry("volume_l", &holds.map(tenths))?;
        line.serialize_entry("to_l", &tenths(wanted.to))?;
        line.serialize_entry("target_g_per_l", &hundredths(wanted.strength))?;
        line.serialize_entry("book_g_per_l", &hundredths(book.strength))?;
        line.serialize_entry("book_sd_g_per_l", &hundredths(book.sd))?;
        line.serialize_entry("book_is_known", &book.is_known())?;
        line.serialize_entry("seen_g_per_l", &seen.map(|seen| hundredths(seen.strength)))?;
        line.serialize_entry("seen_sd_g_per_l", &seen.map(|seen| hundredths(seen.sd)))?;
        let add = Add::of(refill.as_ref());
        line.serialize_entry("advice", add.advice)?;
        line.serialize_entry("take_out_l", &add.take_out.map(tenths))?;
        line.serialize_entry("water_l", &add.water.map(tenths))?;
        line.serialize_entry("clay_kg", &add.clay.map(|clay| (clay.0 * 1000.0).round() / 1000.0))?;
        line.serialize_entry("bags", &add.bags.map(|bags| (bags * 100.0).round() / 100.0))?;
        line.serialize_entry("buckets", &add.buckets)?;
        line.serialize_entry("gives_g_per_l", &add.gives.map(hundredths))?;
        line.serialize_entry("then_empty", &then_empty.filter(|_| add.fills))?;
        line.end()
    }
}

/// The figures of a refill that has them.
#[derive(Default)]
struct Add {
    advice: &'static str,
    fills: bool,
    take_out: Option<Litres>,
    water: Option<Litres>,
    clay: Option<Kilograms>,
    bags: Option<f64>,
    buckets: Option<u32>,
    gives: Option<GramsPerLitre>,
}

impl Add {
    fn of(refill: Option<&Refill>) -> Self {
        let refused = |advice| Self { advice, ..Self::default() };
        match refill {
            None => refused("volume-unknown"),
            Some(Refill::NoRoom) => refused("no-room"),
            Some(Refill::DrumTooSmall { .. }) => refused("drum-too-small"),
            Some(Refill::TooThick { .. }) => refused("too-thick"),
            Some(Refill::LookFirst { .. }) => refused("look-first"),
            Some(Refill::WrittenDown(_)) => refused("written-down"),
            Some(Refill::Mix(mix)) => Self {
                advice: "mix",
                fills: true,
                water: Some(mix.water),
                clay: Some(mix.clay),
                bags: Some(mix.bags),
                buckets: Some(mix.buckets),
                gives: Some(mix.gives),
                ..Self::default()
            },
            Some(Refill::WaterOnly { water, gives, up_to, .. }) => Self {
                advice: "water-only",
                fills: up_to.is_none(),
                water: Some(*water),
                clay: Some(Kilograms(0.0)),
                gives: Some(*gives),
                ..Self::default()
            },
            Some(Refill::TooStrong(strong)) => Self {
                advice: "take-out-first",
                fills: true,
                take_out: Some(strong.take_out),
                water: Some(strong.then_water),
                clay: Some(Kilograms(0.0)),
                ..Self::default()
            },
        }
    }
}

fn tenths(litres: Litres) -> f64 {
    (litres.0 * 10.0).round() / 10.0
}

fn hundredths(strength: GramsPerLitre) -> f64 {
    (strength.0 * 100.0).round() / 100.0
}
