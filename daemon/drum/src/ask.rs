//! What others may ask of a drum beside its forecast: what lies ahead, how fast of late, how fast by rights.

use std::cell::OnceCell;

use jiff::{SignedDuration, Timestamp};

use super::DrumWatch;
use super::hours::{hours, in_hours, timestamp};
use super::prospect::{Prospect, WhatIf};
use super::scorer::Scored;
use super::state::Gaussian;
use super::stats::{count, robust_slope, spread};
use super::tuning::ASKED_HOURS;
use super::written::unseen;
use claymark_model::forecast::{EmptyAt, Forecast};
use claymark_model::skill::MarkForecast;
use claymark_model::units::{Litres, LitresPerHour};
use claymark_model::unseen::Unseen;

/// Litres per hour that leave a drum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Positive while the level falls.
    pub draw: LitresPerHour,
    /// Its standard deviation.
    pub sd: LitresPerHour,
}

/// What a drum holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VolumeNow {
    /// Heel included.
    pub volume: Litres,
    /// Its standard deviation.
    pub sd: Litres,
}

impl DrumWatch {
    /// Litres that the pump can't lift.
    #[must_use]
    pub fn heel(&self) -> Litres {
        Litres(self.facts.heel)
    }

    /// Judges what was said of marks by what `forecast`, made just now, believes, learns from it, and says more.
    ///
    /// Returns what is new or settled.
    pub fn score(&mut self, forecast: &Forecast) -> Vec<MarkForecast> {
        let mut scorer = std::mem::take(&mut self.scorer);
        // Only twice an hour is anything said of marks.
        let ahead = OnceCell::new();
        let passes = |volume| {
            ahead.get_or_init(|| self.ahead(forecast.at)).as_ref().and_then(|ahead| ahead.passes(volume))
        };
        scorer.look(&Scored { id: self.drum(), heel: self.heel(), passes }, forecast);
        let said = scorer.take();
        self.scorer = scorer;
        said.iter().filter_map(MarkForecast::settled).for_each(|settled| self.calibration.learn(&settled));
        said
    }

    /// Takes what had been said of a mark before a restart.
    pub fn recall_mark(&mut self, said: MarkForecast) {
        if let Some(settled) = said.settled() {
            self.calibration.learn(&settled);
        }
        self.scorer.recall(said);
    }

    /// What lies ahead, to be asked many times: each of the calls below reckons it anew. `None` when nothing can be said.
    #[must_use]
    pub fn ahead(&self, now: Timestamp) -> Option<Prospect> {
        self.prospect(now).ok()
    }

    /// When it would be empty if things were otherwise; `None` when no draw is known.
    #[must_use]
    pub fn empty_if(&self, now: Timestamp, what: WhatIf) -> Option<EmptyAt> {
        self.ahead(now)?.empty_if(what)
    }

    /// When it will have come down to `volume`, as things are; `None` when nothing can be said.
    #[must_use]
    pub fn reaches(&self, now: Timestamp, volume: Litres) -> Option<EmptyAt> {
        self.ahead(now)?.reaches(volume)
    }

    /// The slope of the level over the last `over`, whatever is expected; `None` with too few readings.
    #[must_use]
    pub fn slope(&self, now: Timestamp, over: SignedDuration) -> Option<Slope> {
        let points = self.series.between(hours(now) - in_hours(over), hours(now));
        let pairs: Vec<_> = points.map(|point| (point.t, point.v)).collect();
        let long = pairs.last()?.0 - pairs.first()?.0 >= in_hours(over) / 2.0;
        let Gaussian { mean, sd } = fall_of(&pairs).filter(|_| long)?;
        Some(Slope { draw: LitresPerHour(mean), sd: LitresPerHour(sd) })
    }

    /// What should be drawn at this level by the pump's setting and what was learned of it.
    #[must_use]
    pub fn expected_draw(&self, now: Timestamp) -> Option<Slope> {
        let prospect = self.prospect(now).ok()?;
        let draw = prospect.tracker.lead.draw(&prospect.tracker.size);
        Some(Slope { draw: LitresPerHour(draw.mean), sd: LitresPerHour(draw.mean * draw.sd) })
    }

    /// What it holds; `None` when nothing can be said.
    #[must_use]
    pub fn volume_now(&self, now: Timestamp) -> Option<VolumeNow> {
        let tracker = self.prospect(now).ok()?.tracker;
        let Gaussian { mean, sd } = tracker.lead.state.volume();
        Some(VolumeNow { volume: Litres(mean.clamp(0.0, self.facts.brim())), sd: Litres(sd) })
    }

    /// A refill that was written down in the last hours and that no level shows.
    #[must_use]
    pub fn unseen(&self, now: Timestamp) -> Option<Unseen> {
        match self.up_to_date(now).at(self.inputs(), hours(now)) {
            Some(tracker) => tracker.unseen(),
            None => {
                let (entry, figures) = self.log.last_refill(hours(now))?;
                (hours(now) - entry.at < ASKED_HOURS).then(|| unseen(&entry.key, entry.at, figures))
            }
        }
    }

    /// The key of the last refill that was written down, and whether the level is believed against it, as of the last look.
    #[must_use]
    pub fn denied(&self) -> Option<(&str, bool)> {
        self.replay.tracker.as_ref()?.written.as_ref().map(|written| written.denied())
    }

    /// The usable levels of that time, minute by minute, oldest first.
    pub fn levels(&self, from: Timestamp, to: Timestamp) -> impl Iterator<Item = (Timestamp, Litres)> {
        let points = self.series.between(hours(from), hours(to));
        points.map(|point| (timestamp(point.t), Litres(point.v)))
    }
}

/// How fast these litres fall (h, L), L/h; `None` with too few of them.
pub(super) fn fall_of(points: &[(f64, f64)]) -> Option<Gaussian> {
    let ((first, _), (last, _)) = (points.first()?, points.last()?);
    if points.len() < LEAST_POINTS {
        return None;
    }
    let mean = -robust_slope(points)?;
    let mut off: Vec<f64> = points.iter().map(|(t, v)| v + mean * (t - first)).collect();
    // Of evenly spaced points: sd · √12 / (span · √n); neighbours hang together, which doubles it.
    let sd = spread(&mut off)? * 2.0 * (12.0 / count(points.len())).sqrt() / (last - first);
    Some(Gaussian { mean, sd })
}

/// Fewer minutes than this tell no slope.
const LEAST_POINTS: usize = 5;
