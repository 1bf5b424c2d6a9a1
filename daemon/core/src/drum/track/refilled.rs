//! What a refill means: litres that are told once they are certain, a draw at another level, a fill to learn from.

use super::{Found, LEAST_DRAW, Motion, Track, View};
use crate::drum::fit::Belief;
use crate::drum::series::Point;
use crate::drum::stats::{median, quantile, spread};
use crate::drum::tuning::{DRAW_WANDER_PER_ROOT_HOUR, FADING_LEAST_SD, LOG_APART_HOURS};
use crate::happening::What;
use crate::units::Litres;

/// A refill on its way to being told.
#[derive(Debug, Clone, Copy)]
pub(super) struct Poured {
    /// When the level began and ended to rise, hours since 1970.
    start: f64,
    end: f64,
    /// Litres that would be there at `end` without it.
    without: f64,
    /// Scatter of a minute before, L.
    scatter: f64,
}

impl Track {
    /// A refill was seen; poured soon after another it is the same one.
    pub(super) fn pour(&mut self, view: &View<'_>, start: f64, end: f64, without: f64) {
        let scatter = self.usual_scatter(view);
        self.poured = Some(match self.poured {
            None => Poured { start, end, without, scatter },
            Some(earlier) => {
                let drawn = self.fit.map_or(0.0, |fit| fit.volume(earlier.end) - without);
                Poured { end, without: earlier.without - drawn, ..earlier }
            }
        });
    }

    /// Tells a refill once the level after it is certain.
    pub(super) fn tell_poured(&mut self, view: &View<'_>, points: &[Point], found: &mut Vec<Found>) {
        let Some(Poured { start, end, without, scatter }) = self.poured else { return };
        let Some(newest) = points.last() else { return };
        let since = points.iter().filter(|point| point.t >= end);
        let draw = if self.motion == Motion::Falling { self.fit.map_or(0.0, |fit| fit.line.q) } else { 0.0 };
        let mut levelled: Vec<f64> = since.map(|point| point.v + draw * (point.t - end)).collect();
        let Some(middle) = median(&mut levelled) else { return };
        let to = self.fit.filter(|_| self.motion == Motion::Falling).map_or(middle, |fit| fit.volume(end));
        let seen = spread(&mut levelled).unwrap_or(0.0);
        let calm = seen <= CALM_SCATTERS * scatter && newest.t - end >= CALM_HOURS.0;
        if calm || newest.t - end >= CALM_HOURS.1 {
            // Foam only ever reads high.
            let to = if calm { to } else { quantile(&mut levelled, FOAMING_QUANTILE).unwrap_or(to) };
            self.poured = None;
            let (added, logged) = (to - without, self.is_logged(view, start));
            if added >= LEAST_ADDED_SHARE * view.facts.span() {
                found.push((start, What::Refilled { added: Litres(added), to: Litres(to), logged }));
                self.refilled.retain(|earlier| start - earlier <= LOG_APART_HOURS * 2.0);
                self.refilled.push(start);
            }
        }
    }

    /// Whether somebody wrote down a refill about `start` that isn't one of those told already.
    pub(super) fn is_logged(&self, view: &View<'_>, start: f64) -> bool {
        let poured = self.poured.iter().map(|poured| poured.start);
        let told = self.refilled.iter().copied().chain(poured);
        let near = told.filter(|other| (other - start).abs() <= 2.0 * LOG_APART_HOURS).count();
        view.hands.refills_about(start, LOG_APART_HOURS) > near
    }

    pub(super) fn learn_fading(&mut self, view: &View<'_>) {
        let Some(line) = self.fit.map(|fit| fit.line).filter(|line| line.q > LEAST_DRAW) else { return };
        let share = view.facts.span() / (line.q * line.q);
        let Some(before) = self.before else { return };
        let hours = self.fit.map_or(0.0, |fit| fit.at - before.start);
        let drawn = (line.mean(-hours) - line.v) / view.facts.span();
        // A draw that only wanders looks like fading over a part of the drum.
        let wander = 2.0 * DRAW_WANDER_PER_ROOT_HOUR * hours.sqrt() / drawn.max(f64::EPSILON);
        let seen = (line.covariance.bb.max(0.0).sqrt() * share).hypot(wander);
        let weight = self.fading.sd.powi(2) / (self.fading.sd.powi(2) + seen * seen);
        let mean = self.fading.mean + weight * (line.b * share - self.fading.mean);
        let sd = (weight.sqrt() * seen).hypot(FADING_DRIFT_SD).max(FADING_LEAST_SD);
        self.fading = Belief { mean: mean.clamp(FADING_RANGE.0, FADING_RANGE.1), sd };
    }

    pub(super) fn faded(&self, view: &View<'_>, draw: Belief, from: f64, to: f64) -> Belief {
        let factor = 1.0 + self.fading.mean * (to - from) / view.facts.span();
        let unsure = self.fading.sd * (to - from) / view.facts.span() * draw.mean;
        Belief { mean: draw.mean * factor, sd: (draw.sd * factor).hypot(unsure) }
    }
}

/// What a learned fading may be.
const FADING_RANGE: (f64, f64) = (-0.2, 0.6);
/// What a fading may change by from fill to fill.
const FADING_DRIFT_SD: f64 = 0.02;
/// After a refill the level is certain when its scatter is back to so many times the usual.
const CALM_SCATTERS: f64 = 1.6;
/// h. Not before the first; at the second it is told anyway.
const CALM_HOURS: (f64, f64) = (8.0 / 60.0, 40.0 / 60.0);
/// Of levels while it still foams: the share that is free of it.
const FOAMING_QUANTILE: f64 = 0.1;
/// Share of the span below which what was told as foam later wasn't a refill.
const LEAST_ADDED_SHARE: f64 = 0.015;
