//! "Not me": whoever was called can't go, and the next person is asked at once.
//!
//! It only ever brings a call forward: nothing is put off by it, and nobody is left out of the calls that come by themselves.

use claymark_model::calendar::Shift;
use claymark_model::id::Id;
use claymark_model::site::Contact;
use claymark_notice::alarm::Alarm;
use claymark_notice::calling::DeclineFate;
use claymark_notice::{Audience, Call};
use jiff::Timestamp;

use super::Alarms;
use super::row::{AlarmRow, PassedOn};
use crate::audience;
use crate::pace::{Due, Pace};

impl Alarms {
    /// What "not me" by somebody who was called by that notice would come to.
    pub(crate) fn decline_fate(&self, notice: u64, person: &Id, pace: &Pace<'_>) -> DeclineFate {
        let mut rows = self.rows.values().filter(|row| row.told.iter().any(|told| told.is_by(notice)));
        // One message may call for several things: what it leads with stands in it by its own number.
        let led = rows.clone().find(|row| row.told.iter().any(|told| told.number == notice));
        led.or_else(|| rows.next()).map_or(DeclineFate::NothingStands, |row| row.decline_fate(person, pace))
    }

    /// Who has just said that they can't go.
    pub(crate) fn declined_by(&self, cause: &str) -> Option<&Id> {
        self.rows.get(cause)?.passed.as_ref().map(|passed| &passed.by)
    }
}

impl AlarmRow {
    /// Whoever was called can't go.
    pub(super) fn decline(&mut self, person: &Id, at: Timestamp, pace: &Pace<'_>) {
        let fate = self.decline_fate(person, pace);
        match fate {
            DeclineFate::NextAsked { .. } | DeclineFate::NobodyElse => {}
            // Of those who were asked at once the last one must know that nobody else is left.
            DeclineFate::OthersAsked => {
                if self.told.last().is_some_and(|told| told.to.includes(person)) {
                    self.declined.insert(person.clone());
                }
                return;
            }
            DeclineFate::OnIt { .. } | DeclineFate::NobodyCalled | DeclineFate::NothingStands => return,
        }
        if self.promise.take().is_some() {
            self.alarm = Alarm::announced(self.alarm.behaviour());
        }
        self.declined.insert(person.clone());
        if let DeclineFate::NextAsked { to } = fate {
            self.passed = Some(PassedOn { by: person.clone(), due: Due { at, call: Call::Next, to } });
        }
    }

    fn decline_fate(&self, person: &Id, pace: &Pace<'_>) -> DeclineFate {
        let Some(last) = self.told.last().filter(|_| self.alarm.is_active()) else {
            return DeclineFate::NothingStands;
        };
        if self.shelf.is_some() || !self.calls_in(pace.shift) {
            return DeclineFate::NobodyCalled;
        }
        let promised = self.promise.as_ref().map(|promise| promise.by.as_deref());
        let own = |by: Option<&str>| by.and_then(|by| pace.on_call.named(by)) == Some(person);
        match promised {
            Some(by) if !own(by) => return DeclineFate::OnIt { by: by.map(str::to_owned) },
            Some(_own) => {}
            None if last.to == Audience::Everyone || !last.to.includes(person) => {
                return DeclineFate::OthersAsked;
            }
            None => {}
        }
        if pace.shift == Shift::Present {
            return DeclineFate::NextAsked { to: Audience::Everyone };
        }
        let people = pace.people(self.urgency);
        let mut to = audience::next(people, &last.to);
        for _ in people {
            let tried = |id: &Id| {
                id == person || self.declined.contains(id) || last.to.includes(id) && promised.is_none()
            };
            match &to {
                Audience::Only(next) if next.iter().any(tried) => to = audience::next(people, &to),
                Audience::Only(_) | Audience::Everyone => return DeclineFate::NextAsked { to },
            }
        }
        let asked_too = |contact: &Contact| {
            contact.id != *person && last.to.includes(&contact.id) && !self.declined.contains(&contact.id)
        };
        if promised.is_none() && people.iter().any(asked_too) {
            return DeclineFate::OthersAsked;
        }
        DeclineFate::NobodyElse
    }
}
