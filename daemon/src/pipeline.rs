//! Decode, quality and room behind one door, without I/O and without a clock.
//!
//! The rule of use, for the live daemon, `replay` and the demo alike: for each message in order of arrival
//! [`Pipeline::advance_before`] its arrival, then [`Pipeline::message`], then take all of
//! [`Pipeline::take_output`]. So a message that arrives at or before a deadline is handled before it, and
//! the same messages give the same notices.

mod answered;
mod clocks;
mod readings;
mod recent;
mod refused;
mod said;

#[cfg(test)]
pub(crate) mod tests;

use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::{SignedDuration, Timestamp};

use claymark_clay::bounds::Unlikely;
use claymark_clay::refill::sheet::Sheet;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::Forecast;
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::quality::Assessor;
use claymark_model::quarantine::Reason;
use claymark_model::site::Site;
use claymark_notice::query::{About, Query, shown};
use claymark_notice::register::Standing;
use claymark_notice::{Answer, Notice};
use claymark_room::{Deadline, Effect, Event, Room};
use claymark_store::batch::{CommitBatch, Issued};
use claymark_store::reader::PassedOver;
use claymark_store::{Recall, StoreError};
use claymark_words::replies::NotTaken;

use self::answered::AnswersSeen;
use self::clocks::DeviceClocks;
use self::readings::by_our_clock;
use self::recent::{EntrySeen, RecentArrivals};
use self::said::NoticesSaid;
use crate::decode::{self, Decoder, Problem};
use crate::message::Message;
use crate::notify;
use crate::replies::ReplyOutcome;

/// What becomes of messages and of the time that passes.
pub struct Pipeline {
    decoder: Decoder,
    assessors: HashMap<Id, Assessor>,
    /// Sensors whose payload carries no time: their readings are dated by their arrival.
    undated: HashSet<Id>,
    clocks: DeviceClocks,
    recent: RecentArrivals,
    answered: AnswersSeen,
    said: NoticesSaid,
    room: Room,
    ways: notify::ContactWays,
    output: Output,
    counters: Counters,
}

/// What must be kept, sent and published.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Output {
    /// For the store; what follows is part of it.
    pub batch: CommitBatch,
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
    /// Records of the store that couldn't be read back at the start.
    pub unreadable: u64,
}

/// What speaks against an entry that somebody waits to hear of.
#[derive(Debug, Clone, PartialEq)]
pub enum AgainstEntry {
    /// It can't be read, and why.
    Unreadable(String),
    /// The first one came before under the key of the second: sent twice, or something else.
    SentBefore(Box<(LogEntry, LogEntry)>),
    /// Its figures can hardly be meant.
    Unlikely(Unlikely),
}

impl Pipeline {
    /// For one site; silent until it is told [`Event::GoLive`].
    #[must_use]
    pub fn new(site: Site, decode: decode::Settings, notify: &notify::Settings) -> Self {
        Self {
            undated: decode.undated(),
            clocks: DeviceClocks::new(&decode),
            decoder: Decoder::new(&site, decode),
            assessors: site.sensors.iter().map(|sensor| (sensor.id.clone(), Assessor::new(sensor))).collect(),
            recent: RecentArrivals::default(),
            answered: AnswersSeen::default(),
            said: NoticesSaid::default(),
            room: Room::new(site),
            ways: notify.ways(),
            output: Output::default(),
            counters: Counters::default(),
        }
    }

    /// Tells the past again, in time order, and goes live. What the past led to is in the store already.
    ///
    /// What can't be read is left out; the first trouble with it is returned. What is dated after `now` was written
    /// under a clock that has been set back since: readings are only known, the rest counts as of now.
    pub fn recall(&mut self, now: Timestamp, past: Recall<'_>) -> Option<StoreError> {
        let Recall {
            readings,
            log,
            notices,
            answers,
            remembered,
            happened,
            marks,
            yields,
            mistimed,
            mut trouble,
            ..
        } = past;
        let (last_notice, passed_over) = (past.last_notice, past.passed_over);
        self.retell_long_ago(now, (last_notice, remembered, happened));
        let mut deeds: Vec<(Timestamp, Event)> = Vec::new();
        deeds.extend(log.into_iter().map(|entry| (entry.at, Event::Log(entry))));
        notices.iter().for_each(|issued| self.said.note(issued));
        deeds.extend(notices.into_iter().map(|issued| (issued.notice.at, Event::Recalled(issued.notice))));
        deeds.extend(answers.into_iter().map(|answer| (answer.at, Event::Answer(answer))));
        deeds.extend(marks.into_iter().map(|said| (said.made_at, Event::RecalledMark(said))));
        deeds.extend(yields.into_iter().map(|learned| (learned.learned_at, Event::RecalledYield(learned))));
        deeds.sort_by_key(|(at, _)| *at);
        let mut deeds = deeds.into_iter().map(|(at, deed)| no_later_than(now, at, deed)).peekable();
        for reading in readings {
            let reading = match reading {
                Ok(reading) => reading,
                Err(unreadable) => {
                    trouble.get_or_insert(unreadable);
                    continue;
                }
            };
            self.recent.reading(&mut reading.reading.clone(), true);
            self.clocks.recall(&reading);
            let reading = by_our_clock(reading);
            if reading.reading.at > now {
                continue;
            }
            while let Some((at, deed)) = deeds.next_if(|(at, _)| *at <= reading.reading.at) {
                self.retell(at, deed);
            }
            if let Some(assessor) = self.assessors.get_mut(&reading.reading.sensor) {
                assessor.recall(&reading);
            }
            self.retell(reading.reading.at, Event::Reading(reading));
        }
        for (at, deed) in deeds {
            self.retell(at, deed);
        }
        if trouble.is_some() {
            self.event(now, Event::PastUnread { wholly: false });
        }
        let freed = self.recall_mistimed(mistimed);
        self.tell_of_clocks(now);
        self.event(now, Event::GoLive);
        self.take_freed(now, freed);
        self.tell_unreadable(now, passed_over);
        trouble
    }

    /// What comes before all that has its order.
    fn retell_long_ago(
        &mut self,
        now: Timestamp,
        (last_notice, remembered, happened): (Option<u64>, Vec<LogEntry>, Vec<Happening>),
    ) {
        if let Some(last) = last_notice {
            self.retell(Timestamp::UNIX_EPOCH, Event::NumberedUpTo(last));
        }
        for entry in remembered {
            self.retell(now.min(entry.at), Event::Remembered(entry));
        }
        for happening in happened.into_iter().filter(|happening| happening.at <= now) {
            self.retell(happening.at, Event::HadHappened(happening));
        }
    }

    /// Goes live although nothing is known of what was before.
    pub fn begin_without_past(&mut self, now: Timestamp) {
        self.event(now, Event::PastUnread { wholly: true });
        self.event(now, Event::GoLive);
    }

    fn tell_unreadable(&mut self, now: Timestamp, passed_over: &PassedOver) {
        let Some(first) = passed_over.first() else { return };
        let count = passed_over.count();
        tracing::error!(
            "{count} records in the store can't be read and were passed over; the first: {first}"
        );
        self.counters.unreadable = count;
        let about = About::Unreadable { count, first: shown(&first) };
        self.event(now, Event::Query(Query { at: now, by: None, about }));
    }

    fn retell(&mut self, at: Timestamp, event: Event) {
        if let Event::Log(entry) = &event {
            self.recent.log_entry(entry);
        }
        if let Event::Recalled(notice) = &event {
            self.answered.issued(notice);
        }
        // A number that a later notice may get isn't answered for good.
        if let Event::Answer(answer) = &event
            && self.standing(answer) != Standing::Nonexistent
        {
            self.answered.answered(answer);
            self.recent.answer(answer);
        }
        self.room.handle(at, event);
        drop(self.room.take_effects());
    }

    /// A message that has arrived.
    pub fn message(&mut self, message: &Message) {
        self.counters.messages += 1;
        let mut decoded = self.decoder.decode(message);
        self.readings(message, &mut decoded);
        for query in std::mem::take(&mut decoded.queries) {
            self.event(message.received_at, Event::Query(query));
        }
        for entry in std::mem::take(&mut decoded.log) {
            if let Err(problem) = self.log_entry(message.received_at, entry, decoded.sure) {
                decoded.keep_aside(message, None, problem);
            }
        }
        for answer in std::mem::take(&mut decoded.answers) {
            if let Err(problem) = self.answer(message.received_at, answer) {
                decoded.keep_aside(message, None, problem);
            }
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

    /// What a notice said; `None`: there is none of that number, or it is long past.
    #[must_use]
    pub fn said(&self, number: u64) -> Option<&Issued> {
        self.said.get(number)
    }

    /// What speaks against an entry before it is taken; `None`: nothing.
    #[must_use]
    pub fn look_over(&self, message: &Message) -> Option<AgainstEntry> {
        let decoded = self.decoder.decode(message);
        let Some(entry) = decoded.log.first() else {
            let why = decoded.quarantined.into_iter().map(|kept| kept.detail).next();
            return Some(AgainstEntry::Unreadable(why.unwrap_or_default()));
        };
        if let Some(before) = self.recent.entry_of(&entry.key) {
            return Some(AgainstEntry::SentBefore(Box::new((before.clone(), entry.clone()))));
        }
        let unlikely = || self.room.known().unlikely(entry).map(AgainstEntry::Unlikely);
        if decoded.sure { None } else { unlikely() }
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

    /// One key is one entry: another that comes with it isn't taken, and people are told.
    fn log_entry(&mut self, now: Timestamp, entry: LogEntry, sure: bool) -> Result<(), Problem> {
        match self.recent.log_entry(&entry) {
            EntrySeen::New => {}
            EntrySeen::Again => {
                self.counters.duplicates += 1;
                return Ok(());
            }
            EntrySeen::KeyOf(other) => {
                let LogEntry { key, at: done_at, by, deed, .. } = entry;
                let detail = format!("the key {key} is that of another entry");
                let (kept, kept_at) = (other.deed, other.at);
                let about = About::KeyTaken { key, deed, done_at, kept, kept_at };
                self.event(now, Event::Query(Query { at: now, by, about }));
                return Err(Problem::new(Reason::Conflict, detail));
            }
        }
        self.counters.log_entries += 1;
        let unlikely = if sure { None } else { self.room.known().unlikely(&entry) };
        self.output.batch.log.push(entry.clone());
        self.event(now, Event::Log(entry.clone()));
        if let Some(why) = unlikely {
            let LogEntry { key, at: done_at, by, deed, .. } = entry;
            let about = About::Unlikely { key, deed, done_at, why };
            self.event(now, Event::Query(Query { at: now, by, about }));
        }
        Ok(())
    }

    /// What doesn't answer anything is told; what answers a notice that there never was isn't kept as an answer, for it
    /// would answer a later one of that number.
    fn answer(&mut self, now: Timestamp, answer: Answer) -> Result<(), Problem> {
        let standing = self.standing(&answer);
        let exists = standing != Standing::Nonexistent;
        if exists && self.recent.answer(&answer) {
            self.counters.duplicates += 1;
            return Ok(());
        }
        let meant = self.room.register().meant(answer.notice);
        if exists {
            self.counters.answers += 1;
            self.answered.answered(&answer);
            self.output.batch.answers.push(answer.clone());
            self.event(now, Event::Answer(answer.clone()));
        }
        let idle = standing == Standing::CallsNobody && meant.is_none();
        if !standing.fits() && !idle {
            let about = About::Answer { notice: answer.notice, standing, meant };
            self.event(now, Event::Query(Query { at: now, by: answer.by, about }));
        }
        if exists {
            return Ok(());
        }
        let last = self.room.register().last();
        let detail = format!("there is no notice {}; the last one is {last}", answer.notice);
        Err(Problem::new(Reason::NoSuchNotice, detail))
    }

    fn standing(&self, answer: &Answer) -> Standing {
        self.room.register().standing(answer.notice, answer.by.as_deref())
    }

    /// An answer by mail, whose code was right: what it comes to. One that takes no call off anybody changes nothing.
    pub fn reply(&mut self, now: Timestamp, answer: Answer) -> ReplyOutcome {
        let notice = answer.notice;
        if self.answered.has(&answer) {
            return ReplyOutcome::NotTaken(NotTaken::Used { notice });
        }
        let standing = self.standing(&answer);
        if !standing.fits() {
            let meant = self.room.register().meant(notice);
            return ReplyOutcome::NotTaken(NotTaken::Standing { notice, standing, meant });
        }
        // It exists, so there is no problem with it.
        if let Err(problem) = self.answer(now, answer) {
            tracing::error!("a reply to notice {notice} wasn't kept: {problem:?}");
        }
        ReplyOutcome::Taken { urgency: self.answered.urgency(notice) }
    }

    fn notify(&mut self, notice: Notice) {
        self.answered.issued(&notice);
        let wording = claymark_words::notice::wording(self.room.known().site(), &notice);
        self.output.batch.deliveries.extend(self.ways.deliveries(&notice));
        let issued = Issued { notice, subject: wording.subject, text: wording.text };
        self.said.note(&issued);
        self.output.batch.notices.push(issued.clone());
        self.output.issued.push(issued);
    }
}

/// What was done or said under a clock that has been set back since, as of now.
fn no_later_than(now: Timestamp, at: Timestamp, mut deed: Event) -> (Timestamp, Event) {
    if at <= now {
        return (at, deed);
    }
    if let Event::Log(LogEntry { at, .. })
    | Event::Recalled(Notice { at, .. })
    | Event::Answer(Answer { at, .. }) = &mut deed
    {
        *at = now;
    }
    (now, deed)
}

/// From when on the past is told again to a pipeline that goes live at `now`.
#[must_use]
pub fn recalled_since(now: Timestamp) -> Timestamp {
    now.saturating_sub(RECALLED).unwrap_or(Timestamp::MIN)
}

/// More than any forecast or repeat looks back.
const RECALLED: SignedDuration = SignedDuration::from_hours(48);
