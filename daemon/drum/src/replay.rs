//! What is believed, brought up to date: readings and log entries in the order of their own times, however late they come.
//!
//! Something late makes the belief of before then stand again, and all since is gone through once more.

use super::facts::Facts;
use super::judge::Found;
use super::log::Hands;
use super::series::{Point, Series};
use super::state::{Belief, Vessel};
use super::tracker::{Bank, Phase};
use super::tuning::{EMPTY_STILL_SHARE, KEPT_BELIEFS_HOURS, LOG_APART_HOURS, RATING_SD};
use claymark_model::happening::What;

/// What there is to go by.
#[derive(Debug, Clone, Copy)]
pub(super) struct View<'a> {
    pub facts: &'a Facts,
    pub series: &'a Series,
    pub hands: &'a Hands,
}

/// What is believed, and what was believed at some times before.
#[derive(Debug, Clone, Default)]
pub(super) struct Mind {
    pub bank: Option<Bank>,
    /// Oldest first.
    past: Vec<Bank>,
    /// What was found lately, so that going back doesn't find it again.
    told: Vec<Found>,
}

impl Mind {
    /// Goes through everything up to `upto`, back from `dirty` where something changed before now.
    pub fn catch_up(&mut self, view: View<'_>, upto: f64, dirty: Option<f64>) -> Vec<Found> {
        if let Some(dirty) = dirty {
            self.go_back(dirty);
        }
        let mut found = Vec::new();
        if self.bank.is_none() {
            self.begin(view, upto);
        }
        let Some(mut bank) = self.bank.take() else { return found };
        let newest = bank.newest.map_or(f64::NEG_INFINITY, |(t, _)| t);
        let mut points = view.series.between(newest, upto).filter(|point| point.t > newest).peekable();
        let hands = view.hands.between(bank.heard, upto);
        let mut hands = hands.into_iter().peekable();
        loop {
            match (points.peek().copied(), hands.peek().copied()) {
                (Some(point), hand) if hand.is_none_or(|hand| point.t <= hand.at) => {
                    points.next();
                    self.keep(&bank);
                    step(&mut bank, view, point, &mut found);
                }
                (_, Some(hand)) => {
                    hands.next();
                    bank.heard = hand.at;
                    bank.obey(view.facts, view.hands, hand);
                }
                (_, None) => break,
            }
        }
        self.bank = Some(bank);
        found.retain(|(at, what)| !self.is_told(*at, what));
        self.told.retain(|(at, _)| upto - at < TOLD_HOURS);
        self.told.extend(found.iter().cloned());
        found
    }

    /// What is believed at `now`, with what people wrote down since the last reading.
    pub fn at(&self, view: View<'_>, now: f64) -> Option<Bank> {
        let mut bank = self.bank.clone()?;
        for hand in view.hands.between(bank.heard, now) {
            bank.obey(view.facts, view.hands, hand);
        }
        bank.go_to(now);
        Some(bank)
    }

    fn go_back(&mut self, dirty: f64) {
        if self.bank.as_ref().is_none_or(|bank| bank.at < dirty) {
            return;
        }
        let place = self.past.iter().rposition(|bank| bank.at < dirty);
        if place.is_none() && self.past.first().is_some_and(|first| first.forgot) {
            return;
        }
        self.past.truncate(place.map_or(0, |place| place + 1));
        self.bank = self.past.last().cloned();
    }

    /// From the first reading, or where there is no sensor, from the first time somebody read the drum by eye.
    fn begin(&mut self, view: View<'_>, upto: f64) {
        let first = view.series.between(f64::NEG_INFINITY, upto).next();
        let dip = view.hands.first_dip(upto);
        let (at, reads) = match (first, dip) {
            (Some(first), Some((t, volume))) if t < first.t => (t, volume.mean),
            (Some(first), _) => (first.t, first.v),
            (None, Some((t, volume))) => (t, volume.mean),
            (None, None) => return,
        };
        let rpm = view.hands.rpm(at);
        let here = view.hands.here(at);
        // One that was never seen to fall, and stands at its heel, is one that nobody uses.
        let stands_empty = here.is_none() && reads <= view.facts.heel + EMPTY_STILL_SHARE * view.facts.span();
        let off = rpm.is_some_and(|rpm| rpm <= 0.0) || here == Some(false) || stands_empty;
        let rated = view.facts.rating.zip(rpm.filter(|rpm| *rpm > 0.0)).map(|(rating, rpm)| rating * rpm);
        let draw = rated.map(|rated| Belief { mean: rated.ln(), sd: RATING_SD });
        let phase = if off { Phase::Idle } else { Phase::Drawn };
        let mut bank = Bank::new(Vessel::of(view.facts), at, reads, draw, phase);
        if first.is_none_or(|first| first.t > at) {
            bank.newest = None;
            dip.iter().for_each(|(_, volume)| bank.each(|account| account.state.take_volume(*volume)));
        }
        self.bank = Some(bank);
    }

    /// Keeps the belief, the fewer the older.
    fn keep(&mut self, bank: &Bank) {
        // Some dozens at most: room for more would be most of what a drum takes.
        self.past.reserve_exact(1);
        self.past.push(bank.kept(OTHERS_KEPT.0));
        let ages: Vec<usize> = self.past.iter().map(|kept| age_class(bank.at - kept.at)).collect();
        let mut place = 0;
        let mut forgot = false;
        self.past.retain(|_| {
            let class = ages.get(place).copied();
            let oldest = place == 0 || ages.get(place - 1).copied() != class;
            let newest = ages.get(place + 1).copied() != class;
            place += 1;
            let too_old = class == Some(KEPT_BELIEFS_HOURS.len());
            forgot |= too_old;
            !too_old && (oldest || newest)
        });
        if let Some(older) = self.past.iter_mut().rev().nth(OTHERS_KEPT.1) {
            *older = older.kept(OTHERS_KEPT.2);
        }
        if let (true, Some(first)) = (forgot, self.past.first_mut()) {
            first.forgot = true;
        }
    }

    fn is_told(&self, at: f64, what: &What) -> bool {
        let same = |told: &What| std::mem::discriminant(told) == std::mem::discriminant(what);
        self.told.iter().any(|(then, told)| (then - at).abs() < LOG_APART_HOURS && same(told))
    }
}

fn step(bank: &mut Bank, view: View<'_>, point: Point, found: &mut Vec<Found>) {
    let likely = bank.is_logged(view.hands, point.t);
    bank.take(point.t, point.v, likely);
    bank.judge(view.facts, view.hands, found);
}

fn age_class(age: f64) -> usize {
    KEPT_BELIEFS_HOURS.iter().filter(|limit| age > **limit).count()
}

/// Other accounts in a belief that is kept; in the newest so many beliefs; in older ones.
const OTHERS_KEPT: (usize, usize, usize) = (3, 4, 0);
/// h. What was found is remembered for so long.
const TOLD_HOURS: f64 = 30.0;
