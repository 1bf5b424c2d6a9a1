//! How people are reached: the real daemon and the real command line, a broker, a mail server, the shipped receiver of
//! webhooks, a command of this machine.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

use claymark_tests::barn::Barn;
use claymark_tests::binary::program;
use claymark_tests::broker::RunningBroker;
use claymark_tests::mail::MailServer;
use claymark_tests::mqtt::Listener;
use claymark_tests::outside::OutsideWatcher;
use claymark_tests::receiver::WebhookReceiver;
use claymark_tests::site::SiteFolder;
use claymark_tests::wait::wait_for;
use serde_json::Value;

use crate::contracts;

const SECRET: &str = "0123456789abcdef0123456789abcdef";

/// A contact with all four ways.
fn all_ways(site: &SiteFolder, broker: u16, mail: u16, webhook: u16, script: &str) {
    let dir = site.dir();
    secret_file(&dir.join("hook.secret"));
    let tell = dir.join("tell");
    fs::write(&tell, format!("#!/bin/sh\n{script}\n")).unwrap();
    fs::set_permissions(&tell, fs::Permissions::from_mode(0o755)).unwrap();
    let more = format!(
        r#"
[email]
host = "127.0.0.1"
port = {mail}
security = "none"
from = "claymark@barn.example"

[[contact]]
id = "ann"
name = "Ann (invented)"
email = "ann@barn.example"
mqtt = true
webhook = {{ url = "http://127.0.0.1:{webhook}/", secret_file = "hook.secret" }}
command = {{ program = "{}", short = true }}
"#,
        tell.display()
    );
    site.write(broker, "", &more);
}

fn secret_file(path: &Path) {
    fs::write(path, format!("{SECRET}\n")).unwrap();
    fs::set_permissions(path, fs::Permissions::from_mode(0o600)).unwrap();
}

fn try_contact(site: &SiteFolder, wait: &str) -> Child {
    let mut command = Command::new(program("claymark"));
    command.args(["try-contact", "ann", "--wait", wait, "--config"]).arg(site.file());
    command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

#[test]
fn a_contact_is_tried_by_each_way_and_the_answer_is_waited_for() {
    let broker = RunningBroker::start();
    let (mail, receiver) = (MailServer::start(&[]), WebhookReceiver::start(SECRET, None));
    let site = SiteFolder::new(broker.port(), "", "");
    let told = site.dir().join("told");
    all_ways(&site, broker.port(), mail.port(), receiver.port(), &format!("cat > '{}'", told.display()));
    let mut tablet = Listener::subscribe(broker.port(), "claymark/test-site/notice/ann");
    let trial = try_contact(&site, "60s");
    assert!(tablet.hears(|_any| true).payload.contains(r#""number":0,"#));
    let letter = mail.mail();
    assert!(letter.header("Subject").starts_with("Test from Claymark"), "{letter:?}");
    wait_for("the command has its text", || fs::read_to_string(&told).ok().filter(|text| !text.is_empty()));
    wait_for("the webhook is taken", || (receiver.taken().len() == 1).then_some(()));
    let answer = Command::new(program("claymark"))
        .args(["answer", "0", "--by", "ann", "--config"])
        .arg(site.file())
        .output()
        .unwrap();
    assert!(answer.status.success(), "{}", said(&answer));
    let output = trial.wait_with_output().unwrap();
    let text = said(&output);
    for line in ["mail: taken", "MQTT: taken", "webhook: taken", "command: taken", "Answered by ann."] {
        assert!(text.contains(line), "{line}: {text}");
    }
    assert_eq!(output.status.code(), Some(0), "{text}");
}

#[test]
fn a_way_that_fails_or_nobody_who_answers_ends_with_status_1() {
    let broker = RunningBroker::start();
    let mail = MailServer::start(&["--rcpt", "550 5.1.1 nobody of that name;250 OK"]);
    let receiver = WebhookReceiver::start(SECRET, None);
    let site = SiteFolder::new(broker.port(), "", "");
    all_ways(&site, broker.port(), mail.port(), receiver.port(), "echo 'no carrier' >&2; exit 1");
    let _tablet = Listener::subscribe(broker.port(), "claymark/test-site/notice/ann");
    let output = try_contact(&site, "0s").wait_with_output().unwrap();
    let text = said(&output);
    assert_eq!(output.status.code(), Some(1), "{text}");
    for line in ["nobody of that name", "no carrier", "webhook: taken", "by mail and command"] {
        assert!(text.contains(line), "{line}: {text}");
    }
    let output = try_contact(&site, "1s").wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("didn't answer within"), "{}", said(&output));
}

#[test]
fn the_daemon_makes_nothing_of_the_answer_to_a_test() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = claymark_tests::binary::Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let prefix = "claymark/test-site/answer";
    let mut publisher = claymark_tests::mqtt::TestPublisher::connect(broker.port());
    let answer =
        |number: u64| (prefix.to_owned(), format!(r#"{{"notice":{number},"by":"ann"}}"#).into_bytes());
    // Both are kept aside; only the second one is told as wrong.
    publisher.publish(&[answer(0), answer(4711)]);
    wait_for("the wrong one is kept aside", || {
        (site.ask("SELECT count(*) FROM quarantine") == "2").then_some(())
    });
    assert_eq!(site.ask("SELECT DISTINCT reason FROM quarantine"), "no-such-notice");
    wait_for("the wrong one is told", || {
        (site.ask("SELECT count(*) FROM notice WHERE kind = 'query'") == "1").then_some(())
    });
    assert!(site.ask("SELECT text FROM notice WHERE kind = 'query'").contains("4711"));
}

/// Nobody listens at its port: the call goes by the ways that are left, and that this one fails goes by them, too.
#[test]
fn a_mail_server_that_is_down_is_told_by_the_other_ways_while_somebody_is_called() {
    let barn = Barn::new(claymark_tests::wait::free_port(), "");
    barn.set_clock("2027-03-02T09:03:00Z");
    let _daemon = barn.watched();
    barn.watches_on();
    let call = barn.tells("somebody is called for the drum", |told| told.kind == "runout").number;
    let lost = barn.tells("the way that fails is told", |told| told.kind == "undelivered");
    assert!(lost.subject.contains("Person on duty") && lost.names(&["mail"]), "{lost:#?}");
    let (_, said) = barn.claymark(&["told", &call.to_string()]);
    assert!(said.contains("to Person on duty by MQTT: accepted"), "{said}");
    assert!(!said.contains("by mail: accepted"), "{said}");
    let counted = "claymark_deliveries_total{channel=\"email\",end=\"accepted\"}";
    assert!(barn.gauge(counted).is_none_or(|count| count == 0.0), "{}", barn.metrics());
}

/// A short rest, as of an upgrade, is no news.
#[test]
fn after_a_rest_of_more_than_minutes_people_hear_from_when_to_when_nobody_watched() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    barn.publisher().publish(&claymark_tests::barn::turbidity(0, 5));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 5).then_some(()));
    daemon.kill();
    let daemon = barn.watched();
    daemon.kill();
    // What the head tank's sensor says meanwhile waits at the broker.
    barn.publisher().publish(&claymark_tests::barn::turbidity(600, 7));
    barn.turn_clock(25 * 60);
    let _daemon = barn.watched();
    let within = std::time::Duration::from_secs(120);
    let told = claymark_tests::wait::wait_within(within, "the gap is told", || {
        barn.told().into_iter().find(|told| told.cause == "away")
    });
    assert!(told.subject.starts_with("Nobody watched from 22:0"), "{told:#?}");
    assert!(told.text.contains("7 readings of that time came late"), "{told:#?}");
    assert!(told.text.contains("None came from: level of Drum A"), "{told:#?}");
    assert_eq!(barn.told().iter().filter(|told| told.cause == "away").count(), 1);
}

#[test]
fn somebody_outside_is_called_with_what_stands_in_the_contract() {
    let (broker, outside) = (RunningBroker::start(), OutsideWatcher::start());
    let more = format!("[sign_of_life]\nurl = \"http://127.0.0.1:{}/\"", outside.port());
    let site = SiteFolder::new(broker.port(), "", &more);
    let daemon = claymark_tests::binary::Daemon::start(&site.file(), &site.log());
    let called: Value = serde_json::from_str(&outside.call()).unwrap();
    let promised: Value = serde_json::from_str(&contracts::example("sign-of-life")).unwrap();
    let keys = |call: &Value| call.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    assert_eq!(keys(&called), keys(&promised));
    assert_eq!((&called["site"], &called["gap"]), (&"test-site".into(), &Value::Null));
    daemon.kill();
    // It watched for the last time an hour ago.
    wait_for("the store is ours", || (!site.ask("PRAGMA user_version").is_empty()).then_some(()));
    site.change("INSERT OR REPLACE INTO session (only, seen) VALUES (1, (unixepoch() - 3600) * 1000)");
    let daemon = claymark_tests::binary::Daemon::start(&site.file(), &site.log());
    daemon.says("nobody has watched for 60 min before this start");
    let called: Value = serde_json::from_str(&outside.call()).unwrap();
    assert!(called["gap"]["from"].is_string() && called["gap"]["to"].is_string(), "{called}");
}

#[test]
fn status_and_told_go_by_what_was_done_and_not_by_a_word_that_was_left() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    // By day, so that no evening check was missed that would tell it first, and ask nobody for an answer.
    barn.set_clock("2027-03-02T09:03:00Z");
    assert_eq!(barn.claymark(&["status"]).0, Some(1), "nobody has watched yet");
    let daemon = barn.watched();
    barn.watches_on();
    let call = barn.tells("somebody is called for the drum", |told| told.kind == "runout").number;
    let (code, said) = barn.claymark(&["status"]);
    assert!(code == Some(0) && said.starts_with("Watching: the newest forecast is of"), "{said}");
    let said = wait_for("what went out is told", || {
        let (_, said) = barn.claymark(&["told", &call.to_string()]);
        said.contains("to Person on duty by mail: accepted").then_some(said)
    });
    assert!(
        said.contains("to Person on duty by MQTT: accepted") && said.contains("nobody has answered it"),
        "{said}"
    );
    let counted = "claymark_deliveries_total{channel=\"email\",end=\"accepted\"}";
    assert!(barn.gauge(counted).is_some_and(|count| count >= 1.0), "{}", barn.metrics());
    assert_eq!(barn.answer(call).0, Some(0));
    wait_for("the answer is told", || {
        barn.claymark(&["told", &call.to_string()]).1.contains("answered by Aino").then_some(())
    });
    daemon.kill();
    barn.turn_clock(21 * 60);
    let (code, said) = barn.claymark(&["status"]);
    assert!(code == Some(1) && said.contains("NOT WATCHING: the newest forecast is of"), "{said}");
}
