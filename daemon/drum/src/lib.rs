//! One drum under watch: what its level says, what happened to it, and when it runs empty.
//!
//! # The method, in ten minutes
//!
//! **Level to volume** (`facts`, `series`). Each usable reading (flags 1, 2, 3) becomes a level (for a distance
//! sensor: mount height less distance; for a pressure sensor: divided by the slurry's density) and by the strapping
//! table a volume; outside the table it isn't usable. Readings are kept by their *own* time as minute medians,
//! so a late burst is worth as much as if it had come in time, and a lone outlier counts for nothing.
//!
//! **The filter** (`state`). The state vector holds the volume V, ln of the draw a, its wear d, its curve β₁, β₂, the ripple r
//! and what the level reads too much by the time of day, s(t); an extended Kalman filter follows it:
//!
//! u = (full − V) / (full − heel), q(V) = exp(a − β₁ u − β₂ u²), dV/dt = −q(V), da/dt = −d, a minute reads
//! y = V + s(t) + r + e, s a wave of a day and one of half a day.
//!
//! A peristaltic pump fills its tube less as the level sinks (McIntyre et al., arXiv 2011.13167, 2020, model the
//! suction side): β belongs to drum and pump, is learned over many fills and carried over refills. The draw is in proportion to
//! the pump's speed, so a logged setting shifts a by ln(new/old); wear is followed by d, all else is process noise of a.
//! The swing s matters: 2 mm of temperature over a day look like 1 % of the draw, always at the same hours.
//! The measurement noise, how restless the level is and for how long a ripple lasts, is learned as well (`noise`).
//!
//! **Foam, steps, changes** (`hypothesis`, `tracker`, `observe`, `branch`, `judge`). A reading is of the level or of foam or
//! nonsense, and has the weight in the filter with which it is of the level. Beside the leading hypothesis others branch off,
//! each with its regime: the level rose at that minute, it fell, the draw changed, stopped, started, or froth, foam that
//! stands, lies on it. All are judged by the log likelihood of the same readings; one whose log odds convince, and that has
//! lasted, leads from then on. So a refill that nobody logged is found with its
//! litres (the new level less the old line, the draw meanwhile included), and foam isn't. By the level alone, a change of the
//! draw by a tenth or more that nobody wrote down is followed within about an hour (median over the judging seasons).
//!
//! **The empty time** (`ahead`, `prospect`). If pump and valves stay, T = ∫ dv / q(v) from the heel to V, with its variance
//! by the gradient; its quantiles, where several hypotheses are still probable, are those of their mixture. Past errors
//! (`scorer`) correct the width (`calibration`); what sensor and strapping table hide from them is added afterwards.
//!
//! **Doubt.** While the sensor is silent, fails its quality tests, reads off the table, stands still without
//! reason or foams for long, the level isn't believed, and the same filter goes on without readings: by the pump's
//! setting, logged refills and dips, wider by the hour (basis `pump`); or it says that nothing is known, and why.
//!
//! **Late and wrong** (`log`, `controls`, `replay`). What comes late is put in its place, and all since the last checkpoint
//! before it is replayed. What somebody wrote down leads at once, and the hypothesis in which it wasn't done lives on until the
//! readings decide.
//!
//! **Written down, not seen** (`written`, `confirm`). A refill counts from when it is written down, while the level foams or
//! before it has risen; a calm level that shows no rise is believed over it.
//!
//! The mathematics, each held against another program: [`quadrature`], [`normal`], [`stats`].
//!
//! What others ask of one drum stands in `ask`, what concerns all drums of a pump in `supply`. The one base of time is `hours`;
//! the constants stand in `tuning`, in one table.

mod ahead;
mod ask;
mod branch;
mod calibration;
mod confirm;
mod controls;
mod facts;
mod hours;
mod hypothesis;
mod judge;
mod log;
mod noise;
pub mod normal;
mod observe;
mod prospect;
pub mod quadrature;
mod replay;
mod scorer;
mod series;
mod state;
pub mod stats;
mod supply;
mod tracker;
mod tuning;
mod written;

pub use ask::{Slope, VolumeNow};
pub use prospect::{Prospect, WhatIf};
pub use supply::{share_draws, supply_forecast};

use std::borrow::Cow;

use jiff::Timestamp;

use crate::scorer::Scorer;
use calibration::Calibration;
use claymark_model::doubt::{Missing, NoLevel, WhyDoubted, WhyUnknown};
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{Basis, Forecast, Outlook, Subject};
use claymark_model::happening::{DrawShare, Happening, What};
use claymark_model::id::Id;
use claymark_model::reading::Assessed;
use claymark_model::site::Site;
use facts::Facts;
use hours::{hours, start_of_minute, timestamp};
use hypothesis::Regime;
use log::DrumLog;
use replay::{Inputs, Replay};
use series::Series;
use state::Gaussian;
use tracker::{Phase, Tracker};
use tuning::{FIRST_WORD_HOURS, FOAM_HOURS, KNOWN_DRAW_SD, RECKONED_AT_MOST, STUCK_HOURS, UNTOLD_DRAW_SD};

/// One drum under watch.
///
/// Feed it readings and log entries as they arrive, call [`DrumWatch::advance`] when time has passed, then
/// [`DrumWatch::take_happenings`]. Asking doesn't change it: a forecast always uses all that has arrived, up to the
/// last full minute.
#[derive(Debug, Clone)]
pub struct DrumWatch {
    facts: Facts,
    series: Series,
    log: DrumLog,
    replay: Replay,
    /// When it was first spoken to.
    born: Option<f64>,
    /// Own time of the newest usable reading.
    heard: Option<f64>,
    /// Own time of the newest reading that wasn't usable, and why.
    unusable: Option<(f64, WhyDoubted)>,
    /// The draw of another drum on the pump, ln L/h at the full line.
    lent: Option<Gaussian>,
    /// Since when what has arrived isn't thought of yet, hours since 1970.
    dirty: Option<f64>,
    calibration: Calibration,
    scorer: Scorer,
    doubted: bool,
    happenings: Vec<Happening>,
    /// When the minute of the last analysis began, hours since 1970.
    analysed: Option<f64>,
}

/// The level can't be believed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// Since when.
    pub since: Timestamp,
    /// Why.
    pub why: WhyDoubted,
}

impl DrumWatch {
    /// A watch over that drum; `None` when the site has no such drum.
    #[must_use]
    pub fn new(site: &Site, drum: &Id) -> Option<Self> {
        Some(Self {
            facts: Facts::of(site, drum)?,
            series: Series::new(),
            log: DrumLog::default(),
            replay: Replay::default(),
            born: None,
            heard: None,
            unusable: None,
            lent: None,
            dirty: None,
            calibration: Calibration::new(),
            scorer: Scorer::default(),
            doubted: false,
            happenings: Vec::new(),
            analysed: None,
        })
    }

    /// Which drum.
    #[must_use]
    pub fn drum(&self) -> &Id {
        &self.facts.drum
    }

    /// Takes a reading of any sensor: only those of the drum's level sensor matter. The same reading again
    /// replaces itself, so that a settled spike flag can strike it out.
    pub fn reading(&mut self, now: Timestamp, assessed: &Assessed) {
        let Some(gauge) = self.facts.gauge.as_ref().filter(|gauge| gauge.sensor == assessed.reading.sensor)
        else {
            return;
        };
        let at = assessed.reading.at;
        let volume = match self.facts.volume(gauge, assessed.reading.value) {
            Some(_) if !assessed.flag.usable() => Err(WhyDoubted::FailsTests),
            Some(volume) => Ok(volume),
            None => Err(WhyDoubted::OffTable),
        };
        if self.analysed.is_none_or(|minute| minute < start_of_minute(now)) {
            self.advance(now);
        }
        let changed = match volume {
            Ok(volume) => {
                self.heard = Some(self.heard.map_or(hours(at), |newest| newest.max(hours(at))));
                self.series.insert(now, at, volume)
            }
            Err(why) => {
                if self.unusable.is_none_or(|(newest, _)| newest <= hours(at)) {
                    self.unusable = Some((hours(at), why));
                }
                self.series.remove(at)
            }
        };
        if changed && self.replay.tracker.as_ref().is_some_and(|tracker| start_of_minute(at) <= tracker.at) {
            self.changed_at(start_of_minute(at));
        }
    }

    /// Takes an entry of the field log; those that don't concern the drum or its pump don't matter.
    pub fn log(&mut self, now: Timestamp, entry: &LogEntry) {
        if let Some(at) = self.log.take(&self.facts, entry) {
            self.scorer.interrupted(timestamp(at));
            self.changed_at(at);
        }
        self.analysed = None;
        self.advance(now);
    }

    /// Another sensor says that the draw changed at `at` to that share; the level decides whether it did.
    pub fn hint_change(&mut self, at: Timestamp, to: DrawShare) {
        let DrawShare { share, sd } = to;
        if share > 0.0 && self.log.hint(hours(at), Gaussian { mean: share.ln(), sd: sd / share }) {
            self.changed_at(hours(at));
        }
    }

    /// Looks at what has arrived. Does nothing when nothing has, within a minute.
    pub fn advance(&mut self, now: Timestamp) {
        self.born = self.born.or(Some(hours(now)));
        if self.analysed == Some(start_of_minute(now)) && self.dirty.is_none() {
            return;
        }
        self.series.prune(now);
        self.log.prune(now);
        let inputs = Inputs { facts: &self.facts, series: &self.series, log: &self.log };
        let found = self.replay.catch_up(inputs, start_of_minute(now), self.dirty.take());
        self.analysed = Some(start_of_minute(now));
        for (at, what) in found {
            self.happened(timestamp(at), what);
        }
        match (self.doubted, self.doubt(now)) {
            (false, Some(Doubt { since, why })) => {
                self.happened(since, What::LevelDoubted { why: why.into() })
            }
            (true, None) => self.happened(now, What::LevelBelieved),
            (false, None) | (true, Some(_)) => return,
        }
        self.doubted = !self.doubted;
    }

    /// What was found since the last call, in the order in which it was found.
    pub fn take_happenings(&mut self) -> Vec<Happening> {
        std::mem::take(&mut self.happenings)
    }

    /// When it runs empty.
    #[must_use]
    pub fn forecast(&self, now: Timestamp) -> Forecast {
        let prospect = self.prospect(now);
        let in_use = prospect.as_ref().map_or_else(|_| self.in_use(), |prospect| prospect.in_use);
        let outlook = match prospect {
            Ok(prospect) => prospect.outlook(),
            Err(why) => Outlook::Unknown { why: why.into() },
        };
        Forecast { at: now, of: Subject::Drum(self.facts.drum.clone()), in_use, outlook }
    }

    /// Why the level can't be believed at `now`, if so.
    #[must_use]
    pub fn doubt(&self, now: Timestamp) -> Option<Doubt> {
        self.doubt_of(self.up_to_date(now).tracker.as_ref(), now)
    }

    /// Since when the draw is what it is: the last refill or change.
    #[must_use]
    pub fn draw_since(&self) -> Option<Timestamp> {
        self.replay.tracker.as_ref().map(|tracker| timestamp(tracker.since))
    }

    /// Whether it is being drawn, as far as is known.
    #[must_use]
    pub fn in_use(&self) -> bool {
        self.replay.tracker.as_ref().is_none_or(|tracker| tracker.phase != Phase::Idle)
    }

    fn changed_at(&mut self, at: f64) {
        self.dirty = Some(self.dirty.map_or(at, |dirty| dirty.min(at)));
    }

    fn inputs(&self) -> Inputs<'_> {
        Inputs { facts: &self.facts, series: &self.series, log: &self.log }
    }

    /// What is believed after a look at all that has arrived.
    fn up_to_date(&self, now: Timestamp) -> Cow<'_, Replay> {
        if self.dirty.is_none() && self.analysed == Some(start_of_minute(now)) {
            return Cow::Borrowed(&self.replay);
        }
        let mut replay = self.replay.clone();
        replay.catch_up(self.inputs(), start_of_minute(now), self.dirty);
        Cow::Owned(replay)
    }

    fn prospect(&self, now: Timestamp) -> Result<Prospect, WhyUnknown> {
        let replay = self.up_to_date(now);
        let doubt = self.doubt_of(replay.tracker.as_ref(), now);
        let blind = doubt.is_some() || self.facts.gauge.is_none();
        let level = match (&doubt, &self.facts.gauge) {
            (Some(doubt), _) => NoLevel::Doubted(doubt.why),
            (None, Some(_)) => NoLevel::NeverHeard,
            (None, None) => NoLevel::NoSensor,
        };
        let Some(mut tracker) = replay.at(self.inputs(), hours(now)) else {
            return Err(WhyUnknown::Blind { level, missing: Missing::EarlierLevel });
        };
        self.go_by_what_is_known(&mut tracker);
        let unsure = tracker.lead.draw(&tracker.size).sd > UNTOLD_DRAW_SD || self.is_new(&tracker, now);
        let untold = unsure && tracker.phase != Phase::Dry;
        if untold && blind {
            return Err(WhyUnknown::Blind { level, missing: Missing::Draw });
        }
        if untold {
            return Err(if tracker.lead.draws { WhyUnknown::FewReadings } else { WhyUnknown::NotDrawn });
        }
        let read = self.log.last_dip(hours(now)).into_iter().chain(tracker.newest.map(|(t, _)| t));
        if blind && read.fold(f64::NEG_INFINITY, f64::max) < hours(now) - RECKONED_AT_MOST {
            return Err(WhyUnknown::Blind { level, missing: Missing::RecentLevel });
        }
        let written = tracker.count_written();
        let basis = if blind || written.is_some() { Basis::Pump } else { Basis::Level };
        let in_use = tracker.phase != Phase::Idle;
        Ok(Prospect {
            at: now,
            basis,
            tracker,
            in_use,
            without: written.unwrap_or_default(),
            calibration: self.calibration.clone(),
        })
    }

    /// A level that stands still leaves the lead to the reckoning; a draw that isn't known is lent by another drum.
    fn go_by_what_is_known(&self, tracker: &mut Tracker) {
        if let Phase::Still { .. } = tracker.phase
            && let Some(place) = tracker.others.iter().position(|other| other.regime == Regime::Unchanged)
        {
            tracker.promote(place);
            tracker.others.clear();
        }
        if let Some(lent) = self.lent
            && tracker.lead.state.log_draw().sd > KNOWN_DRAW_SD
        {
            tracker.each(|hypothesis| hypothesis.state.observe_log_draw(lent));
        }
    }

    /// A few minutes tell no draw where nothing else does.
    fn is_new(&self, tracker: &Tracker, now: Timestamp) -> bool {
        let rated = self.facts.rating.is_some() && self.log.rpm(hours(now)).is_some();
        hours(now) - tracker.began < FIRST_WORD_HOURS && !rated && self.lent.is_none()
    }

    fn doubt_of(&self, tracker: Option<&Tracker>, now: Timestamp) -> Option<Doubt> {
        let gap = self.facts.gauge.as_ref()?.gap;
        let (born, now) = (self.born?, hours(now));
        let doubt = |since: f64, why| Some(Doubt { since: timestamp(since), why });
        let heard = self.heard.unwrap_or(born);
        if now - heard > gap {
            return match self.unusable {
                Some((at, why)) if at > heard && now - at <= gap => doubt(heard, why),
                Some(_) | None => doubt(heard, WhyDoubted::Silent),
            };
        }
        let tracker = tracker?;
        match (tracker.phase, tracker.unfit.or(tracker.foamed)) {
            (Phase::Still { since }, _) if now - since >= STUCK_HOURS => {
                doubt(since, WhyDoubted::StandsStill)
            }
            (Phase::Drawn, Some(since)) if now - since >= FOAM_HOURS => doubt(since, WhyDoubted::JumpsAbout),
            (Phase::Drawn | Phase::Idle | Phase::Dry | Phase::Still { .. }, _) => None,
        }
    }

    fn happened(&mut self, at: Timestamp, what: What) {
        if what.changes_draw() || what.changes_volume() {
            self.scorer.interrupted(at);
        }
        self.happenings.push(Happening { drum: self.facts.drum.clone(), at, what });
    }
}
