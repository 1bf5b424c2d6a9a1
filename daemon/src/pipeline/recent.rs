//! What arrived lately, so that a second delivery isn't taken for a second reading.
//!
//! The memory is bounded; what is older than it is judged by the store, which keeps everything.

use std::collections::{HashMap, HashSet, VecDeque};
use std::hash::Hash;

use jiff::{SignedDuration, Timestamp};

use claymark_model::device_clock::BEARABLE;
use claymark_model::fieldlog::LogEntry;
use claymark_model::id::Id;
use claymark_model::reading::Reading;
use claymark_notice::Answer;

/// What arrived lately.
#[derive(Debug, Default)]
pub(super) struct RecentArrivals {
    readings: HashMap<Id, SensorArrivals>,
    /// When the last reading of a sensor was dated whose payload carried no time.
    undated: HashMap<Id, Timestamp>,
    log: Entries,
    answers: Window<(u64, Option<String>, Option<Timestamp>, i64)>,
}

/// The last so many readings of one sensor, by its device's time.
#[derive(Debug, Default)]
struct SensorArrivals {
    known: HashMap<Timestamp, KnownReading>,
    order: VecDeque<Timestamp>,
}

#[derive(Debug, Clone, Copy)]
struct KnownReading {
    value: f64,
    ahead: SignedDuration,
}

impl SensorArrivals {
    fn remember(&mut self, reading: &Reading) {
        let at = reading.device_time();
        self.known.insert(at, KnownReading { value: reading.value, ahead: reading.ahead });
        self.order.push_back(at);
        if self.order.len() > READINGS_PER_SENSOR
            && let Some(oldest) = self.order.pop_front()
        {
            self.known.remove(&oldest);
        }
    }
}

/// Whether a reading is new.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum ReadingSeen {
    /// It is.
    Never,
    /// The same value for the same time came before.
    Before,
    /// This other value came before for the same time.
    Otherwise(f64),
}

/// Whether a log entry is new.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum EntrySeen {
    /// It is.
    New,
    /// It came before.
    Again,
    /// Its key is that of this other entry.
    KeyOf(Box<LogEntry>),
}

impl RecentArrivals {
    /// Remembers `reading` if nothing is known of its sensor at its device's time.
    ///
    /// A clock that was set back says the same times once more. A reading that is `fresh` by another setting of the clock
    /// than the one that is known for its time is another reading: it is named by the next millisecond that is free.
    pub(super) fn reading(&mut self, reading: &mut Reading, fresh: bool) -> ReadingSeen {
        let of_sensor = self.readings.entry(reading.sensor.clone()).or_default();
        while let Some(known) = of_sensor.known.get(&reading.device_time()) {
            if !fresh || (known.ahead - reading.ahead).abs() <= BEARABLE {
                return if known.value.total_cmp(&reading.value).is_eq() {
                    ReadingSeen::Before
                } else {
                    ReadingSeen::Otherwise(known.value)
                };
            }
            reading.ahead += MOMENT;
        }
        of_sensor.remember(reading);
        ReadingSeen::Never
    }

    /// Whether that value of a sensor is known for what its device said as time.
    pub(super) fn knows(&self, reading: &Reading) -> bool {
        let known = self.readings.get(&reading.sensor);
        let known = known.and_then(|of_sensor| of_sensor.known.get(&reading.device_time()));
        known.is_some_and(|known| known.value.total_cmp(&reading.value).is_eq())
    }

    /// A time of its own for a reading that is dated by its arrival: a millisecond after the one before it, though a clock
    /// that stands still gives both the same, and one at which nothing is known of the sensor.
    pub(super) fn own_time(&mut self, sensor: &Id, at: Timestamp) -> Timestamp {
        let after = |time: Timestamp| time.saturating_add(MOMENT).unwrap_or(time);
        let last = self.undated.get(sensor).filter(|last| last.duration_since(at) < MOST_AHEAD);
        let mut own = last.map_or(at, |last| at.max(after(*last)));
        if let Some(known) = self.readings.get(sensor) {
            while known.known.contains_key(&own) && own.duration_since(at) < MOST_AHEAD {
                own = after(own);
            }
        }
        self.undated.insert(sensor.clone(), own);
        own
    }

    /// Whether this entry came before, or another one with its key.
    pub(super) fn log_entry(&mut self, entry: &LogEntry) -> EntrySeen {
        self.log.add(entry)
    }

    /// The entry that came under that key.
    pub(super) fn entry_of(&self, key: &str) -> Option<&LogEntry> {
        self.log.known.get(key)
    }

    /// Whether this answer came before.
    pub(super) fn answer(&mut self, answer: &Answer) -> bool {
        // What is said again later is said anew: the first promise may be over.
        let about = answer.at.as_second().div_euclid(SAME_ANSWER.as_secs());
        self.answers.contained_or_added((answer.notice, answer.by.clone(), answer.there_by, about))
    }
}

/// The broker delivers a message twice within this, or not at all.
const SAME_ANSWER: SignedDuration = SignedDuration::from_mins(3);

/// The last so many log entries, by their keys.
#[derive(Debug, Default)]
struct Entries {
    known: HashMap<String, LogEntry>,
    order: VecDeque<String>,
}

impl Entries {
    fn add(&mut self, entry: &LogEntry) -> EntrySeen {
        match self.known.get(&entry.key) {
            Some(other) if is_same(other, entry) => return EntrySeen::Again,
            Some(other) => return EntrySeen::KeyOf(Box::new(other.clone())),
            None => {}
        }
        self.known.insert(entry.key.clone(), entry.clone());
        self.order.push_back(entry.key.clone());
        if self.order.len() > HAND_MADE {
            let oldest = self.order.pop_front();
            oldest.map(|oldest| self.known.remove(&oldest));
        }
        EntrySeen::New
    }
}

/// Whether one entry is another's copy, whenever it arrived; the store keeps whole milliseconds.
fn is_same(one: &LogEntry, other: &LogEntry) -> bool {
    let at = |entry: &LogEntry| entry.at.as_millisecond();
    at(one) == at(other) && one.by == other.by && one.replaces == other.replaces && one.deed == other.deed
}

/// The last so many different things.
#[derive(Debug)]
struct Window<T> {
    known: HashSet<T>,
    order: VecDeque<T>,
}

impl<T> Default for Window<T> {
    fn default() -> Self {
        Self { known: HashSet::new(), order: VecDeque::new() }
    }
}

impl<T: Clone + Eq + Hash> Window<T> {
    fn contained_or_added(&mut self, thing: T) -> bool {
        if !self.known.insert(thing.clone()) {
            return true;
        }
        self.order.push_back(thing);
        if self.order.len() > HAND_MADE {
            let oldest = self.order.pop_front();
            oldest.map(|oldest| self.known.remove(&oldest));
        }
        false
    }
}

/// More than a day of one reading a minute; 128 KiB a sensor.
const READINGS_PER_SENSOR: usize = 2048;
/// What the store tells apart.
const MOMENT: SignedDuration = SignedDuration::from_millis(1);
/// A device's own time may be as far ahead, too.
const MOST_AHEAD: SignedDuration = SignedDuration::from_secs(60);
/// Entries and answers are made by hand: this is weeks.
const HAND_MADE: usize = 4096;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_delivery_is_known_and_another_value_is_told_apart() {
        let mut recent = RecentArrivals::default();
        let mut seen = |second: i64, value: f64| recent.reading(&mut reading(second, value, 0), true);
        assert_eq!(seen(10, 1.0), ReadingSeen::Never);
        assert_eq!(seen(10, 1.0), ReadingSeen::Before);
        assert_eq!(seen(10, 2.0), ReadingSeen::Otherwise(1.0));
        assert_eq!(seen(9, 2.0), ReadingSeen::Never);
        for second in 11..4000 {
            seen(second, 1.0);
        }
        assert_eq!(seen(3999, 1.0), ReadingSeen::Before);
        assert_eq!(recent.readings[&Id::new("a").unwrap()].known.len(), READINGS_PER_SENSOR);
    }

    /// Of a device that says `second`, `ahead` seconds too late.
    fn reading(second: i64, value: f64, ahead: i64) -> Reading {
        let ahead = SignedDuration::from_secs(ahead);
        let at = Timestamp::from_second(second).unwrap() - ahead;
        Reading { ahead, ..Reading::new(Id::new("a").unwrap(), at, value) }
    }

    #[test]
    fn a_clock_that_was_set_back_says_the_same_time_of_another_reading() {
        let mut recent = RecentArrivals::default();
        let mut right = reading(7200, 1.0, 0);
        assert_eq!(recent.reading(&mut right, true), ReadingSeen::Never);
        let late = &mut reading(7200, 1.0, -3600);
        assert_eq!(recent.reading(late, false), ReadingSeen::Before, "it may have come again");
        for value in [1.0, 3.0] {
            let (mut set_back, mut again) = (reading(7200, value, -3600), reading(7200, value, -3600));
            let first = recent.reading(&mut set_back, true);
            assert_eq!(set_back.at, right.at + SignedDuration::from_hours(1));
            if value < 2.0 {
                assert_eq!(first, ReadingSeen::Never);
                assert_eq!(set_back.device_time(), right.at + MOMENT);
                assert_eq!(recent.reading(&mut again, true), ReadingSeen::Before);
            } else {
                assert_eq!(first, ReadingSeen::Otherwise(1.0));
            }
        }
    }

    #[test]
    fn a_window_forgets_the_oldest_first() {
        let mut window = Window::default();
        for number in 0..=HAND_MADE {
            assert!(!window.contained_or_added(number));
        }
        assert!(!window.contained_or_added(0));
        assert!(window.contained_or_added(HAND_MADE));
    }
}
