//! What is known of the drum so far: since when it is drawn as it is, how it moves, what is believed.

mod refilled;
mod unrest;

use refilled::Poured;

use super::change::{Change, Stand, changed, stands};
use super::facts::Facts;
use super::fit::{Before, Belief, Fit, fit, scatter_below};
use super::hands::{Act, Hand, Hands};
use super::reckon::KnownDraw;
use super::series::{Point, Series};
use super::stats::median;
use super::steps::{Expected, Run, Step, run_at_end, step};
use super::tuning::{
    CHANGE_SHARE, CHANGED_SIGMAS, EMPTY_SHARE, EMPTY_STILL_SHARE, FADING_MEAN, FADING_SD, MOVED_SCATTERS,
    MOVED_SHARE, REFILL_DRAW_SD, SCATTER_SHARE, STILL_ABOVE_SHARE, SUSPECTED_HOURS, UNEXPLAINED_DRAW_SD,
    VOLUME_FLOOR_SHARE,
};
use crate::happening::What;
use crate::units::LitresPerHour;

/// What an analysis looks at.
pub(super) struct View<'a> {
    pub facts: &'a Facts,
    pub series: &'a Series,
    pub hands: &'a Hands,
    /// The draw of a drum that shares the pump.
    pub lent: Option<KnownDraw>,
    /// Hours since 1970.
    pub now: f64,
}

/// How the level moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Motion {
    /// It falls, or is about to.
    Falling,
    /// It stands.
    Still {
        /// Hours since 1970.
        since: f64,
        /// Litres at which it stands.
        volume: f64,
        /// Why it does.
        because: Stillness,
    },
}

/// Why a level stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stillness {
    /// Nothing draws from it.
    Idle,
    /// Something should draw from it: pump stopped or sensor stuck, the level can't tell.
    Unexplained,
    /// Nothing is left that the pump could lift.
    Empty,
}

/// What is known so far; small, so that a forecast can carry a copy on to its own `now`.
#[derive(Debug, Clone)]
pub(super) struct Track {
    /// What was known when the present stretch of drawing began.
    pub before: Option<Before>,
    /// The line through it.
    pub fit: Option<Fit>,
    pub motion: Motion,
    /// When a run of levels off the line began that isn't explained yet, hours since 1970.
    pub off_since: Option<f64>,
    /// From when to when the level jumped up and down as foam does, hours since 1970: nothing is concluded from it.
    foamed: Vec<(f64, f64)>,
    /// What was known before the last refill, to go back to if the rise turns out to lie in foam.
    earlier: Option<Box<Track>>,
    pub known_draw: Option<KnownDraw>,
    /// A refill whose litres aren't certain yet, since freshly stirred slurry foams.
    poured: Option<Poured>,
    /// When the last refills that were told began, hours since 1970.
    refilled: Vec<f64>,
    /// When the draw first looked changed, or the level still, hours since 1970: foam passes, a pump doesn't.
    suspected: Option<f64>,
    fading: Belief,
    scatter: Option<f64>,
    /// The next log entry to look at.
    unheard: u64,
    /// Up to here the level has been examined for steps, hours since 1970.
    examined: f64,
    /// When the line was last looked at as a whole, hours since 1970.
    looked: f64,
}

/// Something found, and when, hours since 1970.
pub(super) type Found = (f64, What);

impl Track {
    /// Nothing is known yet.
    pub fn new() -> Self {
        Self {
            before: None,
            fit: None,
            motion: Motion::Falling,
            off_since: None,
            foamed: Vec::new(),
            earlier: None,
            known_draw: None,
            poured: None,
            refilled: Vec::new(),
            suspected: None,
            fading: Belief { mean: FADING_MEAN, sd: FADING_SD },
            scatter: None,
            unheard: 0,
            examined: f64::NEG_INFINITY,
            looked: f64::NEG_INFINITY,
        }
    }

    /// Carries what is known on to `view.now`, and says what was found on the way.
    pub fn carry_on(&mut self, view: &View<'_>) -> Vec<Found> {
        let mut found = Vec::new();
        for hand in view.hands.from(self.unheard, view.now) {
            self.unheard = hand.number + 1;
            self.examine(view, hand.at, &mut found);
            self.obey(view, hand);
        }
        self.examine(view, view.now, &mut found);
        found
    }

    /// What the level is expected to do; `None` while nothing is known.
    pub fn expected(&self, view: &View<'_>) -> Option<Expected> {
        match (self.motion, &self.fit) {
            (Motion::Still { since, volume, .. }, _) => Some(Expected {
                at: since,
                volume,
                draw: 0.0,
                bend: 0.0,
                loosening: 0.0,
                scatter: self.usual_scatter(view),
            }),
            (Motion::Falling, Some(fit)) => Some(Expected {
                at: fit.at,
                volume: fit.line.v,
                draw: fit.line.q,
                bend: fit.line.b,
                loosening: fit.draw_sd(),
                scatter: fit.scatter,
            }),
            (Motion::Falling, None) => None,
        }
    }

    /// The draw if the pump ran now and the drum stood at `volume`.
    pub fn draw_if_on(&self, view: &View<'_>, volume: f64) -> Option<Belief> {
        let known = self.known_draw.or(view.lent);
        let rpm = view.hands.running_rpm(view.now);
        KnownDraw::at(known.as_ref(), rpm, view.facts)
            .map(|draw| known.map_or(draw, |known| self.faded(view, draw, known.volume, volume)))
    }

    /// By which share the draw falls from full to heel.
    pub fn fading(&self) -> Belief {
        self.fading
    }

    fn examine(&mut self, view: &View<'_>, to: f64, found: &mut Vec<Found>) {
        if self.before.is_none() {
            let Some(first) = view.series.between(f64::NEG_INFINITY, to).next() else { return };
            self.restart(view, first.t, None, None);
        }
        for _ in 0..MOST_STRETCHES {
            let next = view.series.between(self.examined, to).find(|point| point.t > self.examined);
            let until = next.map_or(to, |point| (point.t + STRETCH_HOURS).min(to));
            let restarted = match self.motion {
                Motion::Falling => self.follow(view, until, found),
                Motion::Still { since, volume, because } => {
                    self.watch(view, until, Stand { since, volume }, because, found)
                }
            };
            if !restarted {
                self.examined = self.examined.max(until);
                if until >= to {
                    return;
                }
            }
        }
    }

    /// Follows a level that falls; true when a new stretch of drawing began.
    fn follow(&mut self, view: &View<'_>, until: f64, found: &mut Vec<Found>) -> bool {
        let Some(before) = self.before else { return false };
        self.see_unrest(view, until);
        let calm = |point: &Point| !self.is_foamed(point.t);
        let points: Vec<Point> = view.series.between(before.start, until).filter(calm).collect();
        if let (true, Some(fitted)) = (self.unsettled(until), self.fit) {
            // The line had followed the foam until it was known as such.
            if self.is_foamed(fitted.at) {
                self.refit(view, &points, &before);
            }
            return false;
        }
        let (Some(newest), Some(fitted)) = (points.last(), self.fit) else {
            self.fit = fit(&points, &before);
            return false;
        };
        let fresh = points.get(points.partition_point(|point| point.t <= fitted.at)..).unwrap_or_default();
        let (run, step) = self.step_at_end(view, fresh).unzip();
        if let Some(refill @ Step::Refill { .. }) = step {
            return self.take(view, refill);
        }
        self.off_since = run.and_then(|run| run.points.first()).map(|point| point.t);
        let due = (fitted.spans / LOOKS_A_SPAN).clamp(LOOK_HOURS.0, LOOK_HOURS.1);
        if newest.t - self.looked < due {
            return false;
        }
        self.looked = newest.t;
        let good = run.map_or(points.len(), |run| points.partition_point(|point| point.t <= run.good_until));
        self.refit(view, points.get(..good).unwrap_or_default(), &before);
        if run.is_none() {
            self.tell_poured(view, &points, found);
        }
        self.ran_empty(view, &points, found)
            || self.stopped_or_changed(view, &points, &before, found)
            || step.is_some_and(|step| self.take(view, step))
    }

    fn stopped_or_changed(
        &mut self,
        view: &View<'_>,
        points: &[Point],
        before: &Before,
        found: &mut Vec<Found>,
    ) -> bool {
        let stand = self.stopped(view, points, before);
        let change = if stand.is_none() { self.draw_changed(points, before) } else { None };
        let Some(newest) = points.last().filter(|_| stand.is_some() || change.is_some()) else {
            self.suspected = None;
            return false;
        };
        let faster = change.as_ref().is_some_and(|(change, ..)| change.faster);
        if newest.t - *self.suspected.get_or_insert(newest.t) < SUSPECTED_HOURS && !faster {
            return false;
        }
        if let Some((stand, old)) = stand {
            self.stop(view, points, stand, old, found);
        } else if let Some((change, volume, after)) = change {
            let then = change.old.line.moved(change.at - change.old.at);
            let (from, to) = (LitresPerHour(then.q), LitresPerHour(after.line.q));
            found.push((change.at, What::DrawChanged { from, to }));
            self.restart(view, change.at, Some(volume), None);
            self.fit = Some(after);
        }
        true
    }

    /// Watches a level that stands; true when it moves again.
    fn watch(
        &mut self,
        view: &View<'_>,
        until: f64,
        stand: Stand,
        because: Stillness,
        found: &mut Vec<Found>,
    ) -> bool {
        let points: Vec<Point> = view.series.between(stand.since.max(until - WATCHED_HOURS), until).collect();
        if let Some((run, step)) = self.step_at_end(view, &points) {
            self.off_since = run.points.first().map(|point| point.t);
            if run.above {
                return self.take(view, step);
            }
        } else {
            self.off_since = None;
            self.tell_poured(view, &points, found);
        }
        let tolerance = (MOVED_SHARE * view.facts.span()).max(MOVED_SCATTERS * self.usual_scatter(view));
        let sunk = newest_volume(&points).is_some_and(|volume| volume < stand.volume - tolerance);
        if because == Stillness::Empty || !sunk {
            return false;
        }
        let start =
            points.iter().rfind(|point| point.v > stand.volume - tolerance / 2.0).map(|point| point.t);
        let draw = self.draw_if_on(view, stand.volume).map(|draw| loose(draw, UNEXPLAINED_DRAW_SD));
        self.motion = Motion::Falling;
        self.restart(view, start.or(points.first().map(|point| point.t)).unwrap_or(until), None, draw);
        true
    }

    fn step_at_end<'p>(&self, view: &View<'_>, fresh: &'p [Point]) -> Option<(Run<'p>, Step)> {
        let expected = self.expected(view)?;
        let run = run_at_end(fresh, &expected, view.facts.span())?;
        let start = run.points.first()?.t;
        let logged = self.is_logged(view, start);
        Some((run, step(&run, &expected, view.facts.span(), logged)))
    }

    fn take(&mut self, view: &View<'_>, step: Step) -> bool {
        match step {
            Step::Undecided => false,
            Step::Moved { start } => {
                let volume = self.fit.map_or(view.facts.full, |fit| fit.volume(start));
                let draw = self.draw_if_on(view, volume).map(|draw| loose(draw, UNEXPLAINED_DRAW_SD));
                self.restart(view, start, None, draw);
                true
            }
            Step::Refill { start, end, without, to } => {
                self.remember(start);
                self.learn_fading(view);
                self.pour(view, start, end, without);
                let draw = self.draw_if_on(view, to).map(|draw| loose(draw, REFILL_DRAW_SD));
                self.motion = match self.motion {
                    Motion::Still { because: Stillness::Idle, .. } => {
                        Motion::Still { since: end, volume: to, because: Stillness::Idle }
                    }
                    Motion::Still { because: Stillness::Unexplained | Stillness::Empty, .. }
                    | Motion::Falling => Motion::Falling,
                };
                self.restart(view, end, None, draw);
                true
            }
        }
    }

    fn refit(&mut self, view: &View<'_>, points: &[Point], before: &Before) {
        let Some(fitted) = fit(points, before) else { return };
        self.scatter = Some(fitted.scatter);
        let draw = Belief { mean: fitted.line.q, sd: fitted.draw_sd() };
        if draw.mean > LEAST_DRAW && draw.sd < KNOWN_DRAW_SHARE * draw.mean {
            let rpm = view.hands.rpm(fitted.at - fitted.spans / 2.0);
            self.known_draw = Some(KnownDraw { draw, volume: fitted.line.v, rpm });
        }
        self.fit = Some(fitted);
    }

    fn ran_empty(&mut self, view: &View<'_>, points: &[Point], found: &mut Vec<Found>) -> bool {
        let (Some(fitted), Some(volume)) = (self.fit, newest_volume(points)) else { return false };
        let near = view.facts.heel + (EMPTY_SHARE * view.facts.span()).max(fitted.scatter / 2.0);
        if volume > near {
            return false;
        }
        self.motion = Motion::Still { since: fitted.at, volume, because: Stillness::Empty };
        found.push((fitted.at, What::RanEmpty));
        true
    }

    /// Where the level stands instead of falling, and the line before it did.
    fn stopped(&self, view: &View<'_>, points: &[Point], before: &Before) -> Option<(Stand, Option<Fit>)> {
        let fitted = self.fit?;
        let draw = self.draw_if_on(view, fitted.line.v).map(|draw| draw.mean);
        let stand = stands(points, draw, fitted.scatter, view.facts.span())?;
        let old = fit(points.get(..points.partition_point(|point| point.t < stand.since))?, before);
        let above = |old: Fit, draw: f64| {
            let newest = points.last().map_or(stand.since, |point| point.t);
            stand.volume - old.volume(newest) >= STILL_ABOVE_SHARE * draw * (newest - stand.since)
        };
        old.zip(draw).is_none_or(|(old, draw)| above(old, draw)).then_some((stand, old))
    }

    fn stop(
        &mut self,
        view: &View<'_>,
        points: &[Point],
        stand: Stand,
        old: Option<Fit>,
        found: &mut Vec<Found>,
    ) {
        let because = if stand.volume <= view.facts.heel + EMPTY_STILL_SHARE * view.facts.span() {
            found.push((stand.since, What::RanEmpty));
            Stillness::Empty
        } else if self.should_run(view, points, stand.since) {
            Stillness::Unexplained
        } else {
            Stillness::Idle
        };
        self.fit = old.or(self.fit);
        self.suspected = None;
        self.motion = Motion::Still { since: stand.since, volume: stand.volume, because };
    }

    /// A change of draw with the volume then and the line since.
    fn draw_changed(&self, points: &[Point], before: &Before) -> Option<(Change, Belief, Fit)> {
        let change = changed(points, before, &self.fit?)?;
        let then = change.old.line.moved(change.at - change.old.at);
        let sd = change.old.line.deviation(change.at - change.old.at).hypot(then.floor);
        let volume = Belief { mean: then.v, sd };
        let since = Before { start: change.at, volume: Some(volume), draw: None, ..*before };
        let after = fit(points.get(points.partition_point(|point| point.t < change.at)..)?, &since)?;
        let difference = (after.line.q - then.q).abs();
        let sure = after.line.q > 0.0
            && difference >= CHANGE_SHARE * then.q
            && difference >= CHANGED_SIGMAS * after.draw_sd().hypot(then.covariance.qq.max(0.0).sqrt());
        sure.then_some((change, volume, after))
    }

    fn obey(&mut self, view: &View<'_>, hand: &Hand) {
        let stretch = self.before.map_or(f64::INFINITY, |before| before.start);
        if hand.at < stretch {
            return;
        }
        let idle =
            matches!(self.motion, Motion::Still { because: Stillness::Idle | Stillness::Unexplained, .. });
        match hand.act {
            Act::Pump { rpm } if rpm <= 0.0 => self.rest(hand.at),
            Act::InUse { here: false } => self.rest(hand.at),
            Act::Pump { rpm } => {
                let other = view.hands.rpm_before(hand) != Some(rpm);
                if (other || idle) && view.hands.here(hand.at) != Some(false) {
                    self.run(view, hand.at);
                }
            }
            Act::InUse { here: true } if idle => self.run(view, hand.at),
            Act::InUse { here: true } | Act::Refill { .. } | Act::RefillSomewhere | Act::Dip { .. } => {}
        }
    }

    /// From `at` on nothing draws.
    fn rest(&mut self, at: f64) {
        if let (Motion::Falling, Some(fit)) = (self.motion, self.fit) {
            self.motion = Motion::Still { since: at, volume: fit.volume(at), because: Stillness::Idle };
        }
    }

    /// From `at` on the pump draws, or draws otherwise than before.
    fn run(&mut self, view: &View<'_>, at: f64) {
        let floor = VOLUME_FLOOR_SHARE * view.facts.span();
        let volume = match (self.motion, self.fit) {
            (Motion::Still { volume, .. }, _) => Some(Belief { mean: volume, sd: self.usual_scatter(view) }),
            (Motion::Falling, Some(fit)) => {
                // People write times to some minutes.
                let clock = LOG_CLOCK_HOURS * fit.line.q.abs();
                Some(Belief {
                    mean: fit.volume(at),
                    sd: fit.line.deviation(at - fit.at).hypot(clock).hypot(floor),
                })
            }
            (Motion::Falling, None) => None,
        };
        let draw = self.draw_if_on(view, volume.map_or(view.facts.full, |volume| volume.mean));
        self.motion = Motion::Falling;
        self.restart(view, at, volume, draw);
    }

    fn restart(&mut self, view: &View<'_>, start: f64, volume: Option<Belief>, draw: Option<Belief>) {
        let (fading, scatter, span) = (self.fading, self.scatter, view.facts.span());
        self.before = Some(Before { start, volume, draw, fading, scatter, span });
        self.fit = None;
        self.off_since = None;
        self.foamed.retain(|(_, to)| *to >= start);
        self.suspected = None;
        self.examined = start;
        self.looked = start;
    }

    fn should_run(&self, view: &View<'_>, points: &[Point], since: f64) -> bool {
        let (rpm, here) = (view.hands.rpm(view.now), view.hands.here(view.now));
        if rpm.is_some_and(|rpm| rpm <= 0.0) || here == Some(false) {
            return false;
        }
        if view.facts.shared && here.is_none() {
            // Another drum may be drawn instead; but then the air goes on rippling this one.
            let mut still: Vec<f64> =
                points.iter().filter(|point| point.t >= since).map(|point| point.v).collect();
            let ripple = scatter_below(&mut still).unwrap_or(0.0);
            return self.known_draw.is_some() && ripple < DEAD_SHARE * self.usual_scatter(view);
        }
        rpm.is_some() || self.known_draw.is_some()
    }

    fn usual_scatter(&self, view: &View<'_>) -> f64 {
        self.scatter.unwrap_or(SCATTER_SHARE * view.facts.span())
    }
}

/// The same, less sure by a share.
fn loose(draw: Belief, share: f64) -> Belief {
    Belief { mean: draw.mean, sd: draw.sd.hypot(share * draw.mean) }
}

/// The median of the newest few points that are close together in time.
fn newest_volume(points: &[Point]) -> Option<f64> {
    let newest = points.last()?.t;
    let recent = points.iter().rev().take(NEWEST_POINTS).take_while(|point| newest - point.t < WATCHED_HOURS);
    median(&mut recent.map(|point| point.v).collect::<Vec<_>>())
}
/// Long stretches (after a burst) are looked at in pieces, so that each thing is found in its turn.
const STRETCH_HOURS: f64 = 0.5;
const MOST_STRETCHES: usize = 400;
/// A line is looked at so often in the time that it spans, but within these hours.
const LOOKS_A_SPAN: f64 = 20.0;
const LOOK_HOURS: (f64, f64) = (0.9 / 60.0, 9.5 / 60.0);
/// How far back a still level is looked at, h.
const WATCHED_HOURS: f64 = 1.0;
const NEWEST_POINTS: usize = 5;
/// L/h. A smaller draw isn't worth learning from.
const LEAST_DRAW: f64 = 0.3;
/// A draw is known below this standard deviation, as a share.
const KNOWN_DRAW_SHARE: f64 = 0.1;
/// Scatter below this share of the usual: the sensor has died.
const DEAD_SHARE: f64 = 0.3;
/// h. How well people write down when.
const LOG_CLOCK_HOURS: f64 = 5.0 / 60.0;
