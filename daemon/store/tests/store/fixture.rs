//! The invented Alder Bend Hatchery, small, and its readings.

use std::path::PathBuf;

use jiff::{SignedDuration, Timestamp};
use tempfile::TempDir;

use claymark_core::id::Id;
use claymark_core::quality::Flag;
use claymark_core::reading::{Assessed, Reading, TestFlags};
use claymark_core::site::Site;
use claymark_store::batch::Batch;
use claymark_store::{Reader, Writer};

/// A store in a folder of its own.
pub struct Barn {
    pub dir: TempDir,
    pub site: Site,
}

impl Barn {
    pub fn new() -> Self {
        Self { dir: TempDir::new().unwrap(), site: site() }
    }

    pub fn path(&self) -> PathBuf {
        self.dir.path().join("claymark.db")
    }

    pub fn writer(&self) -> Writer {
        Writer::open(&self.path(), &self.site).unwrap()
    }

    pub fn reader(&self) -> Reader {
        Reader::open(&self.path()).unwrap()
    }
}

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// `ms` milliseconds after the fixture's beginning.
pub fn at(ms: i64) -> Timestamp {
    "2027-04-20T14:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_millis(ms)
}

/// A reading whose spike flag waits (2) or is settled (1, 3, 4), and decides the aggregate.
pub fn reading(sensor: &str, ms: i64, value: f64, spike: Flag) -> Assessed {
    Assessed {
        reading: Reading { sensor: id(sensor), at: at(ms), value },
        received_at: at(ms + 250),
        tests: TestFlags { gross_range: Flag::Pass, spike, ..TestFlags::NOT_EVALUATED },
        flag: if spike == Flag::NotEvaluated { Flag::Pass } else { spike },
    }
}

pub fn readings(readings: Vec<Assessed>) -> Batch {
    Batch { readings, ..Batch::default() }
}

pub fn recalled(barn: &Barn) -> Vec<Assessed> {
    let reader = barn.reader();
    let recall = reader.recall(Timestamp::UNIX_EPOCH).unwrap();
    recall.readings.map(Result::unwrap).collect()
}

/// Two tanks and a drum; read from its JSON, as a reader gets it.
fn site() -> Site {
    let sensor = |id: &str, place: &str, quantity: &str, unit: &str| {
        serde_json::json!({
            "id": id, "name": id, "place": place, "quantity": quantity, "unit": unit, "every": "PT30S",
            "mount_height": null,
            "thresholds": {"gap": "PT5M"},
        })
    };
    serde_json::from_value(serde_json::json!({
        "id": "alder-bend", "name": "Alder Bend Hatchery (invented)", "time_zone": "Europe/Helsinki",
        "elevation_m": 92.0,
        "units": {"mass": "kg", "volume": "L", "strength": "g/L", "temperature": "°C"},
        "staff": {"evening_check": "17:00:00", "next_visit": "07:30:00", "margin": "PT1H", "mixing": "PT15M",
                  "travel": "PT30M", "response": "PT15M"},
        "water": {"turbidity": {"min": 50.0, "max": 80.0}, "temperature_c": {"min": 19.0, "max": 21.0},
                  "oxygen_min_mg_l": 7.0},
        "clay": {"bag": 22.7, "scale_step": 0.05, "mineral_density_kg_per_l": 2.6, "thickest": 120.0},
        "pumps": [{"id": "p1", "name": "Pump 1", "ml_per_min_per_rpm": 2.1, "max_rpm": 100.0}],
        "drums": [{"id": "a", "name": "Drum A", "pump": "p1", "full": 175.0, "heel": 12.0,
                   "strapping": {"rows": [[0.0, 0.0], [800.0, 190.0]]}, "target": 18.0}],
        "head_tank": {"id": "head", "name": "Head tank", "volume": 450.0},
        "tanks": [{"id": "t1", "name": "Tank 1", "volume": 280.0}, {"id": "t2", "name": "Tank 2", "volume": 280.0}],
        "sensors": [
            sensor("t1-ntu", "tank:t1", "turbidity", "NTU"),
            sensor("t2-ntu", "tank:t2", "turbidity", "NTU"),
            sensor("t1-oxygen", "tank:t1", "oxygen", "mg/L"),
            sensor("drum-a-level", "drum:a", "level", "mm"),
        ],
        "contacts": [{"id": "on-call", "name": "On call"}],
    }))
    .unwrap()
}
