//! How fast the store keeps readings: `cargo run --release -p claymark-store --example commit_speed FOLDER`.
//!
//! FOLDER must lie on the disk that is to be judged. Sixty sensors, an hour each second; ten readings at a
//! time as on a quiet day, and in groups as under load.

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Sensor, Site};
use claymark_store::Writer;
use claymark_store::batch::CommitBatch;
use jiff::Timestamp;

#[expect(clippy::print_stdout, reason = "it prints its result")]
fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("name a folder on the disk that is to be judged")?;
    let site = site_with(60)?;
    for (group, commits) in [(1_usize, 200), (10, 200), (500, 100), (10_000, 20)] {
        let path = Path::new(&folder).join(format!("commit-speed-{group}.db"));
        let mut writer = Writer::open(&path, &site)?;
        let batches: Vec<CommitBatch> =
            (0..commits).map(|n| batch(&site, n * group, group)).collect::<Result<_, _>>()?;
        let mut slowest = 0.0_f64;
        #[expect(clippy::disallowed_methods, reason = "a measurement, not a decision")]
        let clock = Instant::now;
        let begin = clock();
        for batch in &batches {
            let before = clock();
            writer.commit(batch)?;
            slowest = slowest.max(before.elapsed().as_secs_f64());
        }
        let seconds = begin.elapsed().as_secs_f64();
        let readings = u32::try_from(group * commits)?;
        println!(
            "{group:>6} readings a commit: {:>8.0} readings/s, {:>6.2} ms a commit, {:>6.2} ms the slowest",
            f64::from(readings) / seconds,
            seconds * 1e3 / f64::from(u32::try_from(commits)?),
            slowest * 1e3,
        );
        drop(writer);
        for end in ["", "-wal", "-shm", ".lock"] {
            std::fs::remove_file(format!("{}{end}", path.display())).ok();
        }
    }
    Ok(())
}

/// Reading number `n` is of sensor `n % 60`, at second `n / 60`: a newest value whose spike flag waits, and
/// behind it, as in the daemon, the settled one before it.
fn batch(site: &Site, first: usize, count: usize) -> Result<CommitBatch, Box<dyn Error>> {
    let mut readings = Vec::with_capacity(2 * count);
    for n in first..first + count {
        let sensor = site.sensors.get(n % site.sensors.len()).ok_or("a sensor")?;
        readings.push(assessed(sensor, n / site.sensors.len(), Flag::NotEvaluated)?);
        if let Some(before) = (n / site.sensors.len()).checked_sub(1) {
            readings.push(assessed(sensor, before, Flag::Pass)?);
        }
    }
    Ok(CommitBatch { readings, ..CommitBatch::default() })
}

fn assessed(sensor: &Sensor, second: usize, spike: Flag) -> Result<Assessed, Box<dyn Error>> {
    let at = Timestamp::from_second(1_808_000_000 + i64::try_from(second)?)?;
    Ok(Assessed {
        reading: Reading::new(sensor.id.clone(), at, 60.0 + f64::from(u32::try_from(second % 97)?) / 10.0),
        received_at: at,
        tests: TestFlags { spike, ..TestFlags::NOT_EVALUATED },
        flag: Flag::Pass,
    })
}

fn site_with(sensors: usize) -> Result<Site, Box<dyn Error>> {
    let mut site = claymark_invented::two_tanks();
    let pattern = site.sensors.first().ok_or("the site has a sensor")?.clone();
    site.sensors = (0..sensors)
        .map(|n| Ok(Sensor { id: Id::new(&format!("sensor-{n}"))?, ..pattern.clone() }))
        .collect::<Result<_, Box<dyn Error>>>()?;
    Ok(site)
}
