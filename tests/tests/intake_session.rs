//! The session at the broker: secured, taken over, forgotten, refused; and our state, retained.

use std::fs;

use claymark_tests::binary::Daemon;
use claymark_tests::broker::{RunningBroker, Setup};
use claymark_tests::mqtt::{Listener, TestPublisher, options};
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::wait_for;

#[test]
fn user_and_password_and_tls_with_an_own_authority_work_in_both_protocols() {
    for protocol in ["5", "3.1.1"] {
        let setup =
            Setup { persistent: true, login: Some(("claymark", "clay")), tls: true, ..Setup::default() };
        let broker = RunningBroker::with(&setup);
        let mqtt = format!(
            "protocol = \"{protocol}\"\ntls = true\nca_file = \"{}\"\nuser = \"claymark\"\npassword_file = \"secret\"",
            broker.ca().display()
        );
        let site = SiteFolder::new(broker.port(), &mqtt, "");
        secret(&site, "clay");
        let daemon = Daemon::start(&site.file(), &site.log());
        daemon.says("watching");
        assert!(!fs::read_to_string(site.log()).unwrap().contains("clay\""), "a password stands in the log");
    }
}

#[test]
fn a_wrong_password_is_told_and_the_daemon_goes_on_trying() {
    let broker = RunningBroker::with(&Setup { login: Some(("claymark", "clay")), ..Setup::default() });
    let site = SiteFolder::new(broker.port(), "user = \"claymark\"\npassword_file = \"secret\"", "");
    secret(&site, "mud");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("no connection to 127.0.0.1");
    assert!(daemon.runs());
}

#[test]
fn a_certificate_of_a_stranger_is_not_trusted() {
    let broker = RunningBroker::with(&Setup { tls: true, ..Setup::default() });
    let stranger = RunningBroker::with(&Setup { tls: true, ..Setup::default() });
    let mqtt = format!("tls = true\nca_file = \"{}\"", stranger.ca().display());
    let site = SiteFolder::new(broker.port(), &mqtt, "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("invalid peer certificate");
}

#[test]
fn a_broker_that_forgot_our_session_makes_a_notice_and_the_first_connection_does_not() {
    let mut broker = RunningBroker::with(&Setup::default());
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    TestPublisher::connect(broker.port()).publish(&[level(0)]);
    wait_for("the reading is stored", || (site.readings("drum-a-level") == 1).then_some(()));
    assert_eq!(site.ask("SELECT count(*) FROM notice WHERE kind = 'readings-missing'"), "0");
    broker.stop();
    daemon.says("no connection");
    broker.run();
    daemon.says("had forgotten our session");
    wait_for("people are told", || {
        (site.ask("SELECT count(*) FROM notice WHERE kind = 'readings-missing'") == "1").then_some(())
    });
}

#[test]
fn a_session_lost_while_the_daemon_was_down_is_told_too() {
    let mut broker = RunningBroker::with(&Setup::default());
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    TestPublisher::connect(broker.port()).publish(&[level(0)]);
    wait_for("the session is known", || (site.ask("SELECT count(*) FROM session") == "1").then_some(()));
    daemon.kill();
    broker.stop();
    broker.run();
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("had forgotten our session");
}

#[test]
fn messages_sent_while_the_daemon_was_down_arrive_afterwards() {
    let mut broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    daemon.kill();
    let readings: Vec<_> = (0..200).map(level).collect();
    TestPublisher::connect(broker.port()).publish(&readings);
    broker.stop();
    broker.run();
    let _daemon = Daemon::start(&site.file(), &site.log());
    wait_for("all are stored", || (site.readings("drum-a-level") == 200).then_some(()));
}

/// Mosquitto 2.0.11 doesn't tell the client that another one has its id, it only closes the connection.
#[test]
fn another_client_with_our_id_is_an_alarm_and_not_a_tug_of_war() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    for _ in 0..3 {
        let before = subscriptions(&site);
        let mut other = options("other", broker.port());
        other.set_client_id("claymark".to_owned());
        TestPublisher::with(other).publish(&[level(0)]);
        wait_for("the daemon notices", || {
            let log = fs::read_to_string(site.log()).unwrap();
            (subscriptions(&site) > before || log.contains("another client uses")).then_some(())
        });
    }
    daemon.says("probably another client uses our client id");
    assert_eq!(subscriptions(&site), 3, "it waits before it throws the other out once more");
}

fn subscriptions(site: &SiteFolder) -> usize {
    fs::read_to_string(site.log()).unwrap_or_default().matches("watching: subscribed").count()
}

#[test]
fn a_subscription_that_the_broker_refuses_is_told() {
    let broker = RunningBroker::with(&Setup {
        // Debian's path; without any role nobody may subscribe to anything.
        more: "plugin /usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so\n\
               plugin_opt_config_file {dir}/rights.json",
        rights: Some(
            r#"{"defaultACLAccess":{"publishClientSend":true,"publishClientReceive":true,"subscribe":false,"unsubscribe":true},"clients":[],"groups":[],"roles":[]}"#,
        ),
        ..Setup::default()
    });
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("the broker refuses a subscription");
    daemon.says("farm/#");
}

#[test]
fn our_state_stands_retained_while_we_watch_after_a_stop_and_after_a_crash() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let topic = "claymark/test-site/status";
    let mut daemon = Daemon::start(&site.file(), &site.log());
    let mut listener = Listener::subscribe(broker.port(), topic);
    listener.hears(|heard| heard.payload.contains(r#""state":"watching""#));
    daemon.signal("TERM");
    listener.hears(|heard| heard.payload.contains(r#""state":"stopped""#));
    assert_eq!(daemon.ends().code(), Some(0));
    let late = Listener::subscribe(broker.port(), topic).hears(|heard| heard.retained);
    assert!(late.payload.contains("stopped"), "{}", late.payload);

    let daemon = Daemon::start(&site.file(), &site.log());
    listener.hears(|heard| heard.payload.contains("watching"));
    daemon.kill();
    // The last will, after its delay.
    listener.hears(|heard| heard.payload.contains("stopped"));
}

#[test]
fn the_forecast_of_a_drum_that_left_the_site_file_is_cleared_at_the_broker() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    daemon.kill();
    site.change("INSERT INTO forecast (at, about, id, in_use, why) VALUES (0, 'drum', 'old', 1, 'test')");
    let topic = "claymark/test-site/drum/old/forecast";
    TestPublisher::connect(broker.port()).publish_retained(topic, "{}");
    let mut listener = Listener::subscribe(broker.port(), topic);
    listener.hears(|heard| heard.retained && heard.payload == "{}");
    let _daemon = Daemon::start(&site.file(), &site.log());
    listener.hears(|heard| heard.payload.is_empty());
}

fn secret(site: &SiteFolder, password: &str) {
    use std::os::unix::fs::PermissionsExt;
    let file = site.dir().join("secret");
    fs::write(&file, password).expect("writable");
    fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).expect("it is ours");
}
