//! The week's report from rows that were written to a server and read back, against the one from the store.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use claymark_influx::line::Lines;
use claymark_influx::settings::{Server, Token};
use claymark_influx::source::PointSource;
use claymark_influx::{Client, Settings, site};
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_store::Reader;
use claymark_tests::binary::program;
use claymark_tests::flux_server::{FluxServer, Style, TOKEN};
use jiff::{SignedDuration, Timestamp};

/// The demo's.
const WEEK: &str = "2027-W16";

/// Of a site without readings.
const PAST_WEEK: &str = "2026-W16";

/// The demo's folder, made once for all tests of this file.
fn demo() -> PathBuf {
    let folder = tempfile::tempdir().unwrap().keep();
    let made =
        Command::new(program("claymark")).args(["demo", "--once", "--out"]).arg(&folder).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    folder
}

/// All that the store holds goes to the server, as a backfill would send it, the site first.
fn forward(store: &Path, server: &FluxServer, site: &Site) {
    let waiting = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let client = Client::new(&settings(server)).unwrap();
    let reader = Reader::open(store).unwrap();
    let (first, last) = reader.extent().unwrap().unwrap();
    let mut lines = Lines::default();
    site::push(&mut lines, site, last).unwrap();
    waiting.block_on(client.write(lines.text())).unwrap();
    let mut source = PointSource::open(store, site.id.clone()).unwrap();
    let end = last.checked_add(SignedDuration::from_hours(24)).unwrap();
    let mut from = first.checked_sub(SignedDuration::from_hours(24)).unwrap();
    while from < end {
        let to = from.checked_add(SignedDuration::from_hours(1)).unwrap();
        let page = source.range(from, to).unwrap();
        assert_eq!(page.unwritable, []);
        if !page.lines.is_empty() {
            waiting.block_on(client.write(page.lines.text())).unwrap();
        }
        from = to;
    }
}

fn settings(server: &FluxServer) -> Settings {
    Settings {
        server: Server::parse(&server.url()).unwrap(),
        org: "barns".to_owned(),
        bucket: "claymark".to_owned(),
        token: Token::new(TOKEN).unwrap(),
        ca_pem: None,
        timeout: Duration::from_secs(60),
    }
}

/// `claymark-report week`, as a manager types it who has no site file.
fn report(server: &FluxServer, token: &str, week: &str, more: &[&str], out: &Path) -> Output {
    fs::create_dir_all(out).unwrap();
    let token_file = out.join("token");
    fs::write(&token_file, format!("{token}\n")).unwrap();
    Command::new(program("claymark-report"))
        .args(["week", "--from", "influx", "--org", "barns", "--bucket", "claymark", "--week", week, "--url"])
        .arg(server.url())
        .arg("--token-file")
        .arg(token_file)
        .arg("--out")
        .arg(out)
        .args(more)
        .output()
        .unwrap()
}

#[test]
fn the_report_from_influxdb_is_the_same_bytes_as_from_the_store() {
    let demo = demo();
    let store = demo.join("claymark.db");
    let site = Reader::open(&store).unwrap().site().unwrap();
    for style in [Style::Plain, Style::Awkward] {
        let server = FluxServer::start(style);
        forward(&store, &server, &site);
        let points = server.points();
        forward(&store, &server, &site);
        assert_eq!(server.points(), points, "written twice, every point is there once");
        let out = demo.join(format!("{style:?}"));
        let made = report(&server, TOKEN, WEEK, &[], &out);
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        for ending in ["csv", "pdf", "png"] {
            let file = format!("week-{WEEK}.{ending}");
            let (local, read_back) =
                (fs::read(demo.join(&file)).unwrap(), fs::read(out.join(&file)).unwrap());
            assert!(!local.is_empty());
            assert!(local == read_back, "{file} differs ({style:?})");
        }
    }
    fs::remove_dir_all(demo).unwrap();
}

#[test]
fn what_keeps_the_report_from_being_made_is_told_with_what_to_do() {
    let out = tempfile::tempdir().unwrap();
    let server = FluxServer::start(Style::Plain);
    let told = |token: &str, more: &[&str]| {
        let output = report(&server, token, PAST_WEEK, more, out.path());
        assert_eq!(output.status.code(), Some(1));
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    let nothing = told(TOKEN, &[]);
    assert!(nothing.contains("the bucket holds no site") && nothing.contains("--bucket"), "{nothing}");
    let stranger = told("another-token", &[]);
    assert!(stranger.contains("401") && stranger.contains("right to read"), "{stranger}");
    assert!(!stranger.contains("another-token"), "a token is never shown");

    let mut alder = claymark_invented::two_tanks();
    let waiting = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let client = Client::new(&settings(&server)).unwrap();
    for id in ["alder-bend", "birch-weir"] {
        alder.id = Id::new(id).unwrap();
        let mut lines = Lines::default();
        site::push(&mut lines, &alder, Timestamp::UNIX_EPOCH).unwrap();
        waiting.block_on(client.write(lines.text())).unwrap();
    }
    let several = told(TOKEN, &[]);
    assert!(
        several.contains("several sites: alder-bend, birch-weir") && several.contains("--site"),
        "{several}"
    );
    let other = told(TOKEN, &["--site", "cedar-ford"]);
    assert!(other.contains("no site 'cedar-ford'"), "{other}");
    let one = report(&server, TOKEN, PAST_WEEK, &["--site", "birch-weir"], out.path());
    assert!(one.status.success(), "{}", String::from_utf8_lossy(&one.stderr));
    for asked in server.asked() {
        assert!(asked.starts_with("from(bucket: \"claymark\")"), "{asked}");
    }
}
