//! A notice that a server refuses: told to others, counted, and at the broker when nobody was reached.

use std::fs;

use claymark_tests::binary::Daemon;
use claymark_tests::broker::{RunningBroker, Setup};
use claymark_tests::mail::MailServer;
use claymark_tests::metrics::metrics;
use claymark_tests::mqtt::{Listener, TestPublisher, options};
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::{free_port, wait_for};

/// Two more contacts, by mail only, beside the one who listens at the broker.
fn with_mail(mail: u16, metrics: u16) -> String {
    format!(
        r#"
[metrics]
listen = "127.0.0.1:{metrics}"

[email]
host = "127.0.0.1"
port = {mail}
security = "none"
from = "claymark@barn.example"

[[contact]]
id = "ann"
name = "Ann (invented)"
email = "ann@barn.example"
"#
    )
}

/// Makes a notice: another client takes our name three times.
fn take_the_name(site: &SiteFolder, broker: &RunningBroker, daemon: &Daemon) {
    let subscribed =
        || fs::read_to_string(site.log()).unwrap_or_default().matches("watching: subscribed").count();
    let before = subscribed();
    for round in 0..3 {
        wait_for("the daemon is subscribed", || (subscribed() == before + round).then_some(()));
        let mut other = options("other", broker.port());
        other.set_client_id("claymark".to_owned());
        TestPublisher::with(other).publish(&[level(0)]);
    }
    daemon.says("probably another client uses our client id");
}

#[test]
fn who_listens_at_the_broker_hears_that_a_mail_was_refused_and_what_it_said() {
    let broker = RunningBroker::start();
    let mail = MailServer::start(&["--rcpt", "550 5.1.1 nobody of that name"]);
    let port = free_port();
    let site = SiteFolder::new(broker.port(), "", &with_mail(mail.port(), port));
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut duty = Listener::subscribe(broker.port(), "claymark/test-site/notice/duty");
    take_the_name(&site, &broker, &daemon);
    assert_eq!(mail.refusal(), "550 5.1.1 nobody of that name");
    let told = duty.hears(|heard| heard.payload.contains(r#""kind":"undelivered""#)).payload;
    for expected in
        ["Not reached: Ann (invented)", "nobody of that name", "Another program has Claymark's name"]
    {
        assert!(told.contains(expected), "{expected}: {told}");
    }
    let counted = "claymark_notices_undelivered_total 1\n";
    let text = wait_for("it is counted", || Some(metrics(port)).filter(|text| text.contains(counted)));
    assert!(text.contains("claymark_nobody_reached 0\n"), "{text}");
    assert_eq!(mail.mails(), []);
}

#[test]
fn what_reached_nobody_stands_at_the_broker_and_in_the_metrics_until_somebody_is_reached() {
    let mut broker = RunningBroker::with(&Setup::default());
    let mail = MailServer::start(&["--rcpt", "550 5.7.1 relaying denied;250 OK"]);
    let port = free_port();
    let site = SiteFolder::new(broker.port(), "", "");
    let by_mail = |text: String| text.replace("mqtt = true", "email = \"duty@barn.example\"");
    let more = with_mail(mail.port(), port);
    let (more, _second_contact) = more.split_once("[[contact]]").unwrap();
    fs::write(site.file(), format!("{}\n{more}", by_mail(fs::read_to_string(site.file()).unwrap()))).unwrap();
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    TestPublisher::connect(broker.port()).publish(&[level(0)]);
    wait_for("the reading is stored", || (site.readings("drum-a-level") == 1).then_some(()));
    // A broker that forgets everything makes the first notice.
    broker.stop();
    daemon.says("no connection");
    broker.run();
    daemon.says("notice 1 has reached nobody by any way");
    wait_for("it is shown", || metrics(port).contains("claymark_nobody_reached 1\n").then_some(()));
    let mut listener = Listener::subscribe(broker.port(), "claymark/test-site/undelivered");
    let stands = listener.hears(|heard| !heard.payload.is_empty());
    assert!(stands.payload.contains(r#""number":1,"#), "{}", stands.payload);

    take_the_name(&site, &broker, &daemon);
    assert_eq!(mail.refusal(), "550 5.7.1 relaying denied");
    assert_eq!(mail.mail().to, ["duty@barn.example"]);
    listener.hears(|heard| heard.payload.is_empty());
    wait_for("it is over", || metrics(port).contains("claymark_nobody_reached 0\n").then_some(()));
}
