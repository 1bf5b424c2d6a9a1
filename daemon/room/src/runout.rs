//! When the end of a supply is told, told anew because it is worse, and withdrawn; that it is told again until somebody comes,
//! the alarms see to.
//!
//! At night the cause is that the earliest time (p05) lies before the next visit. It is told when the way to
//! the barn, the mixing and one call that nobody answers leave no more time, or when the likely time (p50) is earlier than
//! what people last heard, and stays so while there is time to wait and see. While people are there it is told when they have
//! just the time to mix.

use jiff::{SignedDuration, Timestamp};

use claymark_model::calendar::Shift;
use claymark_model::forecast::{EmptyAt, Forecast, HORIZON, Outlook};
use claymark_model::happening::SeenRefill;
use claymark_model::site::Staff;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Again, Visit};

/// What the room knows when it judges.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moment<'a> {
    pub(crate) now: Timestamp,
    pub(crate) shift: Shift,
    pub(crate) staff: &'a Staff,
    /// Somebody has been seen in the room of late.
    pub(crate) attended: bool,
    /// Another drum feeds the tanks.
    pub(crate) relieved: bool,
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

    /// How long before the earliest time people must be told, so that one of them may not answer.
    fn lead(&self) -> SignedDuration {
        let there = self.staff.mixing + self.staff.response * 2;
        if self.attended { there } else { there + self.staff.travel }
    }
}

/// What is due.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Step {
    /// Nothing.
    Wait,
    /// People must be told.
    Warn(Again),
    /// A refill was seen.
    Refilled(SeenRefill),
}

/// What people heard about one drum's end.
#[derive(Debug, Default)]
pub(crate) struct EndWatch {
    heard: Option<Heard>,
    open: Option<OpenEnd>,
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
#[derive(Debug, Default)]
struct OpenEnd {
    refill: Option<SeenRefill>,
}

impl EndWatch {
    /// What is due; `None` in `forecast`'s outlook neither raises nor withdraws.
    pub(crate) fn judge(&self, moment: &Moment<'_>, forecast: &Forecast) -> Step {
        match &self.open {
            Some(open) => self.judge_open(open, moment, &forecast.outlook),
            None => self.judge_quiet(moment, forecast),
        }
    }

    /// Takes note of how long it has been worse than people know.
    pub(crate) fn observe(&mut self, moment: &Moment<'_>, forecast: &Forecast) {
        let worse = |ends: EmptyAt| self.heard.is_some_and(|heard| heard.jumped(&ends));
        match forecast.outlook.empty_at() {
            Some(ends) if worse(ends) => {
                self.earlier_since.get_or_insert(moment.now);
            }
            Some(_) => self.earlier_since = None,
            None => {}
        }
    }

    /// Whether what was told still holds; `None`: nothing was told.
    pub(crate) fn holds(&self, moment: &Moment<'_>, forecast: &Forecast) -> Option<Holds> {
        self.open.as_ref()?;
        Some(match &forecast.outlook {
            Outlook::Known { empty_at, .. } if well(moment, empty_at, forecast.in_use) => Holds::No,
            Outlook::Known { .. } => Holds::Since(moment.now),
            Outlook::Unknown { .. } => Holds::Unknown,
        })
    }

    /// When something is due if nothing changes.
    pub(crate) fn wake(&self, moment: &Moment<'_>, forecast: &Forecast) -> Option<Timestamp> {
        let times = match &self.open {
            Some(open) => [open.refill.map(|refill| refill.at + REFILL_SETTLES), None],
            None => {
                let earliest = forecast.outlook.empty_at().and_then(|ends| ends.p05);
                [earliest.map(|p05| p05 - moment.lead() - SLACK), self.heard.map(|heard| heard.at + TAKEN_IN)]
            }
        };
        let stands = self.earlier_since.map(|since| since + STANDS_FOR);
        times.into_iter().chain([stands]).flatten().filter(|time| *time > moment.now).min()
    }

    /// A warning was told at `at`, with those ends.
    pub(crate) fn warned(&mut self, at: Timestamp, ends: Option<EmptyAt>) {
        self.heard = Some(Heard { ends, at });
        self.open.get_or_insert_default();
    }

    /// The warning was withdrawn.
    pub(crate) fn withdrawn(&mut self, at: Timestamp, ends: Option<EmptyAt>) {
        self.heard = Some(Heard { ends, at });
        self.open = None;
    }

    /// The evening check told it.
    pub(crate) fn evening_told(&mut self, at: Timestamp, ends: Option<EmptyAt>) {
        self.heard = Some(Heard { ends, at });
    }

    /// The data show a refill; `called` is when people were called last.
    pub(crate) fn refill_seen(&mut self, refill: SeenRefill, called: Option<Timestamp>) {
        if let Some(open) = &mut self.open
            && called.is_none_or(|called| refill.at >= called - SEEN_LATE)
        {
            open.refill = Some(refill);
        }
    }

    fn judge_open(&self, open: &OpenEnd, moment: &Moment<'_>, outlook: &Outlook) -> Step {
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
        if let (true, Some(ends), Some(heard)) = (too_early, ends, self.heard)
            && heard.jumped(&ends)
            && self.jump_stands(moment, &ends)
        {
            return Step::Warn(Again::Earlier { told: heard.likely() });
        }
        let dry = ends.is_some_and(|ends| is_empty(&ends, moment.now));
        if dry && !moment.relieved && !self.heard_empty() {
            return Step::Warn(Again::Empty);
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
        match self.heard.filter(|_| matches!(moment.shift, Shift::Away { .. })) {
            Some(heard) if heard.jumped(empty_at) => {
                if self.jump_stands(moment, empty_at) {
                    Step::Warn(Again::Earlier { told: heard.likely() })
                } else {
                    Step::Wait
                }
            }
            Some(heard) if moment.now < heard.at + TAKEN_IN => Step::Wait,
            _ if p05 - moment.lead() - SLACK <= moment.now => Step::Warn(Again::Due),
            _ => Step::Wait,
        }
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
    !is_before(empty_at.p05, moment.well_after()) || (!in_use && (!empty || moment.relieved))
}

/// Nothing is left: even the latest time has come.
fn is_empty(ends: &EmptyAt, at: Timestamp) -> bool {
    ends.p95.is_some_and(|latest| latest <= at)
}

fn is_before(time: Option<Timestamp>, limit: Timestamp) -> bool {
    time.is_some_and(|time| time < limit)
}

/// What was just said needs no second message at once.
const TAKEN_IN: SignedDuration = SignedDuration::from_mins(10);

/// Told again when the likely time is earlier by so much.
const WORSE_BY: SignedDuration = SignedDuration::from_mins(30);

/// An earlier end must have been so for this long, while there is time: what passes by calls nobody.
const STANDS_FOR: SignedDuration = SignedDuration::from_mins(20);

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
