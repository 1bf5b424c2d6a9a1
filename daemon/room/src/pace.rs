//! When people are called again, and who: the less time is left, the sooner.
//!
//! While hours are left each person is called twice at most, and once where nothing sets a time; danger goes round all people, and then again and again until
//! somebody has promised to come. By day everybody is told at once, and told again likewise. What was told by day doesn't
//! stand for the night.

use jiff::{SignedDuration, Timestamp};

use crate::audience::{self, Told};
use crate::on_call::OnCall;
use claymark_model::calendar::Shift;
use claymark_model::calls::CallRules;
use claymark_model::site::{Contact, Site, Staff};
use claymark_notice::{Audience, Call, Urgency};

/// What the pace goes by.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pace<'a> {
    pub(crate) shift: Shift,
    pub(crate) staff: &'a Staff,
    pub(crate) on_call: &'a OnCall,
    pub(crate) rules: CallRules,
}

/// A call that is to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Due {
    pub(crate) at: Timestamp,
    pub(crate) call: Call,
    pub(crate) to: Audience,
}

impl<'a> Pace<'a> {
    /// Of a site.
    pub(crate) fn of(site: &'a Site, shift: Shift, on_call: &'a OnCall) -> Self {
        Self { shift, staff: &site.staff, on_call, rules: site.calls }
    }

    /// Whoever is called for what presses so.
    pub(crate) fn people(&self, urgency: Urgency) -> &'a [Contact] {
        self.on_call.for_what(urgency)
    }

    /// The next call of a cause that nobody has answered, `told` being its notices, oldest first; `None`: nobody is called
    /// any more.
    pub(crate) fn next(&self, told: &[Told], urgency: Urgency) -> Option<Due> {
        let last = told.last()?;
        let evening = match self.shift {
            Shift::Away { evening, .. } => Some(evening),
            Shift::Present => None,
        };
        if let Some(evening) = evening
            && last.at < evening
        {
            let to = audience::first(self.people(urgency), self.shift);
            return Some(Due { at: evening + self.rules.next_person, call: Call::Again, to });
        }
        let counts = |told: &&Told| evening.is_none_or(|evening| told.at >= evening);
        let calls: Vec<&Told> = told.iter().filter(counts).collect();
        let at = self.at(&calls, last.at, urgency)?;
        let to = match self.shift {
            Shift::Present => Audience::Everyone,
            Shift::Away { .. } => audience::next(self.people(urgency), &last.to),
        };
        let again = to == last.to || calls.iter().any(|told| told.to == to) || to == Audience::Everyone;
        Some(Due { at, call: if again { Call::Again } else { Call::Next }, to })
    }

    /// What must be seen to so soon that it is danger.
    pub(crate) fn graded(&self, urgency: Urgency, now: Timestamp) -> Urgency {
        match urgency {
            Urgency::By { by } if by.duration_since(now) < DANGER => Urgency::Danger { by: Some(by) },
            Urgency::By { .. } | Urgency::Danger { .. } | Urgency::Look => urgency,
        }
    }

    /// When, by how often people were called; `last` is the newest call.
    fn at(&self, calls: &[&Told], last: Timestamp, urgency: Urgency) -> Option<Timestamp> {
        let danger = |from: Timestamp| {
            let since = calls.iter().filter(|told| told.at >= from).count();
            let round = self.all_know(calls, from);
            let pause = if round && since > 0 { self.rules.danger_every } else { self.rules.next_person };
            (last + pause).max(from)
        };
        match urgency {
            Urgency::Danger { .. } => Some(danger(Timestamp::MIN)),
            Urgency::By { by } => {
                let from = by - DANGER;
                if last >= from {
                    return Some(danger(from));
                }
                let left = by.duration_since(last) - self.staff.travel - self.staff.response;
                let pause = (left / 3).clamp(self.rules.next_person, LONGEST_PAUSE);
                let danger = from.max(last + self.rules.next_person);
                Some(if self.worn_out(calls, 2) { danger } else { (last + pause).min(danger) })
            }
            Urgency::Look => {
                let pause = if self.shift == Shift::Present { LONGEST_PAUSE } else { LOOK_PAUSE };
                let times = if self.shift == Shift::Present { 2 } else { 1 };
                (!self.worn_out(calls, times)).then(|| last + pause)
            }
        }
    }

    /// Whether everybody has been told since then.
    fn all_know(&self, calls: &[&Told], from: Timestamp) -> bool {
        let knows =
            |contact: &Contact| calls.iter().any(|told| told.at >= from && told.to.includes(&contact.id));
        self.on_call.for_danger().iter().all(knows)
    }

    /// Whether each person was called so many times.
    fn worn_out(&self, calls: &[&Told], times: usize) -> bool {
        let people = match self.shift {
            Shift::Present => 1,
            Shift::Away { .. } => self.on_call.usual().len().max(1),
        };
        calls.len() >= people * times
    }

    /// Until when an answer at `now` holds, where it says no time: until somebody must be there, else the way and the time to
    /// get up; what nothing hurries holds until the next visit.
    pub(crate) fn holds_until(&self, now: Timestamp, urgency: Urgency) -> Timestamp {
        let nothing_hurries = || match self.shift {
            Shift::Away { visit, .. } => visit.max(now + LOOKED_AT),
            Shift::Present => now + LOOKED_AT,
        };
        urgency.answered_until(now, self.staff).unwrap_or_else(nothing_hurries)
    }
}

/// From so long on before somebody must be there, it is danger.
pub(crate) const DANGER: SignedDuration = SignedDuration::from_mins(90);

/// While there is time, nobody waits longer for the next call.
const LONGEST_PAUSE: SignedDuration = SignedDuration::from_hours(2);

/// The next person is asked to look after so long.
const LOOK_PAUSE: SignedDuration = SignedDuration::from_mins(30);

/// Somebody who looks after a thing has so long.
const LOOKED_AT: SignedDuration = SignedDuration::from_hours(4);

#[cfg(test)]
mod tests;
