//! What one sensor said in the week, condensed to ten-minute slots while its readings stream by.
//!
//! Everything is weighted by time. A reading stands until the next one, if that comes before the sensor's
//! gap limit; otherwise it stands for the sensor's own interval and what follows is missing. A reading that
//! failed a quality test stands as doubtful. Missing and doubtful time is never counted as good.

use jiff::{SignedDuration, Timestamp};

use claymark_model::quality::Flag;
use claymark_model::reading::Assessed;
use claymark_model::site::Sensor;
use claymark_store::limits::Limits;

use crate::week::Week;

/// The condensed week of one sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekTrace {
    slots: Vec<Slot>,
    start: Timestamp,
    /// What arrived.
    pub counts: ArrivalCounts,
    /// The longest time without a reading.
    pub longest_gap: Option<Gap>,
}

/// Ten minutes; all times in seconds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Slot {
    /// Inside the limits.
    pub inside_s: f64,
    /// Below the lower limit.
    pub below_s: f64,
    /// Above the upper limit.
    pub above_s: f64,
    /// Covered by a reading that failed a quality test.
    pub doubtful_s: f64,
    /// Within the part of the week that is reported.
    pub due_s: f64,
    /// What was wanted.
    pub limits: Limits,
    weighted_sum: f64,
    range: Option<(f64, f64)>,
}

/// How the time of a span divides; the five add up to what was due.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shares {
    /// Seconds inside the limits.
    pub inside_s: f64,
    /// Seconds below the lower limit.
    pub below_s: f64,
    /// Seconds above the upper limit.
    pub above_s: f64,
    /// Seconds with a reading that failed a quality test.
    pub doubtful_s: f64,
    /// Seconds without any reading.
    pub missing_s: f64,
}

/// What arrived in the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ArrivalCounts {
    /// All readings.
    pub readings: u64,
    /// Of these, flagged suspect.
    pub suspect: u64,
    /// Of these, failed a quality test.
    pub failed: u64,
    /// Of these, arrived more than [`LATE`] after they were measured.
    pub late: u64,
}

/// A time without a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// When the last reading before it was measured, or the start of the week.
    pub from: Timestamp,
    /// When the next one came, or the end of what is reported.
    pub to: Timestamp,
}

/// Takes the readings of one sensor in the order of their times.
#[derive(Debug)]
pub struct TraceBuilder {
    trace: WeekTrace,
    week: (Timestamp, Timestamp),
    every: SignedDuration,
    gap: SignedDuration,
    last: Option<(Timestamp, ReadingStanding)>,
    covered_to: Timestamp,
}

/// How a reading stands.
#[derive(Debug, Clone, Copy)]
enum ReadingStanding {
    Usable(f64),
    Doubtful,
}

impl TraceBuilder {
    /// For `sensor` in `week`, reported up to `until`; `limits` gives what is wanted at a time.
    #[must_use]
    pub fn new(sensor: &Sensor, limits: impl Fn(Timestamp) -> Limits, week: &Week, until: Timestamp) -> Self {
        let (start, end) = (week.start(), until.clamp(week.start(), week.end()));
        let slot = |(from, to): (Timestamp, Timestamp)| {
            let due_s = seconds(from.max(start), to.min(end));
            Slot { due_s, limits: limits(from), ..Slot::default() }
        };
        let slots = slot_borders(start, week.end()).map(slot).collect();
        Self {
            trace: WeekTrace { slots, start, counts: ArrivalCounts::default(), longest_gap: None },
            week: (start, end),
            every: sensor.every,
            gap: sensor.thresholds.gap.max(sensor.every),
            last: None,
            covered_to: start,
        }
    }

    /// The next reading; those before the week only tell what stands when it begins.
    pub fn push(&mut self, assessed: &Assessed) {
        let at = assessed.reading.at;
        self.settle(at);
        if (self.week.0..self.week.1).contains(&at) {
            self.count(assessed);
        }
        let standing = if assessed.flag.usable() {
            ReadingStanding::Usable(assessed.reading.value)
        } else {
            ReadingStanding::Doubtful
        };
        self.last = Some((at, standing));
    }

    /// In the hour that begins at `hour` these limits were in force, whatever the site file says today.
    pub fn set_limits(&mut self, hour: Timestamp, limits: Limits) {
        let end = hour.saturating_add(SignedDuration::from_hours(1)).unwrap_or(hour);
        let (first, last) = self.trace.indices(hour.max(self.week.0), end);
        for slot in self.trace.slots.get_mut(first..last).unwrap_or_default() {
            slot.limits = limits;
        }
    }

    /// The week is over.
    #[must_use]
    pub fn finish(mut self) -> WeekTrace {
        self.settle(self.week.1);
        self.note_gap(self.week.1);
        self.trace
    }

    fn count(&mut self, assessed: &Assessed) {
        let counts = &mut self.trace.counts;
        counts.readings += 1;
        match assessed.flag {
            Flag::Suspect => counts.suspect += 1,
            Flag::Fail | Flag::Missing => counts.failed += 1,
            Flag::Pass | Flag::NotEvaluated => {}
        }
        if assessed.received_at.duration_since(assessed.reading.at) > LATE {
            counts.late += 1;
        }
    }

    /// Books the reading that stands, up to `now`.
    fn settle(&mut self, now: Timestamp) {
        let Some((at, standing)) = self.last else { return };
        let stands = if now.duration_since(at) <= self.gap {
            now
        } else {
            at.saturating_add(self.every).unwrap_or(now)
        };
        let (from, to) = (at.max(self.covered_to), stands.min(self.week.1));
        if from >= to {
            return;
        }
        self.note_gap(from);
        self.covered_to = to;
        self.spread(from, to, |slot, s| {
            slot.add(BookedSide::of(standing, slot.limits), s);
            if let ReadingStanding::Usable(value) = standing {
                slot.see(value, s);
            }
        });
    }

    /// Divides a time over its slots.
    fn spread(&mut self, from: Timestamp, to: Timestamp, book: impl Fn(&mut Slot, f64)) {
        let mut from = from;
        while from < to {
            let index = slot_index(self.trace.start, from);
            let Some(slot) = self.trace.slots.get_mut(index) else { return };
            let border = slot_start(self.trace.start, index + 1).min(to);
            book(slot, seconds(from, border));
            from = border;
        }
    }

    fn note_gap(&mut self, to: Timestamp) {
        if to <= self.covered_to {
            return;
        }
        // Before a gap a reading stands for the sensor's own interval.
        let last = self.covered_to.saturating_sub(self.every).unwrap_or(self.week.0);
        let gap = Gap { from: last.max(self.week.0), to };
        if gap.length() > self.trace.longest_gap.map_or(SignedDuration::ZERO, |longest| longest.length()) {
            self.trace.longest_gap = Some(gap);
        }
    }
}

impl Gap {
    /// How long it lasted.
    #[must_use]
    pub fn length(self) -> SignedDuration {
        self.to.duration_since(self.from)
    }
}

/// On which side of the limits time is booked.
#[derive(Debug, Clone, Copy)]
enum BookedSide {
    Inside,
    Below,
    Above,
    Doubtful,
}

impl BookedSide {
    fn of(standing: ReadingStanding, limits: Limits) -> Self {
        match standing {
            ReadingStanding::Doubtful => Self::Doubtful,
            ReadingStanding::Usable(value) if limits.below(value) => Self::Below,
            ReadingStanding::Usable(value) if limits.above(value) => Self::Above,
            ReadingStanding::Usable(_) => Self::Inside,
        }
    }
}

impl Slot {
    fn add(&mut self, side: BookedSide, s: f64) {
        match side {
            BookedSide::Inside => self.inside_s += s,
            BookedSide::Below => self.below_s += s,
            BookedSide::Above => self.above_s += s,
            BookedSide::Doubtful => self.doubtful_s += s,
        }
    }

    /// Shares of a slot are added up, and not values times seconds: their sum is no larger than the largest value,
    /// and a value may be as large as a float can hold.
    fn see(&mut self, value: f64, s: f64) {
        let sum = self.weighted_sum + value * (s / SLOT_LENGTH_S);
        self.weighted_sum = sum.clamp(f64::MIN, f64::MAX);
        let (low, high) = self.range.unwrap_or((value, value));
        self.range = Some((low.min(value), high.max(value)));
    }

    /// Time covered by usable readings.
    #[must_use]
    pub fn known_s(&self) -> f64 {
        self.inside_s + self.below_s + self.above_s
    }

    /// The time-weighted mean of the usable readings.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        let known = self.known_s();
        let mean = self.weighted_sum / (known / SLOT_LENGTH_S);
        (known > 0.0).then(|| mean.clamp(f64::MIN, f64::MAX))
    }

    /// The lowest and the highest usable reading.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        self.range
    }

    /// Time without a reading.
    #[must_use]
    pub fn missing_s(&self) -> f64 {
        (self.due_s - self.known_s() - self.doubtful_s).max(0.0)
    }
}

impl WeekTrace {
    /// All slots, from the week's start to its end.
    #[must_use]
    pub fn slots(&self) -> &[Slot] {
        &self.slots
    }

    /// When slot `index` begins.
    #[must_use]
    pub fn slot_start(&self, index: usize) -> Timestamp {
        slot_start(self.start, index)
    }

    /// What was wanted over the week: from when, until when, which limits.
    #[must_use]
    pub fn wanted(&self) -> Vec<(Timestamp, Timestamp, Limits)> {
        let numbered: Vec<_> = self.slots.iter().map(|slot| slot.limits).enumerate().collect();
        let runs = numbered.chunk_by(|a, b| a.1 == b.1);
        runs.filter_map(|run| {
            let ((first, limits), (last, _)) = (run.first()?, run.last()?);
            Some((self.slot_start(*first), self.slot_start(last + 1), *limits))
        })
        .collect()
    }

    /// The mean that lay furthest below what was wanted then, and by how much.
    #[must_use]
    pub fn furthest_below(&self) -> Option<(f64, f64)> {
        self.furthest(|mean, limits| Some(limits.low? - mean))
    }

    /// The mean that lay furthest above what was wanted then, and by how much.
    #[must_use]
    pub fn furthest_above(&self) -> Option<(f64, f64)> {
        self.furthest(|mean, limits| Some(mean - limits.high?))
    }

    fn furthest(&self, beyond: impl Fn(f64, Limits) -> Option<f64>) -> Option<(f64, f64)> {
        self.slots
            .iter()
            .filter_map(|slot| {
                let mean = slot.mean()?;
                Some((mean, beyond(mean, slot.limits)?.clamp(f64::MIN, f64::MAX)))
            })
            .filter(|(_, by)| *by > 0.0)
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The first slot from `from` on, and the one behind the last before `to`.
    #[must_use]
    pub fn indices(&self, from: Timestamp, to: Timestamp) -> (usize, usize) {
        (slot_index(self.start, from), slot_index(self.start, to).min(self.slots.len()))
    }

    /// The slots that begin from `from` on and before `to`.
    #[must_use]
    pub fn between(&self, from: Timestamp, to: Timestamp) -> &[Slot] {
        let (first, last) = self.indices(from, to);
        self.slots.get(first..last).unwrap_or(&[])
    }
}

impl Shares {
    /// The sum over `slots`.
    #[must_use]
    pub fn of(slots: &[Slot]) -> Self {
        slots.iter().fold(Self::default(), |sum, slot| Self {
            inside_s: sum.inside_s + slot.inside_s,
            below_s: sum.below_s + slot.below_s,
            above_s: sum.above_s + slot.above_s,
            doubtful_s: sum.doubtful_s + slot.doubtful_s,
            missing_s: sum.missing_s + slot.missing_s(),
        })
    }

    /// Both together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            inside_s: self.inside_s + other.inside_s,
            below_s: self.below_s + other.below_s,
            above_s: self.above_s + other.above_s,
            doubtful_s: self.doubtful_s + other.doubtful_s,
            missing_s: self.missing_s + other.missing_s,
        }
    }

    /// All that was due.
    #[must_use]
    pub fn due_s(&self) -> f64 {
        self.known_s() + self.doubtful_s + self.missing_s
    }

    /// What usable readings cover.
    #[must_use]
    pub fn known_s(&self) -> f64 {
        self.inside_s + self.below_s + self.above_s
    }

    /// `part_s` in percent of what was due; `None` when nothing was.
    #[must_use]
    pub fn percent(&self, part_s: f64) -> Option<f64> {
        let due = self.due_s();
        (due > 0.0).then(|| 100.0 * part_s / due)
    }
}

/// The time-weighted mean over `slots`.
#[must_use]
pub fn mean(slots: &[Slot]) -> Option<f64> {
    let known: f64 = slots.iter().map(Slot::known_s).sum();
    let part = |slot: &Slot| slot.weighted_sum * (SLOT_LENGTH_S / known);
    let sum = || slots.iter().map(part).fold(0.0, |sum, part| (sum + part).clamp(f64::MIN, f64::MAX));
    (known > 0.0).then(sum)
}

/// The mean of values that count alike; no larger than the largest, however large they are.
#[must_use]
pub fn even_mean(values: &[f64]) -> Option<f64> {
    #[expect(
        clippy::cast_precision_loss,
        clippy::as_conversions,
        reason = "a week has about a thousand slots"
    )]
    let share = 1.0 / values.len() as f64;
    let add = |sum: f64, value: &f64| (sum + value * share).clamp(f64::MIN, f64::MAX);
    (!values.is_empty()).then(|| values.iter().fold(0.0, add))
}

/// The lowest and the highest ten-minute mean over `slots`: one bubble before the lens makes no extreme.
#[must_use]
pub fn extremes(slots: &[Slot]) -> Option<(f64, f64)> {
    slots.iter().filter_map(Slot::mean).fold(None, |range, mean| {
        let (low, high) = range.unwrap_or((mean, mean));
        Some((low.min(mean), high.max(mean)))
    })
}

fn slot_borders(start: Timestamp, end: Timestamp) -> impl Iterator<Item = (Timestamp, Timestamp)> {
    (0..)
        .map(move |index| (slot_start(start, index), slot_start(start, index + 1)))
        .take_while(move |(from, _)| *from < end)
}

fn slot_start(start: Timestamp, index: usize) -> Timestamp {
    let seconds = i64::try_from(index).unwrap_or(i64::MAX).saturating_mul(SLOT_S);
    start.saturating_add(SignedDuration::from_secs(seconds)).unwrap_or(Timestamp::MAX)
}

fn slot_index(start: Timestamp, at: Timestamp) -> usize {
    usize::try_from(at.duration_since(start).as_secs().div_euclid(SLOT_S)).unwrap_or(0)
}

fn seconds(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64().max(0.0)
}

/// The width of a slot, seconds. It divides every offset change in use today (30 or 60 minutes), so that a
/// local midnight is always the border of a slot.
pub const SLOT_S: i64 = 600;

const SLOT_LENGTH_S: f64 = 600.0;

/// Later than this between measurement and arrival is told as late. Our own choice: more than any polite retry.
pub const LATE: SignedDuration = SignedDuration::from_mins(5);
