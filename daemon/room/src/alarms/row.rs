//! One alarm of the table: what holds, who was told, who promised, and who is called next.

use jiff::Timestamp;

use super::{AlarmSource, Raise, TooLate};
use crate::audience::{self, Told};
use crate::pace::{Due, Pace};
use claymark_model::calendar::Shift;
use claymark_notice::alarm::{Alarm, AlarmState, Change};
use claymark_notice::{Answer, Audience, Call, Priority, Promise, ShelvedAlarm, Urgency};

#[derive(Debug)]
pub(super) struct AlarmRow {
    pub(super) source: AlarmSource,
    pub(super) alarm: Alarm,
    /// Since when it is wrong.
    pub(super) since: Timestamp,
    pub(super) at_night: Priority,
    pub(super) urgency: Urgency,
    /// Its notices, oldest first.
    pub(super) told: Vec<Told>,
    /// Calls count from here: the last time that something new was told.
    pub(super) news_from: usize,
    pub(super) promise: Option<Promise>,
    /// The call that people were told of: it doesn't come later.
    pub(super) announced: Option<Due>,
    /// It isn't told before then, though it is wrong.
    pub(super) quiet_until: Option<Timestamp>,
    /// Nobody is called for it.
    pub(super) shelf: Option<ShelvedAlarm>,
}

impl AlarmRow {
    pub(super) fn new(source: AlarmSource, since: Timestamp) -> Self {
        Self {
            source,
            alarm: Alarm::new(source.behaviour()),
            since,
            at_night: Priority::Morning,
            urgency: Urgency::Look,
            told: Vec::new(),
            news_from: 0,
            promise: None,
            announced: None,
            quiet_until: None,
            shelf: None,
        }
    }

    /// Somebody answered a notice of it.
    pub(super) fn answered(&mut self, answer: &Answer, pace: &Pace<'_>) -> Option<TooLate> {
        let usual = pace.holds_until(answer.at, self.urgency);
        let needed_by = match self.urgency {
            Urgency::Look => None,
            // Where the time is past, or nothing sets one, whoever comes must come at once.
            Urgency::Danger { by } => Some(by.filter(|by| *by > answer.at).unwrap_or(usual)),
            Urgency::By { by } => Some(by.max(usual)),
        };
        let until = answer.there_by.map_or(usual, |there_by| there_by.max(answer.at));
        let late = answer.there_by.zip(needed_by).filter(|(there_by, needed_by)| there_by > needed_by);
        // Whoever comes too late stands in nobody's place, where there is somebody else.
        let until = match late {
            Some(_) if pace.people(self.urgency).len() > 1 => answer.at,
            Some((_, needed_by)) => needed_by,
            None => until,
        };
        // Whoever was on it first goes; another one doesn't take that off them, unless they are there sooner.
        let others = self.promise.as_ref().filter(|promise| promise.by.is_some() && promise.by != answer.by);
        if others.is_some_and(|promise| promise.until <= until) {
            return None;
        }
        if self.alarm.acknowledge(answer.at, Some(until)) == Change::AcknowledgeRefused {
            if self.alarm.state() != AlarmState::Acknowledged {
                return None;
            }
            self.alarm = Alarm::announced(self.alarm.behaviour());
            self.alarm.acknowledge(answer.at, Some(until));
        }
        self.promise = Some(Promise {
            by: answer.by.clone(),
            at: answer.at,
            until,
            comes_late: late.map(|(there_by, _)| there_by),
            unspoken: false,
        });
        late.map(|(there_by, needed_by)| TooLate { there_by, needed_by })
    }

    /// Whether fish are in danger, or somebody must be there so soon that they will be.
    pub(super) fn endangers(&self, now: Timestamp, pace: &Pace<'_>) -> bool {
        matches!(pace.graded(self.urgency, now), Urgency::Danger { .. })
    }

    /// People are called for it again.
    pub(super) fn unshelve(&mut self) {
        if self.shelf.take().is_some() && self.alarm.overlay().is_some() {
            self.alarm.uncover();
        }
    }

    pub(super) fn told_before(&self, at: Timestamp) -> bool {
        self.told.last().is_some_and(|told| told.at <= at)
    }

    pub(super) fn begin(&mut self, at: Timestamp, until: Timestamp) {
        if self.alarm.is_active() && self.promise.as_ref().is_none_or(|promise| promise.until < until) {
            self.alarm = Alarm::announced(self.alarm.behaviour());
            self.alarm.acknowledge(at, Some(until));
            self.promise = Some(Promise { by: None, at, until, comes_late: None, unspoken: true });
        }
    }

    pub(super) fn raise(&self) -> Raise {
        Raise {
            source: self.source,
            since: self.since,
            at_night: self.at_night,
            urgency: self.urgency,
            call: Call::Again,
        }
    }

    /// The notices since something new was told.
    pub(super) fn counted(&self) -> &[Told] {
        self.told.get(self.news_from..).unwrap_or_default()
    }

    /// The next call, while nobody has promised to come.
    pub(super) fn next(&self, pace: &Pace<'_>) -> Option<Due> {
        let shelved = self.shelf.is_some();
        let open = self.alarm.state() == AlarmState::Unacknowledged && self.alarm.holds() && !shelved;
        // What can wait until the morning wakes nobody twice.
        let calls = open
            && match pace.shift {
                Shift::Away { .. } => self.at_night == Priority::Now,
                Shift::Present => self.at_night != Priority::Morning,
            };
        if !calls {
            return None;
        }
        match (pace.next(self.counted(), self.urgency), &self.announced) {
            (Some(due), Some(announced)) => Some(Due { at: announced.at.min(due.at), ..due }),
            (due, announced) => due.or_else(|| announced.clone()),
        }
    }

    /// The call after a promise that wasn't kept.
    pub(super) fn after(&self, promise: &Promise, now: Timestamp, pace: &Pace<'_>) -> Option<Due> {
        let last = self.told.last().filter(|_| self.at_night != Priority::Morning)?;
        let by = promise.by.as_deref().and_then(|by| pace.on_call.named(by));
        if promise.comes_late.is_some() {
            let after = by.map_or_else(|| last.to.clone(), |by| Audience::one(by.clone()));
            let to = match pace.shift {
                Shift::Away { .. } => audience::next(pace.people(self.urgency), &after),
                Shift::Present => Audience::Everyone,
            };
            return Some(Due { at: now, call: Call::Next, to });
        }
        let to = audience::after_promise(pace.people(self.urgency), pace.shift, &last.to, by);
        Some(Due { at: now, call: Call::PromiseBroken, to })
    }
}
