//! One table of alarms for all that calls people: what holds, who was told, who promised to come, and who is called next.
//!
//! What is wrong and how pressing it is, its rule knows; that it is told again until somebody comes, this table sees to.

mod row;
mod standing;

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use crate::audience::Told;
use crate::pace::{DANGER, Due, Pace};
use claymark_notice::alarm::{Alarm, AlarmState, Behaviour, Holds, Overlay};
use claymark_notice::query::NotShelved;
use claymark_notice::{Answer, Call, Calling, Priority, Promise, ShelvedAlarm, Urgency};
use row::AlarmRow;

/// Which part of the room knows what to say of an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum AlarmSource {
    /// Drums that run dry.
    Runout,
    /// A level that isn't believed.
    Doubt,
    /// Sensors that don't speak.
    Silence,
    /// The store.
    Storage,
    /// The central database.
    Forwarding,
    /// Another client with our name.
    Name,
    /// A failure of the room.
    Failure,
    /// Nobody is seen in the room.
    Absence,
    /// Nobody has said that the night is theirs.
    Handover,
    /// The clock of a device, or the server's.
    Clock,
}

impl AlarmSource {
    /// Whether one message may call people for it and for others like it.
    pub(crate) fn joins(self) -> bool {
        match self {
            Self::Runout | Self::Doubt | Self::Silence | Self::Failure | Self::Absence => true,
            Self::Storage | Self::Forwarding | Self::Name | Self::Handover | Self::Clock => false,
        }
    }

    fn behaviour(self) -> Behaviour {
        let (on_delay, off_delay) = match self {
            Self::Runout => (SignedDuration::ZERO, LASTS_FOR),
            Self::Doubt => (DOUBT_PATIENCE, WELL_FOR),
            Self::Silence | Self::Storage | Self::Forwarding | Self::Name | Self::Failure | Self::Clock => {
                (SignedDuration::ZERO, WELL_FOR)
            }
            Self::Absence | Self::Handover => (SignedDuration::ZERO, SignedDuration::ZERO),
        };
        Behaviour { on_delay, off_delay, ..Behaviour::default() }
    }
}

/// All of them, by what caused them.
#[derive(Debug, Default)]
pub(crate) struct Alarms {
    rows: BTreeMap<String, AlarmRow>,
}

/// What is due of one that is told once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Turn {
    /// People must be told; wrong since then.
    Tell(Timestamp),
    /// What was told no longer holds; it had been wrong since then.
    Withdraw(Timestamp),
}

/// How a notice of an alarm is kept.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Raise {
    pub(crate) source: AlarmSource,
    pub(crate) since: Timestamp,
    pub(crate) at_night: Priority,
    pub(crate) urgency: Urgency,
    pub(crate) call: Call,
}

/// A call that is due.
#[derive(Debug)]
pub(crate) struct Pending {
    pub(crate) cause: String,
    pub(crate) raise: Raise,
    pub(crate) due: Due,
    pub(crate) broken: Option<Promise>,
}

/// A promise that comes too late.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TooLate {
    pub(crate) there_by: Timestamp,
    pub(crate) needed_by: Timestamp,
}

impl Alarms {
    /// Takes note of what holds, and says what is due.
    pub(crate) fn observe(
        &mut self,
        cause: &str,
        source: AlarmSource,
        (now, holds): (Timestamp, Holds),
    ) -> Option<Turn> {
        if !self.rows.contains_key(cause) {
            let Holds::Since(since) = holds else { return None };
            self.rows.insert(cause.to_owned(), AlarmRow::new(source, since));
        }
        let row = self.rows.get_mut(cause)?;
        if let (Holds::Since(since), true) =
            (holds, row.told.is_empty() && row.alarm.state() == AlarmState::Normal)
        {
            row.since = since;
        }
        row.alarm.observe(now, holds);
        let quiet = row.quiet_until.is_some_and(|until| now < until);
        match (row.alarm.is_active(), row.told.is_empty()) {
            (true, true) if !quiet => Some(Turn::Tell(row.since)),
            (false, false) => Some(Turn::Withdraw(row.since)),
            (true, _) | (false, true) => None,
        }
    }

    /// People were told; before a restart, too.
    pub(crate) fn told(&mut self, cause: &str, raise: Raise, told: Told, calling: Option<&Calling>) {
        let row =
            self.rows.entry(cause.to_owned()).or_insert_with(|| AlarmRow::new(raise.source, raise.since));
        if !row.alarm.is_active() {
            row.alarm = Alarm::announced(row.alarm.behaviour());
        }
        if matches!(raise.call, Call::First | Call::Worse) {
            // It is another thing than what was shelved.
            row.unshelve();
            row.news_from = row.told.len();
        }
        row.announced = calling.and_then(|calling| {
            let later = calling.later.as_ref()?;
            Some(Due { at: later.at, call: Call::Next, to: later.to.clone() })
        });
        // Worse than what was promised for: that was a promise for another time, and whoever gave it has just been told.
        if let (Some(promise), Some(calling), Call::Worse) = (&mut row.promise, calling, raise.call) {
            let next = calling.later.as_ref().map_or(calling.holds_until, |later| later.at);
            promise.until = promise.until.min(next);
        }
        row.since = raise.since;
        row.at_night = raise.at_night;
        row.urgency = raise.urgency;
        row.told.push(told);
    }

    /// It was told by the last notice of another one.
    pub(crate) fn join(&mut self, cause: &str, told_by: &str, raise: Raise) {
        if let Some(told) = self.last(told_by).cloned() {
            self.told(cause, raise, told, None);
        }
    }

    /// It is more, or less, pressing than it was.
    pub(crate) fn presses(&mut self, cause: &str, urgency: Urgency, at_night: Priority) {
        if let Some(row) = self.rows.get_mut(cause) {
            row.urgency = urgency;
            row.at_night = at_night;
        }
    }

    /// It no longer holds, and isn't told again before `quiet_until`.
    pub(crate) fn over(&mut self, cause: &str, quiet_until: Option<Timestamp>) {
        if let Some(row) = self.rows.get_mut(cause) {
            *row = AlarmRow { quiet_until, ..AlarmRow::new(row.source, row.since) };
        }
    }

    /// Part of it is over; the rest still stands.
    pub(crate) fn goes_on(&mut self, cause: &str) {
        if let Some(row) = self.rows.get_mut(cause) {
            row.alarm = Alarm::announced(row.alarm.behaviour());
        }
    }

    /// Whether it isn't to be told again yet.
    pub(crate) fn is_quiet(&self, cause: &str, now: Timestamp) -> bool {
        self.rows.get(cause).is_some_and(|row| row.quiet_until.is_some_and(|until| now < until))
    }

    /// Whether people are being called for it because fish are in danger.
    pub(crate) fn is_danger(&self, cause: &str) -> bool {
        let danger = |row: &AlarmRow| {
            row.at_night == Priority::Now
                && !row.told.is_empty()
                && matches!(row.urgency, Urgency::Danger { .. })
        };
        self.rows.get(cause).is_some_and(danger)
    }

    /// Whether fish are in danger, or soon will be, and nobody has promised to come.
    pub(crate) fn any_unanswered_danger(&self, now: Timestamp) -> bool {
        let open = |row: &AlarmRow| {
            row.source != AlarmSource::Absence
                && row.at_night == Priority::Now
                && !row.told.is_empty()
                && row.promise.is_none()
                && row.alarm.holds()
        };
        let near = |urgency| match urgency {
            Urgency::Danger { .. } => true,
            Urgency::By { by } => by.duration_since(now) < DANGER,
            Urgency::Look => false,
        };
        self.rows.values().any(|row| open(row) && near(row.urgency))
    }

    /// Whether it holds by the last look.
    pub(crate) fn holds(&self, cause: &str) -> bool {
        self.rows.get(cause).is_some_and(|row| row.alarm.holds())
    }

    /// Whether something stands that calls people.
    pub(crate) fn any_calls(&self) -> bool {
        let calls = |row: &AlarmRow| {
            !row.told.is_empty()
                && row.at_night == Priority::Now
                && !matches!(row.source, AlarmSource::Absence | AlarmSource::Handover)
        };
        self.rows.values().any(calls)
    }

    /// Its notices, oldest first.
    pub(crate) fn notices(&self, cause: &str) -> &[Told] {
        self.rows.get(cause).map_or(&[], |row| &row.told)
    }

    /// The notice that told it last.
    pub(crate) fn last(&self, cause: &str) -> Option<&Told> {
        self.notices(cause).last()
    }

    /// It is called for by a message that is led by something more pressing.
    pub(crate) fn called_with(&mut self, cause: &str, urgency: Urgency, told: Told) {
        if let Some(row) = self.rows.get_mut(cause) {
            row.urgency = urgency;
        }
        self.called_again(cause, told);
    }

    /// The same, with what was known of it before a restart.
    pub(crate) fn called_again(&mut self, cause: &str, told: Told) {
        if let Some(row) = self.rows.get_mut(cause) {
            row.announced = None;
            row.told.push(told);
        }
    }

    /// Somebody answered a notice, and with it all that it called for.
    pub(crate) fn answered(&mut self, answer: &Answer, pace: &Pace<'_>) -> Option<TooLate> {
        let is_its = |row: &&mut AlarmRow| row.told.iter().any(|told| told.is_by(answer.notice));
        let late = self.rows.values_mut().filter(is_its).filter_map(|row| row.answered(answer, pace));
        late.min_by_key(|late| late.needed_by)
    }

    /// Nobody is called for that notice for a while, unless that endangers fish.
    pub(crate) fn shelve(
        &mut self,
        shelf: ShelvedAlarm,
        now: Timestamp,
        pace: &Pace<'_>,
    ) -> Result<(), NotShelved> {
        let is_its = |row: &&mut AlarmRow| row.told.iter().any(|told| told.number == shelf.notice);
        let row = self.rows.values_mut().find(is_its).filter(|row| row.alarm.is_active());
        let row = row.ok_or(NotShelved::NothingStands)?;
        if row.endangers(now, pace) {
            return Err(NotShelved::Danger);
        }
        let until = shelf.until.min(now + Alarm::LONGEST_SHELF);
        if until <= now {
            return Err(NotShelved::Over);
        }
        row.alarm.cover(Overlay::Shelved { until });
        row.shelf = Some(ShelvedAlarm { until, ..shelf });
        Ok(())
    }

    /// What nobody is called for, and until when.
    pub(crate) fn shelved(&self) -> Vec<ShelvedAlarm> {
        self.rows.values().filter_map(|row| row.shelf.clone()).collect()
    }

    /// Somebody is in the room: whoever is there looks after what only needs to be looked at.
    pub(crate) fn attended(&mut self, at: Timestamp) {
        let until = at + SEEN_TO;
        for row in self.rows.values_mut().filter(|row| row.urgency == Urgency::Look && row.told_before(at)) {
            row.begin(at, until);
        }
    }

    /// What the cause needs was begun: nobody is called until it should show.
    pub(crate) fn begun(&mut self, cause: &str, at: Timestamp, until: Timestamp) {
        if let Some(row) = self.rows.get_mut(cause) {
            row.begin(at, until);
        }
    }

    /// The calls that are due.
    pub(crate) fn due(&mut self, now: Timestamp, pace: &Pace<'_>) -> Vec<Pending> {
        let mut pending = Vec::new();
        for (cause, row) in self.rows.iter_mut().filter(|(_, row)| !row.told.is_empty()) {
            row.alarm.advance(now);
            if row.shelf.as_ref().is_some_and(|shelf| shelf.until <= now) || row.endangers(now, pace) {
                row.unshelve();
            }
            let broken = row.promise.take_if(|promise| promise.until <= now);
            if broken.is_some() && row.alarm.state() == AlarmState::Acknowledged {
                row.alarm = Alarm::announced(row.alarm.behaviour());
            }
            // What was begun without a word was no promise: it is told again as what it is.
            let broken = broken.filter(|promise| !promise.unspoken);
            let due = match &broken {
                _ if row.shelf.is_some() => None,
                Some(promise) => row.after(promise, now, pace),
                None => row.next(pace).filter(|due| due.at <= now),
            };
            pending.extend(due.map(|due| Pending {
                cause: cause.clone(),
                raise: Raise { call: due.call, ..row.raise() },
                due,
                broken,
            }));
        }
        pending
    }

    /// The calls that come within that time, if nobody answers: whoever is called now hears of them, too.
    pub(crate) fn near(&self, until: Timestamp, pace: &Pace<'_>) -> Vec<Pending> {
        let near = |(cause, row): (&String, &AlarmRow)| {
            let due = row.next(pace).filter(|due| due.at <= until && row.promise.is_none())?;
            let raise = Raise { call: due.call, ..row.raise() };
            Some(Pending { cause: cause.clone(), raise, due, broken: None })
        };
        self.rows.iter().filter(|(_, row)| !row.told.is_empty()).filter_map(near).collect()
    }

    /// When the next call is due if nothing happens, or a delay ends.
    pub(crate) fn wake<'a>(&'a self, pace: &'a Pace<'_>) -> impl Iterator<Item = Timestamp> + 'a {
        let times = |row: &AlarmRow| {
            let quiet = row.quiet_until.filter(|_| row.told.is_empty() && row.alarm.is_active());
            let promise = row.promise.as_ref().map(|promise| promise.until);
            let shelf = row.shelf.as_ref().map(|shelf| shelf.until);
            let next = row.next(pace).map(|due| due.at);
            [row.alarm.due(), next, promise, quiet, shelf].into_iter().flatten().min()
        };
        self.rows.values().filter_map(times)
    }

    /// What comes after a notice of that cause, told now to those people.
    pub(crate) fn later(&self, cause: &str, raise: &Raise, told: Told, pace: &Pace<'_>) -> Option<Due> {
        let news = matches!(raise.call, Call::First | Call::Worse);
        let row = self.rows.get(cause).filter(|_| !news);
        let mut calls: Vec<Told> = row.map_or_else(Vec::new, |row| row.counted().to_vec());
        calls.push(told);
        pace.next(&calls, raise.urgency)
    }
}

/// What is told isn't told again for so long though it was withdrawn meanwhile, unless fish are in danger.
pub(crate) const QUIET_FOR: SignedDuration = SignedDuration::from_hours(2);

/// Somebody who is in the room has looked within this.
const SEEN_TO: SignedDuration = SignedDuration::from_mins(90);

/// Foam comes and goes: a doubt is told when it has lasted.
const DOUBT_PATIENCE: SignedDuration = SignedDuration::from_mins(10);

/// A supply lasts for so long before its warning is withdrawn.
const LASTS_FOR: SignedDuration = SignedDuration::from_mins(30);

/// Well for so long before a warning is withdrawn, so that it doesn't flap.
pub(crate) const WELL_FOR: SignedDuration = SignedDuration::from_mins(15);
