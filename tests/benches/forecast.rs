//! The forecast against its peers, on simulated seasons: `cargo bench -p claymark-tests --bench forecast`.
//!
//! ```text
//! --quick                 six days less than half a season, no reference library: for tuning
//! --simulator 1|2         mechanistic (default) or drifting
//! --rooms calm,noisy      all four unless said
//! --seeds 1..8            the judging seeds unless said
//! --days 40
//! --trace calm:3 FILE     one season's forecasts beside the truth, as CSV, and nothing else
//! --json FILE             each score as a line of JSON
//! --worst 10              so many of the worst forecasts, each with its place
//! --nights                the nights of the real room, and nothing else
//! ```
//!
//! It prints and asserts nothing; what must hold stands in `tests/tests/forecast_*.rs`.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

#[path = "forecast/nights.rs"]
mod nights;
#[path = "forecast/options.rs"]
mod options;
#[path = "forecast/table.rs"]
mod table;
#[path = "forecast/trace.rs"]
mod trace;

use claymark_tests::contest::play::{Played, Whom};
use claymark_tests::contest::spread::ErrorSpread;
use claymark_tests::contest::{Bill, play_all};
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::seeds;
use options::Options;

fn main() {
    let options = match Options::read(std::env::args().skip(1)) {
        Ok(options) => options,
        Err(mistake) => {
            println!("{mistake}");
            std::process::exit(2);
        }
    };
    if let Some((room, seed, file)) = &options.trace {
        trace::write(&options, *room, *seed, file);
        return;
    }
    let bill = Bill {
        by: options.simulator,
        rooms: options.rooms.clone(),
        seeds: options.seeds.clone(),
        days: options.days,
    };
    if options.nights {
        nights::print(&options);
        return;
    }
    let mut played = play_all(&bill, Whom { watch: true, kalman: !options.quick });
    let peers: Vec<u64> = if options.quick { seeds::PEERS.take(1).collect() } else { seeds::PEERS.collect() };
    let others = Bill { rooms: RoomKind::ALL.to_vec(), seeds: peers, ..bill };
    let learned = play_all(&others, Whom { watch: false, kalman: !options.quick });
    let spread = ErrorSpread::learn(learned.iter().flat_map(|played: &Played| &played.cases));
    played.iter_mut().flat_map(|played| &mut played.cases).for_each(|case| spread.lend(case));
    table::print(&options, &played);
}
