//! The strength of what is left in a drum, by mass balance over the refills that were written down.
//!
//! Drawing doesn't change strength; a refill mixes. Where the last refill wasn't written down, or without its
//! clay, nothing is known and the target stands in; the result always says which.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::notice::content::SeenRefill;
use crate::refill::displaced;
use crate::site::{ClaySupply, Drum};
use crate::units::{GramsPerLitre, Kilograms, Litres};

/// Strength of what is left, and where that comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// The strength.
    pub strength: GramsPerLitre,
    /// Where it comes from.
    pub source: Source,
}

/// Where a strength comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "source", rename_all = "kebab-case")]
pub enum Source {
    /// From the log: the last refill that was written down with its clay.
    Logged {
        /// When.
        at: Timestamp,
    },
    /// The target: no refill was ever written down.
    NothingLogged,
    /// The target: the data show a later refill that nobody wrote down.
    RefillNotLogged {
        /// When.
        at: Timestamp,
    },
    /// The target: the last refill was written down without the figures that are needed.
    FiguresMissing {
        /// When.
        at: Timestamp,
    },
}

/// A refill that somebody wrote down.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedRefill {
    /// Of the entry, for corrections.
    pub key: String,
    /// When.
    pub at: Timestamp,
    /// Water added.
    pub water: Option<Litres>,
    /// Dry clay added.
    pub clay: Option<Kilograms>,
    /// What was in the drum when the entry was made, where known: for refills that the data don't show.
    pub held: Option<Litres>,
}

impl Residual {
    /// The strength in `drum` after `seen` and `logged` refills, both in order of time.
    #[must_use]
    pub fn after(drum: &Drum, supply: &ClaySupply, seen: &[SeenRefill], logged: &[LoggedRefill]) -> Self {
        let start = Self { strength: drum.target, source: Source::NothingLogged };
        timeline(seen, logged).into_iter().fold(start, |left, step| step.mixed(left, drum, supply))
    }
}

/// A refill as the data show it, as somebody wrote it down, or both.
struct Step<'a> {
    at: Timestamp,
    seen: Option<&'a SeenRefill>,
    logged: Option<&'a LoggedRefill>,
}

impl Step<'_> {
    fn mixed(&self, left: Residual, drum: &Drum, supply: &ClaySupply) -> Residual {
        let unknown = |source| Residual { strength: drum.target, source };
        let Some(entry) = self.logged else {
            return unknown(Source::RefillNotLogged { at: self.at });
        };
        let strength = entry.clay.and_then(|clay| {
            let (before, after) = self.volumes(entry, clay, supply)?;
            GramsPerLitre::of(left.strength.clay_in(before) + clay, after)
        });
        strength.map_or_else(
            || unknown(Source::FiguresMissing { at: entry.at }),
            |strength| Residual { strength, source: Source::Logged { at: entry.at } },
        )
    }

    /// Before and after: the data are believed over the log.
    fn volumes(
        &self,
        entry: &LoggedRefill,
        clay: Kilograms,
        supply: &ClaySupply,
    ) -> Option<(Litres, Litres)> {
        match self.seen {
            Some(seen) => Some(((seen.to - seen.added).max(Litres(0.0)), seen.to)),
            None => {
                let before = entry.held?;
                Some((before, before + entry.water? + displaced(clay, supply)))
            }
        }
    }
}

/// Pairs each seen refill with the nearest entry that isn't taken, and orders all by time.
fn timeline<'a>(seen: &'a [SeenRefill], logged: &'a [LoggedRefill]) -> Vec<Step<'a>> {
    let mut free: Vec<&LoggedRefill> = logged.iter().collect();
    let mut steps: Vec<Step<'a>> = Vec::with_capacity(seen.len() + logged.len());
    for refill in seen {
        let away = |entry: &LoggedRefill| entry.at.duration_since(refill.at).abs();
        let nearest = free
            .iter()
            .enumerate()
            .map(|(place, entry)| (place, away(entry)))
            .filter(|(_, away)| *away <= SAME_REFILL)
            .min_by_key(|(_, away)| *away);
        let logged = nearest.map(|(place, _)| free.swap_remove(place));
        steps.push(Step { at: refill.at, seen: Some(refill), logged });
    }
    steps.extend(free.into_iter().map(|entry| Step { at: entry.at, seen: None, logged: Some(entry) }));
    steps.sort_by_key(|step| step.at);
    steps
}

/// An entry and a rise this close together are one refill: people write it down before or after the buckets.
const SAME_REFILL: SignedDuration = SignedDuration::from_mins(45);
