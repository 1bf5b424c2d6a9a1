//! Slopes that outliers can't bend, against scipy.stats, asked live.

use claymark_clay::trend::{FEWEST, MOST, Trend};
use claymark_drum::stats::robust_slope;
use claymark_tests::oracle;
use jiff::{SignedDuration, Timestamp};
use rand::rngs::StdRng;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::json;

/// Of more points the repeated median takes some, evenly; the oracle gets no more, so that both have the same.
const PAIRED: usize = 24;

fn series(rng: &mut StdRng, points: usize) -> Vec<(f64, f64)> {
    let mut hours = 0.0;
    let slope = rng.random_range(-3.0..3.0);
    (0..points)
        .map(|_| {
            // Whole seconds, as times have.
            hours += f64::from(rng.random_range(20_u32..3000)) / 3600.0;
            let outlier = if rng.random_range(0.0..1.0) < 0.2 { rng.random_range(-30.0..30.0) } else { 0.0 };
            (hours, 20.0 + slope * hours + rng.random_range(-0.5..0.5) + outlier)
        })
        .collect()
}

#[test]
fn repeated_medians_and_theil_and_sens_line_are_those_of_scipy() {
    let mut rng = StdRng::seed_from_u64(20_270_423);
    let counts = (FEWEST..=PAIRED).chain((PAIRED + 1..=MOST).step_by(5));
    let all: Vec<Vec<(f64, f64)>> = counts.map(|count| series(&mut rng, count)).collect();
    let answer = oracle::ask("slopes.py", &json!({"series": all}));

    let close = |ours: f64, theirs: f64, what: &str, points: usize| {
        // Times are kept to the nanosecond.
        assert!((ours - theirs).abs() < 1e-6, "{what} of {points} points: {ours} is not {theirs}");
    };
    for (place, points) in all.iter().enumerate() {
        if points.len() <= PAIRED {
            let theirs = answer["siegel"][place].as_f64().unwrap();
            close(robust_slope(points).unwrap(), theirs, "the repeated median", points.len());
        }
        let at = |hours: f64| Timestamp::UNIX_EPOCH + SignedDuration::from_secs_f64(3600.0 * hours);
        let timed: Vec<_> = points.iter().map(|(x, y)| (at(*x), *y)).collect();
        let trend = Trend::through(&timed).unwrap();
        let [slope, intercept, low, high]: [f64; 4] =
            serde_json::from_value(answer["theil"][place].clone()).unwrap();
        close(trend.per_hour, slope, "the slope", points.len());
        close(trend.value_at(Timestamp::UNIX_EPOCH), intercept, "the line at its beginning", points.len());
        close(trend.least, low, "the least slope", points.len());
        close(trend.most, high, "the most", points.len());
    }
}
