//! The invented Alder Bend Hatchery, small, and its readings.

use std::path::PathBuf;

use jiff::{SignedDuration, Timestamp};
use tempfile::TempDir;

use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::Site;
use claymark_store::batch::CommitBatch;
use claymark_store::{Reader, Writer};

/// A store in a folder of its own.
pub struct StoreFolder {
    pub dir: TempDir,
    pub site: Site,
}

impl StoreFolder {
    pub fn new() -> Self {
        Self { dir: TempDir::new().unwrap(), site: claymark_invented::two_tanks() }
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
        reading: Reading::new(id(sensor), at(ms), value),
        received_at: at(ms + 250),
        tests: TestFlags { gross_range: Flag::Pass, spike, ..TestFlags::NOT_EVALUATED },
        flag: if spike == Flag::NotEvaluated { Flag::Pass } else { spike },
    }
}

pub fn readings(readings: Vec<Assessed>) -> CommitBatch {
    CommitBatch { readings, ..CommitBatch::default() }
}

pub fn recalled(barn: &StoreFolder) -> Vec<Assessed> {
    let reader = barn.reader();
    let recall = reader.recall(Timestamp::UNIX_EPOCH);
    recall.readings.map(Result::unwrap).collect()
}
