//! Dissolved oxygen in fresh water: how much it can hold, how full of it the water is, and what fish take out of it
//! ([`demand`]), how long it is enough ([`reserve`]), and what they are known to take ([`breathing`]).
//!
//! Solubility: Benson and Krause (1980 and 1984) in mg/L with their full pressure factor, as in USGS Office
//! of Water Quality Technical Memorandum 2011.03 and Standard Methods 4500-O; valid for 0 to 40 °C and 0.5 to
//! 1.1 atm. Salt is left out: at 500 µS/cm it would take 0.17 % off at 20 °C.
//! Pressure: the standard atmosphere (ISO 2533:1975; ICAO Doc 7488), troposphere.

pub mod breathing;
pub mod demand;
pub mod reserve;

use claymark_model::units::{Celsius, Hectopascals, MilligramsPerLitre, Percent, Unit};

/// Oxygen in fresh water that stands in balance with moist air at that pressure; `None` outside 0 to 40 °C
/// or 0.5 to 1.1 atm.
#[must_use]
pub fn saturation_mg_l(water: Celsius, air: Hectopascals) -> Option<MilligramsPerLitre> {
    let pressure_atm = air.atmospheres();
    let valid = (0.0..=40.0).contains(&water.0) && (0.5..=1.1).contains(&pressure_atm);
    valid.then(|| MilligramsPerLitre(at_one_atmosphere(water) * pressure_factor(water, pressure_atm)))
}

/// Air pressure by the standard atmosphere at a height above the sea, metres as on a map.
///
/// The day's weather moves it by some 2 % either way; an air-pressure sensor is better. Above the
/// troposphere (11 km) it means nothing.
#[must_use]
pub fn pressure_at(elevation_m: f64) -> Hectopascals {
    // The formula wants geopotential metres, a map shows geometric ones.
    let geopotential_m = EARTH_RADIUS_M * elevation_m / (EARTH_RADIUS_M + elevation_m);
    let temperature_ratio = 1.0 - LAPSE_K_PER_M * geopotential_m / SEA_LEVEL_K;
    Hectopascals::ATMOSPHERE * temperature_ratio.powf(PRESSURE_EXPONENT)
}

/// What the water holds, in percent of what it can hold at that temperature and pressure.
#[must_use]
pub fn percent_saturation(oxygen: MilligramsPerLitre, water: Celsius, air: Hectopascals) -> Option<Percent> {
    let full = saturation_mg_l(water, air)?;
    (oxygen.0.is_finite() && oxygen.0 >= 0.0).then(|| Percent(Unit::Ratio.to_base(oxygen.0 / full.0)))
}

/// mg/L at 1 atm.
fn at_one_atmosphere(water: Celsius) -> f64 {
    let t = water.kelvins();
    (-139.344_11 + 1.575_701e5 / t - 6.642_308e7 / t.powi(2) + 1.243_800e10 / t.powi(3)
        - 8.621_949e11 / t.powi(4))
    .exp()
}

/// Benson and Krause 1984, equation 24: water vapour takes its share of the pressure, and oxygen isn't quite
/// an ideal gas.
fn pressure_factor(water: Celsius, pressure_atm: f64) -> f64 {
    let vapour_atm = vapour_pressure_atm(water);
    let theta = 0.000_975 - 1.426e-5 * water.0 + 6.436e-8 * water.0.powi(2);
    (pressure_atm - vapour_atm) * (1.0 - theta * pressure_atm) / ((1.0 - vapour_atm) * (1.0 - theta))
}

/// Benson and Krause 1980, equation 23.
fn vapour_pressure_atm(water: Celsius) -> f64 {
    let t = water.kelvins();
    (11.8571 - 3840.70 / t - 216_961.0 / t.powi(2)).exp()
}

/// Above this a check of the total gas pressure is asked for. Our own choice: well above the noise of a probe.
pub const SUPERSATURATED: Percent = Percent(105.0);

// ISO 2533:1975.
const EARTH_RADIUS_M: f64 = 6_356_766.0;
const LAPSE_K_PER_M: f64 = 0.0065;
const SEA_LEVEL_K: f64 = 288.15;
const PRESSURE_EXPONENT: f64 = 5.255_876;

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;

    /// A row of `tests/data/oxygen_check_values.csv`, each with its source.
    struct CheckValue {
        id: String,
        function: String,
        inputs: Value,
        expected: f64,
        tolerance: f64,
    }

    impl CheckValue {
        fn input(&self, name: &str) -> f64 {
            self.inputs[name].as_f64().unwrap_or_else(|| panic!("{} has no {name}", self.id))
        }

        fn water(&self) -> Celsius {
            Celsius(self.input("t_c"))
        }

        fn air(&self) -> Hectopascals {
            match self.inputs.get("p_atm").and_then(Value::as_f64) {
                Some(atm) => Hectopascals::ATMOSPHERE * atm,
                None => Hectopascals(Unit::MillimetreOfMercury.to_base(self.input("p_mmhg"))),
            }
        }

        fn accepts(&self, value: f64) -> bool {
            (value - self.expected).abs() <= self.tolerance
        }
    }

    fn checks() -> Vec<CheckValue> {
        csv::Reader::from_reader(include_str!("../../../tests/data/oxygen_check_values.csv").as_bytes())
            .into_records()
            .map(|row| {
                let row = row.unwrap();
                CheckValue {
                    id: row[0].to_owned(),
                    function: row[1].to_owned(),
                    inputs: serde_json::from_str(&row[2]).unwrap(),
                    expected: row[3].parse().unwrap(),
                    tolerance: row[4].parse().unwrap(),
                }
            })
            .collect()
    }

    #[test]
    fn published_tables_and_reference_libraries_agree_with_every_function() {
        let mut seen = std::collections::BTreeMap::new();
        for check in checks() {
            let ours = match check.function.as_str() {
                "do_sat_mg_l" => saturation_mg_l(check.water(), check.air()).unwrap().0,
                "pct_sat" => {
                    let oxygen = MilligramsPerLitre(check.input("do"));
                    percent_saturation(oxygen, check.water(), check.air()).unwrap().0
                }
                "water_vapour_mmhg" => Unit::MillimetreOfMercury
                    .from_base((Hectopascals::ATMOSPHERE * vapour_pressure_atm(check.water())).0),
                "isa_pressure_hpa" => {
                    // The table's heights are geopotential, the function's geometric.
                    let geopotential_m = check.input("H_m");
                    pressure_at(EARTH_RADIUS_M * geopotential_m / (EARTH_RADIUS_M - geopotential_m)).0
                }
                other => panic!("{}: no function for {other}", check.id),
            };
            assert!(check.accepts(ours), "{}: {ours} instead of {}", check.id, check.expected);
            *seen.entry(check.function).or_insert(0) += 1;
        }
        let seen: Vec<(&str, i32)> = seen.iter().map(|(name, count)| (name.as_str(), *count)).collect();
        assert_eq!(
            seen,
            [("do_sat_mg_l", 120), ("isa_pressure_hpa", 5), ("pct_sat", 1), ("water_vapour_mmhg", 9)]
        );
    }

    /// Each of these mistakes has been made in public code; a table that lets one through proves nothing.
    #[test]
    fn the_check_values_reject_the_usual_mistakes() {
        type WrongFormula = (&'static str, fn(&CheckValue) -> f64);
        let mistakes: [WrongFormula; 5] = [
            ("273 instead of 273.15", |check| {
                saturation_mg_l(Celsius(check.water().0 - 0.15), check.air()).map_or(0.0, |full| full.0)
            }),
            ("pressure by simple proportion", |check| {
                at_one_atmosphere(check.water()) * check.air().atmospheres()
            }),
            ("no pressure at all", |check| at_one_atmosphere(check.water())),
            ("ideal gas", |check| {
                let vapour = vapour_pressure_atm(check.water());
                at_one_atmosphere(check.water()) * (check.air().atmospheres() - vapour) / (1.0 - vapour)
            }),
            ("the µmol/L constant", |check| {
                saturation_mg_l(check.water(), check.air()).unwrap().0 * (139.344_11_f64 - 135.902_05).exp()
            }),
        ];
        let saturation: Vec<CheckValue> =
            checks().into_iter().filter(|check| check.function == "do_sat_mg_l").collect();
        for (mistake, wrong) in mistakes {
            let rejected = saturation.iter().filter(|check| !check.accepts(wrong(check))).count();
            assert!(rejected > 0, "no check value rejects: {mistake}");
        }
        // At 20 °C, by hand: +0.0272 mg/L by the offset, 8.3746 by proportion at 700 mmHg.
        let at_20 = |p_mmhg: f64| {
            let air = Hectopascals(Unit::MillimetreOfMercury.to_base(p_mmhg));
            saturation_mg_l(Celsius(20.0), air).unwrap().0
        };
        let offset = at_one_atmosphere(Celsius(19.85)) - at_20(760.0);
        assert!((offset - 0.0272).abs() < 5e-4, "{offset}");
        assert!((at_20(700.0) - 8.3581).abs() < 6e-4 && (at_20(760.0) * 700.0 / 760.0 - 8.3746).abs() < 6e-4);
    }

    #[test]
    fn outside_the_range_of_validity_nothing_is_said() {
        let sea = Hectopascals::ATMOSPHERE;
        for (celsius, air) in [
            (-0.1, sea),
            (40.1, sea),
            (f64::NAN, sea),
            (20.0, sea * 0.49),
            (20.0, sea * 1.11),
            (20.0, Hectopascals(f64::NAN)),
            (20.0, pressure_at(60_000.0)),
        ] {
            assert_eq!(saturation_mg_l(Celsius(celsius), air), None, "{celsius} °C, {air:?}");
        }
        assert!(saturation_mg_l(Celsius(0.0), sea * 0.5).is_some());
        assert!(saturation_mg_l(Celsius(40.0), sea * 1.1).is_some());
        for oxygen in [-0.1, f64::NAN, f64::INFINITY] {
            assert_eq!(percent_saturation(MilligramsPerLitre(oxygen), Celsius(20.0), sea), None);
        }
    }

    #[test]
    fn map_metres_are_not_geopotential_metres() {
        // U.S. Standard Atmosphere 1976, table by geometric height, 3000 m: 701.21 hPa (from memory); by
        // geopotential height it is 701.085 hPa.
        assert!((pressure_at(3000.0).0 - 701.21).abs() < 0.01, "{:?}", pressure_at(3000.0));
    }
}
