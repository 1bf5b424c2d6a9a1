//! What a drum under watch costs: `cargo bench -p claymark-tests --bench drum_cost`. No limit is asserted.
//!
//! Times are of the processor, not of the clock on the wall, so that a busy machine doesn't change them; beside
//! each stands what Theil and Sen's slope once a minute costs on the same readings.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

use std::alloc::System;
use std::hint::black_box;
use std::time::Duration;

use claymark_drum::DrumWatch;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::Site;
use claymark_tests::contest::peers::DrumHistory;
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::{DAYS, Season, SeasonArrival, SeasonNews, Simulator, seeds, start};
use cpu_time::ThreadTime;
use jiff::{SignedDuration, Timestamp};
use stats_alloc::{INSTRUMENTED_SYSTEM, Region, StatsAlloc};

#[global_allocator]
static ALLOCATOR: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

fn main() {
    let seed = *seeds::TUNING.start();
    let season = Simulator::Mechanistic.season(RoomKind::Noisy, seed, DAYS);
    let drum = season.site.drums.first().expect("a season has drums").id.clone();
    let begin = ThreadTime::now();
    let watch = replayed(&season, &drum);
    let ours = begin.elapsed();
    println!("replay of {DAYS} days of one drum, a reading a minute: {:.2} s", ours.as_secs_f64());
    let begin = ThreadTime::now();
    theil_sen(&season);
    let theirs = begin.elapsed();
    println!(
        "Theil-Sen each minute on the same: {:.2} s, ratio {:.2}",
        theirs.as_secs_f64(),
        ratio(ours, theirs)
    );
    let region = Region::new(ALLOCATOR);
    drop(watch);
    let heap = region.change().bytes_deallocated;
    println!("state of that drum: {heap} bytes on the heap and {} beside", size_of::<DrumWatch>());
    let share = share_of_core(&season);
    println!("{DRUMS} drums at a reading a second: {:.2} % of a core", share * 100.0);
}

/// One drum that has heard the whole season.
fn replayed(season: &Season, drum: &claymark_model::id::Id) -> DrumWatch {
    let mut watch = DrumWatch::new(&season.site, drum).expect("the site has this drum");
    let mut next = start();
    for SeasonArrival { at, news } in &season.heard {
        while next <= *at {
            watch.advance(next);
            black_box(watch.forecast(next));
            next += SignedDuration::from_mins(10);
        }
        match news {
            SeasonNews::Reading(assessed) => watch.reading(*at, assessed),
            SeasonNews::Log(entry) => watch.log(*at, entry),
        }
        watch.take_happenings();
    }
    watch
}

fn theil_sen(season: &Season) {
    let mut history = DrumHistory::new(&season.site, 0);
    let sensor = season.site.sensors.first().map(|sensor| sensor.id.clone());
    for SeasonArrival { news, .. } in &season.heard {
        let SeasonNews::Reading(assessed) = news else { continue };
        if Some(&assessed.reading.sensor) == sensor.as_ref() {
            let own = assessed.reading.at.duration_since(start()).as_secs_f64() / 3600.0;
            history.reading(own, assessed);
            black_box(history.theil_sen(own));
        }
    }
}

/// Many drums, each with a day behind it, through ten minutes of readings a second and a forecast.
fn share_of_core(season: &Season) -> f64 {
    let drum = season.site.drums.first().expect("a season has drums").id.clone();
    let day = start() + SignedDuration::from_hours(36);
    let mut warm = DrumWatch::new(&season.site, &drum).expect("the site has this drum");
    for SeasonArrival { at, news } in season.heard.iter().take_while(|heard| heard.at < day) {
        match news {
            SeasonNews::Reading(assessed) => warm.reading(*at, assessed),
            SeasonNews::Log(entry) => warm.log(*at, entry),
        }
    }
    let mut watches: Vec<DrumWatch> = (0..DRUMS).map(|_| warm.clone()).collect();
    let begin = ThreadTime::now();
    for second in 0..SECONDS {
        let now = day + SignedDuration::from_secs(second);
        let reading = reading(&season.site, now, second);
        for watch in &mut watches {
            watch.reading(now, &reading);
            if second % 600 == 599 {
                watch.advance(now);
                black_box(watch.forecast(now));
            }
            watch.take_happenings();
        }
    }
    begin.elapsed().as_secs_f64() / Duration::from_secs(SECONDS.unsigned_abs()).as_secs_f64()
}

fn reading(site: &Site, now: Timestamp, second: i64) -> Assessed {
    let sensor = site.sensors.first().expect("a season has gauges");
    let noise = f64::from(u32::try_from(second * 7919 % 97).unwrap_or(0)) / 50.0;
    let level = 500.0 - f64::from(u32::try_from(second).unwrap_or(0)) * 0.009 + noise;
    let value = sensor.mount_height.map_or(level, |height| height.0 - level);
    let reading = Reading::new(sensor.id.clone(), now, value);
    Assessed { reading, received_at: now, tests: TestFlags::NOT_EVALUATED, flag: Flag::Pass }
}

fn ratio(ours: Duration, theirs: Duration) -> f64 {
    ours.as_secs_f64() / theirs.as_secs_f64()
}

const DRUMS: usize = 200;
/// Seconds that are simulated.
const SECONDS: i64 = 1200;
