//! Another client with our name, and a broker that is only slow: each is told as what it is.

use std::fs;

use claymark_tests::binary::Daemon;
use claymark_tests::broker::{RunningBroker, Setup};
use claymark_tests::mqtt::{TestPublisher, options};
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::wait_for;

/// Mosquitto 2.0.11 closes the connection without a word to it, in MQTT 5 too.
#[test]
fn another_client_with_our_name_is_told_with_what_is_missing_and_waited_out() {
    for protocol in ["5", "3.1.1"] {
        let broker = RunningBroker::start();
        let site = SiteFolder::new(broker.port(), &format!("protocol = \"{protocol}\""), "");
        let daemon = Daemon::start(&site.file(), &site.log());
        daemon.says("watching");
        for round in 1..=3 {
            // A new client each time: it connects whenever the daemon has thrown the one before out.
            wait_for("the daemon is subscribed", || {
                (count(&site, "watching: subscribed") == round).then_some(())
            });
            let mut other = options("other", broker.port());
            other.set_client_id("claymark".to_owned());
            TestPublisher::with(other).publish(&[level(0)]);
        }
        daemon.says("probably another client uses our client id");
        let told =
            "SELECT count(*) FROM notice WHERE kind = 'readings-missing' AND facts LIKE '%taken-over%'";
        wait_for("people are told", || (site.ask(told) == "1").then_some(()));
        // After its pause it has its name again, and what is sent from then on arrives.
        wait_for("it watches again", || (count(&site, "watching: subscribed") == 4).then_some(()));
        TestPublisher::connect(broker.port()).publish(&[level(1)]);
        wait_for("readings come in", || (site.readings("drum-a-level") >= 1).then_some(()));
        assert_eq!(site.ask("SELECT count(*) FROM notice WHERE facts LIKE '%session-lost%'"), "0");
    }
}

#[test]
fn a_broker_that_is_paused_is_told_as_slow_and_nobody_else_is_blamed() {
    for protocol in ["5", "3.1.1"] {
        let broker = RunningBroker::start();
        let site = SiteFolder::new(broker.port(), &format!("protocol = \"{protocol}\""), "");
        broker.signal("STOP");
        let daemon = Daemon::start(&site.file(), &site.log());
        // Each attempt leaves a connection behind that the broker finds when it goes on.
        let silent = "the broker takes the connection and doesn't answer";
        wait_for("it tried three times", || (count(&site, silent) >= 3).then_some(()));
        broker.signal("CONT");
        daemon.says("watching: subscribed");
        TestPublisher::connect(broker.port()).publish(&[level(0)]);
        wait_for("readings come in", || (site.readings("drum-a-level") == 1).then_some(()));
        nobody_is_blamed(&site);
    }
}

#[test]
fn a_broker_that_stops_answering_while_we_watch_is_told_as_slow() {
    // A short keep-alive, which MQTT 5 brokers may ask for.
    let broker =
        RunningBroker::with(&Setup { persistent: true, more: "max_keepalive 10", ..Setup::default() });
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    broker.signal("STOP");
    daemon.says("the broker doesn't answer any more");
    broker.signal("CONT");
    wait_for("it watches again", || (count(&site, "watching: subscribed") >= 2).then_some(()));
    TestPublisher::connect(broker.port()).publish(&[level(0)]);
    wait_for("readings come in", || (site.readings("drum-a-level") == 1).then_some(()));
    nobody_is_blamed(&site);
}

fn count(site: &SiteFolder, text: &str) -> usize {
    fs::read_to_string(site.log()).unwrap_or_default().matches(text).count()
}

fn nobody_is_blamed(site: &SiteFolder) {
    assert_eq!(count(site, "another client"), 0, "{}", fs::read_to_string(site.log()).unwrap_or_default());
    assert_eq!(site.ask("SELECT count(*) FROM notice WHERE facts LIKE '%taken-over%'"), "0");
}
