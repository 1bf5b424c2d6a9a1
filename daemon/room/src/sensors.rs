//! When each sensor last spoke.

use jiff::{SignedDuration, Timestamp};

use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Sensor};
use claymark_notice::content::SilentSensor;

/// All of a site, in the order of its file.
#[derive(Debug)]
pub(crate) struct Sensors(Vec<HeardSensor>);

/// One of them.
#[derive(Debug)]
pub(crate) struct HeardSensor {
    pub(crate) id: Id,
    pub(crate) place: Place,
    every: SignedDuration,
    pub(crate) patience: SignedDuration,
    /// Time of the newest reading that tells something, by the reading's own clock: late readings don't end a silence.
    pub(crate) last: Option<Timestamp>,
    /// Time of the newest reading.
    spoke: Option<Timestamp>,
    must_be_believed: bool,
}

impl Sensors {
    pub(crate) fn new(sensors: &[Sensor]) -> Self {
        let row = |sensor: &Sensor| HeardSensor {
            id: sensor.id.clone(),
            place: sensor.place.clone(),
            every: sensor.every,
            patience: sensor.thresholds.gap.max(LEAST_PATIENCE),
            last: None,
            spoke: None,
            must_be_believed: must_be_believed(sensor),
        };
        Self(sensors.iter().map(row).collect())
    }

    /// A reading of that time arrived, and is believed or not.
    pub(crate) fn heard(&mut self, sensor: &Id, at: Timestamp, believed: bool) {
        if let Some(row) = self.0.iter_mut().find(|row| row.id == *sensor) {
            row.spoke = row.spoke.max(Some(at));
            if believed || !row.must_be_believed {
                row.last = row.last.max(Some(at));
            }
        }
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = &HeardSensor> {
        self.0.iter()
    }

    /// Time of the newest reading.
    pub(crate) fn last(&self, sensor: &Id) -> Option<Timestamp> {
        self.0.iter().find(|row| row.id == *sensor)?.spoke
    }

    /// Whether it speaks, and is believed where that matters.
    pub(crate) fn sees(&self, sensor: &Id, now: Timestamp) -> bool {
        self.0.iter().any(|row| row.id == *sensor && row.speaks(now))
    }

    /// Whether the sensor misses its readings, told or not.
    pub(crate) fn overdue(&self, sensor: &Id, now: Timestamp) -> bool {
        self.0.iter().any(|row| row.id == *sensor && row.spoke.is_none_or(|last| row.overdue(last, now)))
    }

    /// Those that don't speak, and how many do.
    pub(crate) fn roll_call(&self, now: Timestamp) -> (Vec<SilentSensor>, usize) {
        let silent: Vec<_> = self
            .0
            .iter()
            .filter(|row| row.last.is_none_or(|last| last + row.patience <= now))
            .map(|row| row.as_silent(now))
            .collect();
        let heard = self.0.len() - silent.len();
        (silent, heard)
    }
}

impl HeardSensor {
    /// Two readings have been missed, and a minute for the network.
    pub(crate) fn overdue(&self, since: Timestamp, now: Timestamp) -> bool {
        since + self.every * 2 + NETWORK < now
    }

    pub(crate) fn speaks(&self, now: Timestamp) -> bool {
        self.last.is_some_and(|last| !self.overdue(last, now))
    }

    /// Whether its last reading is the one that it should have sent before `broke_at`.
    pub(crate) fn fell_silent_at(&self, broke_at: Option<Timestamp>) -> bool {
        match (self.last, broke_at) {
            (Some(last), Some(broke_at)) => {
                (broke_at - self.every - NETWORK..=broke_at + NETWORK).contains(&last)
            }
            (None, None) => true,
            (Some(_), None) | (None, Some(_)) => false,
        }
    }

    pub(crate) fn as_silent(&self, now: Timestamp) -> SilentSensor {
        let doubted = self.spoke > self.last && self.spoke.is_some_and(|spoke| !self.overdue(spoke, now));
        SilentSensor { sensor: self.id.clone(), last: self.last, doubted }
    }
}

/// Whether a sensor that speaks and isn't believed has fallen out of sight: fish may die of what it measures.
fn must_be_believed(sensor: &Sensor) -> bool {
    let kills =
        matches!(sensor.quantity, Quantity::Oxygen | Quantity::OxygenSaturation | Quantity::Temperature);
    kills && matches!(sensor.place, Place::Head | Place::Tank(_))
}

/// However short a sensor's gap is, a hiccup of the network is no reason to wake anybody.
const LEAST_PATIENCE: SignedDuration = SignedDuration::from_mins(10);

/// What the network may hold a reading back.
const NETWORK: SignedDuration = SignedDuration::from_mins(1);
