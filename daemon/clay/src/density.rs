//! How heavy water and slurry are: a pressure sensor feels the weight of slurry, not its height.
//!
//! c kg of clay in a cubic metre of slurry take c/ρs of it, and water the rest: ρ = ρw (1 - c/ρs) + c
//! = ρw + c (1 - ρw/ρs). Mass balance; the particle density of kaolinite is 2600 to 2650 kg/m3 (from memory).

use claymark_model::units::{Celsius, GramsPerLitre, KilogramsPerLitre};

/// Of slurry, kg/m3, from its strength (g/L and kg/m3 are the same figure), its dry mineral and its warmth.
#[must_use]
pub fn slurry_kg_per_m3(strength: GramsPerLitre, mineral: KilogramsPerLitre, slurry: Celsius) -> f64 {
    let water = water_kg_per_m3(slurry);
    water + strength.0 * (1.0 - water / mineral.per_cubic_metre())
}

/// How many times as heavy as water slurry is. At room temperature: from 5 to 30 °C it is the same within 0.001.
#[must_use]
pub fn over_water(strength: GramsPerLitre, mineral: KilogramsPerLitre) -> f64 {
    slurry_kg_per_m3(strength, mineral, ROOM) / water_kg_per_m3(ROOM)
}

/// Of pure water at 101.325 kPa, kg/m3 (Tanaka et al. 2001, Metrologia 38:301; coefficients from memory, checked
/// against IAPWS-95).
#[must_use]
pub fn water_kg_per_m3(water: Celsius) -> f64 {
    let t = water.0;
    999.974_950 * (1.0 - (t - 3.983_035).powi(2) * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}

const ROOM: Celsius = Celsius(20.0);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::checks;

    #[test]
    fn water_is_as_heavy_as_the_steam_tables_say() {
        for check in checks::of("water_density") {
            let [t] = check.inputs(["t_c"]);
            check.accepts(water_kg_per_m3(Celsius(t)));
        }
    }

    #[test]
    fn slurry_is_as_heavy_as_its_water_and_its_clay() {
        // The equation evaluated apart from this program, with water of 998.2072 kg/m3: strength, mineral, kg/m3.
        for (strength, mineral, expected) in [
            (1.0, 2.60, 998.823),
            (10.0, 2.65, 1004.440),
            (50.0, 2.60, 1029.011),
            (100.0, 2.65, 1060.539),
            (200.0, 2.60, 1121.422),
        ] {
            let ours = slurry_kg_per_m3(GramsPerLitre(strength), KilogramsPerLitre(mineral), ROOM);
            assert!((ours - expected).abs() < 0.002, "{strength} g/L: {ours}, not {expected}");
        }
    }

    #[test]
    fn a_pressure_sensor_over_reads_slurry_of_120_grams_by_7_4_percent() {
        let kaolin = KilogramsPerLitre(2.6);
        assert!((over_water(GramsPerLitre(120.0), kaolin) - 1.074).abs() < 0.0005);
        assert!((over_water(GramsPerLitre(0.0), kaolin) - 1.0).abs() < 1e-12);
        for celsius in [5.0, 30.0] {
            let warm = Celsius(celsius);
            let ratio = slurry_kg_per_m3(GramsPerLitre(120.0), kaolin, warm) / water_kg_per_m3(warm);
            assert!(
                (ratio - over_water(GramsPerLitre(120.0), kaolin)).abs() < 0.001,
                "{celsius} °C: {ratio}"
            );
        }
    }
}
