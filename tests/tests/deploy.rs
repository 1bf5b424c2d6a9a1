//! What `deploy/` ships works with the real parts: Mosquitto takes its configuration and its rights hold,
//! systemd finds the sandbox tight, and `claymark log` and `claymark answer` speak through that broker.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use claymark_tests::binary::program;
use claymark_tests::broker::{RunningBroker, Setup};
use claymark_tests::mqtt::{Listener, options};
use claymark_tests::wait::{free_port, wait_for};
use tempfile::TempDir;

/// Mosquitto with the shipped configuration, its paths and port moved aside.
struct ShippedBroker {
    dir: TempDir,
    port: u16,
    process: Child,
}

impl ShippedBroker {
    fn start() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let port = free_port();
        let passwords = dir.path().join("passwords");
        fs::write(&passwords, "").unwrap();
        for user in ["claymark", "sensors", "staff", "lamp"] {
            let made =
                tool("mosquitto_passwd").args(["-b"]).arg(&passwords).args([user, &password(user)]).output();
            assert!(made.unwrap().status.success());
        }
        let here = dir.path().display().to_string();
        let shipped = fs::read_to_string(root().join("deploy/mosquitto/claymark.conf")).unwrap();
        let moved = [
            ("/var/lib/mosquitto/", format!("{here}/")),
            ("/etc/mosquitto/claymark.passwd", passwords.display().to_string()),
            ("/etc/mosquitto/claymark.acl", root().join("deploy/mosquitto/acl").display().to_string()),
            ("listener 1883 ", format!("listener {port} ")),
            ("log_dest syslog", "log_dest stderr".to_owned()),
        ]
        .iter()
        .fold(shipped, |text, (from, to)| {
            assert!(text.contains(from), "the shipped configuration has no {from}");
            text.replace(from, to)
        });
        // As root it would change to a user that may not read the folder.
        fs::write(dir.path().join("mosquitto.conf"), moved + "\nuser root\n").unwrap();
        let log = fs::File::create(dir.path().join("log")).unwrap();
        let process = tool("mosquitto")
            .arg("-c")
            .arg(dir.path().join("mosquitto.conf"))
            .stderr(log)
            .spawn()
            .expect("mosquitto is installed (tests/run --prepare)");
        let broker = Self { dir, port, process };
        wait_for("the broker listens", || std::net::TcpStream::connect(("127.0.0.1", port)).ok());
        broker
    }

    /// A command-line client as `user`, MQTT 5.
    fn client(&self, program: &str, user: &str) -> Command {
        let mut command = tool(program);
        command.args(["-V", "mqttv5", "-h", "127.0.0.1", "-p", &self.port.to_string(), "-q", "1"]);
        command.args(["-u", user, "-P", &password(user)]);
        command
    }

    /// Publishes, and returns the reason code of the broker's acknowledgement.
    fn publish(&self, user: &str, topic: &str) -> u16 {
        let said =
            self.client("mosquitto_pub", user).args(["-d", "-t", topic, "-m", topic]).output().unwrap();
        let said = String::from_utf8_lossy(&said.stdout).into_owned();
        let code = said.split("RC:").nth(1).and_then(|rest| rest.split(')').next());
        code.unwrap_or_else(|| panic!("no acknowledgement: {said}")).parse().unwrap()
    }

    /// A listener that has its subscription.
    fn listen(&self, user: &str, filter: &str) -> Listener {
        let mut login = options("listener", self.port);
        login.set_credentials(user, password(user));
        Listener::with(login, filter)
    }

    /// A site file for this broker, as `user`.
    fn site_file(&self, user: &str, password: &str) -> PathBuf {
        let secret = self.dir.path().join(format!("{user}.password"));
        fs::write(&secret, password).unwrap();
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).unwrap();
        let login = format!("port = {}\nuser = \"{user}\"\npassword_file = \"{user}.password\"\n", self.port);
        let text = fs::read_to_string(root().join("config/site.toml")).unwrap();
        let path = self.dir.path().join(format!("{user}.toml"));
        fs::write(&path, text.replace("# port = 1883", &format!("{login}#"))).unwrap();
        path
    }
}

impl Drop for ShippedBroker {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
    }
}

#[test]
fn the_shipped_rights_hold_for_each_user() {
    let broker = ShippedBroker::start();
    const TAKEN: [u16; 2] = [0, 16];
    const DENIED: [u16; 1] = [135];
    for (user, topic, codes) in [
        ("sensors", "alder-bend/drum/a/level", &TAKEN[..]),
        ("sensors", "claymark/alder-bend/status", &DENIED[..]),
        ("sensors", "claymark/alder-bend/log", &DENIED[..]),
        ("sensors", "elsewhere/level", &DENIED[..]),
        ("claymark", "claymark/alder-bend/status", &TAKEN[..]),
        ("claymark", "claymark/alder-bend/drum/a/forecast", &TAKEN[..]),
        ("claymark", "alder-bend/drum/a/level", &DENIED[..]),
        ("staff", "claymark/alder-bend/log", &TAKEN[..]),
        ("staff", "claymark/alder-bend/answer", &TAKEN[..]),
        ("staff", "claymark/alder-bend/drum/a/forecast", &DENIED[..]),
        ("staff", "alder-bend/drum/a/level", &DENIED[..]),
        ("lamp", "claymark/alder-bend/answer", &DENIED[..]),
    ] {
        let code = broker.publish(user, topic);
        assert!(codes.contains(&code), "{user} on {topic}: {code}");
    }
    // What a listener may hear arrives; what it may not hear, sent before that, doesn't.
    for (user, filter, denied, heard) in [
        ("claymark", "#", ("staff", "elsewhere"), ("sensors", "alder-bend/tank/t1")),
        ("claymark", "#", ("claymark", "elsewhere"), ("staff", "claymark/alder-bend/log")),
        (
            "lamp",
            "#",
            ("claymark", "claymark/alder-bend/notice/lead"),
            ("claymark", "claymark/alder-bend/notice/duty"),
        ),
        ("staff", "#", ("sensors", "alder-bend/tank/t1"), ("claymark", "claymark/alder-bend/notice/lead")),
    ] {
        let mut listener = broker.listen(user, filter);
        broker.publish(denied.0, denied.1);
        broker.publish(heard.0, heard.1);
        assert_eq!(listener.hears(|_first| true).topic, heard.1, "{user}");
    }
}

#[test]
fn nobody_connects_without_a_login() {
    let broker = ShippedBroker::start();
    let refused = tool("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &broker.port.to_string(), "-t", "alder-bend/x", "-m", "1"])
        .output()
        .unwrap();
    assert!(!refused.status.success());
}

#[test]
fn the_broker_keeps_messages_for_a_client_that_is_away_over_a_crash_of_its_own() {
    let shipped = fs::read_to_string(root().join("deploy/mosquitto/claymark.conf")).unwrap();
    let set: Vec<&str> = shipped.lines().filter(|line| !line.starts_with('#') && !line.is_empty()).collect();
    assert_eq!(set.first(), Some(&"per_listener_settings true"), "it must stand first");
    let broker = ShippedBroker::start();
    let session = ["-i", "away", "-c", "-x", "3600", "-t", "alder-bend/#"];
    let subscribe =
        |more: &[&str]| broker.client("mosquitto_sub", "claymark").args(session).args(more).output().unwrap();
    assert!(subscribe(&["-E"]).status.success());
    // More than the 1000 messages that the broker keeps unless told otherwise.
    const MANY: usize = 1500;
    let lines: Vec<String> = (0..MANY).map(|n| n.to_string()).collect();
    let mut publisher = broker
        .client("mosquitto_pub", "sensors")
        .args(["-t", "alder-bend/level", "-l"])
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    std::io::Write::write_all(&mut publisher.stdin.take().unwrap(), lines.join("\n").as_bytes()).unwrap();
    assert!(publisher.wait().unwrap().success());
    let kept = subscribe(&["-C", &MANY.to_string(), "-W", "30"]);
    assert_eq!(text(&kept.stdout).lines().collect::<Vec<_>>(), lines);
}

#[test]
fn an_entry_and_an_answer_typed_on_the_command_line_reach_the_daemons_login() {
    let broker = ShippedBroker::start();
    let staff = broker.site_file("staff", &password("staff"));
    for (typed, heard) in [
        (
            &[
                "log",
                "refill",
                "--drum",
                "Drum A",
                "--water",
                "150",
                "--at",
                "2020-01-02T03:04:05Z",
                "--sure",
            ][..],
            r#"claymark/alder-bend/log {"kind":"refill","drum":"a","water_l":150.0,"at":"2020-01-02T03:04:05Z","sure":true,"key":""#,
        ),
        (&["answer", "7", "--by", "Aino"][..], r#"claymark/alder-bend/answer {"notice":7,"by":"Aino"}"#),
    ] {
        let mut listener = broker.listen("claymark", "claymark/alder-bend/#");
        let said = claymark(&staff, typed);
        assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
        assert!(text(&said.stdout).contains("The broker has taken this"), "{}", text(&said.stdout));
        let arrived = listener.hears(|_first| true);
        let arrived = format!("{} {}", arrived.topic, arrived.payload);
        assert!(arrived.starts_with(heard), "{arrived}");
    }
}

#[test]
fn what_cannot_be_sent_is_said_with_a_way_out() {
    let broker = ShippedBroker::start();
    let staff = broker.site_file("staff", &password("staff"));
    let old = fs::read_to_string(&staff).unwrap().replace("# protocol = \"5\"", "protocol = \"3.1.1\"");
    let old_protocol = staff.with_file_name("old.toml");
    fs::write(&old_protocol, old).unwrap();
    let answer = &["answer", "7"][..];

    let lost = claymark(&staff, answer);
    assert_fails(&lost, 1, "nobody listens on claymark/alder-bend/answer");
    let untold = claymark(&old_protocol, answer);
    assert_eq!(untold.status.code(), Some(0), "MQTT 3.1.1 can't tell: {}", text(&untold.stderr));
    assert_fails(
        &claymark(&broker.site_file("sensors", &password("sensors")), answer),
        1,
        "refuses the message",
    );
    let mistyped = broker.site_file("staff", "wrong");
    assert_fails(&claymark(&mistyped, answer), 1, "refuses the login");
    let mistyped =
        fs::read_to_string(&mistyped).unwrap().replace("# protocol = \"5\"", "protocol = \"3.1.1\"");
    fs::write(&old_protocol, mistyped).unwrap();
    assert_fails(&claymark(&old_protocol, answer), 1, "refuses the login");
    drop(broker);
}

#[test]
fn an_entry_goes_encrypted_to_a_broker_with_an_authority_of_its_own() {
    let broker = RunningBroker::with(&Setup { tls: true, ..Setup::default() });
    let site = broker.dir().join("site.toml");
    for protocol in ["5", "3.1.1"] {
        let write = |ca: &str| {
            let tls = format!("port = {}\nprotocol = \"{protocol}\"\ntls = true\n{ca}#", broker.port());
            let text = fs::read_to_string(root().join("config/site.toml")).unwrap();
            fs::write(&site, text.replace("# port = 1883", &tls)).unwrap();
        };
        write("ca_file = \"ca.pem\"\n");
        let said = claymark(&site, &["log", "note", "hello"]);
        // Nobody listens there; only MQTT 5 says so.
        let status = if protocol == "5" { 1 } else { 0 };
        assert_eq!(said.status.code(), Some(status), "{}", text(&said.stderr));
        assert!(!text(&said.stderr).contains("can't be reached"), "{}", text(&said.stderr));
        write("");
        assert_fails(&claymark(&site, &["log", "note", "hello"]), 1, "can't be reached");
    }
}

#[test]
fn a_broker_that_is_away_is_said_to_be_away() {
    let dir = tempfile::tempdir().unwrap();
    let site = dir.path().join("site.toml");
    let text_of_site = fs::read_to_string(root().join("config/site.toml")).unwrap();
    for protocol in ["5", "3.1.1"] {
        let settings = format!("port = {}\nprotocol = \"{protocol}\"\n#", free_port());
        fs::write(&site, text_of_site.replace("# port = 1883", &settings)).unwrap();
        let said = claymark(&site, &["log", "note", "hello"]);
        assert_fails(&said, 1, "can't be reached");
        assert!(text(&said.stderr).contains("systemctl status mosquitto"), "{}", text(&said.stderr));
    }
}

#[test]
fn systemd_knows_every_key_of_the_units_and_finds_the_sandbox_tight() {
    let dir = tempfile::tempdir().unwrap();
    for unit in ["claymark.service", "claymark-report.service", "claymark-report.timer"] {
        let text = fs::read_to_string(root().join("deploy").join(unit)).unwrap();
        // The programs aren't installed where the test runs.
        let text =
            text.replace("/usr/bin/claymark-report", "/bin/true").replace("/usr/bin/claymark", "/bin/true");
        fs::write(dir.path().join(unit), text).unwrap();
    }
    for unit in ["claymark.service", "claymark-report.service"] {
        let file = dir.path().join(unit);
        let verified = tool("systemd-analyze").args(["verify", "--man=no"]).arg(&file).output().unwrap();
        let complaints = text(&verified.stderr);
        assert!(!complaints.contains(unit), "{complaints}");
        let scored = tool("systemd-analyze")
            .args(["security", "--offline=yes", "--threshold=15"])
            .arg(&file)
            .output()
            .expect("systemd is installed (tests/run --prepare)");
        assert!(scored.status.success(), "{}", text(&scored.stdout));
    }
    let with_device = dir.path().join("claymark.service.d");
    fs::create_dir(&with_device).unwrap();
    fs::copy(root().join("deploy/claymark-device.conf"), with_device.join("device.conf")).unwrap();
    let file = dir.path().join("claymark.service");
    let verified = tool("systemd-analyze").args(["verify", "--man=no"]).arg(&file).output().unwrap();
    assert!(!text(&verified.stderr).contains("device.conf"), "{}", text(&verified.stderr));
    let timer = fs::read_to_string(dir.path().join("claymark-report.timer")).unwrap();
    let when = timer.lines().find_map(|line| line.strip_prefix("OnCalendar=")).unwrap();
    let calendar = tool("systemd-analyze").args(["calendar", when]).output().unwrap();
    assert!(
        text(&calendar.stdout).contains("Normalized form: Mon *-*-* 06:00:00"),
        "{}",
        text(&calendar.stdout)
    );
}

fn claymark(site: &Path, typed: &[&str]) -> Output {
    Command::new(program("claymark")).args(typed).arg("--config").arg(site).output().unwrap()
}

fn assert_fails(said: &Output, status: i32, words: &str) {
    assert_eq!(said.status.code(), Some(status), "{}{}", text(&said.stdout), text(&said.stderr));
    assert!(text(&said.stderr).contains(words), "{}", text(&said.stderr));
}

/// Debian keeps the broker in a folder that isn't on everybody's path.
fn tool(name: &str) -> Command {
    let mut command = Command::new(name);
    command.env("PATH", format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default()));
    command
}

fn password(user: &str) -> String {
    format!("{user}-pw")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_path_buf()
}
