//! The quality tests of one sensor, reading by reading as they arrive.

use std::cmp::Ordering;

use jiff::{SignedDuration, Timestamp};

use crate::id::Id;
use crate::quality::flat_line::FlatRun;
use crate::quality::history::{Falls, History, Point};
use crate::quality::thresholds::Thresholds;
use crate::quality::{Flag, aggregate, flat_line, gap, gross_range, rate, spike};
use crate::reading::{Assessed, Reading, TestFlags};
use crate::site::Sensor;

/// Assesses the readings of one sensor in the order in which they arrive.
///
/// Each reading is compared with its neighbours in its *own* time, late ones too. A flag once given stays,
/// except that the newest reading waits with spike flag 2 for the next one, and is then given out again; so
/// does the last reading of a late burst, before the burst has closed its gap. Nothing is compared across
/// a gap.
///
/// It remembers 1024 readings (32 KiB) and up to 10 KiB for the flat-line run, whatever the thresholds.
#[derive(Debug, Clone)]
pub struct Assessor {
    sensor: Id,
    thresholds: Thresholds,
    history: History,
    run: Option<FlatRun>,
    /// The newest reading, while it waits for its spike test.
    newest_waits: Option<Waiting>,
    /// The last late reading, while the one after it is still missing.
    late_waits: Option<Waiting>,
}

/// A reading whose spike test waits for the reading after it.
#[derive(Debug, Clone, Copy)]
struct Waiting {
    at: Timestamp,
    received_at: Timestamp,
    /// By how much the device's clock was ahead.
    ahead: SignedDuration,
}

type TimeValue = (Timestamp, f64);

impl Assessor {
    /// Knows no reading yet.
    #[must_use]
    pub fn new(sensor: &Sensor) -> Self {
        Self {
            sensor: sensor.id.clone(),
            thresholds: sensor.thresholds.clone(),
            history: History::default(),
            run: sensor.thresholds.flat_line.map(FlatRun::new),
            newest_waits: None,
            late_waits: None,
        }
    }

    /// The reading with its flags, and behind it the one whose spike flag was settled by it, if any: with
    /// the same sensor, time and arrival as when it was first given out.
    ///
    /// - A copy of a reading that is remembered comes back with the flags that it has.
    /// - Another value for a remembered time comes back with `time_order` set, and isn't remembered.
    /// - A reading older than all that is remembered is compared with nothing.
    pub fn assess(&mut self, reading: Reading, received_at: Timestamp) -> Vec<Assessed> {
        match self.history.place_of(reading.at) {
            Falls::Newest => self.newest(reading, received_at),
            Falls::Late(earlier) => self.late(earlier, reading, received_at),
            Falls::Taken(_, point) => vec![self.again(point, reading, received_at)],
            Falls::Forgotten => {
                let tests = self.by_itself(&reading);
                vec![Assessed { flag: self.aggregate(tests), tests, received_at, reading }]
            }
        }
    }

    /// After a restart: a reading of the past with the flags that it was given.
    pub fn recall(&mut self, past: &Assessed) {
        let point = Point { at: past.reading.at, value: past.reading.value, tests: past.tests };
        match self.history.place_of(point.at) {
            Falls::Newest => {
                self.remember_newest(point);
                self.newest_waits = self.waiting(&past.reading, past.received_at);
            }
            Falls::Late(earlier) => self.remember_late(earlier, point),
            Falls::Taken(..) | Falls::Forgotten => {}
        }
    }

    fn newest(&mut self, reading: Reading, received_at: Timestamp) -> Vec<Assessed> {
        let settled = self.newest_waits.take().and_then(|waiting| self.settle(waiting, &reading));
        let before = self.history.newest().copied();
        let mut point =
            Point { at: reading.at, value: reading.value, tests: self.compared(&reading, before.as_ref()) };
        self.remember_newest(point);
        if let Some(run) = &self.run {
            point.tests.flat_line = run.flag(reading.at);
        }
        if let Some(newest) = self.history.newest_mut() {
            newest.tests = point.tests;
        }
        self.newest_waits = self.waiting(&reading, received_at);
        let flag = self.aggregate(point.tests);
        let mut given = vec![Assessed { reading, received_at, tests: point.tests, flag }];
        given.extend(settled);
        given
    }

    /// A reading that others have overtaken.
    fn late(&mut self, earlier: usize, reading: Reading, received_at: Timestamp) -> Vec<Assessed> {
        let (at, value) = (reading.at, reading.value);
        let before = self.history.last_of(earlier).copied();
        let settled = self
            .late_waits
            .take()
            .filter(|waiting| before.is_some_and(|before| before.at == waiting.at))
            .and_then(|waiting| self.settle(waiting, &reading));
        let mut tests = self.compared(&reading, before.as_ref());
        match self.history.get(earlier).copied().filter(|after| self.comparable(at, after.at)) {
            Some(after) => {
                if let Some(spike) = self.spike(before, (at, value), (after.at, after.value)) {
                    (tests.spike, tests.next_to_spike) = spike;
                }
            }
            None => self.late_waits = self.waiting(&reading, received_at),
        }
        if let Some(test) = self.thresholds.flat_line {
            let back = std::iter::once((at, value)).chain(self.unbroken_before(earlier, at));
            tests.flat_line = flat_line::flag_of_late(back, test);
        }
        self.remember_late(earlier, Point { at, value, tests });
        let flag = self.aggregate(tests);
        let mut given = vec![Assessed { reading, received_at, tests, flag }];
        given.extend(settled);
        given
    }

    fn waiting(&self, reading: &Reading, received_at: Timestamp) -> Option<Waiting> {
        self.thresholds.spike.map(|_| Waiting { at: reading.at, received_at, ahead: reading.ahead })
    }

    /// The spike test of a reading that waited, now that `next` has arrived; a reading with a gap beside it
    /// keeps its 2.
    fn settle(&mut self, waiting: Waiting, next: &Reading) -> Option<Assessed> {
        let Falls::Taken(earlier, known) = self.history.place_of(waiting.at) else { return None };
        let before = self.history.last_of(earlier).copied();
        let (spike, next_to_spike) = self.spike(before, (known.at, known.value), (next.at, next.value))?;
        let tests = TestFlags { spike, next_to_spike, ..known.tests };
        self.history.get_mut(earlier)?.tests = tests;
        Some(Assessed {
            reading: Reading {
                ahead: waiting.ahead,
                ..Reading::new(self.sensor.clone(), known.at, known.value)
            },
            received_at: waiting.received_at,
            tests,
            flag: self.aggregate(tests),
        })
    }

    /// The spike test, where both neighbours are near enough.
    fn spike(&self, before: Option<Point>, this: TimeValue, next: TimeValue) -> Option<(Flag, bool)> {
        let near =
            before.filter(|before| self.comparable(before.at, this.0) && self.comparable(this.0, next.0))?;
        Some(spike::flag(near.value, this.1, next.1, self.thresholds.spike?))
    }

    /// A reading for a time that already has one.
    fn again(&self, known: Point, reading: Reading, received_at: Timestamp) -> Assessed {
        let tests = if known.value.partial_cmp(&reading.value) == Some(Ordering::Equal) {
            known.tests
        } else {
            TestFlags { time_order: true, ..self.by_itself(&reading) }
        };
        Assessed { flag: self.aggregate(tests), tests, received_at, reading }
    }

    fn aggregate(&self, tests: TestFlags) -> Flag {
        aggregate::flag(tests, self.thresholds.spike.is_some())
    }

    /// What can be said without any other reading.
    fn by_itself(&self, reading: &Reading) -> TestFlags {
        TestFlags {
            // What couldn't be parsed never gets this far: decoding keeps it aside.
            syntax: Flag::Pass,
            gross_range: self
                .thresholds
                .gross_range
                .map_or(Flag::NotEvaluated, |range| gross_range::flag(reading.value, range)),
            ..TestFlags::NOT_EVALUATED
        }
    }

    /// And what the reading before adds.
    fn compared(&self, reading: &Reading, before: Option<&Point>) -> TestFlags {
        let near = before.filter(|before| self.comparable(before.at, reading.at));
        TestFlags {
            gap: gap::flag(before.map(|before| before.at), reading.at, self.thresholds.gap),
            rate: self.thresholds.rate_per_s.map_or(Flag::NotEvaluated, |per_s| {
                rate::flag(near.map(|near| (near.at, near.value)), reading.at, reading.value, per_s)
            }),
            ..self.by_itself(reading)
        }
    }

    fn comparable(&self, before: Timestamp, at: Timestamp) -> bool {
        !gap::is_gap(before, at, self.thresholds.gap)
    }

    /// Of the first `count` readings those that lead up to `at` without a gap, newest first.
    fn unbroken_before(&self, count: usize, at: Timestamp) -> impl Iterator<Item = TimeValue> {
        let mut later = at;
        self.history
            .back_from(count)
            .take_while(move |point| {
                let unbroken = self.comparable(point.at, later);
                later = point.at;
                unbroken
            })
            .map(|point| (point.at, point.value))
    }

    fn remember_newest(&mut self, point: Point) {
        let after_gap = self.history.newest().is_some_and(|before| !self.comparable(before.at, point.at));
        self.history.insert(self.history.len(), point);
        if let Some(run) = &mut self.run {
            run.push(point.at, point.value, after_gap);
        }
    }

    fn remember_late(&mut self, earlier: usize, point: Point) {
        let Some(after) = self.history.get(earlier).copied() else { return };
        self.history.insert(earlier, point);
        let Some(run) = &mut self.run else { return };
        if run.contains(point.at) {
            run.insert(point.at, point.value, after.at);
        } else if run.starts_at(after.at) && !gap::is_gap(point.at, after.at, self.thresholds.gap) {
            // It joins the run to what lies before it.
            let newest = self.history.newest().map_or(after.at, |newest| newest.at);
            self.run = self
                .thresholds
                .flat_line
                .map(|test| FlatRun::told_again(self.unbroken_before(self.history.len(), newest), test));
        }
    }
}
