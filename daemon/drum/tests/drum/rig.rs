//! An invented site, and a watch that is fed by a simulated drum.

pub use claymark_invented::id;

use claymark_drum::DrumWatch;
use claymark_invented as invented;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook};
use claymark_model::happening::{Happening, What};
use claymark_model::quality::Flag;
use claymark_model::quality::thresholds::Thresholds;
use claymark_model::site::{Drum, Place, Pump, Quantity, Sensor, Site};
use claymark_model::units::Litres;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::physics::{HEEL, PumpedDrum, litres, reading};

pub const START: &str = "2027-04-20T06:00:00Z";

pub fn start() -> Timestamp {
    START.parse().unwrap()
}

pub fn hours(x: f64) -> SignedDuration {
    SignedDuration::from_secs_f64(x * 3600.0)
}

/// Drums `a`, `b`, … on the pump `p1`, each with the sensor `level-a`, ….
pub fn site(drums: &[&str]) -> Site {
    Site {
        time_zone: TimeZone::UTC,
        pumps: vec![Pump { max_rpm: Some(300.0), ..invented::pump("p1") }],
        drums: drums.iter().map(|name| drum(name)).collect(),
        tanks: Vec::new(),
        sensors: drums.iter().map(|name| sensor(name)).collect(),
        contacts: Vec::new(),
        ..invented::site()
    }
}

fn drum(name: &str) -> Drum {
    let marks = [0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0].map(|mm| (mm, litres(mm)));
    let strapping = invented::strapping(&marks);
    Drum { name: name.to_owned(), heel: Litres(HEEL), strapping, ..invented::drum(name, "p1") }
}

fn sensor(name: &str) -> Sensor {
    let sensor = invented::sensor(&format!("level-{name}"), Place::Drum(id(name)), Quantity::Level);
    let thresholds = Thresholds { gap: SignedDuration::from_mins(10), ..sensor.thresholds };
    Sensor { name: name.to_owned(), every: SignedDuration::from_secs(30), thresholds, ..sensor }
}

/// A drum and its watch.
pub struct Rig {
    pub barrel: PumpedDrum,
    pub watch: DrumWatch,
    pub happenings: Vec<Happening>,
    logged: u32,
}

impl Rig {
    pub fn new(seed: u64, volume: f64) -> Self {
        let watch = DrumWatch::new(&site(&["a"]), &id("a")).unwrap();
        Self { barrel: PumpedDrum::new(seed, start(), volume), watch, happenings: Vec::new(), logged: 0 }
    }

    pub fn now(&self) -> Timestamp {
        self.barrel.now
    }

    /// One reading, heard at once.
    pub fn step(&mut self) {
        let value = self.barrel.step();
        self.hear(value);
    }

    /// The watch hears that value now.
    pub fn hear(&mut self, value: f64) {
        let now = self.barrel.now;
        self.watch.reading(now, &reading("level-a", now, now, value, Flag::Pass));
        self.happenings.extend(self.watch.take_happenings());
    }

    pub fn run(&mut self, for_hours: f64) {
        let end = self.barrel.now + hours(for_hours);
        while self.barrel.now < end {
            self.step();
        }
        self.settle();
    }

    /// Time goes on, and nothing is heard of the drum.
    pub fn run_silent(&mut self, for_hours: f64) {
        let end = self.barrel.now + hours(for_hours);
        while self.barrel.now < end {
            self.barrel.step();
            self.settle();
        }
    }

    pub fn settle(&mut self) {
        self.watch.advance(self.barrel.now);
        self.happenings.extend(self.watch.take_happenings());
    }

    pub fn log(&mut self, deed: Deed) {
        let now = self.barrel.now;
        self.logged += 1;
        let entry = LogEntry {
            key: self.logged.to_string(),
            at: now,
            received_at: now,
            by: None,
            replaces: None,
            deed,
        };
        self.watch.log(now, &entry);
        self.happenings.extend(self.watch.take_happenings());
    }

    pub fn set_pump(&mut self, rpm: f64) {
        self.log(Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(rpm) });
    }

    pub fn forecast(&self) -> Forecast {
        self.watch.forecast(self.barrel.now)
    }

    pub fn known(&self) -> (Basis, f64, f64, EmptyAt) {
        match self.forecast().outlook {
            Outlook::Known { basis, volume, draw, empty_at } => (basis, volume.0, draw.0, empty_at),
            Outlook::Unknown { why } => panic!("unknown: {why:?}"),
        }
    }

    /// Hours from now to a quantile.
    pub fn hours_to(&self, at: Option<Timestamp>) -> f64 {
        at.map_or(f64::INFINITY, |at| at.duration_since(self.barrel.now).as_secs_f64() / 3600.0)
    }

    pub fn refills(&self) -> Vec<(Timestamp, f64, bool)> {
        let refill = |happening: &Happening| {
            let What::Refilled { added, logged, .. } = &happening.what else { return None };
            Some((happening.at, added.0, *logged))
        };
        self.happenings.iter().filter_map(refill).collect()
    }
}
