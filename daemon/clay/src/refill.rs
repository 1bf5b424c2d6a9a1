//! What to add to a drum: how much water and clay brings it from what is in it to a mark at a strength.
//!
//! Strength is mass of clay in a litre of *finished* slurry. With Vr litres of strength cr left, the mark Vt and the
//! strength ct wanted, mass balance wants m = ct Vt - cr Vr of clay; it displaces m/ρ litres (ρ the density of the dry
//! mineral), so the water is W = Vt - Vr - m/ρ; people are told "fill to the mark". Where m is negative, water alone
//! reaches ct at Vr cr/ct litres; where that passes the full line, Vr - Vt ct/cr must come out first, or the pump
//! runs at the share ct/c of its flow with the full drum's strength c. What is wrong in cr is wrong in the result by
//! sd(cr) Vr/Vt.
//! Clay is rounded to the scale's step: the strength is met to within half a step.
//!
//! - [`aim`]: the strength that the plan of the fish wants;
//! - [`books`]: what the refills that were written down leave in the drum;
//! - [`seen`]: what the head tank shows of it, and whether clay is the remedy at all;
//! - [`sheet`]: all of it for one drum, as it is published and printed.

pub mod aim;
pub mod books;
pub mod seen;
pub mod sheet;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use claymark_model::site::{ClaySupply, Drum};
use claymark_model::units::{GramsPerLitre, Kilograms, KilogramsPerLitre, Litres, LitresPerHour, Turbidity};
use claymark_model::unseen::Unseen;

pub use books::Residual;
pub use seen::{Counted, Seen};

/// To which mark, at which strength.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    /// The mark.
    pub to: Litres,
    /// Of finished slurry.
    pub strength: GramsPerLitre,
}

/// What to add, or why not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "refill", rename_all = "kebab-case")]
pub enum Refill {
    /// Water and clay.
    Mix(Mix),
    /// Water only: what is left holds enough clay.
    WaterOnly {
        /// How much.
        water: Litres,
        /// Strength afterwards.
        gives: GramsPerLitre,
        /// Strength of what is left.
        residual: Residual,
        /// Up to here, beyond the mark that was wanted; `None`: up to that mark.
        #[serde(default)]
        up_to: Option<Litres>,
        /// Why not up to the mark.
        #[serde(default)]
        at_mark: Option<AtMark>,
    },
    /// What is left holds more clay than the full drum should.
    TooStrong(TooStrong),
    /// There is no room.
    NoRoom,
    /// Refused: the mark is above the full line.
    DrumTooSmall {
        /// The mark.
        to: Litres,
        /// The full line.
        full: Litres,
    },
    /// Refused: it could not be pumped.
    TooThick {
        /// Strength that it would have.
        gives: GramsPerLitre,
        /// The thickest that can be pumped.
        thickest: GramsPerLitre,
        /// Strength of what is left.
        residual: Residual,
    },
    /// Refused: by the books the clay is in the drum, but the head tank doesn't get it.
    LookFirst {
        /// By the books.
        book: Residual,
        /// By the head tank.
        seen: Seen,
    },
    /// Refused: a refill was just written down, and nobody has seen it yet.
    WrittenDown(Unseen),
}

/// Water and clay to add.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mix {
    /// What is in the drum now.
    pub from: Litres,
    /// What is in it afterwards: the mark.
    pub to: Litres,
    /// The mark is the drum's full line.
    #[serde(default)]
    pub to_line: bool,
    /// Water.
    pub water: Litres,
    /// Dry clay, a whole number of steps of the scale.
    pub clay: Kilograms,
    /// The same in bags.
    pub bags: f64,
    /// Buckets in which it is wetted first.
    #[serde(default)]
    pub buckets: u32,
    /// Strength of what is left.
    pub residual: Residual,
    /// Strength afterwards: what is wanted, to within half a step of the scale.
    pub gives: GramsPerLitre,
    /// Its standard deviation, from that of what is left.
    #[serde(default)]
    pub gives_sd: GramsPerLitre,
}

/// Two ways out where what is left holds more clay than the full drum should.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TooStrong {
    /// Take out so much, then fill with water.
    pub take_out: Litres,
    /// To the mark after that.
    pub then_water: Litres,
    /// Or fill up with so much water as it is,
    pub fill: Litres,
    /// which gives this,
    pub gives: GramsPerLitre,
    /// and set the pump to this share of the flow that the wanted strength would need.
    pub pump_share: f64,
    /// The same as a flow; `None`: what the pump draws, the water or the yield isn't known.
    #[serde(default)]
    pub pump: Option<PumpTo>,
    /// Strength of what is left.
    pub residual: Residual,
}

/// A mark at which water alone doesn't do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AtMark {
    /// The mark that was wanted.
    pub to: Litres,
    /// The strength wanted there.
    pub wanted: GramsPerLitre,
    /// What water up to there would give.
    pub gives: GramsPerLitre,
}

/// A setting of a pump.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PumpTo {
    /// From all drums that it draws at once.
    pub slurry: LitresPerHour,
    /// Its speed; `None`: it isn't known which one gives that.
    pub rpm: Option<f64>,
}

/// What a full drum should hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aim {
    /// Of finished slurry.
    pub strength: GramsPerLitre,
    /// Where the plan of the fish says so; `None`: the drum's own target.
    pub plan: Option<PlanAim>,
}

/// What the plan wants in the middle of a mix's life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanAim {
    /// Of the head tank.
    pub turbidity: Turbidity,
    /// The middle of the mix's life.
    pub at: Timestamp,
}

impl Wanted {
    /// The full line at the drum's target.
    #[must_use]
    pub fn full(drum: &Drum) -> Self {
        Self { to: drum.full, strength: drum.target }
    }
}

impl Refill {
    /// What brings `drum`, which holds `volume` of the strength that was `counted`, to what is wanted.
    #[must_use]
    pub fn of(drum: &Drum, supply: &ClaySupply, wanted: Wanted, volume: Litres, counted: Counted) -> Self {
        if wanted.to > drum.full {
            return Self::DrumTooSmall { to: wanted.to, full: drum.full };
        }
        match counted {
            Counted::Unseen(unseen) => Self::WrittenDown(unseen),
            Counted::LookFirst { .. } | Counted::Known(_) if volume >= wanted.to => Self::NoRoom,
            Counted::LookFirst { book, seen } => Self::LookFirst { book, seen },
            Counted::Known(residual) => Task { drum, supply, wanted, volume, residual }.refill(),
        }
    }

    /// The same, with the pump's setting for what is filled up too strong, by the strength that it then has.
    #[must_use]
    pub fn with_pump(self, setting: impl FnOnce(GramsPerLitre) -> Option<PumpTo>) -> Self {
        let Self::TooStrong(strong) = self else { return self };
        Self::TooStrong(TooStrong { pump: setting(strong.gives), ..strong })
    }

    /// Strength of the slurry when it is done, with its standard deviation; `None`: it says why nothing is to be done, or
    /// leaves a choice.
    #[must_use]
    pub fn gives(&self) -> Option<(GramsPerLitre, GramsPerLitre)> {
        match self {
            Self::Mix(mix) => Some((mix.gives, mix.gives_sd)),
            Self::WaterOnly { gives, residual, .. } if residual.strength.0 > 0.0 => {
                Some((*gives, residual.sd * (gives.0 / residual.strength.0)))
            }
            Self::WaterOnly { .. }
            | Self::TooStrong(_)
            | Self::NoRoom
            | Self::DrumTooSmall { .. }
            | Self::TooThick { .. }
            | Self::LookFirst { .. }
            | Self::WrittenDown(_) => None,
        }
    }
}

/// All that one refill depends on.
struct Task<'a> {
    drum: &'a Drum,
    supply: &'a ClaySupply,
    wanted: Wanted,
    volume: Litres,
    residual: Residual,
}

impl Task<'_> {
    fn refill(self) -> Refill {
        let Self { supply, wanted: Wanted { to, strength }, volume, residual, .. } = self;
        let held = residual.strength.clay_in(volume);
        let clay = whole_steps(strength.clay_in(to) - held, supply.scale_step);
        let water = to - volume - displaced(clay, supply);
        let Some(gives) = GramsPerLitre::of(held + clay, to).filter(|_| water.0 >= 0.0) else {
            return Refill::NoRoom;
        };
        if gives > supply.thickest {
            return Refill::TooThick { gives, thickest: supply.thickest, residual };
        }
        if clay.0 > 0.0 {
            let buckets = self.buckets(clay);
            let bags = clay.0 / supply.bag.0;
            let gives_sd = residual.sd * (volume.0 / to.0);
            let to_line = to >= self.drum.full;
            Refill::Mix(Mix {
                from: volume,
                to,
                to_line,
                water,
                clay,
                bags,
                buckets,
                residual,
                gives,
                gives_sd,
            })
        } else if self.thin_enough(gives, to) {
            Refill::WaterOnly { water, gives, residual, up_to: None, at_mark: None }
        } else {
            self.thin(gives)
        }
    }

    /// Whether what is wanted and what water up to there gives can't be told apart, or needn't be.
    fn thin_enough(&self, gives: GramsPerLitre, to: Litres) -> bool {
        let wanted = self.wanted.strength;
        let sd = self.residual.sd * (self.volume.0 / to.0);
        gives <= wanted * CLOSE_ENOUGH || gives - sd <= wanted
    }

    /// Water alone up to where it is thin enough, where it `gives` too much at the mark; where that is above the full
    /// line, one of two ways out.
    fn thin(self, at_mark: GramsPerLitre) -> Refill {
        let Self { drum, wanted: Wanted { to, strength }, volume, residual, .. } = self;
        let at_mark = Some(AtMark { to, wanted: strength, gives: at_mark });
        let up_to = volume * (residual.strength.0 / strength.0);
        let gives = residual.strength * (volume.0 / drum.full.0);
        let water_only = |up_to: Litres, gives| {
            let water = up_to - volume;
            Refill::WaterOnly { water, gives, residual, up_to: Some(up_to), at_mark }
        };
        if up_to <= drum.full {
            return water_only(up_to, strength);
        }
        if self.thin_enough(gives, drum.full) {
            return water_only(drum.full, gives);
        }
        let stays = drum.full * (strength.0 / residual.strength.0);
        Refill::TooStrong(TooStrong {
            take_out: volume - stays,
            then_water: drum.full - stays,
            fill: drum.full - volume,
            gives,
            pump_share: strength.0 / gives.0,
            pump: None,
            residual,
        })
    }

    /// As many as the clay needs, and as the slurry in them needs: wetted to a third of their volume by clay.
    fn buckets(&self, clay: Kilograms) -> u32 {
        let premix = self.supply.premix;
        let by_mass = clay.0 / premix.most_clay.0;
        let by_room = displaced(clay, self.supply).0 / (premix.bucket.0 * CLAY_IN_BUCKET);
        (1..=MOST_BUCKETS)
            .find(|buckets| f64::from(*buckets) + ROUNDING >= by_mass.max(by_room))
            .unwrap_or(MOST_BUCKETS)
    }
}

/// The room that dry clay takes in the slurry.
#[must_use]
pub fn displaced(clay: Kilograms, supply: &ClaySupply) -> Litres {
    KilogramsPerLitre(supply.mineral_density_kg_per_l).room_for(clay)
}

fn whole_steps(mass: Kilograms, step: Kilograms) -> Kilograms {
    Kilograms(((mass.0 / step.0).round() * step.0).max(0.0))
}

/// Nobody takes slurry out of a drum for five percent (common practice, no source).
const CLOSE_ENOUGH: f64 = 1.05;
/// More clay than this share of a bucket stirs into lumps (common practice, no source).
const CLAY_IN_BUCKET: f64 = 0.3;
/// More than a drum of clay.
const MOST_BUCKETS: u32 = 999;
/// A whole number of buckets mustn't gain one by its last bit.
const ROUNDING: f64 = 1e-9;

#[cfg(test)]
mod tests;
