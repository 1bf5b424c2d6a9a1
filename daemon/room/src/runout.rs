//! The run-out warning of one drum: when it is told, told again, to whom, and withdrawn.
//!
//! At night the cause is that the earliest time (p05) lies before the next visit. It is told when the way to
//! the barn and the mixing leave no more time, or when the likely time (p50) is earlier than what people last
//! heard, and stays so while there is time to wait and see. While people are there it is told once, when they have just the time to mix.

use claymark_notice::content::UNANSWERED_FOR;
use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use crate::audience::{self, Told};
use crate::calendar::Shift;
use claymark_model::forecast::{EmptyAt, Forecast, HORIZON, Outlook};
use claymark_model::happening::SeenRefill;
use claymark_model::id::Id;
use claymark_model::site::{Contact, Staff};
use claymark_notice::Audience;
use claymark_notice::content::{Again, Visit};

/// What the room knows when it judges.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moment<'a> {
    pub(crate) now: Timestamp,
    pub(crate) shift: Shift,
    pub(crate) staff: &'a Staff,
    pub(crate) contacts: &'a [Contact],
    /// Notices that were answered, and when last.
    pub(crate) answers: &'a BTreeMap<u64, Timestamp>,
}

impl Moment<'_> {
    /// The next visit, while nobody is there.
    pub(crate) fn visit(&self) -> Option<Visit> {
        match self.shift {
            Shift::Away { visit, .. } => Some(Visit { at: visit, margin: self.staff.margin }),
            Shift::Present => None,
        }
    }

    /// A drum that may be empty before then is a cause.
    fn too_early(&self) -> Timestamp {
        match self.shift {
            Shift::Away { visit, .. } => visit,
            Shift::Present => self.now + self.lead() + SLACK,
        }
    }

    /// A drum that isn't empty before then is well.
    fn well_after(&self) -> Timestamp {
        match self.visit() {
            Some(visit) => visit.lasts_until(),
            None => self.now + WELL_BY_DAY,
        }
    }

    /// How long before the earliest time people must be told.
    fn lead(&self) -> SignedDuration {
        let there = self.staff.mixing + self.staff.response;
        match self.shift {
            Shift::Away { .. } => there + self.staff.travel,
            Shift::Present => there,
        }
    }
}

/// What is due.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Step {
    /// Nothing.
    Wait,
    /// People must be told.
    Warn(Again, Audience),
    /// A refill was seen.
    Refilled(SeenRefill),
    /// It lasts after all.
    Lasts,
}

/// What people heard about one drum's end.
#[derive(Debug, Default)]
pub(crate) struct Runout {
    heard: Option<Heard>,
    open: Option<Open>,
    /// Since when the end is earlier than what people heard.
    earlier_since: Option<Timestamp>,
}

/// What people heard last, from a warning, its withdrawal or the evening check.
#[derive(Debug, Clone, Copy)]
struct Heard {
    /// `None`: nothing could be said.
    ends: Option<EmptyAt>,
    at: Timestamp,
}

/// A warning that holds.
#[derive(Debug)]
struct Open {
    /// All notices of this cause.
    told: Vec<Told>,
    /// An answer counts from here: the last time that something new was told.
    since: Timestamp,
    /// Somebody wrote down a refill, or one was seen.
    acted: bool,
    refill: Option<SeenRefill>,
    well_since: Option<Timestamp>,
}

impl Runout {
    /// What is due; `None` in `forecast`'s outlook neither raises nor withdraws.
    pub(crate) fn judge(&self, moment: &Moment<'_>, forecast: &Forecast) -> Step {
        match &self.open {
            Some(open) => self.judge_open(open, moment, &forecast.outlook),
            None => self.judge_quiet(moment, forecast),
        }
    }

    /// Takes note of how long it has been well, or worse than people know.
    pub(crate) fn observe(&mut self, moment: &Moment<'_>, forecast: &Forecast) {
        let worse = |ends: EmptyAt| self.heard.is_some_and(|heard| heard.jumped(&ends));
        match forecast.outlook.empty_at() {
            Some(ends) if worse(ends) => {
                self.earlier_since.get_or_insert(moment.now);
            }
            Some(_) => self.earlier_since = None,
            None => {}
        }
        let Some(open) = &mut self.open else { return };
        match &forecast.outlook {
            Outlook::Known { empty_at, .. } if well(moment, empty_at, forecast.in_use) => {
                open.well_since.get_or_insert(moment.now);
            }
            Outlook::Known { .. } => open.well_since = None,
            Outlook::Unknown { .. } => {}
        }
    }

    /// When something is due if nothing changes.
    pub(crate) fn wake(&self, moment: &Moment<'_>, forecast: &Forecast) -> Option<Timestamp> {
        let times = match &self.open {
            Some(open) => [
                open.refill.map(|refill| refill.at + REFILL_SETTLES),
                open.well_since.map(|well| well + LASTED_FOR),
                (!open.answered(moment)).then(|| open.last_at() + UNANSWERED_FOR),
            ],
            None => {
                let tell_at = match &forecast.outlook {
                    Outlook::Known { empty_at, .. } => empty_at.p05.map(|p05| p05 - moment.lead() - SLACK),
                    Outlook::Unknown { .. } => None,
                };
                [tell_at, self.heard.map(|heard| heard.at + UNANSWERED_FOR), None]
            }
        };
        let stands = self.earlier_since.map(|since| since + STANDS_FOR);
        times.into_iter().chain([stands]).flatten().filter(|time| *time > moment.now).min()
    }

    /// A warning was told; `because` says whether it was news.
    pub(crate) fn warned(&mut self, told: Told, because: &Again, ends: Option<EmptyAt>) {
        self.heard = Some(Heard { ends, at: told.at });
        let news = told.at;
        match (&mut self.open, because) {
            (Some(open), Again::Unanswered { .. }) => open.told.push(told),
            (Some(open), Again::Due | Again::Earlier { .. } | Again::Empty) => {
                open.told.push(told);
                open.since = news;
                open.acted = false;
            }
            (None, _) => {
                self.open = Some(Open {
                    told: vec![told],
                    since: news,
                    acted: false,
                    refill: None,
                    well_since: None,
                });
            }
        }
    }

    /// The warning was withdrawn.
    pub(crate) fn withdrawn(&mut self, at: Timestamp, ends: Option<EmptyAt>) {
        self.heard = Some(Heard { ends, at });
        self.open = None;
    }

    /// The evening check of `due` told it: what was said while people were there is settled by it.
    pub(crate) fn evening_told(&mut self, due: Timestamp, at: Timestamp, ends: Option<EmptyAt>) {
        self.heard = Some(Heard { ends, at });
        if self.open.as_ref().is_some_and(|open| open.last_at() < due) {
            self.open = None;
        }
    }

    /// The data show a refill.
    pub(crate) fn refill_seen(&mut self, refill: SeenRefill) {
        if let Some(open) = &mut self.open
            && refill.at >= open.last_at() - SEEN_LATE
        {
            open.refill = Some(refill);
            open.acted = true;
        }
    }

    /// Somebody wrote down a refill at `at`.
    pub(crate) fn refill_logged(&mut self, at: Timestamp) {
        if let Some(open) = &mut self.open
            && at >= open.since
        {
            open.acted = true;
        }
    }

    /// The notices of the warning that holds, oldest first.
    pub(crate) fn told(&self) -> &[Told] {
        self.open.as_ref().map_or(&[], |open| &open.told)
    }

    fn judge_open(&self, open: &Open, moment: &Moment<'_>, outlook: &Outlook) -> Step {
        let passed = |since: Option<Timestamp>, time| since.is_some_and(|since| since + time <= moment.now);
        let ends = outlook.empty_at();
        // What isn't known can't be well.
        let too_early = ends.is_none_or(|ends| is_before(ends.p05, moment.too_early()));
        match open.refill {
            Some(refill) if ends.is_some() || passed(Some(refill.at), REFILL_SETTLES) => {
                return Step::Refilled(refill);
            }
            Some(_) | None => {}
        }
        if passed(open.well_since, LASTED_FOR) {
            return Step::Lasts;
        }
        if let (true, Some(ends), Some(heard)) = (too_early, ends, self.heard)
            && heard.jumped(&ends)
            && self.jump_stands(moment, &ends)
        {
            let again = Again::Earlier { told: heard.likely() };
            return Step::Warn(again, audience::same_or_first(moment.contacts, moment.shift, open.last_to()));
        }
        let away = matches!(moment.shift, Shift::Away { .. });
        if away && ends.is_some_and(|ends| is_empty(&ends, moment.now)) && !self.heard_empty() {
            return Step::Warn(
                Again::Empty,
                audience::same_or_first(moment.contacts, moment.shift, open.last_to()),
            );
        }
        let wanted = too_early && away && !open.answered(moment);
        if wanted && passed(Some(open.last_at()), UNANSWERED_FOR) {
            let again = Again::Unanswered { told: open.last_to().cloned(), at: open.last_at() };
            return audience::next(moment.contacts, open.last_to())
                .map_or(Step::Wait, |to| Step::Warn(again, to));
        }
        Step::Wait
    }

    /// Whether the last thing told was an empty drum: somebody who said "I'm on it" may have been held up.
    fn heard_empty(&self) -> bool {
        self.heard.is_some_and(|heard| heard.ends.is_some_and(|ends| is_empty(&ends, heard.at)))
    }

    /// Whether the earlier end has been so for long enough to call people, or leaves no time to wait and see.
    fn jump_stands(&self, moment: &Moment<'_>, ends: &EmptyAt) -> bool {
        let pressing = is_before(ends.p05, moment.now + moment.lead() + STANDS_FOR + STANDS_FOR);
        pressing || self.earlier_since.is_some_and(|since| since + STANDS_FOR <= moment.now)
    }

    fn judge_quiet(&self, moment: &Moment<'_>, forecast: &Forecast) -> Step {
        let Outlook::Known { empty_at, .. } = &forecast.outlook else {
            return Step::Wait;
        };
        let Some(p05) = empty_at.p05.filter(|p05| forecast.in_use && *p05 < moment.too_early()) else {
            return Step::Wait;
        };
        let first = audience::first(moment.contacts, moment.shift);
        match self.heard.filter(|_| matches!(moment.shift, Shift::Away { .. })) {
            Some(heard) if heard.jumped(empty_at) => {
                if self.jump_stands(moment, empty_at) {
                    Step::Warn(Again::Earlier { told: heard.likely() }, first)
                } else {
                    Step::Wait
                }
            }
            Some(heard) if moment.now < heard.at + UNANSWERED_FOR => Step::Wait,
            _ if p05 - moment.lead() - SLACK <= moment.now => Step::Warn(Again::Due, first),
            _ => Step::Wait,
        }
    }
}

impl Open {
    fn last_at(&self) -> Timestamp {
        self.told.last().map_or(self.since, |told| told.at)
    }

    fn last_to(&self) -> Option<&Id> {
        match &self.told.last()?.to {
            Audience::Only(contact) => Some(contact),
            Audience::Everyone => None,
        }
    }

    fn answered(&self, moment: &Moment<'_>) -> bool {
        let answer = |told: &Told| moment.answers.get(&told.number).is_some_and(|at| *at >= self.since);
        self.acted || self.told.iter().any(answer)
    }
}

impl Heard {
    fn likely(&self) -> Option<Timestamp> {
        self.ends?.p50
    }

    /// Whether the likely time is earlier than what people heard by [`WORSE_BY`], and the earliest time earlier at all.
    ///
    /// After a change of draw the forecast narrows for a while: the likely time comes closer to an earliest time
    /// that people already go by, and that alone is no reason to call them again.
    fn jumped(&self, ends: &EmptyAt) -> bool {
        let before = |time: Option<Timestamp>, heard: Option<Timestamp>, by| {
            time.is_some_and(|time| time + by <= heard.unwrap_or(self.at + HORIZON))
        };
        before(ends.p50, self.likely(), WORSE_BY)
            && before(ends.p05, self.ends.and_then(|heard| heard.p05), SLACK)
    }
}

/// Lasts beyond visit and margin, or isn't drawn any more though it isn't empty.
fn well(moment: &Moment<'_>, empty_at: &EmptyAt, in_use: bool) -> bool {
    let empty = is_before(empty_at.p05, moment.now + SLACK);
    !is_before(empty_at.p05, moment.well_after()) || (!in_use && !empty)
}

/// Nothing is left: even the latest time has come.
fn is_empty(ends: &EmptyAt, at: Timestamp) -> bool {
    ends.p95.is_some_and(|latest| latest <= at)
}

fn is_before(time: Option<Timestamp>, limit: Timestamp) -> bool {
    time.is_some_and(|time| time < limit)
}

/// Told again when the likely time is earlier by so much.
const WORSE_BY: SignedDuration = SignedDuration::from_mins(30);

/// An earlier end must have been so for this long, while there is time: what passes by calls nobody.
const STANDS_FOR: SignedDuration = SignedDuration::from_mins(20);

/// Well for so long before a warning is withdrawn, so that it doesn't flap.
const LASTED_FOR: SignedDuration = SignedDuration::from_mins(30);

/// While people are there, a drum that lasts for so long is well.
const WELL_BY_DAY: SignedDuration = SignedDuration::from_hours(2);

/// The draw after a refill may be unknown; after so long the refill is told all the same.
const REFILL_SETTLES: SignedDuration = SignedDuration::from_mins(15);

/// A refill is noticed some time after it happened: it may have happened so long before the last notice.
const SEEN_LATE: SignedDuration = SignedDuration::from_mins(30);

/// Forecasts are looked at once a minute, so what falls due within the next is due now.
const SLACK: SignedDuration = SignedDuration::from_mins(1);

#[cfg(test)]
mod tests;
