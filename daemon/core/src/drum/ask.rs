//! What others may ask of a drum beside its forecast: what if, how fast of late, how fast by rights.

use jiff::{SignedDuration, Timestamp};

use super::DrumWatch;
use super::fit::{Belief, slope_of};
use super::hours::{hours, in_hours, timestamp};
use super::line::Line;
use super::series::Point;
use super::stats::{count, spread};
use crate::forecast::EmptyAt;
use crate::units::{Litres, LitresPerHour};

/// Something that isn't so, to see what would be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WhatIf {
    /// If it held that much now; `None`: what it holds.
    pub volume: Option<Litres>,
    /// If the pump's draw were multiplied by this; 1: as it is.
    pub draw_share: f64,
}

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
    /// When it would be empty if things were otherwise; `None` when no draw is known.
    #[must_use]
    pub fn empty_if(&self, now: Timestamp, what: WhatIf) -> Option<EmptyAt> {
        Some(self.line_if(now, what)?.empty_at(now, self.facts.heel))
    }

    /// When it will have come down to `volume`, as things are; `None` when nothing can be said.
    #[must_use]
    pub fn reaches(&self, now: Timestamp, volume: Litres) -> Option<EmptyAt> {
        let ahead = self.ahead(now).ok().filter(|ahead| ahead.in_use && !ahead.empty)?;
        Some(ahead.line.empty_at(now, volume.0.max(self.facts.heel)))
    }

    /// The slope of the level over the last `over`, whatever is expected; `None` with too few readings.
    #[must_use]
    pub fn slope(&self, now: Timestamp, over: SignedDuration) -> Option<Slope> {
        let points: Vec<Point> = self.series.between(hours(now) - in_hours(over), hours(now)).collect();
        let (first, last) = (points.first()?, points.last()?);
        if points.len() < LEAST_POINTS || last.t - first.t < in_hours(over) / 2.0 {
            return None;
        }
        let draw = slope_of(&points)?;
        let mut off: Vec<f64> = points.iter().map(|point| point.v + draw * (point.t - first.t)).collect();
        // Of evenly spaced points: sd · √12 / (span · √n); neighbours hang together, which doubles it.
        let sd = spread(&mut off)? * 2.0 * (12.0 / count(points.len())).sqrt() / (last.t - first.t);
        Some(Slope { draw: LitresPerHour(draw), sd: LitresPerHour(sd) })
    }

    /// What should be drawn at this level by the pump's setting and what was learned of it.
    #[must_use]
    pub fn expected_draw(&self, now: Timestamp) -> Option<Slope> {
        let (track, view) = (self.track_at(now), self.view(now));
        let volume = self.ahead(now).map_or(self.facts.full, |ahead| ahead.line.v);
        let Belief { mean, sd } = track.draw_if_on(&view, volume)?;
        Some(Slope { draw: LitresPerHour(mean), sd: LitresPerHour(sd) })
    }

    /// What it holds; `None` when nothing can be said.
    #[must_use]
    pub fn volume_now(&self, now: Timestamp) -> Option<VolumeNow> {
        let line = self.ahead(now).ok()?.line;
        let sd = line.deviation(0.0).hypot(line.floor);
        Some(VolumeNow { volume: Litres(line.v.clamp(0.0, self.facts.brim())), sd: Litres(sd) })
    }

    /// The usable levels of that time, minute by minute, oldest first.
    pub fn levels(&self, from: Timestamp, to: Timestamp) -> impl Iterator<Item = (Timestamp, Litres)> {
        let points = self.series.between(hours(from), hours(to));
        points.map(|point| (timestamp(point.t), Litres(point.v)))
    }

    fn line_if(&self, now: Timestamp, what: WhatIf) -> Option<Line> {
        let ahead = self.ahead(now).ok()?;
        let (track, view) = (self.track_at(now), self.view(now));
        let volume = what.volume.map_or(ahead.line.v, |volume| volume.0);
        let draw = if ahead.empty { track.draw_if_on(&view, volume) } else { Some(ahead.draw()) }?;
        let draw = Belief { mean: draw.mean * what.draw_share, sd: draw.sd * what.draw_share };
        let span = self.facts.span();
        let higher = (volume - ahead.line.v) / span;
        let factor = if ahead.empty { 1.0 } else { 1.0 + track.fading().mean * higher };
        Some(Line::drawn_down(volume, draw, factor, track.fading(), span))
    }
}

/// Fewer minutes than this tell no slope.
const LEAST_POINTS: usize = 5;
