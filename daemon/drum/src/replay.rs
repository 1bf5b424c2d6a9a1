//! The tracker brought up to date: readings and log entries in the order of their own times, however late they come.
//!
//! Something late makes the checkpoint of before then stand again, and all since is replayed.

use super::facts::Facts;
use super::judge::Detection;
use super::log::DrumLog;
use super::series::{MinuteVolume, Series};
use super::state::{DrumSize, Gaussian};
use super::tracker::{Phase, Tracker};
use super::tuning::{CHECKPOINT_HOURS, EMPTY_STILL_SHARE, LOG_APART_HOURS, RATING_SD};
use claymark_model::happening::What;

/// What there is to go by.
#[derive(Debug, Clone, Copy)]
pub(super) struct Inputs<'a> {
    pub facts: &'a Facts,
    pub series: &'a Series,
    pub log: &'a DrumLog,
}

/// The tracker as of now, and as it was at some times before.
#[derive(Debug, Clone, Default)]
pub(super) struct Replay {
    pub tracker: Option<Tracker>,
    /// To go back to, oldest first.
    checkpoints: Vec<Tracker>,
    /// What was found lately, so that going back doesn't find it again.
    reported: Vec<Detection>,
}

impl Replay {
    /// Goes through everything up to `upto`, back from `dirty` where something changed before now.
    pub fn catch_up(&mut self, inputs: Inputs<'_>, upto: f64, dirty: Option<f64>) -> Vec<Detection> {
        if let Some(dirty) = dirty {
            self.go_back(dirty);
        }
        let mut found = Vec::new();
        if self.tracker.is_none() {
            self.begin(inputs, upto);
        }
        let Some(mut tracker) = self.tracker.take() else { return found };
        let newest = tracker.newest.map_or(f64::NEG_INFINITY, |(t, _)| t);
        let mut points = inputs.series.between(newest, upto).filter(|point| point.t > newest).peekable();
        let log = inputs.log.between(tracker.heard, upto);
        let mut log = log.into_iter().peekable();
        loop {
            match (points.peek().copied(), log.peek().copied()) {
                (Some(point), entry) if entry.is_none_or(|entry| point.t <= entry.at) => {
                    points.next();
                    self.keep_checkpoint(&tracker);
                    step(&mut tracker, inputs, point, &mut found);
                }
                (_, Some(entry)) => {
                    log.next();
                    tracker.heard = entry.at;
                    tracker.apply(inputs.facts, inputs.log, entry);
                }
                (_, None) => break,
            }
        }
        self.tracker = Some(tracker);
        found.retain(|(at, what)| !self.is_reported(*at, what));
        self.reported.retain(|(at, _)| upto - at < REPORTED_HOURS);
        self.reported.extend(found.iter().cloned());
        found
    }

    /// What is believed at `now`, with what people wrote down since the last reading.
    pub fn at(&self, inputs: Inputs<'_>, now: f64) -> Option<Tracker> {
        let mut tracker = self.tracker.clone()?;
        for entry in inputs.log.between(tracker.heard, now) {
            tracker.apply(inputs.facts, inputs.log, entry);
        }
        tracker.predict_to(now);
        Some(tracker)
    }

    fn go_back(&mut self, dirty: f64) {
        if self.tracker.as_ref().is_none_or(|tracker| tracker.at < dirty) {
            return;
        }
        let place = self.checkpoints.iter().rposition(|tracker| tracker.at < dirty);
        if place.is_none() && self.checkpoints.first().is_some_and(|first| first.forgot) {
            return;
        }
        self.checkpoints.truncate(place.map_or(0, |place| place + 1));
        self.tracker = self.checkpoints.last().cloned();
    }

    /// From the first reading, or where there is no sensor, from the first time somebody read the drum by eye.
    fn begin(&mut self, inputs: Inputs<'_>, upto: f64) {
        let first = inputs.series.between(f64::NEG_INFINITY, upto).next();
        let dip = inputs.log.first_dip(upto);
        let (at, reads) = match (first, dip) {
            (Some(first), Some((t, volume))) if t < first.t => (t, volume.mean),
            (Some(first), _) => (first.t, first.v),
            (None, Some((t, volume))) => (t, volume.mean),
            (None, None) => return,
        };
        let rpm = inputs.log.rpm(at);
        let here = inputs.log.here(at);
        // One that was never seen to fall, and stands at its heel, is one that nobody uses.
        let stands_empty =
            here.is_none() && reads <= inputs.facts.heel + EMPTY_STILL_SHARE * inputs.facts.span();
        let off = rpm.is_some_and(|rpm| rpm <= 0.0) || here == Some(false) || stands_empty;
        let rated = inputs.facts.rating.zip(rpm.filter(|rpm| *rpm > 0.0)).map(|(rating, rpm)| rating * rpm);
        let draw = rated.map(|rated| Gaussian { mean: rated.ln(), sd: RATING_SD });
        let phase = if off { Phase::Idle } else { Phase::Drawn };
        let mut tracker = Tracker::new(DrumSize::of(inputs.facts), at, reads, draw, phase);
        if first.is_none_or(|first| first.t > at) {
            tracker.newest = None;
            dip.iter()
                .for_each(|(_, volume)| tracker.each(|hypothesis| hypothesis.state.observe_volume(*volume)));
        }
        self.tracker = Some(tracker);
    }

    /// Keeps a checkpoint, the fewer the older.
    fn keep_checkpoint(&mut self, tracker: &Tracker) {
        // Some dozens at most: room for more would be most of what a drum takes.
        self.checkpoints.reserve_exact(1);
        self.checkpoints.push(tracker.checkpoint(OTHERS_KEPT.0));
        let ages: Vec<usize> = self.checkpoints.iter().map(|kept| age_class(tracker.at - kept.at)).collect();
        let mut place = 0;
        let mut forgot = false;
        self.checkpoints.retain(|_| {
            let class = ages.get(place).copied();
            let oldest = place == 0 || ages.get(place - 1).copied() != class;
            let newest = ages.get(place + 1).copied() != class;
            place += 1;
            let too_old = class == Some(CHECKPOINT_HOURS.len());
            forgot |= too_old;
            !too_old && (oldest || newest)
        });
        if let Some(older) = self.checkpoints.iter_mut().rev().nth(OTHERS_KEPT.1) {
            *older = older.checkpoint(OTHERS_KEPT.2);
        }
        if let (true, Some(first)) = (forgot, self.checkpoints.first_mut()) {
            first.forgot = true;
        }
    }

    fn is_reported(&self, at: f64, what: &What) -> bool {
        let same = |told: &What| std::mem::discriminant(told) == std::mem::discriminant(what);
        self.reported.iter().any(|(then, told)| (then - at).abs() < LOG_APART_HOURS && same(told))
    }
}

fn step(tracker: &mut Tracker, inputs: Inputs<'_>, point: MinuteVolume, found: &mut Vec<Detection>) {
    let likely = tracker.is_logged(inputs.log, point.t);
    tracker.observe(point.t, point.v, likely);
    tracker.judge(inputs.facts, inputs.log, found);
}

fn age_class(age: f64) -> usize {
    CHECKPOINT_HOURS.iter().filter(|limit| age > **limit).count()
}

/// Other hypotheses in a checkpoint that is new; so many checkpoints are; hypotheses in older ones.
const OTHERS_KEPT: (usize, usize, usize) = (3, 4, 0);
/// h. What was found is remembered for so long.
const REPORTED_HOURS: f64 = 30.0;
