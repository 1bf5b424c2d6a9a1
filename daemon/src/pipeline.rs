//! Decode, quality and room behind one door, without I/O and without a clock.
//!
//! The rule of use, for the live daemon, `replay` and the demo alike: for each message in order of arrival
//! [`Pipeline::advance_before`] its arrival, then [`Pipeline::message`], then take all of
//! [`Pipeline::take_output`]. So a message that arrives at or before a deadline is handled before it, and
//! the same messages give the same notices.

mod recent;

#[cfg(test)]
pub(crate) mod tests;

use std::collections::{BTreeMap, HashMap};

use jiff::{SignedDuration, Timestamp};

use claymark_core::fieldlog::LogEntry;
use claymark_core::forecast::Forecast;
use claymark_core::id::Id;
use claymark_core::notice::{Answer, Notice};
use claymark_core::quality::Assessor;
use claymark_core::quarantine::Reason;
use claymark_core::reading::Reading;
use claymark_core::refill::sheet::Sheet;
use claymark_core::room::{Deadline, Effect, Event, Room};
use claymark_core::site::Site;
use claymark_store::batch::{Batch, Issued};
use claymark_store::{Recall, StoreError};

use self::recent::{Recent, Seen};
use crate::decode::{self, Decoder, Problem};
use crate::message::Message;
use crate::notify;

/// What becomes of messages and of the time that passes.
pub struct Pipeline {
    decoder: Decoder,
    assessors: HashMap<Id, Assessor>,
    recent: Recent,
    room: Room,
    ways: notify::Ways,
    output: Output,
    counters: Counters,
}

/// What must be kept, sent and published.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Output {
    /// For the store; what follows is part of it.
    pub batch: Batch,
    /// Notices to be sent, by each delivery of theirs that stands in the batch.
    pub issued: Vec<Issued>,
    /// Forecasts to be published.
    pub forecasts: Vec<Forecast>,
    /// Refill sheets to be published.
    pub sheets: Vec<Sheet>,
}

/// What came in since the start.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Counters {
    /// Messages.
    pub messages: u64,
    /// New readings.
    pub readings: u64,
    /// Readings, entries and answers that had been there before.
    pub duplicates: u64,
    /// New field-log entries.
    pub log_entries: u64,
    /// New answers.
    pub answers: u64,
    /// What was kept aside, by reason.
    pub quarantined: BTreeMap<Reason, u64>,
}

impl Pipeline {
    /// For one site; silent until it is told [`Event::GoLive`].
    #[must_use]
    pub fn new(site: Site, decode: decode::Settings, notify: &notify::Settings) -> Self {
        Self {
            decoder: Decoder::new(&site, decode),
            assessors: site.sensors.iter().map(|sensor| (sensor.id.clone(), Assessor::new(sensor))).collect(),
            recent: Recent::default(),
            room: Room::new(site),
            ways: notify.ways(),
            output: Output::default(),
            counters: Counters::default(),
        }
    }

    /// Tells the past again, in time order, and goes live. What the past led to is in the store already.
    pub fn recall(&mut self, now: Timestamp, past: Recall<'_>) -> Result<(), StoreError> {
        let Recall { readings, log, notices, answers, remembered, happened, marks, yields } = past;
        for entry in remembered {
            self.retell(entry.at, Event::Remembered(entry));
        }
        for happening in happened {
            self.retell(happening.at, Event::HadHappened(happening));
        }
        let mut deeds: Vec<(Timestamp, Event)> = Vec::new();
        deeds.extend(log.into_iter().map(|entry| (entry.at, Event::Log(entry))));
        deeds.extend(notices.into_iter().map(|issued| (issued.notice.at, Event::Recalled(issued.notice))));
        deeds.extend(answers.into_iter().map(|answer| (answer.at, Event::Answer(answer))));
        deeds.extend(marks.into_iter().map(|said| (said.made_at, Event::RecalledMark(said))));
        deeds.extend(yields.into_iter().map(|learned| (learned.learned_at, Event::RecalledYield(learned))));
        deeds.sort_by_key(|(at, _)| *at);
        let mut deeds = deeds.into_iter().peekable();
        for reading in readings {
            let reading = reading?;
            while let Some((at, deed)) = deeds.next_if(|(at, _)| *at <= reading.reading.at) {
                self.retell(at, deed);
            }
            if let Some(assessor) = self.assessors.get_mut(&reading.reading.sensor) {
                assessor.recall(&reading);
            }
            self.recent.reading(&reading.reading);
            self.retell(reading.reading.at, Event::Reading(reading));
        }
        for (at, deed) in deeds {
            self.retell(at, deed);
        }
        self.event(now, Event::GoLive);
        Ok(())
    }

    fn retell(&mut self, at: Timestamp, event: Event) {
        match &event {
            Event::Log(entry) => drop(self.recent.log_entry(entry)),
            Event::Answer(answer) => drop(self.recent.answer(answer)),
            Event::Reading(_)
            | Event::Recalled(_)
            | Event::Remembered(_)
            | Event::HadHappened(_)
            | Event::RecalledMark(_)
            | Event::RecalledYield(_)
            | Event::SessionLost { .. }
            | Event::StoreFailed { .. }
            | Event::StoreWorks
            | Event::NotForwarded { .. }
            | Event::Forwarded
            | Event::GoLive
            | Event::Link(_)
            | Event::NotDelivered { .. }
            | Event::Tick => {}
        }
        self.room.handle(at, event);
        drop(self.room.take_effects());
    }

    /// A message that has arrived.
    pub fn message(&mut self, message: &Message) {
        self.counters.messages += 1;
        let mut decoded = self.decoder.decode(message);
        for reading in std::mem::take(&mut decoded.readings) {
            match self.recent.reading(&reading) {
                Seen::Never => self.reading(message.received_at, reading),
                Seen::Before => self.counters.duplicates += 1,
                Seen::Otherwise(kept) => {
                    let detail = format!(
                        "{} at {}: {kept} is kept, {} came",
                        reading.sensor, reading.at, reading.value
                    );
                    decoded.keep_aside(
                        message,
                        Some(&reading.sensor),
                        Problem::new(Reason::Conflict, detail),
                    );
                }
            }
        }
        for entry in decoded.log {
            self.log_entry(message.received_at, entry);
        }
        for answer in decoded.answers {
            self.answer(message.received_at, answer);
        }
        for kept in &decoded.quarantined {
            *self.counters.quarantined.entry(kept.reason).or_default() += 1;
        }
        self.output.batch.quarantined.append(&mut decoded.quarantined);
    }

    /// Something that isn't a message.
    pub fn event(&mut self, now: Timestamp, event: Event) {
        self.room.handle(now, event);
        for effect in self.room.take_effects() {
            match effect {
                Effect::Notify(notice) => self.notify(notice),
                Effect::Forecast(forecast) => {
                    self.output.batch.forecasts.push(forecast.clone());
                    self.output.forecasts.push(forecast);
                }
                Effect::Sheet(sheet) => self.output.sheets.push(*sheet),
                Effect::Happened(happening) => self.output.batch.happenings.push(happening),
                Effect::Mark(said) => self.output.batch.marks.push(said),
                Effect::Learned(learned) => self.output.batch.yields.push(learned),
            }
        }
    }

    /// Meets all deadlines before `t`.
    pub fn advance_before(&mut self, t: Timestamp) {
        while let Some((deadline, _)) = self.room.next_deadline().filter(|(deadline, _)| *deadline < t) {
            self.event(deadline, Event::Tick);
        }
    }

    /// Meets all deadlines up to and at `t`.
    pub fn advance_through(&mut self, t: Timestamp) {
        while let Some((deadline, _)) = self.room.next_deadline().filter(|(deadline, _)| *deadline <= t) {
            self.event(deadline, Event::Tick);
        }
    }

    /// When the room wants to be woken although nothing happens.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Deadline> {
        self.room.next_deadline()
    }

    /// All that came up since this was last asked.
    #[must_use]
    pub fn take_output(&mut self) -> Output {
        std::mem::take(&mut self.output)
    }

    /// What came in since the start.
    #[must_use]
    pub fn counters(&self) -> &Counters {
        &self.counters
    }

    /// The room.
    #[must_use]
    pub fn room(&self) -> &Room {
        &self.room
    }

    fn reading(&mut self, now: Timestamp, reading: Reading) {
        let Some(assessor) = self.assessors.get_mut(&reading.sensor) else {
            return;
        };
        self.counters.readings += 1;
        for assessed in assessor.assess(reading, now) {
            self.output.batch.readings.push(assessed.clone());
            self.event(now, Event::Reading(assessed));
        }
    }

    fn log_entry(&mut self, now: Timestamp, entry: LogEntry) {
        if self.recent.log_entry(&entry) {
            self.counters.duplicates += 1;
        } else {
            self.counters.log_entries += 1;
            self.output.batch.log.push(entry.clone());
            self.event(now, Event::Log(entry));
        }
    }

    fn answer(&mut self, now: Timestamp, answer: Answer) {
        if self.recent.answer(&answer) {
            self.counters.duplicates += 1;
        } else {
            self.counters.answers += 1;
            self.output.batch.answers.push(answer.clone());
            self.event(now, Event::Answer(answer));
        }
    }

    fn notify(&mut self, notice: Notice) {
        let wording = claymark_words::notice::wording(self.room.site(), &notice);
        self.output.batch.deliveries.extend(self.ways.deliveries(&notice));
        let issued = Issued { notice, subject: wording.subject, text: wording.text };
        self.output.batch.notices.push(issued.clone());
        self.output.issued.push(issued);
    }
}

/// From when on the past is told again to a pipeline that goes live at `now`.
#[must_use]
pub fn recalled_since(now: Timestamp) -> Timestamp {
    now.saturating_sub(RECALLED).unwrap_or(Timestamp::MIN)
}

/// More than any forecast or repeat looks back.
const RECALLED: SignedDuration = SignedDuration::from_hours(48);
