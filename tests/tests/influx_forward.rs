//! What the store keeps reaches another server once, through outages and kill -9.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;

use claymark_tests::binary::Daemon;
use claymark_tests::broker::RunningBroker;
use claymark_tests::metrics::metrics;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::SiteFolder;
use claymark_tests::victoria::Victoria;
use claymark_tests::wait::{free_port, wait_for};

#[test]
fn a_week_arrives_once_though_the_server_stops_and_the_daemon_is_killed() {
    let (broker, mut server, metrics_port) = (RunningBroker::start(), Victoria::start(), free_port());
    let site = site(&broker, &server, metrics_port);
    let mut publisher = TestPublisher::connect(broker.port());
    let week: Vec<_> = (0..WEEK).map(level).collect();
    let (first, rest) = week.split_at(week.len() / 3);
    let (second, third) = rest.split_at(rest.len() / 2);

    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    publisher.publish(first);
    wait_for("the first points have arrived", || (!values(&server).is_empty()).then_some(()));
    publisher.publish(&second[..second.len() / 2]);
    server.stop();
    publisher.publish(&second[second.len() / 2..]);
    daemon.kill();

    // The server stays away: the next daemon has to wait, and dies waiting.
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("what is kept can't be forwarded now");
    daemon.kill();

    server.run();
    publisher.publish(third);
    for _ in 0..3 {
        // Each dies somewhere between reading a page and noting that it went.
        let daemon = Daemon::start(&site.file(), &site.log());
        let before = waiting(&site);
        wait_for("a part is forwarded", || (waiting(&site) != before).then_some(()));
        daemon.kill();
    }
    let _daemon = Daemon::start(&site.file(), &site.log());
    wait_for("the week is stored", || (site.readings("drum-a-level") == u64::from(WEEK)).then_some(()));
    wait_for("nothing waits any more", || (waiting(&site) == 0).then_some(()));

    let arrived = values(&server);
    let sent: BTreeMap<i64, f64> =
        (0..WEEK).map(|n| (START_S * 1000 + i64::from(n) * 30_000, height(n))).collect();
    assert_eq!(arrived.len(), sent.len());
    let first_wrong = sent.iter().find(|(at, value)| arrived.get(at) != Some(value));
    assert_eq!(first_wrong, None, "as sent");
    assert_eq!(site.ask("SELECT count(*) FROM rejected"), "0");
    wait_for("the metrics say so", || {
        let page = metrics(metrics_port);
        (page.contains("claymark_forward_works 1")
            && !page.contains("claymark_forward_oldest_time_seconds 1"))
        .then_some(())
    });
}

/// The level's values by time. A series given twice or a time in it twice would be a double.
fn values(server: &Victoria) -> BTreeMap<i64, f64> {
    let mut all = BTreeMap::new();
    for series in server.export("reading_value", START_S, START_S + 8 * 86_400) {
        assert_eq!(series.metric.get("sensor").map(String::as_str), Some("drum-a-level"));
        assert_eq!(series.metric.get("place").map(String::as_str), Some("drum:a"));
        assert_eq!(series.metric.get("site").map(String::as_str), Some("test-site"));
        for (at, value) in series.timestamps.into_iter().zip(series.values) {
            assert_eq!(all.insert(at, value), None, "{at} is there twice");
        }
    }
    all
}

/// Entries of the journal.
fn waiting(site: &SiteFolder) -> u64 {
    site.ask("SELECT count(*) FROM journal").parse().unwrap_or(0)
}

fn site(broker: &RunningBroker, server: &Victoria, metrics_port: u16) -> SiteFolder {
    let more = format!(
        "[influx]\nurl = \"http://127.0.0.1:{}\"\norg = \"hatchery\"\nbucket = \"claymark\"\ntoken_file = \"influx.token\"\n\
         [metrics]\nlisten = \"127.0.0.1:{metrics_port}\"",
        server.port()
    );
    let site = SiteFolder::new(broker.port(), "", &more);
    let token = site.dir().join("influx.token");
    fs::write(&token, "invented-token\n").expect("writable");
    fs::set_permissions(&token, fs::Permissions::from_mode(0o600)).expect("ours");
    site
}

/// A level each half minute; `n` counts them.
fn level(n: u32) -> (String, Vec<u8>) {
    let at = jiff::Timestamp::from_second(START_S + i64::from(n) * 30).expect("in range");
    ("farm/drum/a/level".to_owned(), format!(r#"{{"v":{},"t":"{at}"}}"#, height(n)).into_bytes())
}

/// A drum that is drawn down and refilled each day, mm; in eighths, which the server keeps exactly.
fn height(n: u32) -> f64 {
    700.0 - f64::from(n % 2880) * 0.125
}

/// 2026-10-05T00:00:00Z.
const START_S: i64 = 1_791_158_400;
/// Seven days.
const WEEK: u32 = 7 * 2880;
