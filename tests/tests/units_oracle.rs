//! Every unit of the table against the package pint, asked live.

use claymark_model::units::Unit;
use claymark_tests::oracle;
use serde_json::json;

#[test]
fn every_unit_turns_into_its_base_as_pint_says() {
    let mut units: Vec<Unit> = Unit::spellings().map(|(_, unit)| unit).collect();
    units.dedup();
    let asked: Vec<(Unit, f64)> = units
        .iter()
        .flat_map(|unit| [0.0, 1.0, -40.0, 273.15, 760.0, 12_345.678].map(|value| (*unit, value)))
        .collect();
    let question: Vec<_> =
        asked.iter().map(|(unit, value)| json!([unit.symbol(), unit.base().symbol(), value])).collect();
    let answer = oracle::ask("units.py", &json!({"ask": question}));
    let theirs: Vec<f64> = serde_json::from_value(answer["base"].clone()).unwrap();
    assert_eq!(theirs.len(), asked.len());
    for ((unit, value), theirs) in asked.into_iter().zip(theirs) {
        let ours = unit.to_base(value);
        assert!(
            (ours - theirs).abs() <= 1e-9 * theirs.abs().max(1.0),
            "{value} {unit}: {ours}, by pint {theirs}"
        );
    }
    println!("{} units", units.len());
    assert!(units.len() >= 34, "the whole table");
}
