//! What a person types, or an older version left behind, never stops the watch and spoils nothing else.

use std::process::{Command, Output};

use claymark_tests::binary::{Daemon, program};
use claymark_tests::broker::RunningBroker;
use claymark_tests::metrics::metrics;
use claymark_tests::mqtt::{Listener, TestPublisher};
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::{free_port, wait_for};

const ANSWER: &str = "claymark/test-site/answer";
const LOG: &str = "claymark/test-site/log";

fn claymark(site: &SiteFolder, typed: &[&str]) -> Output {
    let mut command = Command::new(program("claymark"));
    command.args(typed).arg("--config").arg(site.file());
    command.output().expect("the program starts")
}

fn says(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

fn published(topic: &str, payload: &str) -> (String, Vec<u8>) {
    (topic.to_owned(), payload.as_bytes().to_vec())
}

fn flow_check(millilitres: &str, at: &str) -> (String, Vec<u8>) {
    let figures = format!(r#""volume_ml":{millilitres},"seconds":1e-300"#);
    published(LOG, &format!(r#"{{"kind":"flow_check","place":"head","by":"Aino",{figures},"at":"{at}"}}"#))
}

#[test]
fn one_typed_number_neither_stops_the_watch_nor_calls_anybody_for_nothing() {
    let broker = RunningBroker::start();
    let port = free_port();
    let site = SiteFolder::new(broker.port(), "", &format!("[metrics]\nlisten = \"127.0.0.1:{port}\""));
    let mut told = Listener::subscribe(broker.port(), "claymark/test-site/notice/#");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());

    // Typed on the command line it isn't sent at all.
    for number in ["9223372036854775808", "18446744073709551615"] {
        let typed = claymark(&site, &["answer", number]);
        assert_eq!(typed.status.code(), Some(1), "{number}: {}", says(&typed));
        assert!(says(&typed).contains("can't be the number of a notice"), "{}", says(&typed));
    }
    let now = claymark_tests::wait::now().to_string();
    let (huge, tiny) = (flow_check("1e308", &now), flow_check("500", &now));
    publisher.publish(&[
        level(0),
        published(ANSWER, r#"{"notice":9223372036854775808}"#),
        level(1),
        huge,
        level(2),
        tiny,
        level(3),
        published(ANSWER, r#"{"notice":4711,"by":"Aino"}"#),
        published(LOG, &format!(r#"{{"kind":"note","text":"all well","at":"{now}"}}"#)),
        level(4),
    ]);
    wait_for("the good readings are stored", || (site.readings("drum-a-level") == 5).then_some(()));
    let reasons = "SELECT group_concat(reason, ' ') FROM (SELECT reason FROM quarantine ORDER BY number)";
    wait_for("the bad messages are kept aside", || {
        (site.ask(reasons) == "impossible impossible impossible no-such-notice").then_some(())
    });
    assert_eq!(site.ask("SELECT count(*) FROM field_log"), "1");
    assert_eq!(site.ask("SELECT count(*) FROM answer"), "0");
    let mail = told.hears(|heard| heard.payload.contains("can't be the number of a notice"));
    assert!(!mail.payload.contains("disk"), "{}", mail.payload);
    // Nobody is called for a drum that isn't empty.
    assert_eq!(site.ask("SELECT count(*) FROM notice WHERE kind NOT IN ('query', 'evening-check')"), "0");
    let unknown = claymark(&site, &["answer", "4711"]);
    assert_eq!(unknown.status.code(), Some(1));
    assert!(says(&unknown).contains("There is no notice 4711."), "{}", says(&unknown));

    daemon.kill();
    let daemon = Daemon::start(&site.file(), &site.log());
    publisher.publish(&[level(5)]);
    wait_for("the watch goes on", || (site.readings("drum-a-level") == 6).then_some(()));
    let page = metrics(port);
    assert!(page.contains("claymark_watching 1\n") && page.contains("claymark_store_works 1\n"), "{page}");
    assert!(page.contains("claymark_records_unreadable 0\n"), "{page}");
    daemon.kill();
}

/// An older version kept an infinity inside a notice's facts as null: after that neither the daemon nor any command
/// would open the store.
#[test]
fn a_store_that_an_older_version_spoilt_is_read_but_for_the_spoilt_rows() {
    let broker = RunningBroker::start();
    let port = free_port();
    let site = SiteFolder::new(broker.port(), "", &format!("[metrics]\nlisten = \"127.0.0.1:{port}\""));
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());
    publisher.publish(&[level(0), published(LOG, "{}")]);
    wait_for("it was told", || (site.ask("SELECT count(*) FROM notice") != "0").then_some(()));
    let last: u64 = site.ask("SELECT max(number) FROM notice").parse().expect("a number");
    daemon.kill();
    site.change(r#"UPDATE notice SET facts = '{"about":"query","first":[{"at":null}],"more":null}'"#);

    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("records in the store can't be read");
    publisher.publish(&[level(1)]);
    wait_for("the watch goes on", || (site.readings("drum-a-level") == 2).then_some(()));
    assert!(metrics(port).contains(&format!("claymark_records_unreadable {last}\n")), "{}", metrics(port));
    let fresh =
        format!("SELECT count(*) FROM notice WHERE number = {} AND text LIKE '%can''t be read%'", last + 1);
    wait_for("people are told, under a number of its own", || (site.ask(&fresh) == "1").then_some(()));
    for command in [&["outlook"][..], &["happened"], &["checks"]] {
        let answer = claymark(&site, command);
        assert!(answer.status.success(), "{command:?}: {}", says(&answer));
    }
    daemon.kill();
}
