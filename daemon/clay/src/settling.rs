//! What a drum does when its air fails: the clay sinks, and the slurry at the intake weakens.
//!
//! A grain alone in still water sinks with v = g d² (ρs - ρw)/(18 µ) (Stokes, for Reynolds numbers under 0.1).
//! In a crowd it is slower by (1 - φ)^n, φ the grains' share of the volume (Richardson and Zaki 1954, Trans. IChemE
//! 32:35, from memory), with n = 5.6 ± 0.1 where Brownian motion rules and 4.48 ± 0.04 where it doesn't, the
//! border near a Péclet number of 1e8 (Brzinski and Durian 2018, arXiv 1710.09314).
//!
//! At a depth h below the surface only grains slower than h/t are left after t: the principle of the pipette
//! method (ISO 11277). So the slurry there has lost a tenth when the grain that a tenth of the mass is coarser than
//! has sunk from the surface to it.
//!
//! **That is the longest it can take.** Kaolin flocculates above about 0.6 mM of table salt or 0.04 mM of calcium
//! chloride (Rommelfanger et al. 2022, arXiv 2203.15545), that is in nearly any hatchery's water, and flocs sink far
//! faster than their grains. What was measured in the head tank comes before anything computed here.

use std::ops::RangeInclusive;

use jiff::SignedDuration;

use crate::Clouding;
use crate::density::water_kg_per_m3;
use claymark_model::units::{Celsius, GramsPerLitre, KilogramsPerLitre, Litres, Micrometres, Millimetres};

/// A grain of clay in still slurry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grain {
    /// Its diameter, taken as a ball's.
    pub diameter: Micrometres,
    /// Of the mineral.
    pub density: KilogramsPerLitre,
    /// Of the water.
    pub water: Celsius,
}

impl Grain {
    /// How fast it sinks alone, m/s.
    #[must_use]
    pub fn alone_m_per_s(&self) -> f64 {
        let over = self.density.per_cubic_metre() - water_kg_per_m3(self.water);
        stokes_m_per_s(self.diameter.metres(), over, water_viscosity_pa_s(self.water))
    }

    /// How fast it sinks among its like in slurry of that strength, m/s.
    #[must_use]
    pub fn crowded_m_per_s(&self, strength: GramsPerLitre) -> f64 {
        let litre = Litres(1.0);
        let grains = self.density.room_for(strength.clay_in(litre)).0 / litre.0;
        let exponent = if self.peclet() < BROWNIAN_BELOW { BROWNIAN } else { NOT_BROWNIAN };
        self.alone_m_per_s() * hindered(grains, exponent)
    }

    /// How long it takes to sink `depth` in slurry of that strength.
    #[must_use]
    pub fn sinks(&self, depth: Millimetres, strength: GramsPerLitre) -> SignedDuration {
        let seconds = depth.metres().max(0.0) / self.crowded_m_per_s(strength);
        SignedDuration::try_from_secs_f64(seconds).unwrap_or(SignedDuration::MAX)
    }

    /// Sinking against Brownian motion: v r/D, with D = k T/(6 π µ r) (Stokes and Einstein).
    fn peclet(&self) -> f64 {
        let radius = self.diameter.metres() / 2.0;
        let drag = 6.0 * std::f64::consts::PI * water_viscosity_pa_s(self.water) * radius;
        self.alone_m_per_s() * radius * drag / (BOLTZMANN * self.water.kelvins())
    }
}

/// Clay and silt, µm: where silt ends (ISO 14688-1, from memory) Stokes ends too, for ten times that grain's Reynolds
/// number is over its 0.1. Finer than a tenth of a micrometre is no powder that is sold (common practice, no source).
pub const GRAINS_UM: RangeInclusive<f64> = 0.1..=63.0;

/// Below this share of what the books say, clay isn't the remedy; where the yield is less sure than that, nothing is said.
pub const ENOUGH: f64 = 0.85;

impl Clouding {
    /// Whether a strength told from turbidity is sure enough to be held against the books.
    #[must_use]
    pub fn can_judge(&self) -> bool {
        self.share_in_doubt() <= (1.0 - ENOUGH) / 2.0
    }
}

/// Stokes' law: a ball of `diameter_m`, denser than water by `over_kg_per_m3`.
fn stokes_m_per_s(diameter_m: f64, over_kg_per_m3: f64, viscosity_pa_s: f64) -> f64 {
    GRAVITY * diameter_m * diameter_m * over_kg_per_m3 / (18.0 * viscosity_pa_s)
}

/// Richardson and Zaki's factor.
fn hindered(grains: f64, exponent: f64) -> f64 {
    (1.0 - grains.clamp(0.0, 1.0)).powf(exponent)
}

/// Of pure water at 0.1 MPa, Pa s (IAPWS SR6-08, the equation for -20 to 110 °C; coefficients from memory,
/// checked against IAPWS R12-08).
#[must_use]
pub fn water_viscosity_pa_s(water: Celsius) -> f64 {
    let t = water.kelvins() / 300.0;
    let term = |(factor, power): (f64, f64)| factor * t.powf(power);
    [(280.68e-6, -1.9), (511.45e-6, -7.7), (61.131e-6, -19.6), (0.459_03e-6, -40.0)].map(term).iter().sum()
}

/// Standard gravity, m/s2, by definition.
const GRAVITY: f64 = 9.806_65;
/// J/K, exact since 2019.
const BOLTZMANN: f64 = 1.380_649e-23;
const BROWNIAN_BELOW: f64 = 1e8;
const BROWNIAN: f64 = 5.6;
const NOT_BROWNIAN: f64 = 4.48;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::checks;

    fn grain(diameter: f64, density: f64, celsius: f64) -> Grain {
        Grain {
            diameter: Micrometres(diameter),
            density: KilogramsPerLitre(density),
            water: Celsius(celsius),
        }
    }

    #[test]
    fn water_is_as_thick_as_the_steam_tables_say() {
        for check in checks::of("water_viscosity_mPas") {
            let [t] = check.inputs(["t_c"]);
            check.accepts(water_viscosity_pa_s(Celsius(t)) * 1e3);
        }
    }

    #[test]
    fn a_grain_sinks_as_stokes_and_the_soil_laboratory_say() {
        for check in checks::of("stokes_m_s") {
            let [d, rho_s, rho_w, mu] = check.inputs(["d", "rho_s", "rho_w", "mu"]);
            check.accepts(stokes_m_per_s(d, rho_s - rho_w, mu));
        }
        for check in checks::of("pipette_s") {
            let [d, rho_s, t, depth] = check.inputs(["d_um", "rho_s", "t_c", "depth_mm"]);
            let alone = grain(d, rho_s / 1000.0, t);
            check.accepts(alone.sinks(Millimetres(depth), GramsPerLitre(0.0)).as_secs_f64());
        }
    }

    #[test]
    fn a_crowd_sinks_slower_and_small_grains_are_brownian() {
        for check in checks::of("crowded_share") {
            let [d, share] = check.inputs(["d_um", "phi"]);
            // So much clay in a litre takes up that share of it.
            let (one, strength) = (grain(d, 2.6, 20.0), GramsPerLitre(share * 2600.0));
            check.accepts(one.crowded_m_per_s(strength) / one.alone_m_per_s());
        }
        for check in checks::of("peclet") {
            let [d, rho_s, t] = check.inputs(["d_um", "rho_s", "t_c"]);
            check.accepts(grain(d, rho_s / 1000.0, t).peclet());
        }
        // 50 g/L of 2600 kg/m3: φ 0.01923, so 0.897 of the lone grain's speed with n = 5.6.
        let two = grain(2.0, 2.6, 20.0);
        let share = two.crowded_m_per_s(GramsPerLitre(50.0)) / two.alone_m_per_s();
        assert!((share - 0.896_97).abs() < 1e-4, "{share}");
    }

    proptest! {
        #[test]
        fn coarser_grains_warmer_water_and_thinner_slurry_sink_faster(
            d in 0.2..20.0_f64, t in 1.0..35.0_f64, strength in 0.0..120.0_f64, more in 0.01..2.0_f64,
        ) {
            let speed = |d, t, c| grain(d, 2.6, t).crowded_m_per_s(GramsPerLitre(c));
            let here = speed(d, t, strength);
            prop_assert!(speed(d + more, t, strength) > here);
            prop_assert!(speed(d, t + more, strength) > here);
            prop_assert!(speed(d, t, strength + more) < here);
        }
    }
}
