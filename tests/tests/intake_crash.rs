//! A daemon that is killed loses nothing and stores nothing twice.

use claymark_tests::binary::Daemon;
use claymark_tests::broker::RunningBroker;
use claymark_tests::metrics::metrics;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::{free_port, wait_for};

#[test]
fn kill_minus_nine_in_the_middle_of_the_stream_loses_and_doubles_nothing() {
    for protocol in ["5", "3.1.1"] {
        let broker = RunningBroker::start();
        let site = SiteFolder::new(broker.port(), &format!("protocol = \"{protocol}\""), "");
        let mut publisher = TestPublisher::connect(broker.port());
        let daemon = Daemon::start(&site.file(), &site.log());
        daemon.says("watching");
        daemon.kill();
        let readings: Vec<_> = (0..KILLS * READINGS_PER_KILL).map(level).collect();
        for some in readings.chunks(READINGS_PER_KILL as usize) {
            let daemon = Daemon::start(&site.file(), &site.log());
            publisher.publish(&some[..some.len() / 2]);
            // The daemon is somewhere between connecting and its last commit, another place each time.
            wait_for("a part is stored", || (site.readings("drum-a-level") > 0).then_some(()));
            publisher.publish(&some[some.len() / 2..]);
            daemon.kill();
        }
        let _daemon = Daemon::start(&site.file(), &site.log());
        let all = u64::from(KILLS * READINGS_PER_KILL);
        wait_for("every reading is stored", || (site.readings("drum-a-level") == all).then_some(()));
        let once = site.ask("SELECT count(*) = count(DISTINCT sensor || ' ' || at) FROM reading");
        assert_eq!(once, "1", "MQTT {protocol}");
        assert_eq!(site.ask("SELECT count(*) FROM quarantine"), "0", "MQTT {protocol}");
    }
}

/// A library loop that writes one acknowledgement for ten messages read left tens of thousands open here,
/// and had to break the connection: everything came again, several times.
#[test]
fn a_long_backlog_comes_in_once() {
    let broker = RunningBroker::start();
    let port = free_port();
    let site = SiteFolder::new(broker.port(), "", &format!("[metrics]\nlisten = \"127.0.0.1:{port}\""));
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    daemon.kill();
    let backlog: Vec<_> = (0..BACKLOG).map(level).collect();
    TestPublisher::connect(broker.port()).publish(&backlog);
    let _daemon = Daemon::start(&site.file(), &site.log());
    let all = u64::from(BACKLOG);
    wait_for("the backlog is stored", || (site.readings("drum-a-level") == all).then_some(()));
    let metrics = metrics(port);
    assert!(metrics.contains(&format!("claymark_messages_total {BACKLOG}\n")), "{metrics}");
    assert!(metrics.contains("claymark_readings_repeated_total 0\n"), "{metrics}");
}

#[test]
fn a_second_daemon_on_the_same_store_is_refused_in_plain_words() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let first = Daemon::start(&site.file(), &site.log());
    first.says("watching");
    let log = site.dir().join("second.log");
    let mut second = Daemon::start(&site.file(), &log);
    assert_eq!(second.ends().code(), Some(1));
    second.says("is already writing to");
}

const BACKLOG: u32 = 60_000;
const KILLS: u32 = 6;
const READINGS_PER_KILL: u32 = 1000;
