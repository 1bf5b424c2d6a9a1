//! What assessing a reading costs: `cargo bench -p claymark-tests --bench quality`. No limit is asserted.

use std::hint::black_box;

use claymark_model::quality::Assessor;
use claymark_model::quality::thresholds::{
    FlatLine, GrossRange, Levels, Span, Spike, SpikeMethod, Thresholds,
};
use claymark_model::reading::Reading;
use claymark_model::site::{Place, Quantity, Sensor};
use jiff::{SignedDuration, Timestamp};

type BenchSeries = (&'static str, fn(i32) -> f64, fn(i32) -> i32);

#[expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a benchmark measures real time and prints it"
)]
fn main() {
    const READINGS: i32 = 1_000_000;
    let sensor = sensor();
    // value and second of the i-th arrival
    let series: [BenchSeries; 5] = [
        ("noise", |i| 60.0 + f64::from(i.wrapping_mul(7_919) % 97) / 100.0, |i| i),
        ("stuck for days", |_| 60.0, |i| i),
        ("slow drift within the tolerance", |i| 60.0 + f64::from(i) * 1e-7, |i| i),
        ("every second one late", |i| 60.0 + f64::from(i % 7) / 10.0, |i| i + 1 - 2 * (i % 2)),
        (
            "bursts of 500, each backwards",
            |i| 60.0 + f64::from(i % 7) / 10.0,
            |i| i / 500 * 500 + 499 - i % 500,
        ),
    ];
    for (what, value, second) in series {
        let start = Timestamp::UNIX_EPOCH;
        let readings: Vec<Reading> = (0..READINGS)
            .map(|i| {
                Reading::new(
                    sensor.id.clone(),
                    start + SignedDuration::from_secs(i64::from(second(i))),
                    value(i),
                )
            })
            .collect();
        let mut assessor = Assessor::new(&sensor);
        let begin = std::time::Instant::now();
        for reading in readings {
            let at = reading.at;
            black_box(assessor.assess(reading, at));
        }
        let nanos = begin.elapsed().as_secs_f64() * 1e9 / f64::from(READINGS);
        println!("{what:<32} {nanos:6.0} ns a reading");
    }
}

/// All tests, with a flat-line threshold of a day at a reading a second.
fn sensor() -> Sensor {
    let span = |min, max| Span::new(min, max).expect("it rises");
    let every = SignedDuration::from_secs(1);
    let hours = SignedDuration::from_hours;
    Sensor {
        every,
        thresholds: Thresholds {
            gap: SignedDuration::from_secs(10),
            gross_range: Some(
                GrossRange::new(span(0.0, 4000.0), Some(span(10.0, 150.0))).expect("one in the other"),
            ),
            spike: Some(Spike {
                method: SpikeMethod::Average,
                levels: Levels::new(5.0, Some(20.0)).expect("they rise"),
            }),
            rate_per_s: Some(Levels::new(1.0, Some(5.0)).expect("they rise")),
            flat_line: Some(FlatLine::new(0.25, hours(12), Some(hours(24)), every).expect("they rise")),
        },
        ..claymark_invented::sensor("s", Place::Head, Quantity::Turbidity)
    }
}
