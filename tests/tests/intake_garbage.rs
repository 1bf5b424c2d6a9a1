//! What can't be used stands in quarantine and never stops the rest.

use claymark_tests::binary::Daemon;
use claymark_tests::broker::RunningBroker;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::wait_for;

/// Topic, payload, reason.
fn garbage() -> Vec<(&'static str, Vec<u8>, &'static str)> {
    let level = "farm/drum/a/level";
    let temperature = "farm/t1/temperature";
    let turbidity = "farm/t1/turbidity";
    let future = r#"{"v":1,"t":"2999-01-01T00:00:00Z"}"#;
    let senml_unit = r#"[{"n":"urn:dev:test:t1:turbidity","u":"furlong","v":1,"t":1790000000}]"#;
    vec![
        ("farm/nobody/knows", b"1".to_vec(), "unknown-topic"),
        (temperature, vec![0xff, 0xfe, 0x00, 0x80], "not-utf8"),
        (temperature, b"warm".to_vec(), "not-a-number"),
        (temperature, b"NaN".to_vec(), "not-finite"),
        (temperature, b"1e999".to_vec(), "out-of-number-range"),
        (temperature, Vec::new(), "not-a-number"),
        (level, b"{\"v\":".to_vec(), "bad-json"),
        (level, b"{\"t\":\"2026-10-01T00:00:00Z\"}".to_vec(), "missing-field"),
        (level, b"{\"v\":1,\"t\":\"yesterday\"}".to_vec(), "bad-time"),
        (level, future.as_bytes().to_vec(), "future-time"),
        (turbidity, br#"[{"n":"urn:dev:test:t1:turbidity","v":"clear"}]"#.to_vec(), "bad-senml"),
        (turbidity, senml_unit.as_bytes().to_vec(), "unknown-unit"),
        ("claymark/test-site/log", b"{\"kind\":\"dance\"}".to_vec(), "bad-log-entry"),
        ("claymark/test-site/answer", b"yes".to_vec(), "bad-answer"),
        (level, noise(1024 * 1024), "too-large"),
    ]
}

/// Bytes that look like nothing, the same each time (a linear congruential generator).
fn noise(length: usize) -> Vec<u8> {
    let mut state: u32 = 1;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state.to_be_bytes()[0]
    };
    (0..length).map(|_| next()).collect()
}

#[test]
fn every_kind_of_garbage_stands_in_quarantine_with_its_reason_and_good_readings_pass() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());
    let garbage = garbage();
    for (n, (topic, payload, _)) in (0..).zip(&garbage) {
        publisher.publish(&[((*topic).to_owned(), payload.clone()), level(n)]);
    }
    let good = garbage.len() as u64;
    wait_for("the good readings are stored", || (site.readings("drum-a-level") == good).then_some(()));
    wait_for("the garbage is kept aside", || {
        (site.ask("SELECT count(*) FROM quarantine") == good.to_string()).then_some(())
    });
    let found = site.ask("SELECT reason FROM quarantine ORDER BY number");
    let expected: Vec<_> = garbage.iter().map(|(.., reason)| *reason).collect();
    assert_eq!(found.lines().collect::<Vec<_>>(), expected);
    assert_eq!(site.ask("SELECT max(payload_length) FROM quarantine"), (1024 * 1024).to_string());

    // All of it was acknowledged: the broker has nothing left for us.
    daemon.kill();
    let daemon = Daemon::start(&site.file(), &site.log());
    publisher.publish(&[level(5000)]);
    wait_for("the next reading is stored", || (site.readings("drum-a-level") == good + 1).then_some(()));
    assert_eq!(site.ask("SELECT count(*) FROM quarantine"), good.to_string());
    daemon.kill();
}

#[test]
fn a_message_larger_than_accepted_is_fetched_once_for_the_quarantine_and_the_rest_goes_on() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "protocol = \"3.1.1\"\nmax_packet_bytes = 65536", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());
    publisher.publish(&[level(0), ("farm/drum/a/level".to_owned(), noise(200_000)), level(1)]);
    wait_for("both readings are stored", || (site.readings("drum-a-level") == 2).then_some(()));
    assert_eq!(site.ask("SELECT reason, payload_length FROM quarantine"), "too-large|200000");
}

#[test]
fn with_mqtt_5_the_broker_drops_a_message_that_is_too_large_and_the_rest_goes_on() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "max_packet_bytes = 65536", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());
    publisher.publish(&[level(0), ("farm/drum/a/level".to_owned(), noise(200_000)), level(1)]);
    wait_for("both readings are stored", || (site.readings("drum-a-level") == 2).then_some(()));
}
