//! The daemon as a service: stops in time, takes a changed site file, survives a full disk, tells systemd
//! and the monitoring system how it is.

use std::fs;
use std::io::Write;
use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};
use std::time::Duration;

use claymark_tests::binary::{Daemon, oracle_python, program};
use claymark_tests::broker::{RunningBroker, Setup};
use claymark_tests::metrics::metrics;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::{free_port, wait_for};

#[test]
fn sigterm_finishes_what_is_in_hand_within_five_seconds() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let readings: Vec<_> = (0..2000).map(level).collect();
    TestPublisher::connect(broker.port()).publish(&readings);
    daemon.signal("TERM");
    assert_eq!(daemon.ends_within(Duration::from_secs(5)).code(), Some(0));
    let kept = site.readings("drum-a-level");
    let _daemon = Daemon::start(&site.file(), &site.log());
    wait_for("the broker kept the rest", || (site.readings("drum-a-level") == 2000).then_some(()));
    assert!(kept > 0, "something was in hand");
}

#[test]
fn sigterm_is_obeyed_without_a_broker_too() {
    let site = SiteFolder::new(free_port(), "", "");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("no connection");
    daemon.signal("TERM");
    assert_eq!(daemon.ends_within(Duration::from_secs(5)).code(), Some(0));
}

#[test]
fn sighup_takes_a_good_site_file_and_refuses_a_wrong_one() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());

    let good = fs::read_to_string(site.file()).unwrap();
    fs::write(site.file(), good.replace("drum:a", "drum:nowhere")).unwrap();
    daemon.signal("HUP");
    daemon.says("going on with the old one");
    publisher.publish(&[level(0)]);
    wait_for("the old site goes on", || (site.readings("drum-a-level") == 1).then_some(()));

    site.write(broker.port(), "", SECOND_SENSOR);
    daemon.signal("HUP");
    daemon.says("the site file was read again");
    publisher.publish(&[("farm/t1/oxygen".to_owned(), b"8.5".to_vec())]);
    wait_for("the new sensor is known", || (site.readings("t1-oxygen") == 1).then_some(()));
    assert!(daemon.runs());
}

#[test]
fn a_full_disk_is_survived_and_nothing_is_lost() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::spawn(&mut limited(&site), &site.log());
    daemon.says("watching");
    let readings: Vec<_> = (0..20_000).map(level).collect();
    TestPublisher::connect(broker.port()).publish(&readings);
    daemon.says("nothing can be kept, nothing is lost yet");
    daemon.set_limit("fsize", "unlimited");
    daemon.says("the store works again");
    wait_for("everything is stored", || (site.readings("drum-a-level") == 20_000).then_some(()));
}

/// The disk stays full for longer than the connection may stand still. The broker asks for a short
/// keep-alive here, which is obeyed, too.
#[test]
fn while_the_disk_is_full_the_broker_keeps_what_the_queue_can_not_hold() {
    let broker =
        RunningBroker::with(&Setup { persistent: true, more: "max_keepalive 10", ..Setup::default() });
    let site = SiteFolder::new(broker.port(), "queue = 500", "");
    let daemon = Daemon::spawn(&mut limited(&site), &site.log());
    daemon.says("watching");
    let readings: Vec<_> = (0..20_000).map(level).collect();
    TestPublisher::connect(broker.port()).publish(&readings);
    daemon.says("nothing can be kept: the broker holds the messages");
    daemon.set_limit("fsize", "unlimited");
    wait_for("everything is stored", || (site.readings("drum-a-level") == 20_000).then_some(()));
}

#[test]
fn what_arrives_is_recorded_for_replay_field_log_and_garbage_included() {
    let broker = RunningBroker::start();
    let recordings = tempfile::tempdir().unwrap();
    let section = format!("[record]\ndir = \"{}\"\nkeep_days = 3", recordings.path().display());
    let site = SiteFolder::new(broker.port(), "", &section);
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let entry = r#"{"kind":"note","at":"2026-10-01T10:00:00Z","text":"recorded"}"#;
    let mut publisher = TestPublisher::connect(broker.port());
    publisher.publish(&[
        level(0),
        ("claymark/test-site/log".to_owned(), entry.as_bytes().to_vec()),
        ("farm/t1/temperature".to_owned(), vec![0xff, 0xfe]),
    ]);
    wait_for("all are stored", || {
        let kept = site.ask("SELECT (SELECT count(*) FROM field_log) + (SELECT count(*) FROM quarantine)");
        (site.readings("drum-a-level") == 1 && kept == "2").then_some(())
    });
    daemon.signal("TERM");
    assert!(daemon.ends().success());

    let files: Vec<_> = fs::read_dir(recordings.path()).unwrap().map(|entry| entry.unwrap().path()).collect();
    let [file] = files.as_slice() else { panic!("one day, one file: {files:?}") };
    let out = site.dir().join("again");
    let mut replay = Command::new(program("claymark"));
    replay.arg("replay").arg("--config").arg(site.file()).arg("--messages").arg(file).arg("--out").arg(&out);
    assert!(replay.status().unwrap().success());
    let question = "SELECT (SELECT count(*) FROM reading), (SELECT count(*) FROM field_log), (SELECT count(*) FROM quarantine)";
    let answer =
        Command::new("sqlite3").arg("-readonly").arg(out.join("claymark.db")).arg(question).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&answer.stdout).trim(), "1|1|1");
}

#[test]
fn systemd_hears_ready_after_the_subscription_signs_of_life_and_the_end() {
    let broker = RunningBroker::start();
    let site = SiteFolder::new(broker.port(), "", "");
    let socket = site.dir().join("notify");
    let systemd = UnixDatagram::bind(&socket).unwrap();
    systemd.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let mut command = Command::new(program("claymark"));
    command.arg("run").arg("--config").arg(site.file());
    command.env("NOTIFY_SOCKET", &socket).env("WATCHDOG_USEC", "12000000");
    let mut daemon = Daemon::spawn(&mut command, &site.log());
    let hears = |wanted: &str| loop {
        let mut buffer = [0; 4096];
        let length = systemd.recv(&mut buffer).unwrap_or_else(|error| panic!("{wanted}: {error}"));
        let said = String::from_utf8_lossy(&buffer[..length]).into_owned();
        assert!(wanted != "READY=1" || !said.contains("WATCHDOG=1"), "alive before ready");
        if said.contains(wanted) {
            return;
        }
    };
    hears("READY=1");
    daemon.says("watching");
    hears("STATUS=watching");
    hears("WATCHDOG=1");
    daemon.signal("TERM");
    hears("STOPPING=1");
    assert_eq!(daemon.ends().code(), Some(0));
}

#[test]
fn metrics_are_open_metrics_by_a_strict_reader_and_each_sample_stands_once() {
    let broker = RunningBroker::start();
    let port = free_port();
    let site = SiteFolder::new(broker.port(), "", &format!("[metrics]\nlisten = \"127.0.0.1:{port}\""));
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = TestPublisher::connect(broker.port());
    publisher.publish(&[level(0), level(0), ("farm/x\"\\y".to_owned(), b"1".to_vec())]);
    let text = wait_for("the counts are shown", || {
        let text = metrics(port);
        let counted =
            text.contains("claymark_messages_total 3") && text.contains("claymark_readings_stored_total 1");
        counted.then_some(text)
    });
    assert!(text.contains("claymark_readings_repeated_total 1"), "{text}");
    assert!(text.contains("claymark_sensor_value{sensor=\"drum-a-level\""), "{text}");
    assert!(text.contains("claymark_quarantined_total{reason=\"unknown-topic\"} 1"), "{text}");
    assert!(!text.contains("farm/"), "topics of strangers are no labels: {text}");
    let verdict = strict_reader(&text);
    assert_eq!(verdict.trim(), "ok", "{text}");
}

/// The daemon under a limit on the size of files, which stands for a full disk; root and others have it
/// alike. Without the trap the system would end the daemon at the limit.
fn limited(site: &SiteFolder) -> Command {
    let mut command = Command::new("bash");
    command.args(["-c", "trap '' XFSZ; ulimit -S -f 600; exec \"$@\"", "limited"]);
    command.arg(program("claymark")).arg("run").arg("--config").arg(site.file());
    command
}

/// The strict parser of the PyPI package prometheus-client, and what it leaves unchecked: that no sample
/// stands twice.
fn strict_reader(text: &str) -> String {
    let script = "import sys\n\
        from prometheus_client.openmetrics.parser import text_string_to_metric_families as read\n\
        seen = set()\n\
        for family in read(sys.stdin.read()):\n\
        \x20   for sample in family.samples:\n\
        \x20       key = (sample.name, tuple(sorted(sample.labels.items())))\n\
        \x20       assert key not in seen, key\n\
        \x20       seen.add(key)\n\
        print('ok' if len(seen) > 10 else 'too few samples')\n";
    let mut python = Command::new(oracle_python());
    let mut child = python
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    child.stdin.take().expect("piped").write_all(text.as_bytes()).expect("Python reads");
    let output = child.wait_with_output().expect("Python ends");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

const SECOND_SENSOR: &str = r#"
[[sensor]]
id = "t1-oxygen"
topic = "farm/t1/oxygen"
at = "tank:t1"
measures = "oxygen"
unit = "mg/L"
payload = "number"
every = "30 s"
"#;
