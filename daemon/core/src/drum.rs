//! One drum under watch: what its level says, what happened to it, and when it runs empty.
//!
//! # The method
//!
//! **Level to volume.** Each usable reading (flags 1, 2, 3) becomes a level (for a distance sensor: mount
//! height less distance) and by the strapping table a volume V; outside the table it isn't usable.
//! Readings are kept by their *own* time as minute medians of the last two days, so a late burst is worth as
//! much as if it had come in time, in whatever order, and a lone outlier counts for nothing.
//!
//! **The line.** Since the last refill or change of the pump, with x hours from the newest minute,
//!
//! V(x) = v - q x + b x²/2,
//!
//! q the net outflow now and b how fast it falls: a peristaltic pump fills its tube less as the level sinks
//! (McIntyre et al., arXiv 2011.13167, 2020, model the suction side). If the draw falls by the share g from the
//! full line to the heel, S litres below, then dq/dV = g q/S and b = g q²/S. The line is a Bayesian
//! regression with robust weights; what was known before enters as rows: the draw before a refill (a
//! little loose), the volume carried over a change of the pump, g from earlier fills. The autocorrelation of
//! the residuals widens everything (`fit`).
//!
//! **The empty time** is the first passage of V through the heel. Since V(x) is Student at each x, its
//! quantiles follow without sampling from V(x) + t_p s(x) = heel (`line`); a draw that can't be told from
//! zero gives no time within the 72 h that are told.
//!
//! **Steps** (`steps`). Levels that stand off the line are a *refill* when they stand above it long enough
//! for their height, and fall on as before; they are foam as long as they don't. Litres added are the new
//! volume less the old line's, plus the draw meanwhile. Levels that stay below start a new line.
//!
//! **Changes** (`change`). A robust slope of the last 20 to 160 minutes that the line before doesn't explain
//! is a changed draw. A level that stands still although the pump should draw is a doubt: the level alone
//! can't tell a stopped pump from a stuck sensor.
//!
//! **Doubt.** While the sensor is silent, fails its quality tests, reads off the table, stands still
//! without reason or foams for long, the level isn't believed: the forecast goes by dead reckoning from the
//! last volume that was (`reckon`), by the learned or rated delivery at the logged speed, logged refills and
//! dips, wider by the hour; or it says that nothing is known, and why.
//!
//! The constants stand in `tuning`.

mod ask;
mod change;
mod facts;
mod fit;
mod hands;
mod hours;
mod line;
mod reckon;
mod restless;
mod series;
mod stats;
mod steps;
mod supply;
mod track;
mod tuning;

pub use ask::{Slope, VolumeNow, WhatIf};

use std::borrow::Cow;

use jiff::Timestamp;

use crate::fieldlog::LogEntry;
use crate::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use crate::happening::{Happening, What};
use crate::id::Id;
use crate::reading::Assessed;
use crate::site::Site;
use crate::units::{Litres, LitresPerHour};
use facts::Facts;
use fit::Belief;
use hands::Hands;
use hours::{hours, timestamp};
use line::Line;
use reckon::{KnownDraw, Lost, reckoned};
use series::Series;
use track::{Motion, Stillness, Track, View};
use tuning::{FOAM_HOURS, STUCK_HOURS};

/// One drum under watch.
///
/// Feed it readings and log entries as they arrive, call [`DrumWatch::advance`] when time has passed, then
/// [`DrumWatch::take_happenings`]. Asking doesn't change it: a forecast always uses all that has arrived.
#[derive(Debug, Clone)]
pub struct DrumWatch {
    facts: Facts,
    series: Series,
    hands: Hands,
    track: Track,
    /// When it was first spoken to.
    born: Option<f64>,
    /// Own time of the newest usable reading.
    heard: Option<f64>,
    /// Own time of the newest reading that wasn't usable, and why.
    unusable: Option<(f64, &'static str)>,
    lent: Option<KnownDraw>,
    doubted: bool,
    happenings: Vec<Happening>,
    /// The series' version and the minute of the last analysis.
    analysed: Option<(u64, i64)>,
}

/// The level can't be believed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// Since when.
    pub since: Timestamp,
    /// In a few plain words.
    pub why: String,
}

/// What lies ahead of one drum, or of all drums of a pump.
#[derive(Debug, Clone, Copy)]
struct Ahead {
    basis: Basis,
    line: Line,
    in_use: bool,
    empty: bool,
}

impl DrumWatch {
    /// A watch over that drum; `None` when the site has no such drum.
    #[must_use]
    pub fn new(site: &Site, drum: &Id) -> Option<Self> {
        Some(Self {
            facts: Facts::of(site, drum)?,
            series: Series::new(),
            hands: Hands::default(),
            track: Track::new(),
            born: None,
            heard: None,
            unusable: None,
            lent: None,
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
            Some(_) if !assessed.flag.usable() => Err("the level readings fail their quality tests"),
            Some(volume) => Ok(volume),
            None => Err("the level sensor reads outside the strapping table"),
        };
        if self.analysed.is_none_or(|(_, minute)| minute < minute_of(now)) {
            self.advance(now);
        }
        match volume {
            Ok(volume) => {
                self.series.insert(now, at, volume);
                self.heard = Some(self.heard.map_or(hours(at), |newest| newest.max(hours(at))));
            }
            Err(why) => {
                self.series.remove(at);
                if self.unusable.is_none_or(|(newest, _)| newest <= hours(at)) {
                    self.unusable = Some((hours(at), why));
                }
            }
        }
    }

    /// Takes an entry of the field log; those that don't concern the drum or its pump don't matter.
    pub fn log(&mut self, now: Timestamp, entry: &LogEntry) {
        self.hands.log(&self.facts, entry);
        self.analysed = None;
        self.advance(now);
    }

    /// Looks at what has arrived. Does nothing when nothing has, within a minute.
    pub fn advance(&mut self, now: Timestamp) {
        self.born = self.born.or(Some(hours(now)));
        if self.analysed == Some((self.series.version(), minute_of(now))) {
            return;
        }
        self.series.prune(now);
        self.hands.prune(now);
        let mut track = self.track.clone();
        let found = track.carry_on(&self.view(now));
        self.track = track;
        self.analysed = Some((self.series.version(), minute_of(now)));
        for (at, what) in found {
            self.happened(timestamp(at), what);
        }
        match (self.doubted, self.doubt_of(&self.track, now)) {
            (false, Some(Doubt { since, why })) => self.happened(since, What::LevelDoubted { why }),
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
        let ahead = self.ahead(now);
        let in_use = ahead.as_ref().map_or_else(|_| self.in_use(), |ahead| ahead.in_use);
        let outlook = match ahead {
            Ok(ahead) => ahead.outlook(now, ahead.line.v, self.facts.heel, self.facts.brim()),
            Err(why) => Outlook::Unknown { why },
        };
        Forecast { at: now, of: Subject::Drum(self.facts.drum.clone()), in_use, outlook }
    }

    /// Why the level can't be believed at `now`, if so.
    #[must_use]
    pub fn doubt(&self, now: Timestamp) -> Option<Doubt> {
        self.doubt_of(&self.track_at(now), now)
    }

    /// Since when the draw is what it is: the last refill or change.
    #[must_use]
    pub fn draw_since(&self) -> Option<Timestamp> {
        self.track.before.map(|before| timestamp(before.start))
    }

    /// Whether it is being drawn, as far as is known.
    #[must_use]
    pub fn in_use(&self) -> bool {
        !matches!(self.track.motion, Motion::Still { because: Stillness::Idle, .. })
    }

    fn view(&self, now: Timestamp) -> View<'_> {
        let (facts, series, hands) = (&self.facts, &self.series, &self.hands);
        View { facts, series, hands, lent: self.lent, now: hours(now) }
    }

    /// What is known, carried on to `now`.
    fn track_at(&self, now: Timestamp) -> Cow<'_, Track> {
        if self.analysed == Some((self.series.version(), minute_of(now))) {
            return Cow::Borrowed(&self.track);
        }
        let mut track = self.track.clone();
        track.carry_on(&self.view(now));
        Cow::Owned(track)
    }

    fn ahead(&self, now: Timestamp) -> Result<Ahead, String> {
        let (track, view) = (self.track_at(now), self.view(now));
        let doubt = self.doubt_of(&track, now);
        if doubt.is_none() && self.facts.gauge.is_some() {
            return self.by_level(&track, &view);
        }
        let because = doubt.as_ref().map_or("the drum has no level sensor", |doubt| &doubt.why);
        let since = doubt.as_ref().map_or(view.now, |doubt| hours(doubt.since));
        match reckoned(&track, &view, since) {
            Ok(reckoned) => {
                Ok(Ahead { basis: Basis::Pump, line: reckoned.line, in_use: reckoned.runs, empty: false })
            }
            Err(Lost::NoVolume) => Err(format!("{because}, and no earlier level is known")),
            Err(Lost::NoDraw) => Err(format!("{because}, and how much the pump draws isn't known")),
            Err(Lost::TooLong) => {
                Err(format!("{because}, and the last level that was believed is a day old"))
            }
        }
    }

    fn by_level(&self, track: &Track, view: &View<'_>) -> Result<Ahead, String> {
        let basis = Basis::Level;
        let span = self.facts.span();
        match (track.motion, track.fit) {
            (Motion::Still { volume, because: Stillness::Idle, .. }, _) => {
                let draw =
                    track.draw_if_on(view, volume).ok_or("nothing draws from it, and no draw is known")?;
                let line = Line::drawn_down(volume, draw, 1.0, track.fading(), span);
                Ok(Ahead { basis, line, in_use: false, empty: false })
            }
            (Motion::Still { volume, because: Stillness::Empty, .. }, _) => {
                let none = Belief { mean: 0.0, sd: 0.0 };
                let line = Line::drawn_down(volume, none, 1.0, track.fading(), span);
                Ok(Ahead { basis, line, in_use: true, empty: true })
            }
            (Motion::Still { because: Stillness::Unexplained, .. } | Motion::Falling, Some(fit)) => {
                let line = fit.line.moved(view.now - fit.at);
                Ok(Ahead { basis, line, in_use: true, empty: false })
            }
            (Motion::Still { .. } | Motion::Falling, None) => {
                Err("too few level readings yet to tell the draw".to_owned())
            }
        }
    }

    fn doubt_of(&self, track: &Track, now: Timestamp) -> Option<Doubt> {
        let gap = self.facts.gauge.as_ref()?.gap;
        let (born, now) = (self.born?, hours(now));
        let doubt = |since: f64, why: &str| Some(Doubt { since: timestamp(since), why: why.to_owned() });
        let heard = self.heard.unwrap_or(born);
        if now - heard > gap {
            return match self.unusable {
                Some((at, why)) if at > heard && now - at <= gap => doubt(heard, why),
                Some(_) | None => doubt(heard, "the level sensor is silent"),
            };
        }
        if let (Motion::Falling, Some(since)) = (track.motion, track.unrest(now)) {
            return doubt(since, "the level jumps up and down, as foam does");
        }
        match (track.motion, track.off_since) {
            (Motion::Still { since, because: Stillness::Unexplained, .. }, _)
                if now - since >= STUCK_HOURS =>
            {
                doubt(
                    since,
                    "the level stands still although the pump should draw: either the pump has stopped or the sensor is stuck",
                )
            }
            (Motion::Falling, Some(since)) if now - since >= FOAM_HOURS => {
                doubt(since, "the level reads off its line and restless, as foam does")
            }
            (Motion::Still { .. } | Motion::Falling, _) => None,
        }
    }

    fn happened(&mut self, at: Timestamp, what: What) {
        self.happenings.push(Happening { drum: self.facts.drum.clone(), at, what });
    }
}

/// Lets drums that aren't drawn know the draw of a drum on the same pump that is; call it before their forecasts.
pub fn share_draws(watches: &mut [&mut DrumWatch]) {
    let known: Vec<_> = watches
        .iter()
        .filter(|watch| watch.in_use())
        .filter_map(|watch| {
            Some((watch.facts.pump.clone(), watch.facts.drum.clone(), watch.track.known_draw?))
        })
        .collect();
    for watch in watches {
        let (pump, drum) = (&watch.facts.pump, &watch.facts.drum);
        let other = known.iter().find(|(of, from, _)| of == pump && from != drum);
        watch.lent = other.map(|(_, _, draw)| *draw).or(watch.lent);
    }
}

/// When the last of the drums that share `pump` is empty, drawn one after the other.
#[must_use]
pub fn supply_forecast(now: Timestamp, pump: &Id, watches: &[&DrumWatch]) -> Forecast {
    let of = Subject::Supply(pump.clone());
    let ours = watches.iter().filter(|watch| watch.facts.pump == *pump);
    let ahead: Result<Vec<_>, String> = ours
        .clone()
        .map(|watch| {
            let said = watch.ahead(now).map_err(|why| format!("drum {}: {why}", watch.facts.drum));
            said.map(|ahead| (ahead, watch.facts.heel))
        })
        .collect();
    let heels: f64 = ours.map(|watch| watch.facts.heel).sum();
    let (in_use, outlook) = match ahead.map(|drums| supply::together(&drums)) {
        Ok(Some(all)) => (all.in_use, all.outlook(now, all.line.v + heels, 0.0, f64::INFINITY)),
        Ok(None) => (false, Outlook::Unknown { why: "no drum draws through this pump".to_owned() }),
        Err(why) => (true, Outlook::Unknown { why }),
    };
    Forecast { at: now, of, in_use, outlook }
}

impl Ahead {
    fn outlook(&self, now: Timestamp, volume: f64, heel: f64, brim: f64) -> Outlook {
        let all = |at: Timestamp| EmptyAt {
            p05: Some(at),
            p25: Some(at),
            p50: Some(at),
            p75: Some(at),
            p95: Some(at),
        };
        Outlook::Known {
            basis: self.basis,
            volume: Litres(volume.clamp(0.0, brim)),
            draw: LitresPerHour(self.line.q.max(0.0)),
            empty_at: if self.empty { all(now) } else { self.line.empty_at(now, heel) },
        }
    }

    fn draw(&self) -> Belief {
        Belief { mean: self.line.q.max(0.0), sd: self.line.covariance.qq.max(0.0).sqrt() }
    }

    /// Over the way from here to the heel, L/h.
    fn mean_draw(&self, heel: f64) -> f64 {
        let usable = (self.line.v - heel).max(0.0);
        let fall = (self.line.q * self.line.q - 2.0 * self.line.b * usable).max(0.0).sqrt();
        f64::midpoint(self.line.q, fall).max(f64::MIN_POSITIVE)
    }
}

fn minute_of(at: Timestamp) -> i64 {
    at.as_second().div_euclid(60)
}
