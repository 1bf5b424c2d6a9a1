//! What an entry of the log does to the filter, as control or as observation: people know when they turned a knob, within
//! minutes, and are sometimes wrong.
//!
//! So an entry shifts the leading hypothesis at once, and the hypothesis in which nothing happened lives on beside it.

use super::facts::Facts;
use super::hypothesis::{Hypothesis, Regime};
use super::log::{Action, DrumEntry, DrumLog};
use super::state::Gaussian;
use super::tracker::{Phase, Tracker};
use super::tuning::{
    CAUGHT_SD, HINTED_LOG_PRIOR, NOT_DONE_LOG_PRIOR, RATING_SD, SERVICED_SD, SETTING_SD, SURPRISE,
    WIPED_SHARE,
};

impl Tracker {
    /// Takes an entry at its own time.
    pub fn apply(&mut self, facts: &Facts, log: &DrumLog, entry: &DrumEntry) {
        self.predict_to(entry.at);
        match entry.action {
            Action::Pump { rpm } if rpm <= 0.0 => self.rest(entry.at),
            Action::InUse { here: false } => self.rest(entry.at),
            Action::Pump { rpm } => self.set_speed(facts, log, entry, rpm),
            Action::InUse { here: true } => self.run(entry.at),
            Action::Refill { figures } => self.refill(facts, log, (entry, figures)),
            Action::Dip { volume } if self.is_blind(facts) || self.awaits_a_rise() => self.see(volume),
            Action::Serviced => {
                self.new_setting();
                self.each(|hypothesis| hypothesis.state.shift_draw(Gaussian { mean: 0.0, sd: SERVICED_SD }));
            }
            Action::Wiped => {
                self.wiped = Some(entry.at);
                let sd = WIPED_SHARE * self.size.span;
                self.each(|hypothesis| hypothesis.state.add_volume(Gaussian { mean: 0.0, sd }));
            }
            Action::Hinted { by } => self.hinted(entry.at, by),
            Action::Caught { l_per_h } => self.caught(l_per_h),
            Action::RefillSomewhere | Action::Dip { .. } => {}
        }
    }

    /// No reading can be believed now.
    fn is_blind(&self, facts: &Facts) -> bool {
        self.unfit.is_some() || self.is_silent(facts)
    }

    /// Somebody read the level where no sensor can be believed. Where it lies far from what was reckoned, something
    /// happened in between that nobody saw: then the eye counts, and the draw is less sure.
    fn see(&mut self, volume: Gaussian) {
        self.look_settles_written(volume.mean);
        let reckoned = self.lead.state.volume();
        let off = volume.mean - reckoned.mean;
        if off.abs() > SURPRISE * volume.sd.hypot(reckoned.sd) {
            self.each(|hypothesis| {
                hypothesis.state.add_volume(Gaussian { mean: 0.0, sd: off.abs() });
                hypothesis.state.shift_draw(Gaussian { mean: 0.0, sd: SERVICED_SD });
            });
        }
        self.each(|hypothesis| hypothesis.state.observe_volume(volume));
    }

    fn rest(&mut self, at: f64) {
        if self.phase == Phase::Dry {
            return;
        }
        let goes_on = self.lead.branch(Regime::Started, at, NOT_DONE_LOG_PRIOR);
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
        let rests = self.lead.branch(Regime::Stopped, at, NOT_DONE_LOG_PRIOR);
        self.others.clear();
        self.others.push(rests);
        self.lead.draws = true;
        self.phase = Phase::Drawn;
        self.since = at;
    }

    fn set_speed(&mut self, facts: &Facts, log: &DrumLog, entry: &DrumEntry, rpm: f64) {
        let runs_here = log.here(entry.at) != Some(false);
        let stood = log.rpm_before(entry);
        let unchanged = self.lead;
        let shift = match log.running_rpm_before(entry) {
            Some(before) if same(before, rpm) => None,
            Some(before) => Some(Gaussian { mean: (rpm / before).ln(), sd: SETTING_SD }),
            None if self.lead.state.log_draw().sd > RATING_SD => {
                self.rate(facts, rpm);
                None
            }
            None => None,
        };
        if let Some(shift) = shift {
            self.others.clear();
            self.new_setting();
            self.each(|hypothesis| hypothesis.state.shift_draw(shift));
            self.since = entry.at;
            let kept = unchanged.branch(Regime::Changed, entry.at, NOT_DONE_LOG_PRIOR);
            let loose = Gaussian { mean: 0.0, sd: SETTING_SD };
            self.others.push(kept);
            self.others.iter_mut().for_each(|other| other.state.shift_draw(loose));
        }
        if runs_here && stood.is_none_or(|stood| stood <= 0.0) || matches!(self.phase, Phase::Still { .. }) {
            self.run(entry.at);
        }
    }

    /// The draw by the pump's rating.
    fn rate(&mut self, facts: &Facts, rpm: f64) {
        if let Some(rated) = facts.rating.map(|rating| rating * rpm).filter(|rated| *rated > 0.0) {
            self.each(|hypothesis| {
                hypothesis.state.observe_log_draw(Gaussian { mean: rated.ln(), sd: RATING_SD });
            });
        }
    }

    /// The level decides whether it is so.
    fn hinted(&mut self, at: f64, by: Gaussian) {
        if self.lead.draws {
            let mut hypothesis = self.lead.branch(Regime::Hinted, at, HINTED_LOG_PRIOR);
            hypothesis.state.shift_draw(by);
            self.others.push(hypothesis);
        }
    }

    fn caught(&mut self, l_per_h: f64) {
        if l_per_h <= 0.0 || !self.lead.draws {
            return;
        }
        let size = self.size;
        self.each(|hypothesis: &mut Hypothesis| {
            let here = hypothesis.draw(&size).mean;
            let full = hypothesis.state.log_draw().mean + (l_per_h / here).ln();
            hypothesis.state.observe_log_draw(Gaussian { mean: full, sd: CAUGHT_SD });
        });
    }
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= f64::EPSILON * a.abs().max(b.abs())
}
