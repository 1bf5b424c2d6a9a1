//! The daemon as a service: stops in time, takes a changed site file, survives a full disk, tells systemd
//! and the monitoring system how it is.

use std::fs;
use std::io::Write;
use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};
use std::time::Duration;

use claymark_tests::binary::{Daemon, oracle_python, program};
use claymark_tests::broker::Broker;
use claymark_tests::metrics::metrics;
use claymark_tests::mqtt::Publisher;
use claymark_tests::site::{Site, level};
use claymark_tests::wait::{free_port, wait_for};

#[test]
fn sigterm_finishes_what_is_in_hand_within_five_seconds() {
    let broker = Broker::start();
    let site = Site::new(broker.port(), "", "");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let readings: Vec<_> = (0..2000).map(level).collect();
    Publisher::connect(broker.port()).publish(&readings);
    daemon.signal("TERM");
    assert_eq!(daemon.ends_within(Duration::from_secs(5)).code(), Some(0));
    let kept = site.readings("drum-a-level");
    let _daemon = Daemon::start(&site.file(), &site.log());
    wait_for("the broker kept the rest", || (site.readings("drum-a-level") == 2000).then_some(()));
    assert!(kept > 0, "something was in hand");
}

#[test]
fn sigterm_is_obeyed_without_a_broker_too() {
    let site = Site::new(free_port(), "", "");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("no connection");
    daemon.signal("TERM");
    assert_eq!(daemon.ends_within(Duration::from_secs(5)).code(), Some(0));
}

#[test]
fn sighup_takes_a_good_site_file_and_refuses_a_wrong_one() {
    let broker = Broker::start();
    let site = Site::new(broker.port(), "", "");
    let mut daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = Publisher::connect(broker.port());

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
    let broker = Broker::start();
    let site = Site::new(broker.port(), "", "");
    // A limit on the size of files stands for a full disk; root and others have it alike. Without the
    // trap the system would end the daemon at the limit.
    let script = "trap '' XFSZ; ulimit -S -f 600; exec \"$@\"";
    let mut command = Command::new("bash");
    command
        .args(["-c", script, "limited"])
        .arg(program("claymark"))
        .arg("run")
        .arg("--config")
        .arg(site.file());
    let daemon = Daemon::spawn(&mut command, &site.log());
    daemon.says("watching");
    let readings: Vec<_> = (0..20_000).map(level).collect();
    Publisher::connect(broker.port()).publish(&readings);
    daemon.says("a commit failed, nothing is lost yet");
    daemon.set_limit("fsize", "unlimited");
    daemon.says("the store works again");
    wait_for("everything is stored", || (site.readings("drum-a-level") == 20_000).then_some(()));
}

#[test]
fn systemd_hears_ready_after_the_subscription_signs_of_life_and_the_end() {
    let broker = Broker::start();
    let site = Site::new(broker.port(), "", "");
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
    let broker = Broker::start();
    let port = free_port();
    let site = Site::new(broker.port(), "", &format!("[metrics]\nlisten = \"127.0.0.1:{port}\""));
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    let mut publisher = Publisher::connect(broker.port());
    publisher.publish(&[level(0), level(0), ("farm/x\"\\y".to_owned(), b"1".to_vec())]);
    let text = wait_for("the counts are shown", || {
        let text = metrics(port);
        let counted =
            text.contains("claymark_messages_total 3") && text.contains("claymark_readings_stored_total 1");
        counted.then_some(text)
    });
    assert!(text.contains("claymark_readings_repeated_total 1"), "{text}");
    assert!(text.contains("claymark_sensor_value{sensor=\"drum-a-level\""), "{text}");
    assert!(!text.contains("farm/"), "topics of strangers are no labels: {text}");
    let verdict = strict_reader(&text);
    assert_eq!(verdict.trim(), "ok", "{text}");
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
