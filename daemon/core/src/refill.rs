//! The refill line: how much water and clay brings a drum from what is in it to full at target strength.
//!
//! Strength is mass of clay in a litre of *finished* slurry. With V litres of residual strength s in the drum,
//! F litres at the full line and target t, mass balance wants m = tF - sV of clay; it displaces m/ρ litres
//! (ρ the density of the dry mineral), so the water is F - V - m/ρ.
//! Clay is rounded *down* to the scale's step: the target is never exceeded, and is missed by less than a step.

pub mod residual;

use serde::{Deserialize, Serialize};

use crate::site::{ClaySupply, Drum};
use crate::units::{GramsPerLitre, Kilograms, Litres};

pub use residual::Residual;

/// What to add.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "refill", rename_all = "kebab-case")]
pub enum Refill {
    /// Water and clay.
    Mix(Mix),
    /// Water only: what is left holds enough clay for the full drum, or more.
    WaterOnly {
        /// How much.
        water: Litres,
        /// Strength afterwards; above target when what is left was too strong.
        gives: GramsPerLitre,
        /// Strength of what is left.
        residual: Residual,
    },
    /// There is no room.
    NoRoom,
    /// Refused: it could not be pumped.
    TooThick {
        /// Strength that it would have.
        gives: GramsPerLitre,
        /// The thickest that can be pumped.
        thickest: GramsPerLitre,
        /// Strength of what is left.
        residual: Residual,
    },
}

/// Water and clay to add.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mix {
    /// What is in the drum now.
    pub from: Litres,
    /// What is in it afterwards: the full line.
    pub to: Litres,
    /// Water.
    pub water: Litres,
    /// Dry clay, a whole number of steps of the scale.
    pub clay: Kilograms,
    /// The same in bags.
    pub bags: f64,
    /// Strength of what is left.
    pub residual: Residual,
    /// Strength afterwards: at target, or less than a step of the scale below it.
    pub gives: GramsPerLitre,
}

impl Refill {
    /// What brings `drum`, which holds `volume` of strength `residual`, to its full line at its target.
    #[must_use]
    pub fn of(drum: &Drum, supply: &ClaySupply, volume: Litres, residual: Residual) -> Self {
        let held = residual.strength.clay_in(volume);
        let wanted = drum.target.clay_in(drum.full);
        let clay = whole_steps(wanted - held, supply.scale_step);
        let water = drum.full - volume - displaced(clay, supply);
        let Some(gives) = GramsPerLitre::of(held + clay, drum.full) else {
            return Self::NoRoom;
        };
        if volume >= drum.full || water.0 < 0.0 {
            Self::NoRoom
        } else if gives > supply.thickest {
            Self::TooThick { gives, thickest: supply.thickest, residual }
        } else if clay.0 > 0.0 {
            let bags = clay.0 / supply.bag.0;
            Self::Mix(Mix { from: volume, to: drum.full, water, clay, bags, residual, gives })
        } else {
            Self::WaterOnly { water, gives, residual }
        }
    }
}

/// The room that dry clay takes in the slurry.
#[must_use]
pub fn displaced(clay: Kilograms, supply: &ClaySupply) -> Litres {
    Litres(clay.0 / supply.mineral_density_kg_per_l)
}

fn whole_steps(mass: Kilograms, step: Kilograms) -> Kilograms {
    // 1e-9 of a step: a mass that is a whole number of steps must not lose one to the last bit.
    let steps = (mass.0 / step.0 + 1e-9).floor();
    Kilograms((steps * step.0).max(0.0))
}

#[cfg(test)]
mod tests;
