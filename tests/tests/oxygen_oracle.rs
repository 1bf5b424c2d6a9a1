//! Oxygen saturation and air pressure against other people's programs, asked live.

use claymark_clay::oxygen::{percent_saturation, pressure_at, saturation_mg_l};
use claymark_model::units::{Celsius, Hectopascals, MilligramsPerLitre};
use claymark_tests::oracle;
use serde_json::json;

#[test]
fn saturation_agrees_with_gsw_and_pressure_with_ambiance() {
    let celsius: Vec<f64> = (0..=400).map(|tenth| f64::from(tenth) / 10.0).collect();
    let metres: Vec<f64> = (-4..=80).map(|step| f64::from(step) * 50.0).collect();
    let answer = oracle::ask("oxygen.py", &json!({"t_c": celsius, "elevation_m": metres}));
    let numbers = |name: &str| serde_json::from_value::<Vec<f64>>(answer[name].clone()).unwrap();

    let mut worst_mg_l = 0.0_f64;
    for (t, theirs) in celsius.iter().zip(numbers("mg_l")) {
        let ours = saturation_mg_l(Celsius(*t), Hectopascals::ATMOSPHERE).unwrap();
        worst_mg_l = worst_mg_l.max((ours.0 - theirs).abs());
        let full = percent_saturation(MilligramsPerLitre(theirs), Celsius(*t), Hectopascals::ATMOSPHERE);
        assert!((full.unwrap().0 - 100.0).abs() < 0.05, "{t} °C: {full:?}");
    }
    let mut worst_hpa = 0.0_f64;
    for (height, theirs) in metres.iter().zip(numbers("hpa")) {
        worst_hpa = worst_hpa.max((pressure_at(*height).0 - theirs).abs());
    }
    println!(
        "largest difference: {worst_mg_l:.4} mg/L over 0 to 40 °C, {worst_hpa:.4} hPa over -200 to 4000 m"
    );
    // Two fits of the same measurements (Benson and Krause; Garcia and Gordon) lie up to 0.0014 mg/L apart.
    assert!(worst_mg_l < 0.003);
    // The same standard atmosphere, its constants rounded otherwise; by geopotential height alone it would
    // be 0.2 hPa at 4000 m.
    assert!(worst_hpa < 0.01);
}
