//! What others may see of the engine: a value, never a lock.

use std::collections::BTreeMap;

use jiff::Timestamp;

use claymark_model::forecast::{Forecast, Subject};
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::quarantine::Reason;
use claymark_model::reading::Assessed;
use claymark_model::skill::Skill;
use claymark_store::batch::{Channel, CommitBatch};

/// How the connection stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Connection {
    /// Not yet, or not any more, and why.
    Down {
        /// For people.
        why: String,
    },
    /// Subscribed.
    Watching {
        /// Since then.
        since: Timestamp,
        /// Filters that the broker refuses or grants at QoS 0 only, with its reason.
        refused: Vec<String>,
    },
}

/// How things stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Snapshot {
    /// Since the program started.
    pub counts: CountsSinceStart,
    /// Messages that wait for their commit.
    pub waiting: usize,
    /// The newest reading of each sensor, by its own time.
    pub last: BTreeMap<Id, Last>,
    /// The newest forecast of each drum and supply.
    pub forecasts: BTreeMap<Subject, Forecast>,
    /// How well the drums were forecast of late.
    pub skill: Skill,
    /// To the broker.
    pub connection: Connection,
    /// What the store says, while it fails.
    pub store_trouble: Option<String>,
    /// The last notice that reached nobody by any way, until another reaches somebody.
    pub reached_nobody: Option<u64>,
}

/// What was counted since the program started.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CountsSinceStart {
    /// Messages that arrived.
    pub messages: u64,
    /// Readings stored for the first time.
    pub stored: u64,
    /// Readings that were there already.
    pub duplicates: u64,
    /// Kept aside, by reason.
    pub quarantined: BTreeMap<Reason, u64>,
    /// Commits that are on the disk.
    pub commits: u64,
    /// Commits that failed.
    pub failed_commits: u64,
    /// Notices.
    pub notices: u64,
    /// Times that the broker's session was lost.
    pub sessions_lost: u64,
    /// Times that the clock was set by more than a little.
    pub clock_steps: u64,
    /// Times that another store was begun: the one before was damaged, or its files were taken away.
    pub stores_replaced: u64,
    /// Messages that couldn't be recorded for replay.
    pub not_recorded: u64,
    /// Records that the store can't hold.
    pub refused: u64,
    /// Records of the store that couldn't be read back at the last start.
    pub unreadable: u64,
    /// Deliveries that are over, by their channel and by how they ended.
    pub deliveries: BTreeMap<(Channel, DeliveryFate), u64>,
    /// Deliveries that were given up: a notice that doesn't reach somebody by some way.
    pub undelivered: u64,
    /// Times that another client had our client id at the broker.
    pub taken_over: u64,
}

/// How a delivery ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DeliveryFate {
    /// The next server, or the program, has taken it.
    Accepted,
    /// Refused for good, tried for too long, or not needed any more.
    GivenUp,
}

/// A sensor's newest reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Last {
    /// When it was measured.
    pub at: Timestamp,
    /// In the base unit.
    pub value: f64,
    /// The aggregate.
    pub flag: Flag,
}

impl Snapshot {
    /// Before anything has happened.
    #[must_use]
    pub fn new(counts: CountsSinceStart) -> Self {
        Self {
            counts,
            waiting: 0,
            last: BTreeMap::new(),
            forecasts: BTreeMap::new(),
            skill: Skill::default(),
            connection: Connection::Down { why: "not connected yet".to_owned() },
            store_trouble: None,
            reached_nobody: None,
        }
    }

    /// Notes what a batch holds.
    pub fn note(&mut self, batch: &CommitBatch) {
        for assessed in &batch.readings {
            self.note_reading(assessed);
        }
        for forecast in &batch.forecasts {
            self.forecasts.insert(forecast.of.clone(), forecast.clone());
        }
        for quarantined in &batch.quarantined {
            *self.counts.quarantined.entry(quarantined.reason).or_default() += 1;
        }
        self.counts.notices += u64::try_from(batch.notices.len()).unwrap_or(u64::MAX);
    }

    fn note_reading(&mut self, assessed: &Assessed) {
        let reading = &assessed.reading;
        let last = Last { at: reading.at, value: reading.value, flag: assessed.flag };
        match self.last.get_mut(&reading.sensor) {
            Some(known) if known.at > last.at => {}
            Some(known) => *known = last,
            None => {
                self.last.insert(reading.sensor.clone(), last);
            }
        }
    }
}
