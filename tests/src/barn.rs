//! A barn server in the hands of a test: a real broker, the daemon under the shim, people who listen.
//!
//! Its clock says a Monday night of 2027, so that nothing depends on the hour at which the tests run.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use jiff::{SignedDuration, Timestamp};
use serde::Deserialize;
use tempfile::TempDir;

use crate::binary::{Daemon, program};
use crate::broker::{RunningBroker, Setup};
use crate::metrics::{gauge, metrics};
use crate::mqtt::{Ear, TestPublisher};
use crate::shim::Shim;
use crate::site::{ROOM, staff};
use crate::wait::{free_port, now, wait_for, wait_seeing};

/// Everything around the daemon; the daemon itself is the test's.
pub struct Barn {
    dir: TempDir,
    /// Its broker.
    pub broker: RunningBroker,
    /// Its disk and its clock.
    pub shim: Shim,
    metrics: u16,
    ear: Ear,
}

/// A notice as it came over MQTT.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct NoticeAsSent {
    /// Its number.
    pub number: u64,
    /// What it is about.
    pub kind: String,
    /// Names what caused it.
    pub cause: String,
    /// The first line.
    pub subject: String,
    /// The rest.
    pub text: String,
}

impl NoticeAsSent {
    /// Whether any of these words stands in it, whatever its case.
    #[must_use]
    pub fn names(&self, words: &[&str]) -> bool {
        let all = format!("{}\n{}", self.subject, self.text).to_lowercase();
        words.iter().any(|word| all.contains(word))
    }
}

impl NoticeAsSent {
    /// Whether it warns that drum A runs dry: by a call of its own, or by the evening check that was missed and comes late.
    #[must_use]
    pub fn is_of_the_drum(&self) -> bool {
        let warns = self.kind == "runout" || self.kind == "evening-check";
        warns && self.subject.contains("Drum A") && self.names(&["dry"])
    }
}

impl Barn {
    /// A barn whose mail goes to that port of this machine, with more lines for `[mqtt]`. The broker asks for a
    /// short keep-alive, so that a connection that stands still is closed soon.
    ///
    /// # Panics
    /// When a part of it can't be started.
    #[must_use]
    pub fn new(mail: u16, mqtt: &str) -> Self {
        let setup = Setup { persistent: true, more: "max_keepalive 10", ..Setup::default() };
        let broker = RunningBroker::with(&setup);
        let ear = Ear::listen(broker.port(), &format!("{PREFIX}/#"));
        let dir = tempfile::tempdir().expect("a temporary folder can be made");
        let barn = Self { dir, broker, shim: Shim::build(), metrics: free_port(), ear };
        barn.write_site(&barn.store(), mail, mqtt);
        barn.set_clock(NIGHT);
        barn
    }

    /// Writes the site file anew, with the store elsewhere.
    ///
    /// # Panics
    /// When the disk refuses.
    pub fn write_site(&self, store: &Path, mail: u16, mqtt: &str) {
        let text = SITE
            .replace("{room}", ROOM)
            .replace("{staff}", &staff("17:00", "07:30"))
            .replace("{broker}", &self.broker.port().to_string())
            .replace("{mqtt}", mqtt)
            .replace("{store}", &store.display().to_string())
            .replace("{metrics}", &self.metrics.to_string())
            .replace("{mail}", &mail.to_string());
        fs::write(self.site_file(), text).expect("writable");
    }

    /// Starts the daemon on this barn's disk and clock.
    #[must_use]
    pub fn start(&self) -> Daemon {
        let mut command = Command::new(program("claymark"));
        command.arg("run").arg("--config").arg(self.site_file());
        self.shim.under(&mut command);
        Daemon::spawn(&mut command, &self.log())
    }

    /// Any command of `claymark` on this barn's site file, disk and clock: its status, and what it says.
    ///
    /// # Panics
    /// When it can't be run.
    #[must_use]
    pub fn claymark(&self, typed: &[&str]) -> (Option<i32>, String) {
        let mut command = Command::new(program("claymark"));
        command.args(typed).arg("--config").arg(self.site_file());
        self.shim.under(&mut command);
        let output = command.output().expect("it was built");
        let said = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8_lossy(&said).into_owned())
    }

    /// `claymark answer`, on this barn's disk and clock: its status, and what it says.
    ///
    /// # Panics
    /// When it can't be run.
    #[must_use]
    pub fn answer(&self, number: u64) -> (Option<i32>, String) {
        let mut command = Command::new(program("claymark"));
        command
            .arg("answer")
            .arg(number.to_string())
            .args(["--by", "Aino", "--config"])
            .arg(self.site_file());
        self.shim.under(&mut command);
        let output = command.output().expect("it was built");
        let said = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8_lossy(&said).into_owned())
    }

    /// Starts the daemon and waits until it is subscribed.
    #[must_use]
    pub fn watched(&self) -> Daemon {
        let daemon = self.start();
        wait_for("the daemon watches", || (self.gauge("claymark_watching") == Some(1.0)).then_some(()));
        daemon
    }

    /// Sets the daemon's clock; it runs on from there.
    ///
    /// # Panics
    /// When that is no time.
    pub fn set_clock(&self, to: &str) {
        let to: Timestamp = to.parse().expect("a time as RFC 3339 writes it");
        self.shim.set_clock_ahead(to.duration_since(now()));
    }

    /// Turns the daemon's clock by so many seconds.
    pub fn turn_clock(&self, seconds: i64) {
        self.shim.set_clock_ahead(self.shim.clock_ahead() + SignedDuration::from_secs(seconds));
    }

    /// The daemon's time.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        now() + self.shim.clock_ahead()
    }

    /// Sets the clock ahead, to some seconds before the next time at which forecasts are due: the daemon may see the
    /// step and begin anew before that time comes, and mustn't miss it.
    pub fn comes_to_the_next_forecast(&self) {
        let left = FORECAST_S - self.now().as_second().rem_euclid(FORECAST_S);
        self.turn_clock((left - BEFORE_S).max(0));
        // Something that arrives wakes whoever sleeps by the old clock.
        self.publisher().publish(&[("farm/nobody".to_owned(), Vec::new())]);
    }

    /// Lets drum A run dry, as its sensor tells it, until a warning is due.
    pub fn runs_dry(&self) {
        self.publisher().publish(&a_drum_that_runs_dry(self.now()));
        self.comes_to_the_next_forecast();
    }

    /// Decided from live readings, whatever else is broken: the drum is known, people are warned of it.
    ///
    /// # Panics
    /// When they aren't.
    pub fn watches_on(&self) {
        self.runs_dry();
        self.tells("the drum is warned of", NoticeAsSent::is_of_the_drum);
        let volume = "claymark_forecast_volume_litres{drum=\"a\"}";
        wait_for("the drum is known", || self.gauge(volume));
    }

    /// The site file.
    #[must_use]
    pub fn site_file(&self) -> PathBuf {
        self.dir.path().join("site.toml")
    }

    /// The store.
    #[must_use]
    pub fn store(&self) -> PathBuf {
        self.shim.disk().join("claymark.db")
    }

    /// What the daemon says.
    #[must_use]
    pub fn log(&self) -> PathBuf {
        self.dir.path().join("daemon.log")
    }

    /// A folder for what a test makes.
    #[must_use]
    pub fn dir(&self) -> &Path {
        self.dir.path()
    }

    /// One who publishes here.
    #[must_use]
    pub fn publisher(&self) -> TestPublisher {
        TestPublisher::connect(self.broker.port())
    }

    /// The whole metrics page; empty while nobody answers.
    #[must_use]
    pub fn metrics(&self) -> String {
        metrics(self.metrics)
    }

    /// One figure of the metrics page, by its name and labels as they stand there.
    #[must_use]
    pub fn gauge(&self, name: &str) -> Option<f64> {
        gauge(&self.metrics(), name)
    }

    /// The notices that came over MQTT so far; a repeat after a crash stands there again.
    #[must_use]
    pub fn told(&self) -> Vec<NoticeAsSent> {
        let topic = format!("{PREFIX}/notice/duty");
        let notices = self.ear.heard().into_iter().filter(|heard| heard.topic == topic);
        let read = |payload: String| serde_json::from_str(&payload).expect("a notice is JSON");
        notices.map(|heard| read(heard.payload)).collect()
    }

    /// Waits for a notice over MQTT that `wanted` accepts.
    ///
    /// # Panics
    /// When none comes, with those that did.
    pub fn tells(&self, what: &str, wanted: impl Fn(&NoticeAsSent) -> bool) -> NoticeAsSent {
        wait_seeing(what, || {
            let told = self.told();
            let subjects = || format!("{:#?}", told.iter().map(|told| &told.subject).collect::<Vec<_>>());
            told.iter().find(|told| wanted(told)).cloned().ok_or_else(subjects)
        })
    }

    /// Waits until each notice that went out stands in the store under its number.
    ///
    /// # Panics
    /// When one doesn't.
    pub fn keeps_all_told(&self) {
        for told in self.told() {
            let kept = || self.ask(&format!("SELECT subject FROM notice WHERE number = {}", told.number));
            wait_for("the notice is kept", || (kept() == told.subject).then_some(()));
        }
    }

    /// A number is never given to a second notice, or an old answer would silence a new warning.
    ///
    /// # Panics
    /// When one was.
    pub fn numbers_name_one_notice_each(&self) {
        let told = self.told();
        for one in &told {
            let differs = |other: &&NoticeAsSent| other.kind != one.kind || other.cause != one.cause;
            let other = told.iter().filter(|other| other.number == one.number).find(differs);
            assert!(other.is_none(), "number {} names two: {one:#?} {other:#?}", one.number);
        }
    }

    /// Asks the store with the ordinary command-line tool; empty while there is none.
    ///
    /// # Panics
    /// When `sqlite3` isn't installed.
    #[must_use]
    pub fn ask(&self, sql: &str) -> String {
        ask(&self.store(), sql)
    }

    /// How many readings of that sensor are stored.
    #[must_use]
    pub fn readings(&self, sensor: &str) -> usize {
        readings(&self.store(), sensor)
    }
}

impl Drop for Barn {
    /// A test that failed shows what the daemon said and told.
    fn drop(&mut self) {
        if std::thread::panicking() {
            let log = fs::read_to_string(self.log()).unwrap_or_default();
            eprintln!("the daemon said:\n{log}\nand told: {:#?}", self.told());
        }
    }
}

/// Asks any store.
///
/// # Panics
/// When `sqlite3` isn't installed.
#[must_use]
pub fn ask(store: &Path, sql: &str) -> String {
    let mut sqlite = Command::new("sqlite3");
    sqlite.args(["-readonly", "-cmd", ".timeout 5000"]).arg(store).arg(sql);
    let output = sqlite.output().expect("sqlite3 is installed (tests/run --prepare)");
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

/// How many readings of that sensor any store holds.
#[must_use]
pub fn readings(store: &Path, sensor: &str) -> usize {
    let sql = format!(
        "SELECT count(*) FROM reading JOIN sensor ON sensor.key = reading.sensor WHERE sensor.id = '{sensor}'"
    );
    ask(store, &sql).parse().unwrap_or(0)
}

/// A time of the barn's clock, counted from the time at which it begins.
///
/// # Panics
/// When that is outside of all time.
#[must_use]
pub fn at(since_start: SignedDuration) -> Timestamp {
    NIGHT.parse::<Timestamp>().expect("a time") + since_start
}

/// A timed reading of a sensor whose payload is JSON.
#[must_use]
pub fn timed(topic: &str, at: Timestamp, value: f64) -> (String, Vec<u8>) {
    (topic.to_owned(), format!(r#"{{"v":{value},"t":"{at}"}}"#).into_bytes())
}

/// Turbidity of the head tank, `count` readings, a second apart from `first` seconds after the start of
/// the barn's clock on.
#[must_use]
pub fn turbidity(first: i64, count: i64) -> Vec<(String, Vec<u8>)> {
    let ripple = |n: i64| f64::from(i32::try_from(n % 7).unwrap_or(0)) * 0.1;
    let one = |n| timed("farm/head/turbidity", at(SignedDuration::from_secs(n)), 65.0 + ripple(n));
    (first..first + count).map(one).collect()
}

/// Drum A as it is drawn down over four hours, 83 mm an hour, with less than an hour's slurry left at `end`: nobody can
/// sleep through that. [`LEVELS`] readings.
#[must_use]
pub fn a_drum_that_runs_dry(end: Timestamp) -> Vec<(String, Vec<u8>)> {
    let end = Timestamp::from_second(end.as_second()).expect("a time");
    let one = |n: i32| {
        let ripple = f64::from(n * 7919 % 20) / 20.0;
        let level = 130.0 + f64::from(n) * 83.0 / 120.0 + ripple;
        timed("farm/drum/a/level", end - SignedDuration::from_secs(i64::from(n) * 30), level)
    };
    (0..480).rev().map(one).collect()
}

/// How many readings that are.
pub const LEVELS: usize = 480;

/// Forecasts are due at each multiple of ten minutes.
const FORECAST_S: i64 = 600;
/// Longer than the daemon takes to begin anew.
const BEFORE_S: i64 = 8;

/// A Monday at night: the next visit is on Tuesday at 07:30.
pub const NIGHT: &str = "2027-03-01T22:03:00Z";

/// Where the barn's people write and hear.
pub const PREFIX: &str = "claymark/farm";

/// Invented.
const SITE: &str = r#"
[site]
id = "farm"
name = "Test barn"
time_zone = "UTC"
elevation_m = 92

[mqtt]
host = "127.0.0.1"
port = {broker}
client_id = "claymark"
subscribe = ["farm/#"]
prefix = "claymark/farm"
{mqtt}

[store]
path = "{store}"
# A disk that fails is noticed at the first commit.
gather = "0 s"

[metrics]
listen = "127.0.0.1:{metrics}"

{staff}

[[contact]]
id = "duty"
name = "Person on duty"
email = "duty@farm.example"
mqtt = true

[email]
host = "localhost"
port = {mail}
security = "none"
from = "Claymark <claymark@farm.example>"

[water]
turbidity = [50, 80]
temperature_c = [19, 21]
oxygen_min_mg_l = 6

{room}
[[sensor]]
id = "drum-a-level"
topic = "farm/drum/a/level"
at = "drum:a"
measures = "level"
unit = "mm"
payload = { json = "/v", time = "/t" }
every = "30 s"

[[sensor]]
id = "head-turbidity"
topic = "farm/head/turbidity"
at = "head"
measures = "turbidity"
unit = "NTU"
payload = { json = "/v", time = "/t" }
every = "30 s"

[[sensor]]
id = "t1-temperature"
topic = "farm/t1/temperature"
at = "tank:t1"
measures = "temperature"
unit = "°C"
payload = "number"
every = "30 s"
"#;
