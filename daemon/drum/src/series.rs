//! What the level sensor said: a median for each minute of the last day, whatever order it came in.

use claymark_model::median::median;
use std::collections::BTreeMap;

use jiff::Timestamp;

use super::hours::{MINUTES_PER_HOUR, SECONDS_PER_HOUR};
use super::stats::count;
use super::tuning::{KEPT_MINUTES, REMEMBERED_RAW_MINUTES};

/// A volume at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MinuteVolume {
    /// Hours since 1970.
    pub t: f64,
    /// Litres, heel included.
    pub v: f64,
}

/// Minute medians, oldest first; raw values stay only for minutes that were touched lately, so that a
/// value can still be struck out and a burst gives the same medians in any order.
#[derive(Debug, Clone)]
pub(super) struct Series {
    minutes: Vec<StoredMinute>,
    raw_minutes: BTreeMap<u32, RawMinute>,
}

/// As small as can be, since a day of them is most of what a drum takes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct StoredMinute {
    /// Minutes since 1970.
    index: u32,
    /// Mean time of its readings, s into the minute.
    second: f32,
    litres: f32,
}

#[derive(Debug, Clone)]
struct RawMinute {
    /// The minute since 1970 in which it was last changed.
    touched: u32,
    /// Milliseconds into the minute and litres: the first reading of each five seconds.
    raw: Vec<(u16, f32)>,
}

impl Series {
    /// Nothing yet.
    pub fn new() -> Self {
        Self { minutes: Vec::new(), raw_minutes: BTreeMap::new() }
    }

    /// Takes a usable reading, or the same one again; whether that changed the minute.
    pub fn insert(&mut self, now: Timestamp, at: Timestamp, litres: f64) -> bool {
        let (index, ms) = place(at);
        if self.minutes.last().is_some_and(|last| index + KEPT_MINUTES < last.index) {
            return false;
        }
        let litres = single(litres);
        let known = self.position(index).ok().and_then(|i| self.minutes.get(i)).copied();
        let open = self.raw_minutes.entry(index).or_insert_with(|| RawMinute {
            touched: 0,
            raw: known.iter().map(|minute| (MIDDLE_MS, minute.litres)).collect(),
        });
        open.touched = place(now).0;
        match open.raw.iter_mut().find(|(other, _)| other / SLOT_MS == ms / SLOT_MS) {
            Some(slot) if ms <= slot.0 => *slot = (ms, litres),
            Some(_) => return false,
            None => open.raw.push((ms, litres)),
        }
        self.settle(index)
    }

    /// Strikes out a reading that failed after all; whether that changed the minute.
    pub fn remove(&mut self, at: Timestamp) -> bool {
        let (index, ms) = place(at);
        let Some(open) = self.raw_minutes.get_mut(&index) else { return false };
        let before = open.raw.len();
        open.raw.retain(|(other, _)| *other != ms);
        open.raw.len() < before && self.settle(index)
    }

    /// Forgets raw values that nothing has touched for a while, and minutes that are too old.
    pub fn prune(&mut self, now: Timestamp) {
        let now = place(now).0;
        self.raw_minutes.retain(|_, open| now.saturating_sub(open.touched) <= REMEMBERED_RAW_MINUTES);
        let Some(newest) = self.minutes.last().map(|minute| minute.index) else { return };
        let stale = self.minutes.partition_point(|minute| minute.index + KEPT_MINUTES < newest);
        if stale > PRUNED_AT_ONCE {
            self.minutes.drain(..stale);
        }
    }

    /// Points from `from` to `to` (hours, both included), oldest first.
    pub fn between(&self, from: f64, to: f64) -> impl DoubleEndedIterator<Item = MinuteVolume> + Clone + '_ {
        let first = self.minutes.partition_point(|minute| minute.point().t < from);
        let end = self.minutes.partition_point(|minute| minute.point().t <= to);
        self.minutes.get(first..end.max(first)).unwrap_or_default().iter().map(|minute| minute.point())
    }

    fn settle(&mut self, index: u32) -> bool {
        let position = self.position(index);
        let Some((second, litres)) = self.raw_minutes.get(&index).and_then(|open| open.middle()) else {
            return position.is_ok_and(|at| {
                self.minutes.remove(at);
                true
            });
        };
        let minute = StoredMinute { index, second, litres };
        match position {
            Ok(at) => self.minutes.splice(at..=at, [minute]).any(|old| old != minute),
            Err(at) => {
                self.minutes.insert(at, minute);
                true
            }
        }
    }

    fn position(&self, index: u32) -> Result<usize, usize> {
        self.minutes.binary_search_by_key(&index, |minute| minute.index)
    }
}

impl StoredMinute {
    fn point(&self) -> MinuteVolume {
        let t = f64::from(self.index) / MINUTES_PER_HOUR + f64::from(self.second) / SECONDS_PER_HOUR;
        MinuteVolume { t, v: f64::from(self.litres) }
    }
}

impl RawMinute {
    /// Mean time, s, and median volume of what is left.
    fn middle(&self) -> Option<(f32, f32)> {
        let mut litres: Vec<f64> = self.raw.iter().map(|(_, litres)| f64::from(*litres)).collect();
        let middle = median(&mut litres)?;
        let sum: f64 = self.raw.iter().map(|(ms, _)| f64::from(*ms)).sum();
        Some((single(sum / count(self.raw.len()) / MS_PER_SECOND), single(middle)))
    }
}

/// The minute since 1970 and the milliseconds into it; nothing was measured before 1970 or after the year 9999.
fn place(at: Timestamp) -> (u32, u16) {
    let ms = at.as_millisecond().max(0);
    let index = u32::try_from(ms / MS_PER_MINUTE).expect("the year 9999 ends before minute 2^32");
    let into = u16::try_from(ms % MS_PER_MINUTE).expect("a minute has 60 000 ms");
    (index, into)
}

#[expect(clippy::cast_possible_truncation, reason = "a drum's volume needs no more than 24 bits")]
fn single(x: f64) -> f32 {
    x as f32
}

const MS_PER_MINUTE: i64 = 60_000;
/// Where the median of a minute stands among its raw values once these are forgotten.
const MIDDLE_MS: u16 = 30_000;
const MS_PER_SECOND: f64 = 1000.0;
/// One raw value is kept for each so many milliseconds: at most twelve a minute.
const SLOT_MS: u16 = 5000;
/// Old minutes go in batches, since each removal moves the rest.
const PRUNED_AT_ONCE: usize = 120;

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + second).unwrap()
    }

    #[test]
    fn a_minute_holds_the_median_of_its_readings_in_any_order_and_forgets_a_struck_one() {
        let readings = [(3, 100.0), (8, 101.0), (13, 180.0), (18, 99.0), (23, 100.5), (64, 98.0)];
        let mut forth = Series::new();
        let mut back = Series::new();
        for (second, litres) in readings {
            forth.insert(at(100), at(second), litres);
        }
        for (second, litres) in readings.into_iter().rev() {
            back.insert(at(100), at(second), litres);
        }
        let points = |series: &Series| series.between(0.0, f64::MAX).collect::<Vec<_>>();
        assert_eq!(points(&forth), points(&back));
        assert!((points(&forth)[0].v - 100.5).abs() < 1e-6);
        forth.remove(at(13));
        assert!((points(&forth)[0].v - 100.25).abs() < 1e-6);
        forth.remove(at(64));
        assert_eq!(points(&forth).len(), 1);
    }

    #[test]
    fn two_days_of_a_reading_a_second_stay_below_100_kilobytes() {
        let mut series = Series::new();
        for second in (0..60 * 60 * 72).step_by(5) {
            series.insert(at(second), at(second), 50.0);
            series.prune(at(second));
        }
        let bytes = series.minutes.capacity() * size_of::<StoredMinute>() + series.raw_minutes.len() * 200;
        assert!(bytes < 100_000, "{bytes} bytes");
    }
}
