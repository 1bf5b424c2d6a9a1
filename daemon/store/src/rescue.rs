//! What can still be read of a store that was damaged or taken away goes into a fresh one, newest first.
//!
//! In small steps, so that the live watch writes in between: each reads one span of time of one kind of row, and
//! commits it. A span that can't be read is halved until it is short; what is left unreadable then is noted.
//! Rows that the fresh store has already stay as they are there.

use std::collections::HashSet;

use jiff::{SignedDuration, Timestamp};

use crate::batch::CommitBatch;
use crate::error::StoreError;
use crate::reader::{KnownSensor, Reader, SensorKey};
use crate::writer::Writer;
use crate::writer::sensors::SensorsInForce;

/// A store from which is saved what can be read.
#[derive(Debug)]
pub struct Rescue {
    source: Reader,
    /// Rows from outside it aren't looked for, unless the way to them is readable.
    span: TimeSpan,
    /// What is still to be read; the last comes first.
    steps: Vec<RescueStep>,
    passes: Vec<Pass>,
    saved: Saved,
}

/// What a rescue brought.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Saved {
    /// Readings that the fresh store didn't have.
    pub readings: usize,
    /// Other rows that were read: field log, notices, forecasts and what else is kept.
    pub records: usize,
    /// Spans in which something can't be read, newest first.
    pub unreadable: Vec<TimeSpan>,
}

/// From then to just before then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeSpan {
    /// From then on.
    pub from: Timestamp,
    /// To just before then.
    pub to: Timestamp,
}

/// Sensors of which no two have the same id: one that moved has a second key, and comes in a pass of its own.
#[derive(Debug)]
struct Pass {
    keys: Vec<SensorKey>,
    guests: SensorsInForce,
}

#[derive(Debug, Clone, Copy)]
enum RescueStep {
    Sensors,
    Records(Records, TimeSpan),
    /// What is kept aside, as a whole.
    Quarantine,
    /// Readings of one pass measured before then.
    ReadingsBefore(usize, Timestamp),
    Readings(usize, TimeSpan),
}

#[derive(Debug, Clone, Copy)]
enum Records {
    Notices,
    Deliveries,
    Answers,
    Log,
    Forecasts,
    Happenings,
    Marks,
    Yields,
}

impl Rescue {
    /// From `source`, whose newest rows were written at about `now`.
    #[must_use]
    pub fn new(source: Reader, now: Timestamp) -> Self {
        let span = TimeSpan {
            from: now.saturating_sub(KEPT_FOR).unwrap_or(Timestamp::MIN),
            to: now.saturating_add(AHEAD).unwrap_or(Timestamp::MAX),
        };
        let last_to_first = [
            Records::Yields,
            Records::Marks,
            Records::Forecasts,
            Records::Happenings,
            Records::Answers,
            Records::Deliveries,
            Records::Notices,
            Records::Log,
        ];
        let mut steps = vec![RescueStep::Quarantine, RescueStep::Sensors];
        steps.extend(last_to_first.map(|what| RescueStep::Records(what, span)));
        Self { source, span, steps, passes: Vec::new(), saved: Saved::default() }
    }

    /// One step; what came of all of them once there is nothing left to do. An error is the fresh store's: the step
    /// is still to be done.
    pub fn step(&mut self, into: &mut Writer) -> Result<Option<Saved>, StoreError> {
        let Some(step) = self.steps.pop() else { return Ok(Some(self.saved.clone())) };
        let done = match step {
            RescueStep::Sensors => self.sensors(into),
            RescueStep::Records(what, span) => self.records(into, what, span),
            RescueStep::Quarantine => self.quarantine(into),
            RescueStep::ReadingsBefore(pass, before) => self.find_readings(pass, before),
            RescueStep::Readings(pass, span) => self.readings(into, pass, span),
        };
        if done.is_err() {
            self.steps.push(step);
        }
        done.map(|()| None)
    }

    fn sensors(&mut self, into: &mut Writer) -> Result<(), StoreError> {
        let Ok(mut left) = self.source.sensors() else {
            self.saved.unreadable.push(TimeSpan { from: Timestamp::MIN, to: Timestamp::MAX });
            return Ok(());
        };
        let mut passes = Vec::new();
        while !left.is_empty() {
            let mut ids = HashSet::new();
            let (pass, rest): (Vec<KnownSensor>, Vec<_>) =
                left.into_iter().partition(|sensor| ids.insert(sensor.id.clone()));
            let guests = into.admit(&pass)?;
            passes.push(Pass { keys: pass.iter().map(|sensor| sensor.key).collect(), guests });
            left = rest;
        }
        self.steps.extend((0..passes.len()).map(|pass| RescueStep::ReadingsBefore(pass, Timestamp::MAX)));
        self.passes = passes;
        Ok(())
    }

    /// Steps to the newest readings before `before`; where the way to them can't be read, step by step by the clock.
    fn find_readings(&mut self, pass: usize, before: Timestamp) -> Result<(), StoreError> {
        let earlier = before.saturating_sub(MOMENT).unwrap_or(Timestamp::MIN);
        let newest = match self.source.newest_reading(earlier) {
            Ok(None) => return Ok(()),
            Ok(Some(newest)) => newest,
            Err(_unreadable) if earlier < self.span.from => return Ok(()),
            Err(_unreadable) => earlier.min(self.span.to),
        };
        let to = newest.saturating_add(MOMENT).unwrap_or(Timestamp::MAX);
        let from = to.saturating_sub(AT_A_TIME).unwrap_or(Timestamp::MIN);
        self.steps.push(RescueStep::ReadingsBefore(pass, from));
        self.steps.push(RescueStep::Readings(pass, TimeSpan { from, to }));
        Ok(())
    }

    fn readings(&mut self, into: &mut Writer, pass: usize, span: TimeSpan) -> Result<(), StoreError> {
        let Some(Pass { keys, guests }) = self.passes.get_mut(pass) else { return Ok(()) };
        let mut batch = CommitBatch::default();
        let mut fault = false;
        for reading in self.source.readings(keys, span.from, span.to) {
            match reading {
                Ok(reading) => batch.readings.push(reading),
                Err(_unreadable) => fault = true,
            }
        }
        self.saved.readings += into.take_over(guests, &batch)?.stored;
        if fault {
            self.halve(span, A_FEW_READINGS, |half| RescueStep::Readings(pass, half));
        }
        Ok(())
    }

    fn records(&mut self, into: &mut Writer, what: Records, span: TimeSpan) -> Result<(), StoreError> {
        match self.read(what, span) {
            Ok(batch) => {
                self.saved.records += count(&batch);
                let mut nobody = into.admit(&[])?;
                into.take_over(&mut nobody, &batch)?;
            }
            Err(_unreadable) => self.halve(span, A_FEW_RECORDS, |half| RescueStep::Records(what, half)),
        }
        Ok(())
    }

    fn read(&self, what: Records, TimeSpan { from, to }: TimeSpan) -> Result<CommitBatch, StoreError> {
        let (source, mut batch) = (&self.source, CommitBatch::default());
        match what {
            Records::Notices => batch.notices = source.notices(from, to)?,
            Records::Deliveries => batch.deliveries = source.deliveries(from, to)?,
            Records::Answers => batch.answers = source.answers(from, to)?,
            Records::Log => batch.log = source.log(from, to)?,
            Records::Forecasts => batch.forecasts = source.forecasts(from, to)?,
            Records::Happenings => batch.happenings = source.happenings(from, to)?,
            Records::Marks => batch.marks = source.marks(from, to)?,
            Records::Yields => batch.yields = source.yields(from, to)?,
        }
        Ok(batch)
    }

    fn quarantine(&mut self, into: &mut Writer) -> Result<(), StoreError> {
        let Ok(mut quarantined) = self.source.quarantined(MOST_ASIDE) else { return Ok(()) };
        quarantined.reverse();
        self.saved.records += quarantined.len();
        let mut nobody = into.admit(&[])?;
        into.take_over(&mut nobody, &CommitBatch { quarantined, ..CommitBatch::default() }).map(drop)
    }

    /// Two steps for a span that can't be read in one, or a note where it is short already.
    fn halve(&mut self, span: TimeSpan, shortest: SignedDuration, step: impl Fn(TimeSpan) -> RescueStep) {
        let length = span.to.duration_since(span.from);
        if length <= shortest {
            self.saved.lose(span);
            return;
        }
        let middle = span.from + length / 2;
        self.steps.push(step(TimeSpan { to: middle, ..span }));
        self.steps.push(step(TimeSpan { from: middle, ..span }));
    }
}

impl Saved {
    /// Nothing could be read.
    #[must_use]
    pub fn nothing() -> Self {
        Self { unreadable: vec![TimeSpan { from: Timestamp::MIN, to: Timestamp::MAX }], ..Self::default() }
    }

    /// Spans that touch are one.
    fn lose(&mut self, span: TimeSpan) {
        let touches = |known: &&mut TimeSpan| known.from <= span.to && span.from <= known.to;
        match self.unreadable.iter_mut().find(touches) {
            Some(known) => {
                known.from = known.from.min(span.from);
                known.to = known.to.max(span.to);
            }
            None => self.unreadable.push(span),
        }
    }
}

fn count(batch: &CommitBatch) -> usize {
    batch.notices.len()
        + batch.deliveries.len()
        + batch.answers.len()
        + batch.log.len()
        + batch.forecasts.len()
        + batch.happenings.len()
        + batch.marks.len()
        + batch.yields.len()
}

/// Readings of so long are read and committed at once.
const AT_A_TIME: SignedDuration = SignedDuration::from_mins(30);

/// The store's times are whole milliseconds.
const MOMENT: SignedDuration = SignedDuration::from_millis(1);

/// A span of readings that can't be read is halved down to this.
const A_FEW_READINGS: SignedDuration = SignedDuration::from_mins(5);

/// Likewise of other rows, which are far fewer.
const A_FEW_RECORDS: SignedDuration = SignedDuration::from_hours(2);

/// A clock may have been wrong by this.
const AHEAD: SignedDuration = SignedDuration::from_hours(366 * 24);

/// Nothing looks back further than this.
const KEPT_FOR: SignedDuration = SignedDuration::from_hours(3 * 366 * 24);

/// As many as a store keeps.
const MOST_ASIDE: u32 = 10_000;
