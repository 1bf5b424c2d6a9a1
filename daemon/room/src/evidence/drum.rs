//! One drum as the rules see it.

use std::cell::OnceCell;

use jiff::{SignedDuration, Timestamp};

use super::breakpoint::{Breakpoint, Known, breakpoint};
use super::journal::Journal;
use super::trace::{TracePoint, minutes};
use crate::drum_record::DrumRecord;
use crate::estimates::Estimate;
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Forecast, Outlook};
use claymark_model::happening::SeenRefill;
use claymark_model::units::LitresPerHour;

/// One drum.
pub(crate) struct DrumSight<'a> {
    pub(crate) record: &'a DrumRecord,
    pub(crate) forecast: &'a Forecast,
    pub(crate) journal: &'a Journal,
    /// The levels of the last [`RECENT`], once a rule asks.
    recent: OnceCell<Vec<TracePoint>>,
}

impl<'a> DrumSight<'a> {
    /// As it is forecast now.
    pub(crate) fn of(record: &'a DrumRecord, forecast: &'a Forecast, journal: &'a Journal) -> Self {
        Self { record, forecast, journal, recent: OnceCell::new() }
    }

    /// Whether the pump draws from it, by the log where it says so, and something is left to draw.
    pub(crate) fn is_drawn(&self) -> bool {
        let (id, ours) = (&self.record.drum.id, &self.record.drum.pump);
        let on = |deed: &Deed| {
            let Deed::InUse { drum: Some(drum), pump } = deed else { return None };
            (drum == id || pump.as_ref().is_none_or(|pump| pump == ours)).then_some(drum == id)
        };
        let here = self.journal.last(self.forecast.at, |deed| on(deed).is_some());
        let here = here.and_then(|entry| on(&entry.deed));
        here.unwrap_or(self.forecast.in_use) && self.record.ran_empty().is_none()
    }

    /// The last refill that the data show by then.
    pub(crate) fn refilled(&self, by: Timestamp) -> Option<&SeenRefill> {
        self.record.seen().iter().rfind(|refill| refill.at <= by)
    }

    /// Whether slurry was poured within `apart` of `at`, by the level or by the log.
    pub(crate) fn was_poured(&self, at: Timestamp, apart: SignedDuration) -> bool {
        let near = |refill: &SeenRefill| refill.at.duration_since(at).abs() <= apart;
        self.record.seen().iter().any(near)
            || self.journal.has(at, apart, |deed| deed.may_refill(&self.record.drum.id))
    }

    /// The draw before and after `at`; `None` where too little is known.
    pub(crate) fn breakpoint(&self, now: Timestamp, at: Timestamp) -> Option<Breakpoint> {
        let from = self.steady_since(at);
        let known = Known { before: self.drawn_before(at), share: None };
        let breakpoint = self.fit(from, now, minutes(at), known)?;
        (breakpoint.before > 0.0).then_some(breakpoint)
    }

    /// The same, told by another sensor which share of the draw is left, and how sure that is.
    pub(crate) fn hinge_with(
        &self,
        now: Timestamp,
        at: Timestamp,
        free: &Breakpoint,
        share: (f64, f64),
    ) -> Option<Breakpoint> {
        let from = self.steady_since(at);
        let before = self.drawn_before(at).unwrap_or((free.before, free.before));
        let known = Known { before: Some(before), share: Some(share) };
        self.fit(from, now, minutes(at), known)
    }

    /// The same of a drum that may have stood before.
    pub(crate) fn bend(&self, now: Timestamp, at: Timestamp) -> Option<Breakpoint> {
        self.fit(self.steady_since(at), now, minutes(at), Known::default())
    }

    /// Since when nothing had been done to drum or pump by `at`.
    fn steady_since(&self, at: Timestamp) -> Timestamp {
        let refill = self.refilled(at).map(|refill| refill.at + FILLING);
        let deed = self.journal.last(at - APART, |deed| self.sets_pump(deed)).map(|entry| entry.at);
        [refill, deed].into_iter().flatten().chain([at - BEFORE]).max().unwrap_or(at)
    }

    /// What was believed just before `at`: from all fills, not this one alone.
    pub(crate) fn believed_before(&self, at: Timestamp) -> Option<&Estimate> {
        let deed = self.journal.last(at - APART, |deed| self.sets_pump(deed));
        let since = deed.map_or(Timestamp::MIN, |entry| entry.at);
        self.record.estimate_at(since, at - JUST_BEFORE)
    }

    /// What was drawn just before `at`, as it was believed then; else what is believed now.
    pub(crate) fn draw_before(&self, at: Timestamp) -> Option<LitresPerHour> {
        let Outlook::Known { draw, .. } = self.forecast.outlook else { return None };
        Some(self.believed_before(at).map_or(draw, |believed| believed.draw.draw))
    }

    /// What was believed to be drawn then, L/min and its deviation.
    fn drawn_before(&self, at: Timestamp) -> Option<(f64, f64)> {
        let draw = self.believed_before(at)?.draw;
        let (mean, sd) = (draw.draw.per_minute().0, draw.sd.per_minute().0);
        (mean > 0.0).then(|| (mean, sd.hypot(LEAST_DOUBT * mean)))
    }

    /// The levels from one time to another, bent at a minute.
    fn fit(&self, from: Timestamp, to: Timestamp, at: f64, known: Known) -> Option<Breakpoint> {
        let now = self.forecast.at;
        if from < now - RECENT {
            return breakpoint(&self.levels(from, to), at, known);
        }
        let recent = self.recent.get_or_init(|| self.levels(now - RECENT, now));
        let (from, to) = (minutes(from), minutes(to));
        let first = recent.partition_point(|point| point.t < from);
        let end = recent.partition_point(|point| point.t <= to);
        breakpoint(recent.get(first..end)?, at, known)
    }

    fn levels(&self, from: Timestamp, to: Timestamp) -> Vec<TracePoint> {
        let levels = self.record.watch.levels(from, to);
        levels.map(|(at, litres)| TracePoint { t: minutes(at), v: litres.0 }).collect()
    }

    /// Whether a deed changes what is drawn from here.
    pub(crate) fn sets_pump(&self, deed: &Deed) -> bool {
        deed.is_of_a_pump() && deed.pump().is_none_or(|pump| *pump == self.record.drum.pump)
    }
}

/// Pouring takes some minutes, and froth some more.
const FILLING: SignedDuration = SignedDuration::from_mins(12);
/// So far back the draw before a change is looked at.
const BEFORE: SignedDuration = SignedDuration::from_hours(6);
/// Rules ask for these levels again and again.
const RECENT: SignedDuration = SignedDuration::from_hours(8);
/// What is nearer than this may belong together.
const APART: SignedDuration = SignedDuration::from_mins(10);
/// A change shows a little before it is found, in what is believed too.
const JUST_BEFORE: SignedDuration = SignedDuration::from_mins(4);
/// No draw is known better than to this share.
const LEAST_DOUBT: f64 = 0.01;
