//! Readings that come slowly share a commit; nobody who waits for the disk waits for them, nothing is lost
//! meanwhile, and the broker is never kept from delivering.

use std::time::Duration;

use claymark_tests::binary::Daemon;
use claymark_tests::broker::{RunningBroker, Setup};
use claymark_tests::metrics::metric;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::{free_port, wait_for, wait_within};

/// A daemon whose metrics tell what it has seen, at a broker.
struct CountingDaemon {
    _broker: RunningBroker,
    site: SiteFolder,
    metrics: u16,
    publisher: TestPublisher,
    sent: u32,
    entries: u32,
}

#[test]
fn slow_readings_share_a_commit_and_are_stored_without_another_message() {
    let mut barn = CountingDaemon::new(&Setup { persistent: true, ..Setup::default() }, "", "3 s");
    let _daemon = barn.daemon();
    barn.show_the_window();
    let before = barn.commits();
    for _ in 0..SLOW {
        barn.publish(1);
        barn.all_seen();
    }
    barn.all_stored();
    let commits = barn.commits() - before;
    assert!(commits <= f64::from(SLOW / 2), "{commits} commits for {SLOW} readings");
}

#[test]
fn without_a_wait_each_reading_is_stored_at_once() {
    let mut barn = CountingDaemon::new(&Setup { persistent: true, ..Setup::default() }, "", "0 s");
    let _daemon = barn.daemon();
    let before = barn.commits();
    for _ in 0..SLOW {
        barn.publish(1);
        barn.all_stored();
    }
    let enough = || (barn.commits() - before >= f64::from(SLOW)).then_some(());
    wait_for("each reading had its own commit", enough);
}

/// Without the entry the readings would wait for a minute.
#[test]
fn an_entry_goes_at_once_and_takes_along_what_is_in_hand() {
    let mut barn = CountingDaemon::new(&Setup { persistent: true, ..Setup::default() }, "", "1 min");
    let _daemon = barn.daemon();
    barn.show_the_window();
    for _ in 0..4 {
        barn.publish(1);
        barn.all_seen();
    }
    barn.write_down();
    let sql =
        format!("SELECT count(*) FROM reading WHERE (SELECT count(*) FROM field_log) = {}", barn.entries);
    let with_it = wait_within(BEFORE_THE_WAIT_IS_OVER, "the entry is stored", || {
        let readings = barn.site.ask(&sql);
        (readings != "0" && !readings.is_empty()).then_some(readings)
    });
    assert_eq!(with_it, barn.sent.to_string(), "the readings before it are in the same commit");
}

/// A broker delivers nothing more while as many messages as it allows are open: were they left to wait, what
/// comes behind them wouldn't even be decided on. Mosquitto's usual 20; and one at a time, as the careful set it.
#[test]
fn a_broker_that_leaves_few_messages_open_delivers_on() {
    for protocol in ["3.1.1", "5"] {
        for (window, messages) in [(20, 200), (10, 100), (1, 20)] {
            let more = format!("max_inflight_messages {window}");
            let setup = Setup { persistent: true, more: &more, ..Setup::default() };
            let mut barn = CountingDaemon::new(&setup, &format!("protocol = \"{protocol}\""), "1 min");
            let _daemon = barn.daemon();
            barn.publish(messages);
            wait_within(BEFORE_THE_WAIT_IS_OVER, "the broker delivers everything", || {
                barn.newest_is_seen().then_some(())
            });
            // Mosquitto leaves more open while it works off a queue than it does afterwards.
            for _ in 0..window + 5 {
                barn.publish(1);
            }
            wait_within(BEFORE_THE_WAIT_IS_OVER, "the broker delivers everything", || {
                barn.newest_is_seen().then_some(())
            });
        }
    }
}

#[test]
fn kill_minus_nine_while_readings_wait_loses_and_doubles_nothing() {
    let mut barn = CountingDaemon::new(&Setup { persistent: true, ..Setup::default() }, "", "1 min");
    let mut daemon = barn.daemon();
    barn.show_the_window();
    let mut waited = 0;
    for _ in 0..4 {
        for _ in 0..5 {
            barn.publish(1);
            barn.all_seen();
        }
        waited += u64::from(barn.sent) - barn.site.readings(LEVEL);
        daemon.kill();
        daemon = barn.daemon();
        // The broker delivers again what was open, and this takes it along.
        wait_for("all are stored", || {
            barn.write_down();
            (barn.site.readings(LEVEL) == u64::from(barn.sent)).then_some(())
        });
    }
    assert!(waited > 0, "none was waiting when the daemon was killed");
    let once = barn.site.ask("SELECT count(*) = count(DISTINCT sensor || ' ' || at) FROM reading");
    assert_eq!(once, "1");
    assert_eq!(barn.site.ask("SELECT count(*) FROM quarantine"), "0");
}

#[test]
fn a_stop_stores_what_waits() {
    let mut barn = CountingDaemon::new(&Setup { persistent: true, ..Setup::default() }, "", "1 min");
    let mut daemon = barn.daemon();
    barn.show_the_window();
    barn.publish(5);
    barn.all_seen();
    daemon.signal("TERM");
    assert!(daemon.ends_within(BEFORE_THE_WAIT_IS_OVER).success());
    assert_eq!(barn.site.readings(LEVEL), u64::from(barn.sent));
}

impl CountingDaemon {
    fn new(setup: &Setup<'_>, mqtt: &str, gather: &str) -> Self {
        let broker = RunningBroker::with(setup);
        let metrics = free_port();
        let site =
            SiteFolder::new(broker.port(), mqtt, &format!("[metrics]\nlisten = \"127.0.0.1:{metrics}\""));
        site.gather(gather);
        let publisher = TestPublisher::connect(broker.port());
        Self { _broker: broker, site, metrics, publisher, sent: 0, entries: 0 }
    }

    fn daemon(&self) -> Daemon {
        let daemon = Daemon::start(&self.site.file(), &self.site.log());
        wait_for("it watches", || (metric(self.metrics, "claymark_watching") == Some(1.0)).then_some(()));
        daemon
    }

    /// So many messages at a time that the daemon sees how many this broker leaves open; an entry ends the wait.
    fn show_the_window(&mut self) {
        self.publish(200);
        self.all_seen();
        self.write_down();
        self.all_stored();
    }

    fn publish(&mut self, messages: u32) {
        let levels: Vec<_> = (self.sent..self.sent + messages).map(level).collect();
        self.publisher.publish(&levels);
        self.sent += messages;
    }

    fn write_down(&mut self) {
        self.entries += 1;
        let entry =
            format!(r#"{{"kind":"note","at":"2026-10-01T10:00:00Z","text":"look {}"}}"#, self.entries);
        self.publisher.publish(&[("claymark/test-site/log".to_owned(), entry.into_bytes())]);
    }

    /// Messages come in order, so with the newest all have been decided on.
    fn all_seen(&self) {
        wait_for("the newest reading is seen", || self.newest_is_seen().then_some(()));
    }

    fn newest_is_seen(&self) -> bool {
        let newest = metric(self.metrics, "claymark_sensor_time_seconds{sensor=\"drum-a-level\"}");
        // 2026-10-01T00:00:00Z, where `level` begins to count.
        newest == Some(1_790_812_800.0 + f64::from(self.sent - 1))
    }

    fn all_stored(&self) {
        wait_for("all are stored", || (self.site.readings(LEVEL) == u64::from(self.sent)).then_some(()));
    }

    fn commits(&self) -> f64 {
        wait_for("the metrics answer", || metric(self.metrics, "claymark_commits_total"))
    }
}

const LEVEL: &str = "drum-a-level";
const SLOW: u32 = 24;

/// Where readings wait for a minute.
const BEFORE_THE_WAIT_IS_OVER: Duration = Duration::from_secs(40);
