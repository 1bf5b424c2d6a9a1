//! What forwarding costs the intake: `cargo bench -p claymark-tests --bench forward`. No limit is asserted.
//!
//! Pairs of runs, with and without a forwarder, one after the other so that a busy machine is busy for both. The
//! release binary, a real broker and a real server share the machine. Goals: intake speed with the forwarder at
//! least 0.90 of that without, CPU time per reading at most 1.10, and no memory that grows with the backlog.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::time::Instant;

use claymark_tests::binary::Daemon;
use claymark_tests::broker::RunningBroker;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::victoria::Victoria;
use claymark_tests::wait::{free_port, wait_within};

/// What a run of the daemon took.
struct Run {
    readings_per_s: f64,
    cpu_s: f64,
    peak_kib: f64,
}

#[expect(clippy::print_stdout, reason = "a benchmark prints its result")]
fn main() {
    let server = Victoria::start();
    let (mut speeds, mut costs, mut peaks) = (Vec::new(), Vec::new(), Vec::new());
    for pair in 0..PAIRS {
        // Which comes first changes, so that neither always finds the warmer machine.
        let (with, without) = if pair % 2 == 0 {
            let with = run(Some(server.port()), true);
            (with, run(None, true))
        } else {
            let without = run(None, true);
            (run(Some(server.port()), true), without)
        };
        speeds.push(with.readings_per_s / without.readings_per_s);
        costs.push(with.cpu_s / without.cpu_s);
        let away = run(Some(free_port()), false);
        peaks.push(away.peak_kib / without.peak_kib);
        println!(
            "pair {pair}: {:.0} and {:.0} readings/s, CPU {:.2} and {:.2} s, peak {:.0}, {:.0} and (server away) {:.0} KiB",
            with.readings_per_s,
            without.readings_per_s,
            with.cpu_s,
            without.cpu_s,
            with.peak_kib,
            without.peak_kib,
            away.peak_kib,
        );
    }
    println!("intake speed, with / without: {:.3}", median(&mut speeds));
    println!("CPU per reading, with / without: {:.3}", median(&mut costs));
    println!("peak memory, server away / without: {:.3}", median(&mut peaks));
}

#[expect(clippy::disallowed_methods, reason = "a benchmark measures real time")]
fn run(influx: Option<u16>, drains: bool) -> Run {
    let broker = RunningBroker::start();
    let more = influx.map_or(String::new(), |port| {
        format!("[influx]\nurl = \"http://127.0.0.1:{port}\"\norg = \"o\"\nbucket = \"b\"\ntoken_file = \"influx.token\"")
    });
    let site = SiteFolder::new(broker.port(), "", &more);
    let token = site.dir().join("influx.token");
    fs::write(&token, "invented-token").expect("writable");
    fs::set_permissions(&token, fs::Permissions::from_mode(0o600)).expect("ours");
    let readings: Vec<_> = (0..READINGS).map(level).collect();
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let before = Instant::now();
    TestPublisher::connect(broker.port()).publish(&readings);
    let stored = || (site.readings("drum-a-level") == u64::from(READINGS)).then_some(());
    wait_within(LONG, "all is stored", stored);
    let seconds = before.elapsed().as_secs_f64();
    if influx.is_some() && drains {
        let drained = || (site.ask("SELECT count(*) FROM journal") == "0").then_some(());
        wait_within(LONG, "all is forwarded", drained);
    }
    let (cpu_s, peak_kib) = (daemon.cpu_s(), daemon.peak_kib());
    Run { readings_per_s: f64::from(READINGS) / seconds, cpu_s, peak_kib }
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

const PAIRS: u32 = 9;
const READINGS: u32 = 60_000;
const LONG: std::time::Duration = std::time::Duration::from_secs(300);
