//! Sinking grains against another program, asked live.

use claymark_clay::density::water_kg_per_m3;
use claymark_clay::settling::{Grain, water_viscosity_pa_s};
use claymark_model::units::{Celsius, KilogramsPerLitre, Micrometres};
use claymark_tests::oracle;
use serde_json::json;

#[test]
fn a_grain_that_sinks_alone_sinks_as_the_package_fluids_says() {
    let grains: Vec<Grain> = [0.2, 1.0, 2.0, 5.0, 10.0, 20.0]
        .into_iter()
        .flat_map(|um| [2.60, 2.65].into_iter().map(move |density| (um, density)))
        .flat_map(|(um, density)| {
            [4.0, 10.0, 18.0, 20.0, 25.0].into_iter().map(move |celsius| Grain {
                diameter: Micrometres(um),
                density: KilogramsPerLitre(density),
                water: Celsius(celsius),
            })
        })
        .collect();
    let asked: Vec<[f64; 4]> = grains
        .iter()
        .map(|grain| {
            let water = grain.water;
            [
                grain.diameter.metres(),
                grain.density.per_cubic_metre(),
                water_kg_per_m3(water),
                water_viscosity_pa_s(water),
            ]
        })
        .collect();
    let answer = oracle::ask("settling.py", &json!({ "grains": asked }));
    let theirs: Vec<f64> = serde_json::from_value(answer["m_per_s"].clone()).unwrap();
    assert_eq!(theirs.len(), grains.len());
    let mut worst = 0.0_f64;
    for (grain, theirs) in grains.iter().zip(theirs) {
        worst = worst.max((grain.alone_m_per_s() / theirs - 1.0).abs());
    }
    println!("largest difference of {} grains: {worst:.1e} of the velocity", grains.len());
    // The same law and the same standard gravity: only the last digits may differ.
    assert!(worst < 1e-9);
}
