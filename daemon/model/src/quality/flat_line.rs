//! Test 8: a value that doesn't move. Stuck sensors and buried probes look like this.
//!
//! The rule is the manuals' (test 8): the reading and real values before it, at least two in all, lie within EPS of
//! each other (range ≤ EPS, so 0 means an exact repeat) for long enough; else it passes, a reading with little before it
//! too. What is ours: how long is real time and no count of readings, and a gap breaks the run.

use std::collections::VecDeque;

use jiff::{SignedDuration, Timestamp};

use crate::quality::Flag;
use crate::quality::thresholds::FlatLine;

/// The longest run of readings, up to the newest, that stay within EPS of each other.
///
/// Takes a few nanoseconds a reading however long the thresholds are: of the run it keeps only the values
/// that can still become its lowest or highest. More than [`MOST_EXTREMES`] of these (a slow drift of a
/// sensor with very fine steps) are thinned so that the range is overstated rather than understated: a
/// flag may come late, never needlessly.
#[derive(Debug, Clone)]
pub(super) struct FlatRun {
    test: FlatLine,
    start: Option<Timestamp>,
    lows: Extremes,
    /// Of the negated values.
    highs: Extremes,
}

/// Readings that are lower than all that follow, oldest first: the front is the lowest of the run.
#[derive(Debug, Clone, Default)]
struct Extremes(VecDeque<Extreme>);

#[derive(Debug, Clone, Copy)]
struct Extreme {
    at: Timestamp,
    /// When the reading after it was made; its own time while it is the newest.
    next: Timestamp,
    value: f64,
}

impl FlatRun {
    pub(super) fn new(test: FlatLine) -> Self {
        Self { test, start: None, lows: Extremes::default(), highs: Extremes::default() }
    }

    /// The run up to the first of `back`, which goes from the newest reading to those before, up to a gap or
    /// the end of what is known.
    pub(super) fn told_again(back: impl Iterator<Item = (Timestamp, f64)>, test: FlatLine) -> Self {
        let mut run = Self::new(test);
        stretch(back, test).into_iter().rev().for_each(|(at, value)| run.push(at, value, false));
        run
    }

    /// The newest reading.
    pub(super) fn push(&mut self, at: Timestamp, value: f64, after_gap: bool) {
        if after_gap || self.start.is_none() {
            *self = Self { start: Some(at), ..Self::new(self.test) };
        }
        self.lows.push(at, value);
        self.highs.push(at, -value);
        self.shrink();
    }

    /// A late reading inside the run, made before the one at `next`.
    pub(super) fn insert(&mut self, at: Timestamp, value: f64, next: Timestamp) {
        self.lows.insert(at, value, next);
        self.highs.insert(at, -value, next);
        self.shrink();
    }

    /// Whether a reading of that time lies inside the run.
    pub(super) fn contains(&self, at: Timestamp) -> bool {
        self.start.is_some_and(|start| start < at)
    }

    /// Whether the run's oldest reading is that of `at`.
    pub(super) fn starts_at(&self, at: Timestamp) -> bool {
        self.start == Some(at)
    }

    /// The flag of the newest reading, made at `at`.
    pub(super) fn flag(&self, at: Timestamp) -> Flag {
        self.start.map_or(Flag::NotEvaluated, |start| judge(at.duration_since(start), self.test))
    }

    /// Gives up the oldest readings until the rest lies within EPS.
    fn shrink(&mut self) {
        while let (Some(low), Some(high)) = (self.lows.0.front(), self.highs.0.front()) {
            if within(low.value, -high.value, self.test.eps()) {
                return;
            }
            let oldest = if low.at <= high.at { &mut self.lows } else { &mut self.highs };
            if let Some(given_up) = oldest.0.pop_front() {
                self.start = Some(given_up.next);
            }
        }
    }
}

impl Extremes {
    fn push(&mut self, at: Timestamp, value: f64) {
        if let Some(newest) = self.0.back_mut() {
            newest.next = at;
        }
        while self.0.pop_back_if(|earlier| earlier.value >= value).is_some() {}
        self.0.push_back(Extreme { at, next: at, value });
        if self.0.len() > MOST_EXTREMES {
            self.thin();
        }
    }

    fn insert(&mut self, at: Timestamp, value: f64, next: Timestamp) {
        let place = self.0.partition_point(|extreme| extreme.at < at);
        if let Some(before) = place.checked_sub(1).and_then(|before| self.0.get_mut(before)) {
            before.next = before.next.min(at);
        }
        if self.0.get(place).is_some_and(|later| later.value <= value) {
            return;
        }
        self.0.insert(place, Extreme { at, next, value });
        let lower = self.0.iter().take(place).take_while(|earlier| earlier.value < value).count();
        self.0.drain(lower..place);
    }

    /// Halves the number: of two neighbours stay the lower value and the later time. The newest stays.
    fn thin(&mut self) {
        let newest = self.0.pop_back();
        let mut pairs = std::mem::take(&mut self.0).into_iter();
        while let Some(first) = pairs.next() {
            self.0.push_back(pairs.next().map_or(first, |second| Extreme { value: first.value, ..second }));
        }
        self.0.extend(newest);
    }
}

/// The flag of a late reading; `back` goes from it to those before, up to a gap or the end of what is known.
pub(super) fn flag_of_late(back: impl Iterator<Item = (Timestamp, f64)>, test: FlatLine) -> Flag {
    let run = stretch(back, test);
    match (run.first(), run.last()) {
        (Some((at, _)), Some((start, _))) => judge(at.duration_since(*start), test),
        _ => Flag::NotEvaluated,
    }
}

/// The first readings of `back` that lie within EPS of each other.
fn stretch(back: impl Iterator<Item = (Timestamp, f64)>, test: FlatLine) -> Vec<(Timestamp, f64)> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut run = Vec::new();
    for (at, value) in back {
        (low, high) = (low.min(value), high.max(value));
        if !within(low, high, test.eps()) {
            break;
        }
        run.push((at, value));
    }
    run
}

fn judge(flat_for: SignedDuration, test: FlatLine) -> Flag {
    if test.fail().is_some_and(|fail| flat_for >= fail) {
        Flag::Fail
    } else if flat_for >= test.suspect() {
        Flag::Suspect
    } else {
        Flag::Pass
    }
}

/// Decimal steps don't add up in binary (1.1 - 1.0 > 0.1), so EPS forgives the last bits of the
/// values; an EPS of 0 is exact.
fn within(low: f64, high: f64, eps: f64) -> bool {
    let last_bits = if eps > 0.0 { 2.0 * f64::EPSILON * low.abs().max(high.abs()) } else { 0.0 };
    high - low <= eps + last_bits
}

/// Per run and side; 128 of 40 bytes are 5 KiB.
const MOST_EXTREMES: usize = 128;

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_780_000_000 + seconds).unwrap()
    }

    fn test_of(eps: f64) -> FlatLine {
        let seconds = SignedDuration::from_secs;
        FlatLine::new(eps, seconds(180), Some(seconds(300)), seconds(60)).unwrap()
    }

    /// Flags by the run, one-minute readings; each must equal that of a late reading at the same place.
    fn check(eps: f64, values: &[f64], expected: &[u8]) {
        let test = test_of(eps);
        let mut run = FlatRun::new(test);
        let mut earlier: Vec<(Timestamp, f64)> = Vec::new();
        let flags: Vec<u8> = (0..)
            .zip(values)
            .map(|(minute, value)| {
                let now = at(60 * minute);
                run.push(now, *value, false);
                earlier.push((now, *value));
                assert_eq!(run.flag(now), flag_of_late(earlier.iter().rev().copied(), test));
                run.flag(now).into()
            })
            .collect();
        assert_eq!(flags, expected, "{values:?} within {eps}");
    }

    #[test]
    fn a_run_is_flat_when_its_range_stays_within_eps_for_long_enough() {
        check(0.0, &[7.0; 9], &[1, 1, 1, 3, 3, 4, 4, 4, 4]);
        check(0.5, &[7.0, 7.5, 7.0, 7.5, 7.0, 7.5], &[1, 1, 1, 3, 3, 4]);
        check(0.5, &[7.0, 7.25, 7.5, 7.75, 8.0], &[1, 1, 1, 1, 1]);
        check(0.5, &[3.0, 3.0, 3.0, 3.0, 4.0, 4.0, 4.0, 4.0], &[1, 1, 1, 3, 1, 1, 1, 3]);
        check(0.1, &[1.0, 1.1, 1.0, 1.1], &[1, 1, 1, 3]);
        check(0.0, &[1.0, 1.0 + f64::EPSILON, 1.0, 1.0], &[1, 1, 1, 1]);
    }

    #[test]
    fn a_stuck_sensor_costs_no_memory() {
        let mut run = FlatRun::new(test_of(0.0));
        (0..1_000).for_each(|minute| run.push(at(60 * minute), 7.0, false));
        assert_eq!((run.lows.0.len(), run.highs.0.len()), (1, 1));
    }

    #[test]
    fn a_gap_breaks_the_run() {
        let mut run = FlatRun::new(test_of(0.5));
        for minute in 0..4 {
            run.push(at(60 * minute), 7.0, false);
        }
        assert_eq!(run.flag(at(180)), Flag::Suspect);
        run.push(at(7_380), 7.0, true);
        assert_eq!(run.flag(at(7_380)), Flag::Pass);
    }

    #[test]
    fn a_late_reading_that_differs_cuts_the_run_behind_it() {
        let mut run = FlatRun::new(test_of(0.5));
        for minute in [0, 1, 2, 4, 5, 6] {
            run.push(at(60 * minute), 7.0, false);
        }
        let mut same = run.clone();
        run.insert(at(180), 9.0, at(240));
        assert_eq!(run.flag(at(360)), Flag::Pass);
        run.push(at(420), 7.0, false);
        assert_eq!(run.flag(at(420)), Flag::Suspect, "180 s since the reading after it");
        same.insert(at(180), 7.25, at(240));
        assert_eq!(same.flag(at(360)), Flag::Fail);
        same.push(at(420), 6.75, false);
        assert_eq!(same.flag(at(420)), Flag::Fail, "6.75 to 7.25 is within 0.5");
        same.push(at(480), 6.5, false);
        assert_eq!(same.flag(at(480)), Flag::Suspect, "7.25 at 180 s lies too high, so since 240 s");
    }

    #[test]
    fn a_run_that_gives_up_a_reading_starts_at_the_late_one_behind_it() {
        let mut run = FlatRun::new(test_of(0.5));
        run.push(at(0), 6.75, false);
        [120, 180, 240].into_iter().for_each(|second| run.push(at(second), 7.0, false));
        run.insert(at(60), 7.0, at(120));
        run.push(at(360), 7.375, false);
        assert_eq!(run.flag(at(360)), Flag::Fail, "6.75 is out, 300 s since the late reading");
    }

    #[test]
    fn a_thinned_run_never_flags_what_the_whole_run_would_not() {
        let seconds = SignedDuration::from_secs;
        let test = FlatLine::new(1.0, seconds(700), Some(seconds(900)), seconds(1)).unwrap();
        let mut run = FlatRun::new(test);
        let mut earlier: Vec<(Timestamp, f64)> = Vec::new();
        let mut flagged = 0;
        // A drift of 1.25 in 1000 s first (never flat for 900 s), then one slow enough to be flat.
        for second in 0..3_000_i32 {
            let drift =
                f64::from(second.min(1_000)) * 0.001_25 + f64::from((second - 1_000).max(0)) * 0.000_5;
            let now = at(i64::from(second));
            run.push(now, drift, false);
            assert_eq!(size_of::<Extreme>(), 40, "the size that the documentation states");
            assert!(run.lows.0.len() <= MOST_EXTREMES && run.highs.0.len() <= MOST_EXTREMES);
            earlier.push((now, drift));
            let exact = flag_of_late(earlier.iter().rev().copied(), test);
            let severity = |flag| {
                [Flag::NotEvaluated, Flag::Pass, Flag::Suspect, Flag::Fail].iter().position(|f| *f == flag)
            };
            assert!(severity(run.flag(now)) <= severity(exact), "{second} s");
            flagged += i32::from(run.flag(now) == Flag::Fail);
        }
        assert!(flagged > 900, "thinned, it still finds the flat part: {flagged}");
    }
}
