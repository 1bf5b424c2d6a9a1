//! The mathematics of the empty time against scipy, asked live: the time down a curve of draw, and the normal distribution.

use claymark_drum::{normal, quadrature};
use claymark_tests::oracle;
use rand::rngs::StdRng;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::json;

#[test]
fn the_time_down_a_curve_is_that_of_quadrature_and_of_the_differential_equation() {
    let mut rng = StdRng::seed_from_u64(20_270_420);
    // ln L/h at the full line, the curve, heel, full line, from where to where: as drums have them.
    let ways: Vec<[f64; 7]> = (0..200)
        .map(|_| {
            let (heel, full) = (rng.random_range(2.0..25.0), rng.random_range(100.0..220.0));
            let to = rng.random_range(heel..0.5 * full);
            let from = rng.random_range(to + 1.0..full * 1.05);
            let (b1, b2) = (rng.random_range(-0.1..0.3), rng.random_range(-0.1..0.3));
            [rng.random_range(1.0..4.0), b1, b2, heel, full, from, to]
        })
        .collect();
    let zs: Vec<f64> = (-600..=600).map(|hundredth| f64::from(hundredth) / 100.0).collect();
    let asked = ways.iter().map(|[a, b1, b2, heel, full, from, to]| {
        json!({"a": a, "b1": b1, "b2": b2, "heel": heel, "full": full, "from": from, "to": to})
    });
    let answer = oracle::ask("runout.py", &json!({"ways": asked.collect::<Vec<_>>(), "z": zs}));
    let numbers = |name: &str| serde_json::from_value::<Vec<f64>>(answer[name].clone()).unwrap();

    let mut worst = 0.0_f64;
    for ((way, by_quad), by_equation) in ways.iter().zip(numbers("quad")).zip(numbers("solve_ivp")) {
        let [a, b1, b2, heel, full, from, to] = *way;
        let draw = |v: f64| {
            let u = (full - v) / (full - heel);
            (a - b1 * u - b2 * u * u).exp()
        };
        let ours: f64 = quadrature::eight_points(to, from).map(|(v, weight)| weight / draw(v)).sum();
        worst = worst.max((ours / by_quad - 1.0).abs());
        assert!((by_quad / by_equation - 1.0).abs() < 1e-6, "{way:?}: {by_quad} h, {by_equation} h");
    }
    println!("largest difference of {} ways down: {worst:.1e} of the time", ways.len());
    assert!(worst < 1e-9);

    let mut worst = 0.0_f64;
    for (z, theirs) in zs.iter().zip(numbers("normal")) {
        worst = worst.max((normal::probability(*z) - theirs).abs());
    }
    println!("largest difference of the normal distribution: {worst:.1e}");
    // The formula's own bound.
    assert!(worst < 7.5e-8);
    for (p, z) in normal::QUANTILES {
        assert!((normal::probability(z) - p).abs() < 7.5e-8, "{p}");
    }
}
