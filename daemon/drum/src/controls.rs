//! What a log entry changes: people know when they turned a knob, within minutes, and are sometimes wrong.
//!
//! So an entry shifts the leading account at once, and the account in which nothing happened lives on beside it.

use super::facts::Facts;
use super::hypothesis::{Account, Turn};
use super::log::{Act, Hand, Hands};
use super::state::Belief;
use super::tracker::{Bank, Phase};
use super::tuning::{
    ADDED_SD, CAUGHT_SD, HINTED_PRIOR, NOT_DONE_PRIOR, POURED_PRIOR, RATING_SD, SERVICED_SD, SETTING_SD,
    SURPRISE, WIPED_SHARE,
};

impl Bank {
    /// Takes an entry at its own time.
    pub fn obey(&mut self, facts: &Facts, hands: &Hands, hand: &Hand) {
        self.go_to(hand.at);
        match hand.act {
            Act::Pump { rpm } if rpm <= 0.0 => self.rest(hand.at),
            Act::InUse { here: false } => self.rest(hand.at),
            Act::Pump { rpm } => self.set_speed(facts, hands, hand, rpm),
            Act::InUse { here: true } => self.run(hand.at),
            Act::Refill { figures } => self.refill(facts, hands, (hand, figures)),
            Act::Dip { volume } if self.is_blind(facts) || self.awaits_a_rise() => self.see(volume),
            Act::Serviced => {
                self.new_setting();
                self.each(|account| account.state.shift_draw(Belief { mean: 0.0, sd: SERVICED_SD }));
            }
            Act::Wiped => {
                self.wiped = Some(hand.at);
                let sd = WIPED_SHARE * self.vessel.span;
                self.each(|account| account.state.add_volume(Belief { mean: 0.0, sd }));
            }
            Act::Hinted { by } => self.hinted(hand.at, by),
            Act::Caught { l_per_h } => self.caught(l_per_h),
            Act::RefillSomewhere | Act::Dip { .. } => {}
        }
    }

    /// No reading can be believed now.
    fn is_blind(&self, facts: &Facts) -> bool {
        self.unfit.is_some() || self.is_silent(facts)
    }

    /// There are no readings, or of a dead sensor.
    pub(super) fn is_silent(&self, facts: &Facts) -> bool {
        let Some(gauge) = &facts.gauge else { return true };
        let silent = self.newest.is_none_or(|(newest, _)| self.at - newest > gauge.gap);
        silent || matches!(self.phase, Phase::Still { .. })
    }

    /// Somebody read the level where no sensor can be believed. Where it lies far from what was reckoned, something
    /// happened in between that nobody saw: then the eye counts, and the draw is less sure.
    fn see(&mut self, volume: Belief) {
        self.look_settles_written(volume.mean);
        let reckoned = self.lead.state.volume();
        let off = volume.mean - reckoned.mean;
        if off.abs() > SURPRISE * volume.sd.hypot(reckoned.sd) {
            self.each(|account| {
                account.state.add_volume(Belief { mean: 0.0, sd: off.abs() });
                account.state.shift_draw(Belief { mean: 0.0, sd: SERVICED_SD });
            });
        }
        self.each(|account| account.state.take_volume(volume));
    }

    fn rest(&mut self, at: f64) {
        if self.phase == Phase::Dry {
            return;
        }
        let goes_on = self.lead.part(Turn::Started, at, NOT_DONE_PRIOR);
        self.others.clear();
        if self.lead.draws {
            self.others.push(goes_on);
        }
        self.lead.draws = false;
        self.told_off = true;
        self.phase = Phase::Idle;
        self.since = at;
    }

    fn run(&mut self, at: f64) {
        self.told_off = false;
        if self.phase == Phase::Dry || self.lead.draws {
            return;
        }
        let rests = self.lead.part(Turn::Stopped, at, NOT_DONE_PRIOR);
        self.others.clear();
        self.others.push(rests);
        self.lead.draws = true;
        self.phase = Phase::Drawn;
        self.since = at;
    }

    fn set_speed(&mut self, facts: &Facts, hands: &Hands, hand: &Hand, rpm: f64) {
        let runs_here = hands.here(hand.at) != Some(false);
        let stood = hands.rpm_before(hand);
        let unchanged = self.lead;
        let shift = match hands.running_rpm_before(hand) {
            Some(before) if same(before, rpm) => None,
            Some(before) => Some(Belief { mean: (rpm / before).ln(), sd: SETTING_SD }),
            None if self.lead.state.strength_of_draw().sd > RATING_SD => {
                self.rate(facts, rpm);
                None
            }
            None => None,
        };
        if let Some(shift) = shift {
            self.others.clear();
            self.new_setting();
            self.each(|account| account.state.shift_draw(shift));
            self.since = hand.at;
            let kept = unchanged.part(Turn::Changed, hand.at, NOT_DONE_PRIOR);
            let loose = Belief { mean: 0.0, sd: SETTING_SD };
            self.others.push(kept);
            self.others.iter_mut().for_each(|other| other.state.shift_draw(loose));
        }
        if runs_here && stood.is_none_or(|stood| stood <= 0.0) || matches!(self.phase, Phase::Still { .. }) {
            self.run(hand.at);
        }
    }

    /// The draw by the pump's rating.
    fn rate(&mut self, facts: &Facts, rpm: f64) {
        if let Some(rated) = facts.rating.map(|rating| rating * rpm).filter(|rated| *rated > 0.0) {
            self.each(|account| {
                account.state.take_draw(Belief { mean: rated.ln(), sd: RATING_SD });
            });
        }
    }

    pub(super) fn add_blindly(&mut self, added: Belief) {
        self.each(|account| account.state.add_volume(added));
        self.since = self.at;
        if self.phase == Phase::Dry {
            self.phase = Phase::Drawn;
            self.lead.draws = true;
        }
    }

    /// Whether the level rose will be seen; in foam it can't, and then the log is believed.
    pub(super) fn pour(&mut self, at: f64, litres: f64) {
        let mut account = self.lead.part(Turn::Poured, at, POURED_PRIOR);
        account.state.add_volume(Belief { mean: litres, sd: ADDED_SD * litres });
        account.foaming = 0.5;
        if self.phase == Phase::Dry {
            account.draws = true;
        }
        self.others.push(account);
    }

    /// The level decides whether it is so.
    fn hinted(&mut self, at: f64, by: Belief) {
        if self.lead.draws {
            let mut account = self.lead.part(Turn::Hinted, at, HINTED_PRIOR);
            account.state.shift_draw(by);
            self.others.push(account);
        }
    }

    fn caught(&mut self, l_per_h: f64) {
        if l_per_h <= 0.0 || !self.lead.draws {
            return;
        }
        let vessel = self.vessel;
        self.each(|account: &mut Account| {
            let here = account.draw(&vessel).mean;
            let full = account.state.strength_of_draw().mean + (l_per_h / here).ln();
            account.state.take_draw(Belief { mean: full, sd: CAUGHT_SD });
        });
    }
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= f64::EPSILON * a.abs().max(b.abs())
}
