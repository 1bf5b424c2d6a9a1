//! An invented site, and a watch that is fed by a simulated drum.

use claymark_drum::DrumWatch;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook};
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::quality::thresholds::{Span, Thresholds};
use claymark_model::site::{
    ClaySupply, Draws, Drum, HeadTank, Place, Premix, Pump, Quantity, Senses, Sensor, Site, Staff,
    WaterLimits,
};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};
use jiff::civil::time;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::physics::{HEEL, PumpedDrum, litres, reading};

pub const START: &str = "2027-04-20T06:00:00Z";

pub fn start() -> Timestamp {
    START.parse().unwrap()
}

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub fn hours(x: f64) -> SignedDuration {
    SignedDuration::from_secs_f64(x * 3600.0)
}

/// Drums `a`, `b`, … on the pump `p1`, each with the sensor `level-a`, ….
pub fn site(drums: &[&str]) -> Site {
    Site {
        id: id("alder-bend"),
        name: "Alder Bend Hatchery".to_owned(),
        time_zone: TimeZone::UTC,
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: Staff {
            evening_check: time(17, 0, 0, 0),
            next_visit: time(7, 30, 0, 0),
            margin: SignedDuration::from_hours(1),
            mixing: SignedDuration::from_mins(15),
            travel: SignedDuration::from_mins(30),
            response: SignedDuration::from_mins(15),
        },
        water: WaterLimits {
            turbidity: Span::new(50.0, 80.0).unwrap(),
            temperature_c: Span::new(18.0, 22.0).unwrap(),
            oxygen_min_mg_l: 6.0,
        },
        batches: Vec::new(),
        stock: None,
        hand_checks: Vec::new(),
        calls: Default::default(),
        clay: ClaySupply {
            bag: Kilograms(22.68),
            scale_step: Kilograms(0.1),
            mineral_density_kg_per_l: 2.6,
            thickest: GramsPerLitre(150.0),
            ntu_per_mg_l: None,
            background_ntu: 0.0,
            premix: Premix::default(),
            coarse_um: None,
        },
        pumps: vec![Pump {
            id: id("p1"),
            name: "P1".to_owned(),
            ml_per_min_per_rpm: Some(2.1),
            max_rpm: Some(300.0),
            min_rpm: None,
            draws: Draws::One,
            levels_out: false,
        }],
        drums: drums.iter().map(|name| drum(name)).collect(),
        head_tank: HeadTank { id: id("head"), name: "Head".to_owned(), volume: Litres(450.0) },
        tanks: Vec::new(),
        sensors: drums.iter().map(|name| sensor(name)).collect(),
        contacts: Vec::new(),
    }
}

fn drum(name: &str) -> Drum {
    let marks = [0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0];
    let strapping =
        StrappingTable::new(marks.iter().map(|h| (Millimetres(*h), Litres(litres(*h)))).collect());
    Drum {
        id: id(name),
        name: name.to_owned(),
        pump: id("p1"),
        full: Litres(175.0),
        heel: Litres(HEEL),
        strapping: strapping.unwrap(),
        target: GramsPerLitre(18.0),
    }
}

fn sensor(name: &str) -> Sensor {
    Sensor {
        id: id(&format!("level-{name}")),
        name: name.to_owned(),
        place: Place::Drum(id(name)),
        quantity: Quantity::Level,
        unit: Unit::Millimetre,
        every: SignedDuration::from_secs(30),
        senses: Senses::Surface,
        mains: None,
        mount_height: None,
        thresholds: Thresholds {
            gap: SignedDuration::from_mins(10),
            gross_range: None,
            spike: None,
            rate_per_s: None,
            flat_line: None,
        },
    }
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
