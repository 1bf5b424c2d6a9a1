//! One drum under watch: what its level says, what happened to it, and when it runs empty.
//!
//! # The method, in ten minutes
//!
//! **Level to volume** (`facts`, `series`). Each usable reading (flags 1, 2, 3) becomes a level (for a distance
//! sensor: mount height less distance; for a pressure sensor: divided by the slurry's density) and by the strapping
//! table a volume; outside the table it isn't usable. Readings are kept by their *own* time as minute medians,
//! so a late burst is worth as much as if it had come in time, and a lone outlier counts for nothing.
//!
//! **The filter** (`state`). Volume V, ln of the draw a, its wear d, its curve β₁, β₂, the ripple r and what the level reads
//! too much by the time of day, s(t), are followed by an extended Kalman filter:
//!
//! u = (full − V) / (full − heel), q(V) = exp(a − β₁ u − β₂ u²), dV/dt = −q(V), da/dt = −d, a minute reads
//! y = V + s(t) + r + e, s a wave of a day and one of half a day.
//!
//! A peristaltic pump fills its tube less as the level sinks (McIntyre et al., arXiv 2011.13167, 2020, model the
//! suction side): β belongs to drum and pump, is learned over many fills and carried over refills. The draw is in proportion to
//! the pump's speed, so a logged setting shifts a by ln(new/old); wear is followed by d, all else is a random walk of a.
//! The swing s matters: 2 mm of temperature over a day look like 1 % of the draw, always at the same hours.
//! How restless the level is, and for how long a ripple lasts, is learned as well (`noise`).
//!
//! **Foam, steps, changes** (`story`, `bank`, `judge`). A reading is of the level or of foam or nonsense,
//! each with its probability. Beside the leading account of what goes on, others are carried along: the level rose at
//! that minute, it fell, the draw changed, stopped, started. All are judged by how probable they made the same
//! readings; one that convinces, and has lasted, leads from then on. So a refill that nobody logged is found with its
//! litres (the new level less the old line, the draw meanwhile included), and foam isn't. By the level alone, a change of the
//! draw by a tenth or more that nobody wrote down is followed within about an hour (median over the judging seasons).
//!
//! **The empty time** (`ahead`). If pump and valves stay, T = ∫ dv / q(v) from the heel to V, with its variance
//! by the gradient; its quantiles, where several accounts are still probable, are those of their mixture. Past errors
//! correct the width (`calibration`); what sensor and strapping table hide from them is added afterwards.
//!
//! **Doubt.** While the sensor is silent, fails its quality tests, reads off the table, stands still without
//! reason or foams for long, the level isn't believed, and the same filter goes on without readings: by the pump's
//! setting, logged refills and dips, wider by the hour (basis `pump`); or it says that nothing is known, and why.
//!
//! **Late and wrong** (`mind`, `obey`). What comes late is put in its place and all since is gone through again. What
//! somebody wrote down leads at once, and the account in which it wasn't done lives on until the readings decide.
//!
//! **Written down, not seen** (`written`). A refill counts from when it is written down, while the level foams or before
//! it has risen; a calm level that shows no rise is believed over it.
//!
//! The constants stand in `tuning`, in one table.

mod ahead;
mod ask;
mod bank;
mod calibration;
mod facts;
mod hands;
mod hours;
mod judge;
mod mind;
mod noise;
mod obey;
mod scorer;
mod series;
mod state;
mod stats;
mod story;
mod supply;
mod tuning;
mod written;

pub use ask::{Slope, VolumeNow, WhatIf};
pub use supply::supply_forecast;

use jiff::Timestamp;

use crate::scorer::Scorer;
use ahead::{Ahead, quantiles};
use bank::{Bank, Phase};
use calibration::Calibration;
use claymark_model::doubt::{Missing, NoLevel, WhyDoubted, WhyUnknown};
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use claymark_model::happening::DrawShare;
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::reading::Assessed;
use claymark_model::site::Site;
use claymark_model::units::{Litres, LitresPerHour};
use facts::Facts;
use hands::Hands;
use hours::{hours, timestamp};
use mind::{Mind, View};
use series::Series;
use state::Belief;
use story::Account;
use tuning::{
    FIRST_WORD_HOURS, FOAM_HOURS, KNOWN_DRAW_SD, LENT_SD, RECKONED_AT_MOST, STEADY, STUCK_HOURS, TOLD_AGE,
    TOLD_PROBABILITY, UNTOLD_DRAW_SD,
};

/// One drum under watch.
///
/// Feed it readings and log entries as they arrive, call [`DrumWatch::advance`] when time has passed, then
/// [`DrumWatch::take_happenings`]. Asking doesn't change it: a forecast always uses all that has arrived, up to the
/// last full minute.
#[derive(Debug, Clone)]
pub struct DrumWatch {
    facts: Facts,
    series: Series,
    hands: Hands,
    mind: Mind,
    /// When it was first spoken to.
    born: Option<f64>,
    /// Own time of the newest usable reading.
    heard: Option<f64>,
    /// Own time of the newest reading that wasn't usable, and why.
    unusable: Option<(f64, WhyDoubted)>,
    /// The draw of another drum on the pump, ln L/h at the full line.
    lent: Option<Belief>,
    /// Since when what has arrived isn't thought of yet, hours since 1970.
    dirty: Option<f64>,
    calibration: Calibration,
    scorer: Scorer,
    doubted: bool,
    happenings: Vec<Happening>,
    /// The minute of the last analysis.
    analysed: Option<i64>,
}

/// The level can't be believed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// Since when.
    pub since: Timestamp,
    /// Why.
    pub why: WhyDoubted,
}

/// What lies ahead of one drum: the accounts that count, with their weights.
#[derive(Debug, Clone)]
struct Prospect {
    basis: Basis,
    bank: Bank,
    in_use: bool,
    /// Other accounts that fit the readings, in which a refill that was written down wasn't done.
    without: Vec<Account>,
}

impl DrumWatch {
    /// A watch over that drum; `None` when the site has no such drum.
    #[must_use]
    pub fn new(site: &Site, drum: &Id) -> Option<Self> {
        Some(Self {
            facts: Facts::of(site, drum)?,
            series: Series::new(),
            hands: Hands::default(),
            mind: Mind::default(),
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
        if self.analysed.is_none_or(|minute| minute < minute_of(now)) {
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
        if changed && self.mind.bank.as_ref().is_some_and(|bank| hours::start_of_minute(at) <= bank.at) {
            self.changed_at(hours::start_of_minute(at));
        }
    }

    /// Takes an entry of the field log; those that don't concern the drum or its pump don't matter.
    pub fn log(&mut self, now: Timestamp, entry: &LogEntry) {
        if let Some(at) = self.hands.log(&self.facts, entry) {
            self.scorer.interrupted(timestamp(at));
            self.changed_at(at);
        }
        self.analysed = None;
        self.advance(now);
    }

    /// Another sensor says that the draw changed at `at` to that share; the level decides whether it did.
    pub fn hint_change(&mut self, at: Timestamp, to: DrawShare) {
        let DrawShare { share, sd } = to;
        if share > 0.0 && self.hands.hint(hours(at), Belief { mean: share.ln(), sd: sd / share }) {
            self.changed_at(hours(at));
        }
    }

    /// Looks at what has arrived. Does nothing when nothing has, within a minute.
    pub fn advance(&mut self, now: Timestamp) {
        self.born = self.born.or(Some(hours(now)));
        if self.analysed == Some(minute_of(now)) && self.dirty.is_none() {
            return;
        }
        self.series.prune(now);
        self.hands.prune(now);
        let view = View { facts: &self.facts, series: &self.series, hands: &self.hands };
        let found = self.mind.catch_up(view, hours::start_of_minute(now), self.dirty.take());
        self.analysed = Some(minute_of(now));
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
            Ok(prospect) => prospect.outlook(now, &self.calibration),
            Err(why) => Outlook::Unknown { why: why.into() },
        };
        Forecast { at: now, of: Subject::Drum(self.facts.drum.clone()), in_use, outlook }
    }

    /// Why the level can't be believed at `now`, if so.
    #[must_use]
    pub fn doubt(&self, now: Timestamp) -> Option<Doubt> {
        self.doubt_of(self.up_to_date(now).mind.bank.as_ref(), now)
    }

    /// Since when the draw is what it is: the last refill or change.
    #[must_use]
    pub fn draw_since(&self) -> Option<Timestamp> {
        self.mind.bank.as_ref().map(|bank| timestamp(bank.since))
    }

    /// Whether it is being drawn, as far as is known.
    #[must_use]
    pub fn in_use(&self) -> bool {
        self.mind.bank.as_ref().is_none_or(|bank| bank.phase != Phase::Idle)
    }

    fn changed_at(&mut self, at: f64) {
        self.dirty = Some(self.dirty.map_or(at, |dirty| dirty.min(at)));
    }

    /// The same watch, after a look at all that has arrived.
    fn up_to_date(&self, now: Timestamp) -> std::borrow::Cow<'_, Self> {
        if self.dirty.is_none() && self.analysed == Some(minute_of(now)) {
            return std::borrow::Cow::Borrowed(self);
        }
        let mut watch = self.clone();
        let view = View { facts: &self.facts, series: &self.series, hands: &self.hands };
        watch.mind.catch_up(view, hours::start_of_minute(now), watch.dirty.take());
        watch.analysed = Some(minute_of(now));
        std::borrow::Cow::Owned(watch)
    }

    fn prospect(&self, now: Timestamp) -> Result<Prospect, WhyUnknown> {
        let watch = self.up_to_date(now);
        let view = View { facts: &self.facts, series: &self.series, hands: &self.hands };
        let doubt = watch.doubt_of(watch.mind.bank.as_ref(), now);
        let blind = doubt.is_some() || self.facts.gauge.is_none();
        let level = match (&doubt, &self.facts.gauge) {
            (Some(doubt), _) => NoLevel::Doubted(doubt.why),
            (None, Some(_)) => NoLevel::NeverHeard,
            (None, None) => NoLevel::NoSensor,
        };
        let Some(mut bank) = watch.mind.at(view, hours(now)) else {
            return Err(WhyUnknown::Blind { level, missing: Missing::EarlierLevel });
        };
        if let Phase::Still { .. } = bank.phase
            && let Some(place) = bank.others.iter().position(|other| other.turn == story::Turn::Goes)
        {
            bank.follow(place);
            bank.others.clear();
        }
        if let Some(lent) = self.lent
            && bank.lead.state.strength_of_draw().sd > KNOWN_DRAW_SD
        {
            bank.each(|account| account.state.take_draw(lent));
        }
        let unsure = bank.lead.draw(&bank.vessel).sd > UNTOLD_DRAW_SD || self.is_new(&bank, now);
        let untold = unsure && bank.phase != Phase::Dry;
        if untold && blind {
            return Err(WhyUnknown::Blind { level, missing: Missing::Draw });
        }
        if untold {
            return Err(if bank.lead.draws { WhyUnknown::FewReadings } else { WhyUnknown::NotDrawn });
        }
        let read = self.hands.last_dip(hours(now)).into_iter().chain(bank.newest.map(|(t, _)| t));
        if blind && read.fold(f64::NEG_INFINITY, f64::max) < hours(now) - RECKONED_AT_MOST {
            return Err(WhyUnknown::Blind { level, missing: Missing::RecentLevel });
        }
        let written = bank.count_written();
        let basis = if blind || written.is_some() { Basis::Pump } else { Basis::Level };
        let in_use = bank.phase != Phase::Idle;
        Ok(Prospect { basis, bank, in_use, without: written.unwrap_or_default() })
    }

    /// A few minutes tell no draw where nothing else does.
    fn is_new(&self, bank: &Bank, now: Timestamp) -> bool {
        let rated = self.facts.rating.is_some() && self.hands.rpm(hours(now)).is_some();
        hours(now) - bank.began < FIRST_WORD_HOURS && !rated && self.lent.is_none()
    }

    fn doubt_of(&self, bank: Option<&Bank>, now: Timestamp) -> Option<Doubt> {
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
        let bank = bank?;
        match (bank.phase, bank.unfit.or(bank.foamed)) {
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

/// Lets drums that aren't drawn know the draw of a drum on the same pump that is; call it before their forecasts.
pub fn share_draws(watches: &mut [&mut DrumWatch]) {
    let known: Vec<_> = watches
        .iter()
        .filter(|watch| watch.in_use())
        .filter_map(|watch| {
            let draw = watch.mind.bank.as_ref()?.lead.state.strength_of_draw();
            let lent = Belief { mean: draw.mean, sd: draw.sd.hypot(LENT_SD) };
            (draw.sd < KNOWN_DRAW_SD).then(|| (watch.facts.pump.clone(), watch.facts.drum.clone(), lent))
        })
        .collect();
    for watch in watches {
        let (pump, drum) = (&watch.facts.pump, &watch.facts.drum);
        let other = known.iter().find(|(of, from, _)| of == pump && from != drum);
        watch.lent = other.map(|(_, _, draw)| *draw).or(watch.lent);
    }
}

impl Prospect {
    fn outlook(&self, now: Timestamp, calibration: &Calibration) -> Outlook {
        let (bank, vessel) = (&self.bank, &self.bank.vessel);
        Outlook::Known {
            basis: self.basis,
            volume: Litres(bank.lead.state.volume().mean.clamp(0.0, vessel.brim)),
            draw: LitresPerHour(if bank.phase == Phase::Dry { 0.0 } else { bank.lead.draw(vessel).mean }),
            empty_at: self.down_to(now, vessel.heel, calibration),
        }
    }

    fn down_to(&self, now: Timestamp, target: f64, calibration: &Calibration) -> EmptyAt {
        let told = quantiles(now, &self.ahead(target), calibration);
        let without = |account| quantiles(now, &[(1.0, self.ahead_of(account, target))], calibration).p05;
        let earliest = told.p05.into_iter().chain(self.without.iter().filter_map(without)).min();
        EmptyAt { p05: earliest, ..told }
    }

    fn ahead_of(&self, account: &Account, target: f64) -> Ahead {
        Ahead::of(&account.state, &self.bank.vessel, target, 1.0, self.bank.hidden())
    }

    /// The accounts that count, with their weights.
    fn ahead(&self, target: f64) -> Vec<(f64, Ahead)> {
        let bank = &self.bank;
        if bank.phase == Phase::Dry {
            return vec![(1.0, Ahead::REACHED)];
        }
        let lead = (1.0, self.ahead_of(&bank.lead, target));
        let others = bank.others.iter().filter(|other| {
            let probable = other.odds > TOLD_PROBABILITY.ln() && other.fits > STEADY;
            probable
                && self.basis == Basis::Level
                && (other.draws || !bank.lead.draws)
                && bank.at - other.since > TOLD_AGE
        });
        let others = others.map(|other| (other.odds.exp().min(1.0), self.ahead_of(other, target)));
        std::iter::once(lead).chain(others).collect()
    }
}

fn minute_of(at: Timestamp) -> i64 {
    at.as_second().div_euclid(60)
}
