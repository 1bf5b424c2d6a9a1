//! A small site for end-to-end tests: one drum, one tank, a sensor for each payload format.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use jiff::SignedDuration;
use tempfile::TempDir;

use crate::wait::now;

/// A site file with its store, in a folder that goes with it.
pub struct SiteFolder {
    dir: TempDir,
}

impl SiteFolder {
    /// A site at the broker on that port. `mqtt` are more lines for `[mqtt]`, `more` more sections.
    ///
    /// # Panics
    /// When the disk refuses.
    #[must_use]
    pub fn new(port: u16, mqtt: &str, more: &str) -> Self {
        let site = Self { dir: tempfile::tempdir().expect("a temporary folder can be made") };
        site.write(port, mqtt, more);
        site
    }

    /// Writes the site file anew.
    ///
    /// # Panics
    /// When the disk refuses.
    pub fn write(&self, port: u16, mqtt: &str, more: &str) {
        let text = TEMPLATE
            .replace("{staff}", &by_day())
            .replace("{zone}", ZONE)
            .replace("{room}", ROOM)
            .replace("{port}", &port.to_string())
            .replace("{mqtt}", mqtt)
            .replace("{store}", &self.store().display().to_string());
        fs::write(self.file(), format!("{text}\n{more}\n")).expect("writable");
    }

    /// Lets readings that come slowly wait so long for a common commit; without this each is stored at once.
    ///
    /// # Panics
    /// When the disk refuses.
    pub fn gather(&self, longest: &str) {
        let text = fs::read_to_string(self.file()).expect("it was written");
        let text = text.replace("gather = \"0 s\"", &format!("gather = \"{longest}\""));
        fs::write(self.file(), text).expect("writable");
    }

    /// The site file.
    #[must_use]
    pub fn file(&self) -> PathBuf {
        self.dir.path().join("site.toml")
    }

    /// The store.
    #[must_use]
    pub fn store(&self) -> PathBuf {
        self.dir.path().join("claymark.db")
    }

    /// What the daemon says.
    #[must_use]
    pub fn log(&self) -> PathBuf {
        self.dir.path().join("daemon.log")
    }

    /// Its folder.
    #[must_use]
    pub fn dir(&self) -> &Path {
        self.dir.path()
    }

    /// Asks the store with the ordinary command-line tool, while the daemon runs or not. Empty while there
    /// is no store yet.
    ///
    /// # Panics
    /// When `sqlite3` isn't installed.
    #[must_use]
    pub fn ask(&self, sql: &str) -> String {
        let mut sqlite = Command::new("sqlite3");
        sqlite.args(["-readonly", "-cmd", ".timeout 5000"]).arg(self.store()).arg(sql);
        let output = sqlite.output().expect("sqlite3 is installed (tests/run --prepare)");
        String::from_utf8_lossy(&output.stdout).trim().to_owned()
    }

    /// Changes the store behind the daemon's back, while it is stopped.
    ///
    /// # Panics
    /// When `sqlite3` refuses.
    pub fn change(&self, sql: &str) {
        let status = Command::new("sqlite3").arg(self.store()).arg(sql).status();
        assert!(status.expect("sqlite3 is installed (tests/run --prepare)").success());
    }

    /// How many readings of that sensor are stored.
    #[must_use]
    pub fn readings(&self, sensor: &str) -> u64 {
        let sql = format!(
            "SELECT count(*) FROM reading JOIN sensor ON sensor.key = reading.sensor WHERE sensor.id = '{sensor}'"
        );
        self.ask(&sql).parse().unwrap_or(0)
    }
}

/// A timed level of drum A, as its topic and payload; `n` counts seconds.
#[must_use]
pub fn level(n: u32) -> (String, Vec<u8>) {
    let (hour, minute, second) = (n / 3600 % 24, n / 60 % 60, n % 60);
    let day = 1 + n / 86_400;
    let at = format!("2026-10-{day:02}T{hour:02}:{minute:02}:{second:02}Z");
    let payload = format!(r#"{{"v":{},"t":"{at}"}}"#, 700.0 - f64::from(n) * 0.01);
    ("farm/drum/a/level".to_owned(), payload.into_bytes())
}

/// Clay, a pump, drum A, the head tank and a tank, all invented.
pub const ROOM: &str = r#"
[clay]
bag = "25 kg"
scale_step = "50 g"
thickest = "60 g/L"

[[pump]]
id = "p1"
ml_per_min_per_rpm = 2.1

[[drum]]
id = "a"
name = "Drum A"
pump = "p1"
full_l = 175
heel_l = 12
strapping_mm_l = [[0, 0], [100, 24], [400, 96], [800, 190]]
target_g_per_l = 18

[[head_tank]]
id = "head"
volume_l = 450

[[tank]]
id = "t1"
volume_l = 280
"#;

/// `[staff]` with whom it is day now, whenever a test runs: by day everyone is told, by night one after the other.
fn by_day() -> String {
    let clock = |ahead: i64| {
        let at = now() + SignedDuration::from_hours(ahead);
        at.in_tz(ZONE).expect("jiff brings its zones along").strftime("%H:%M").to_string()
    };
    staff(&clock(6), &clock(20))
}

/// `[staff]` of an invented hatchery, which looks at its drums and visits them at these times of the day.
#[must_use]
pub fn staff(evening_check: &str, next_visit: &str) -> String {
    format!(
        r#"[staff]
evening_check = "{evening_check}"
next_visit = "{next_visit}"
margin = "1 h"
mixing = "15 min"
travel = "30 min"
response = "15 min"
"#
    )
}

const ZONE: &str = "Europe/Helsinki";

/// An invented site; its client id is its own, so that tests can share a broker.
const TEMPLATE: &str = r#"
[site]
id = "test-site"
name = "Test site"
time_zone = "{zone}"
elevation_m = 92

[mqtt]
host = "127.0.0.1"
port = {port}
client_id = "claymark"
subscribe = ["farm/#"]
prefix = "claymark/test-site"
{mqtt}

[store]
path = "{store}"
gather = "0 s"

{staff}

[[contact]]
id = "duty"
name = "Person on duty"
mqtt = true

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
id = "t1-temperature"
topic = "farm/t1/temperature"
at = "tank:t1"
measures = "temperature"
unit = "°C"
payload = "number"
every = "30 s"

[[sensor]]
id = "t1-turbidity"
topic = "farm/t1/turbidity"
at = "tank:t1"
measures = "turbidity"
unit = "NTU"
payload = { senml = "urn:dev:test:t1:turbidity" }
every = "30 s"
"#;
