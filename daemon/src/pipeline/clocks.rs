//! Dates what devices measured by what their times show of their clocks.
//!
//! A time that can't be right is put aside, and its reading waits: when the next readings show by how much the clock is
//! off, it is taken after all. So does one whose time is that of an older reading.

use std::collections::{BTreeMap, HashMap, VecDeque};

use jiff::{SignedDuration, Timestamp};

use claymark_model::device_clock::{BEARABLE, DeviceClock, ImpossibleTime, OffAlike, all_off_alike};
use claymark_model::id::Id;
use claymark_model::reading::{Assessed, Reading};
use claymark_notice::device_clock::{ClockFault, ClockFindings, OffClock, ServerClock};

use super::refused::RefusedTimes;
use crate::decode::time::impossible;
use crate::decode::{self, Problem};

/// The clocks of all devices whose payloads carry a time.
#[derive(Debug, Default)]
pub(super) struct DeviceClocks {
    devices: Vec<Device>,
    /// Each sensor's place among them.
    of: HashMap<Id, usize>,
    /// Most devices are off alike: it is our own clock.
    server: Option<OffAlike>,
    /// What the room knows of it.
    told: ClockFindings,
}

#[derive(Debug, Default)]
struct Device {
    /// In the site file.
    id: Option<Id>,
    sensors: Vec<Id>,
    clock: DeviceClock,
    refused: RefusedTimes,
    waiting: VecDeque<WaitingReading>,
    /// Since when its readings are put right.
    off_since: Option<Timestamp>,
}

/// A reading with the time that its device said, and its arrival.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ArrivedReading {
    pub(super) reading: Reading,
    pub(super) received_at: Timestamp,
}

#[derive(Debug)]
struct WaitingReading {
    arrived: ArrivedReading,
    /// Its time is that of another reading; else it can't be right.
    taken: bool,
}

/// A reading with the time at which it was measured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DatedReading {
    pub(super) reading: Reading,
    /// It arrived soon after.
    pub(super) fresh: bool,
}

impl DeviceClocks {
    /// Knows nothing of any yet.
    pub(super) fn new(settings: &decode::Settings) -> Self {
        let mut clocks = Self::default();
        let mut places: HashMap<(bool, &str), usize> = HashMap::new();
        for (sensor, shared) in settings.dated() {
            let place = *places.entry((sensor.device.is_some(), shared)).or_insert_with(|| {
                clocks.devices.push(Device { id: sensor.device.clone(), ..Device::default() });
                clocks.devices.len() - 1
            });
            if let Some(device) = clocks.devices.get_mut(place) {
                device.sensors.push(sensor.id.clone());
            }
            clocks.of.insert(sensor.id.clone(), place);
        }
        clocks
    }

    /// What these readings of one message show of their clocks; back come those that waited for it.
    pub(super) fn hear(&mut self, readings: &[Reading], received_at: Timestamp) -> Vec<ArrivedReading> {
        let mut newest: BTreeMap<usize, Timestamp> = BTreeMap::new();
        for reading in readings {
            if let Some(place) = self.of.get(&reading.sensor) {
                newest.entry(*place).and_modify(|at| *at = reading.at.max(*at)).or_insert(reading.at);
            }
        }
        if newest.is_empty() {
            return Vec::new();
        }
        for (place, said) in &newest {
            if let Some(device) = self.devices.get_mut(*place) {
                device.clock.hear(*said, received_at);
            }
        }
        self.settle(received_at);
        newest.keys().flat_map(|place| self.free(*place, received_at)).collect()
    }

    /// When it was measured, or why that can't be.
    pub(super) fn date(&self, arrived: &ArrivedReading) -> Result<DatedReading, Problem> {
        let ArrivedReading { reading, received_at } = arrived;
        let device = self.of.get(&reading.sensor).and_then(|place| self.devices.get(*place));
        let Some(Device { clock, .. }) = device else {
            return Ok(DatedReading { reading: reading.clone(), fresh: true });
        };
        let ahead = match clock.read(reading.at, *received_at) {
            Ok(ahead) => ahead,
            // It is right, only not by our clock.
            Err(ImpossibleTime::Future(_))
                if self.server.is_some_and(|off| off.explains(reading.at, *received_at)) =>
            {
                SignedDuration::ZERO
            }
            Err(why) => return Err(impossible(reading.at, why)),
        };
        let at = reading.at.saturating_sub(ahead).unwrap_or(reading.at);
        let fresh = received_at.duration_since(at).abs() <= BEARABLE;
        Ok(DatedReading { reading: Reading { at, ahead, ..reading.clone() }, fresh })
    }

    /// A reading of the device was taken.
    pub(super) fn accept(&mut self, sensor: &Id) {
        if let Some(device) = self.device(sensor) {
            device.refused.accept();
        }
    }

    /// A message carried a time of that sensor that can't be right, or can't be read.
    pub(super) fn refuse(&mut self, sensor: &Id, at: Timestamp) {
        if let Some(device) = self.device(sensor) {
            device.refused.refuse(at);
        }
    }

    /// It may be taken when more is known of its clock; its time is that of another reading if `taken`.
    pub(super) fn wait(&mut self, arrived: ArrivedReading, taken: bool) {
        if let Some(device) = self.device(&arrived.reading.sensor) {
            if device.waiting.len() >= MOST_WAITING {
                device.waiting.pop_front();
            }
            device.waiting.push_back(WaitingReading { arrived, taken });
        }
    }

    /// Which clocks are off, when that is another than the room was told.
    pub(super) fn news(&mut self, now: Timestamp) -> Option<ClockFindings> {
        let devices = self.devices.iter_mut().filter_map(|device| device.off(now)).collect();
        let server =
            self.server.map(|OffAlike { ahead, since, off, heard }| ServerClock { since, ahead, off, heard });
        let found = ClockFindings { devices, server };
        let same = is_told(&found, &self.told);
        (!same).then(|| {
            self.told.clone_from(&found);
            found
        })
    }

    /// While the past is told again after a restart: a reading that was taken then.
    pub(super) fn recall(&mut self, past: &Assessed) {
        if let Some(device) = self.device(&past.reading.sensor) {
            device.clock.hear(past.reading.device_time(), past.received_at);
            device.clock.recall(past.reading.ahead);
            device.note(past.received_at);
        }
    }

    fn device(&mut self, sensor: &Id) -> Option<&mut Device> {
        let place = self.of.get(sensor)?;
        self.devices.get_mut(*place)
    }

    fn settle(&mut self, now: Timestamp) {
        let anything = self.server.is_some() || self.devices.iter().any(|d| d.clock.shown_off().is_some());
        self.server =
            if anything { all_off_alike(self.devices.iter().map(|device| &device.clock)) } else { None };
        for device in &mut self.devices {
            if self.server.is_some_and(|off| off.includes(&device.clock)) {
                device.clock.acquit();
            } else {
                device.clock.settle();
            }
            device.note(now);
        }
    }

    /// What waited and can be dated now.
    fn free(&mut self, place: usize, now: Timestamp) -> Vec<ArrivedReading> {
        let Some(device) = self.devices.get_mut(place) else { return Vec::new() };
        let waiting = std::mem::take(&mut device.waiting);
        let off = !device.clock.ahead().is_zero();
        let (mut freed, mut still) = (Vec::new(), VecDeque::new());
        for waits in waiting {
            let dated = self.date(&waits.arrived);
            if dated.is_ok_and(|dated| !waits.taken || (off && dated.fresh)) {
                freed.push(waits.arrived);
            } else if now.duration_since(waits.arrived.received_at) <= WAITS_FOR {
                still.push_back(waits);
            }
        }
        if let Some(device) = self.devices.get_mut(place) {
            device.waiting = still;
            if !freed.is_empty() {
                device.refused.clear();
            }
        }
        freed
    }
}

impl Device {
    fn note(&mut self, now: Timestamp) {
        self.off_since = (!self.clock.ahead().is_zero()).then(|| self.off_since.unwrap_or(now));
    }

    /// What is wrong with its clock, if anything is.
    fn off(&mut self, now: Timestamp) -> Option<OffClock> {
        let (since, fault) = match self.off_since {
            Some(since) => (since, ClockFault::Steady { ahead: self.clock.ahead() }),
            None => {
                let (since, messages) = self.refused.flood(now)?;
                (since, ClockFault::Refused { messages })
            }
        };
        Some(OffClock { device: self.id.clone(), sensors: self.sensors.clone(), since, fault })
    }
}

/// Whether the room knows all of that; how many times were refused by now isn't news.
fn is_told(found: &ClockFindings, told: &ClockFindings) -> bool {
    let same = |found: &OffClock, told: &OffClock| {
        let counted =
            matches!((found.fault, told.fault), (ClockFault::Refused { .. }, ClockFault::Refused { .. }));
        found.sensors == told.sensors && (counted || found.fault == told.fault)
    };
    found.server.is_some() == told.server.is_some()
        && found.devices.len() == told.devices.len()
        && found.devices.iter().zip(&told.devices).all(|(found, told)| same(found, told))
}

/// Of one device.
const MOST_WAITING: usize = 512;

/// A clock that shows nothing steady for so long shows nothing of what it said before.
const WAITS_FOR: SignedDuration = SignedDuration::from_hours(1);
