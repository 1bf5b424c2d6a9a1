//! What the books say of a drum: clay in less clay pumped, by mass balance over the refills that were written down.
//!
//! Drawing doesn't change strength; a refill mixes: c' = (c V + m)/V'. Where the last refill wasn't written down, or
//! without its clay, little is known and the target stands in, with a wide uncertainty; the result always says which.
//! A typed mass that is off by the factor between pound and kilogram, or far more than was to be expected, is asked
//! about; one that no pump could lift can't be true, and isn't counted on.

use claymark_model::happening::{SAME_REFILL, SeenRefill};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::refill::displaced;
use claymark_model::site::{ClaySupply, Drum};
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Unit};

/// Strength of what is left, how sure it is, and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// The strength.
    pub strength: GramsPerLitre,
    /// Its standard deviation.
    #[serde(default)]
    pub sd: GramsPerLitre,
    /// Where it comes from.
    pub source: StrengthSource,
}

/// Where a strength comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "source", rename_all = "kebab-case")]
pub enum StrengthSource {
    /// From the log: the last refill that was written down with its clay.
    Logged {
        /// When.
        at: Timestamp,
    },
    /// From the head tank's turbidity.
    Seen {
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
    /// The target: the last refill was written down with more clay than slurry that can be pumped holds.
    MassDoubtful {
        /// When.
        at: Timestamp,
    },
    /// Somebody says so.
    Told,
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
    /// What the full drum was to hold then.
    pub aimed: GramsPerLitre,
}

/// What the books say of one drum.
#[derive(Debug, Clone, PartialEq)]
pub struct Books {
    /// What is left in it.
    pub left: Residual,
    /// The mass of the last refill looks like pounds for kilograms, or the reverse, or like a slip.
    pub doubt: Option<MassDoubt>,
    /// What would be left if what was meant, or else what was to be expected, had gone in.
    pub left_if_meant: Option<Residual>,
}

/// A mass that was perhaps typed wrongly.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MassDoubt {
    /// The entry's key, for a correction; empty before it is sent.
    pub key: String,
    /// When the refill was.
    pub at: Timestamp,
    /// As it was written down.
    pub typed: Kilograms,
    /// What was to be expected; below zero where what was left was too strong already.
    pub expected: Kilograms,
    /// What was perhaps meant, in the other unit; `None`: the other unit doesn't explain it.
    #[serde(default)]
    pub meant: Option<Kilograms>,
    /// The strength that it would give, where no pump could lift that; `None`: it could be so.
    #[serde(default)]
    pub gives: Option<GramsPerLitre>,
    /// It is about twice what was expected: weighed or poured twice explains it better than the other unit.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub twice: bool,
}

/// A refill of a drum: what was left in it, from where to where it went, and what it was to hold then.
#[derive(Debug, Clone, Copy)]
pub struct Filling {
    /// What was left in it.
    pub left: Residual,
    /// What was in it.
    pub before: Litres,
    /// What is in it afterwards.
    pub after: Litres,
    /// What it was to hold then.
    pub aimed: GramsPerLitre,
}

impl Residual {
    /// As somebody says.
    #[must_use]
    pub fn told(strength: GramsPerLitre) -> Self {
        Self { strength, sd: GramsPerLitre(0.0), source: StrengthSource::Told }
    }

    /// As wide as both of two strengths that may be true.
    fn or_perhaps(self, other: Option<Self>) -> Self {
        let apart = other.map_or(0.0, |other| (self.strength.0 - other.strength.0) * 0.5);
        Self { sd: GramsPerLitre(self.sd.0.hypot(apart)), ..self }
    }

    /// Whether refills that were written down, or somebody, say it.
    #[must_use]
    pub fn is_known(&self) -> bool {
        match self.source {
            StrengthSource::Logged { .. } | StrengthSource::Told => true,
            StrengthSource::Seen { .. }
            | StrengthSource::NothingLogged
            | StrengthSource::RefillNotLogged { .. }
            | StrengthSource::FiguresMissing { .. }
            | StrengthSource::MassDoubtful { .. } => false,
        }
    }
}

impl Books {
    /// Of `drum` after `seen` and `logged` refills, both in order of time.
    #[must_use]
    pub fn after(drum: &Drum, supply: &ClaySupply, seen: &[SeenRefill], logged: &[LoggedRefill]) -> Self {
        let start = Self {
            left: Residual {
                strength: drum.target,
                sd: drum.target * GUESSED,
                source: StrengthSource::NothingLogged,
            },
            doubt: None,
            left_if_meant: None,
        };
        timeline(seen, logged).into_iter().fold(start, |books, step| step.mixed(&books.left, drum, supply))
    }
}

/// What was perhaps meant by a mass: the other unit fits what was `expected`, the one that was typed doesn't.
#[must_use]
pub fn meant(typed: Kilograms, expected: Kilograms) -> Option<Kilograms> {
    let pound = Unit::Pound.to_base(1.0);
    let fits = |mass: Kilograms| {
        let share = mass.0 / expected.0;
        (1.0 / FITS..=FITS).contains(&share)
    };
    let other = if typed > expected { typed * pound } else { typed * (1.0 / pound) };
    let share = (typed.0 / expected.0).max(expected.0 / typed.0);
    let by_unit = share >= UNIT_FROM && fits(other);
    (typed.0 > 0.0 && expected.0 > 0.0 && !fits(typed) && by_unit).then_some(other)
}

/// Whether a mass is about twice what was `expected`, and nearer to that than to the other unit.
fn is_twice(typed: Kilograms, expected: Kilograms) -> bool {
    expected.0 > 0.0 && (TWICE_FROM..UNIT_FROM).contains(&(typed.0 / expected.0))
}

/// A refill as the data show it, as somebody wrote it down, or both.
struct RefillStep<'a> {
    at: Timestamp,
    seen: Option<&'a SeenRefill>,
    logged: Option<&'a LoggedRefill>,
}

impl RefillStep<'_> {
    fn mixed(&self, left: &Residual, drum: &Drum, supply: &ClaySupply) -> Books {
        let unknown = |source| {
            let thinned = self.thinned(left);
            let apart = drum.target.max(thinned) - drum.target.min(thinned);
            let sd = (apart * 0.5).max(drum.target * GUESSED);
            Residual { strength: drum.target, sd, source }
        };
        let plain = |left| Books { left, doubt: None, left_if_meant: None };
        let Some(entry) = self.logged else {
            return plain(unknown(StrengthSource::RefillNotLogged { at: self.at }));
        };
        let known = entry.clay.and_then(|clay| {
            let filling = self.filling(left, entry, clay, supply)?;
            Some((clay, filling, filling.mix(clay, entry.at, supply)?))
        });
        let Some((clay, filling, after)) = known else {
            return plain(unknown(StrengthSource::FiguresMissing { at: entry.at }));
        };
        let Some(doubt) = filling.doubt((&entry.key, entry.at), clay, supply) else { return plain(after) };
        let likely = doubt.meant.unwrap_or(doubt.expected.max(Kilograms(0.0)));
        let left_if_meant = filling.mix(likely, entry.at, supply);
        let left = match (doubt.gives, doubt.meant) {
            (Some(_), _) => unknown(StrengthSource::MassDoubtful { at: entry.at }),
            (None, Some(_)) => after,
            (None, None) => after.or_perhaps(left_if_meant),
        };
        Books { left, doubt: Some(doubt), left_if_meant }
    }

    /// What is left if only water came in.
    fn thinned(&self, left: &Residual) -> GramsPerLitre {
        self.seen.map_or(left.strength, |seen| {
            left.strength * ((seen.to - seen.added).max(Litres(0.0)).0 / seen.to.0.max(f64::MIN_POSITIVE))
        })
    }

    /// Before and after: the data are believed over the log.
    fn filling(
        &self,
        left: &Residual,
        entry: &LoggedRefill,
        clay: Kilograms,
        supply: &ClaySupply,
    ) -> Option<Filling> {
        let (before, after) = match self.seen {
            Some(seen) => ((seen.to - seen.added).max(Litres(0.0)), seen.to),
            None => {
                let before = entry.held?;
                (before, before + entry.water? + displaced(clay, supply))
            }
        };
        Some(Filling { left: *left, before, after, aimed: entry.aimed })
    }
}

impl Filling {
    /// The clay that it wants; below zero where what is left is too strong already.
    fn expected(&self) -> Kilograms {
        self.aimed.clay_in(self.after) - self.left.strength.clay_in(self.before)
    }

    /// Whether it is what one mixes into so much water, whatever was left: then no other unit explains it better.
    fn is_usual(&self, clay: Kilograms) -> bool {
        let usual = self.aimed.clay_in((self.after - self.before).max(Litres(0.0)));
        let share = clay.0 / usual.0;
        (1.0 / FITS..=FITS).contains(&share)
    }

    /// What speaks against so much `clay`; the entry is named by its key and its time.
    #[must_use]
    pub fn doubt(
        &self,
        (key, at): (&str, Timestamp),
        clay: Kilograms,
        supply: &ClaySupply,
    ) -> Option<MassDoubt> {
        let expected = self.expected();
        let meant = meant(clay, expected).filter(|_| !self.is_usual(clay));
        // Into slurry that is nearly right a little goes, and a little more is no slip.
        let usual = expected.max(self.aimed.clay_in(self.after) * LITTLE);
        let after = self.mix(clay, at, supply)?;
        let gives = Some(after.strength).filter(|_| after.strength - after.sd * SURELY > supply.thickest);
        let far_more = clay.0 > usual.0 * FAR_MORE;
        let twice = is_twice(clay, usual) && !self.is_usual(clay);
        (meant.is_some() || gives.is_some() || far_more || twice).then(|| MassDoubt {
            key: key.to_owned(),
            at,
            typed: clay,
            expected,
            meant,
            gives,
            twice,
        })
    }

    /// Strength after a refill, and its uncertainty from what was left, from the scale and from both volumes.
    fn mix(&self, clay: Kilograms, at: Timestamp, supply: &ClaySupply) -> Option<Residual> {
        let Self { left, before, after, .. } = self;
        let strength = GramsPerLitre::of(left.strength.clay_in(*before) + clay, *after)?;
        let parts = [
            left.sd.0 * before.0 / after.0,
            GramsPerLitre::of(supply.scale_step, *after)?.0,
            left.strength.0 * LITRES_SD / after.0,
            strength.0 * LITRES_SD / after.0,
        ];
        let sd = GramsPerLitre(parts.iter().map(|part| part * part).sum::<f64>().sqrt());
        Some(Residual { strength, sd, source: StrengthSource::Logged { at } })
    }
}

/// Pairs each seen refill with the nearest entry that isn't taken, and orders all by time.
fn timeline<'a>(seen: &'a [SeenRefill], logged: &'a [LoggedRefill]) -> Vec<RefillStep<'a>> {
    let mut free: Vec<&LoggedRefill> = logged.iter().collect();
    let mut steps: Vec<RefillStep<'a>> = Vec::with_capacity(seen.len() + logged.len());
    for refill in seen {
        let away = |entry: &LoggedRefill| entry.at.duration_since(refill.at).abs();
        let nearest = free
            .iter()
            .enumerate()
            .map(|(place, entry)| (place, away(entry)))
            .filter(|(_, away)| *away <= SAME_REFILL)
            .min_by_key(|(_, away)| *away);
        let logged = nearest.map(|(place, _)| free.swap_remove(place));
        steps.push(RefillStep { at: refill.at, seen: Some(refill), logged });
    }
    let counts = |entry: &&LoggedRefill| !is_again(entry, logged);
    steps.extend(free.into_iter().filter(counts).map(|entry| RefillStep {
        at: entry.at,
        seen: None,
        logged: Some(entry),
    }));
    steps.sort_by_key(|step| step.at);
    steps
}

/// Whether the same figures had been written down within minutes: people write again what they think was lost.
fn is_again(entry: &LoggedRefill, logged: &[LoggedRefill]) -> bool {
    let figures = |logged: &LoggedRefill| logged.water.zip(logged.clay);
    let earlier = logged.iter().take_while(|earlier| earlier.key != entry.key);
    figures(entry).is_some()
        && earlier.into_iter().any(|earlier| {
            figures(earlier) == figures(entry) && entry.at.duration_since(earlier.at).abs() <= AGAIN
        })
}

/// The same figures so close together are one refill (our own choice): nobody mixes and pours twice in that time.
const AGAIN: SignedDuration = SignedDuration::from_mins(15);

/// Where nothing is written down the target may be off by so much, one standard deviation (common practice, no source).
const GUESSED: f64 = 0.2;

/// A volume by level sensor or by eye is worth about that, one standard deviation (common practice, no source).
const LITRES_SD: f64 = 1.5;

/// Within this factor a mass is what was expected; the pound is off by 2.2.
const FITS: f64 = 1.4;

/// From this factor on the pound, 2.2, explains a mass better than that it was taken twice: between both, as ratios.
const UNIT_FROM: f64 = 2.1;

/// From this factor on a mass is about twice what was expected (our own choice).
const TWICE_FROM: f64 = 1.7;

/// Beyond this factor a mass is asked about: more than any mix that was meant to be stronger (our own choice).
const FAR_MORE: f64 = 3.0;

/// The share of a full drum's clay below which more or less of it says nothing (our own choice).
const LITTLE: f64 = 0.25;

/// Standard deviations by which a mix must be too thick to be surely so.
const SURELY: f64 = 2.0;
