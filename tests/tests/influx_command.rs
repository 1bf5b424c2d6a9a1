//! `claymark check --connect` and `claymark backfill` against a real server.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Command;

use claymark_tests::binary::{Daemon, program};
use claymark_tests::broker::RunningBroker;
use claymark_tests::certificates;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::victoria::Victoria;
use claymark_tests::wait::{free_port, wait_for};

#[test]
fn check_says_whether_the_server_takes_and_gives_and_what_to_do_if_not() {
    let tls = |dir: &Path| {
        certificates::make(dir);
        let file = |name: &str| dir.join(name).display().to_string();
        vec![
            "-tls".to_owned(),
            format!("-tlsCertFile={}", file("server.pem")),
            format!("-tlsKeyFile={}", file("server.key")),
        ]
    };
    let (sealed, plain) = (Victoria::with(tls), Victoria::start());
    let locked =
        Victoria::with(|_| vec!["-httpAuth.username=x".to_owned(), "-httpAuth.password=y".to_owned()]);
    let stranger = tempfile::tempdir().expect("a temporary folder can be made");
    certificates::make(stranger.path());
    let own = format!("ca_file = \"{}\"", sealed.dir().join("ca.pem").display());
    let other = format!("ca_file = \"{}\"", stranger.path().join("ca.pem").display());

    for (url, ca, code, says) in [
        (
            format!("http://127.0.0.1:{}", plain.port()),
            "",
            0,
            "takes what is written.\nIt can be read: it holds 0 readings",
        ),
        (format!("https://localhost:{}", sealed.port()), &own, 0, "takes what is written.\nIt can be read"),
        (format!("https://localhost:{}", sealed.port()), &other, 1, "invalid peer certificate"),
        (format!("http://127.0.0.1:{}", locked.port()), "", 1, "answers 401"),
        (format!("http://127.0.0.1:{}", free_port()), "", 1, "See that the server runs and can be reached"),
    ] {
        let site = site(1, &url, ca);
        let (found, said) = claymark(&["check", "--connect", "--config"], &site);
        assert_eq!(found, Some(code), "{url}: {said}");
        assert!(said.contains(says), "{url}: {said}");
        assert!(!said.contains("invented-token"), "{said}");
    }
}

#[test]
fn a_range_can_be_sent_again_as_often_as_one_likes() {
    let (broker, server) = (RunningBroker::start(), Victoria::start());
    let site = SiteFolder::new(broker.port(), "", "");
    let daemon = Daemon::start(&site.file(), &site.log());
    daemon.says("watching");
    TestPublisher::connect(broker.port()).publish(&(0..READINGS).map(level).collect::<Vec<_>>());
    wait_for("all is stored", || (site.readings("drum-a-level") == u64::from(READINGS)).then_some(()));

    let more = section(&format!("http://127.0.0.1:{}", server.port()), "");
    site.write(broker.port(), "", &more);
    token(&site);
    for _ in 0..2 {
        let arguments =
            ["backfill", "--from", "2026-10-01T00:00:00Z", "--to", "2026-10-02T00:00:00Z", "--config"];
        let (code, said) = claymark(&arguments, &site);
        assert_eq!(code, Some(0), "{said}");
        assert!(said.contains("points sent to InfluxDB at http://127.0.0.1"), "{said}");
    }
    // 2026-10-01T00:00:00Z.
    let start = 1_790_812_800;
    let series = server.export("reading_value", start, start + 86_400);
    let times: Vec<i64> = series.into_iter().flat_map(|series| series.timestamps).collect();
    assert_eq!(times, (0..i64::from(READINGS)).map(|n| (start + n) * 1000).collect::<Vec<_>>());
}

fn claymark(arguments: &[&str], site: &SiteFolder) -> (Option<i32>, String) {
    let output =
        Command::new(program("claymark")).args(arguments).arg(site.file()).output().expect("it runs");
    let said = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8_lossy(&said).into_owned())
}

fn site(port: u16, url: &str, ca: &str) -> SiteFolder {
    let site = SiteFolder::new(port, "", &section(url, ca));
    token(&site);
    site
}

fn section(url: &str, ca: &str) -> String {
    format!(
        "[influx]\nurl = \"{url}\"\norg = \"hatchery\"\nbucket = \"claymark\"\ntoken_file = \"influx.token\"\ntimeout = \"10 s\"\n{ca}"
    )
}

fn token(site: &SiteFolder) {
    let token = site.dir().join("influx.token");
    fs::write(&token, "invented-token\n").expect("writable");
    fs::set_permissions(&token, fs::Permissions::from_mode(0o600)).expect("ours");
}

const READINGS: u32 = 5_000;
