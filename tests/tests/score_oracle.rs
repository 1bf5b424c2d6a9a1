//! Scores of forecasts against a reference library, asked live.

use claymark_model::score::{Bounds, Coverage, crps_of_quantiles, interval_score, pinball};
use claymark_tests::oracle;
use rand::rngs::StdRng;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::{Value, json};

const LEVELS: [f64; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];
/// So many even levels stand for the whole distribution.
const EVEN: u32 = 2_000;

#[test]
fn every_score_agrees_with_scoringrules_and_every_bound_with_scipy() {
    let mut rng = StdRng::seed_from_u64(20_270_417);
    let cases: Vec<(f64, Vec<f64>)> = (0..500)
        .map(|_| {
            let mut quantiles: Vec<f64> = (0..5).map(|_| rng.random_range(0.0..72.0)).collect();
            quantiles.sort_by(f64::total_cmp);
            (rng.random_range(0.0..72.0), quantiles)
        })
        .collect();
    let normal: Vec<[f64; 3]> = (0..50)
        .map(|_| [rng.random_range(-3.0..3.0), rng.random_range(-1.0..1.0), rng.random_range(0.5..2.0)])
        .collect();
    let coverage: Vec<(u32, u32)> = (0..200)
        .map(|_| {
            let of = rng.random_range(1..2_000);
            (rng.random_range(0..=of), of)
        })
        .collect();
    let answer = oracle::ask("score.py", &question(&cases, &normal, &coverage));

    let close = |ours: f64, theirs: &Value| {
        let theirs = theirs.as_f64().unwrap();
        assert!((ours - theirs).abs() < 1e-8, "{ours} is not {theirs}");
    };
    for (place, (y, quantiles)) in cases.iter().enumerate() {
        let stated: Vec<(f64, f64)> = LEVELS.into_iter().zip(quantiles.iter().copied()).collect();
        close(crps_of_quantiles(&stated, *y).unwrap(), &answer["crps"][place]);
        close(interval_score(*y, quantiles[0], quantiles[4], 0.1), &answer["interval"][place]);
        for (level, (tau, q)) in stated.into_iter().enumerate() {
            close(pinball(*y, q, tau), &answer["pinball"][place][level]);
        }
    }
    let standard: Vec<f64> = serde_json::from_value(answer["standard"].clone()).unwrap();
    for (place, [y, mean, sd]) in normal.iter().enumerate() {
        let levels = (0..EVEN).map(|i| (f64::from(i) + 0.5) / f64::from(EVEN));
        let whole: Vec<_> = levels.zip(standard.iter().map(|z| mean + sd * z)).collect();
        let theirs = answer["normal"][place].as_f64().unwrap();
        let ours = crps_of_quantiles(&whole, *y).unwrap();
        assert!((ours - theirs).abs() < 2e-4, "the CRPS of a normal: {ours} is not {theirs}");
    }
    for (place, (held, of)) in coverage.into_iter().enumerate() {
        let counted = Coverage { held, of };
        for (name, Bounds { low, high }) in [
            ("wilson", counted.wilson(0.95).unwrap()),
            ("clopper_pearson", counted.clopper_pearson(0.95).unwrap()),
        ] {
            close(low, &answer[name][place][0]);
            close(high, &answer[name][place][1]);
        }
    }
}

fn question(cases: &[(f64, Vec<f64>)], normal: &[[f64; 3]], coverage: &[(u32, u32)]) -> Value {
    let stated = cases.iter().map(|(y, quantiles)| json!({"y": y, "quantiles": quantiles}));
    let outer = cases.iter().map(|(y, q)| json!({"y": y, "low": q.first(), "high": q.last(), "alpha": 0.1}));
    let normal = normal.iter().map(|[y, mean, sd]| json!({"y": y, "mean": mean, "sd": sd}));
    let coverage = coverage.iter().map(|(held, of)| json!({"held": held, "of": of, "confidence": 0.95}));
    json!({
        "levels": LEVELS,
        "even": EVEN,
        "cases": stated.collect::<Vec<_>>(),
        "interval": outer.collect::<Vec<_>>(),
        "normal": normal.collect::<Vec<_>>(),
        "coverage": coverage.collect::<Vec<_>>(),
    })
}
