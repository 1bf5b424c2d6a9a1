//! What clay does to the water, against scipy and statsmodels, asked live: two tanks in a row, and how cloudy clay makes it.

use claymark_clay::response::{Cascade, Residence, TurbidityPair};
use claymark_clay::yields::{Sample, YieldWatch, log_log};
use claymark_model::units::{Litres, LitresPerMinute, MilligramsPerLitre, Turbidity};
use claymark_tests::oracle;
use jiff::{SignedDuration, Timestamp};
use rand::rngs::StdRng;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::{Value, json};

/// Time constants of head tank and rearing tank, min; what both hold; what flows in from then on.
type Step = [f64; 5];

#[test]
fn unequal_tanks_in_a_row_answer_a_step_as_the_differential_equations_do() {
    let mut rng = StdRng::seed_from_u64(20_270_421);
    let mut steps: Vec<Step> = (0..60)
        .map(|_| {
            let (head, tank) = (rng.random_range(1.0..60.0), rng.random_range(1.0..200.0));
            [
                head,
                tank,
                rng.random_range(0.0..100.0),
                rng.random_range(0.0..100.0),
                rng.random_range(0.0..100.0),
            ]
        })
        .collect();
    // Equal ones, and nearly equal ones, where the textbook's formula has its hole.
    steps.extend([[30.0, 30.0, 40.0, 50.0, 70.0], [30.0, 30.0 + 1e-7, 40.0, 50.0, 0.0]]);
    let minutes = [0.5, 3.0, 10.0, 30.0, 90.0, 240.0];
    let asked = steps.iter().map(|[head_min, tank_min, head, tank, to]| {
        json!({"head_min": head_min, "tank_min": tank_min, "head": head, "tank": tank, "to": to, "minutes": minutes})
    });
    let answer = oracle::ask("tanks.py", &json!({"steps": asked.collect::<Vec<_>>()}));

    let mut worst = 0.0_f64;
    for (step, theirs) in steps.iter().zip(answer["steps"].as_array().unwrap()) {
        let [head_min, tank_min, head, tank, to] = *step;
        // A litre a minute through as many litres as the time constant has minutes.
        let residence = |minutes| Residence::of(Litres(minutes), LitresPerMinute(1.0)).unwrap();
        let cascade = Cascade { head: residence(head_min), tank: residence(tank_min) };
        let from = TurbidityPair { head: Turbidity(head), tank: Turbidity(tank) };
        for (place, minute) in minutes.iter().enumerate() {
            let after = SignedDuration::from_secs_f64(60.0 * minute);
            let ours = cascade.after(from, Turbidity(to), after);
            for (ours, theirs) in
                [(ours.head.0, &theirs["head"][place]), (ours.tank.0, &theirs["tank"][place])]
            {
                worst = worst.max((ours - theirs.as_f64().unwrap()).abs());
            }
        }
    }
    println!("largest difference of {} steps: {worst:.1e} NTU", steps.len());
    // Time constants are kept to the nanosecond.
    assert!(worst < 1e-6);
}

/// Ten-minute samples of a head tank whose feed changes every three hours; `noise` is the share of each reading.
fn samples(rng: &mut StdRng, hours: u32, noise: f64) -> Vec<[f64; 4]> {
    let (mut fed, mut held) = (80.0, 80.0);
    (0..hours * 6)
        .map(|n| {
            if n % 18 == 0 {
                fed = rng.random_range(40.0..120.0);
            }
            let water = rng.random_range(48.0..52.0);
            held += (fed - held) * (1.0 - (-10.0 * water / 450.0_f64).exp());
            let above = 0.85 * held * (1.0 + noise * rng.random_range(-1.0..1.0));
            [10.0 * f64::from(n), fed, water, above]
        })
        .collect()
}

#[test]
fn the_yield_is_that_of_recursive_least_squares_on_the_same_rows() {
    let mut rng = StdRng::seed_from_u64(20_270_422);
    // Long and quiet, and short and so noisy that the rest of the fit is what its deviation says.
    let shapes = [(96, 0.02), (72, 0.05), (8, 0.5), (10, 0.4), (12, 0.5)];
    let runs: Vec<_> = shapes.into_iter().map(|(hours, noise)| samples(&mut rng, hours, noise)).collect();
    let pairs: Vec<Vec<(f64, f64)>> = (0..20)
        .map(|_| {
            let (power, count) = (rng.random_range(0.7..1.2), rng.random_range(3..60));
            let pair = |_| {
                let x: f64 = rng.random_range(5.0_f64..200.0).ln();
                (x, 0.3 + power * x + rng.random_range(-0.3..0.3))
            };
            (0..count).map(pair).collect()
        })
        .collect();
    let asked = runs.iter().map(|rows| json!({"head_l": 450.0, "lot_h": 72.0, "rows": rows}));
    let answer = oracle::ask("yields.py", &json!({"runs": asked.collect::<Vec<_>>(), "pairs": pairs}));

    let close = |ours: f64, theirs: &Value, what: &str| {
        let theirs = theirs.as_f64().unwrap();
        assert!((ours / theirs - 1.0).abs() < 1e-6, "{what}: {ours} is not {theirs}");
    };
    let mut by_rest = 0;
    for (place, rows) in runs.iter().enumerate() {
        let mut watch = YieldWatch::default();
        for [minute, fed, water, above] in rows {
            let sample = Sample {
                at: Timestamp::UNIX_EPOCH + SignedDuration::from_secs_f64(60.0 * minute),
                fed: MilligramsPerLitre(*fed),
                water: LitresPerMinute(*water),
                above: Turbidity(*above),
            };
            watch.take(Litres(450.0), &sample);
        }
        let (found, theirs) = (watch.estimate().unwrap(), &answer["runs"][place]);
        assert!((found.exponent - 1.0).abs() < f64::EPSILON, "no power was asked for");
        close(found.ntu_per_mg_l, &theirs["slope"], "slope");
        // Its deviation is never said to be below 2 % of it.
        if theirs["sd"].as_f64().unwrap() > 0.02 * found.ntu_per_mg_l {
            close(found.sd, &theirs["sd"], "deviation");
            by_rest += 1;
        }
    }
    assert!(by_rest >= 3, "only {by_rest} runs are as noisy as they should be");
    for (place, pairs) in pairs.iter().enumerate() {
        let (found, theirs) = (log_log(pairs).unwrap(), &answer["pairs"][place]);
        close(found.factor, &theirs["factor"], "factor");
        close(found.factor_sd, &theirs["factor_sd"], "its deviation");
        close(found.exponent, &theirs["exponent"], "exponent");
        close(found.exponent_sd, &theirs["exponent_sd"], "its deviation");
        close(found.smearing, &theirs["smearing"], "smearing");
    }
}
