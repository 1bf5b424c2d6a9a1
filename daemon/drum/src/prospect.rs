//! What lies ahead of one drum, reckoned once and asked many times.

use jiff::Timestamp;

use super::ahead::{Ahead, believed, quantiles};
use super::calibration::Calibration;
use super::hypothesis::Hypothesis;
use super::state::Gaussian;
use super::tracker::{Phase, Tracker};
use super::tuning::{STEADY, TOLD_AGE, TOLD_ODDS, UNTOLD_DRAW_SD};
use claymark_model::forecast::{Basis, EmptyAt, Outlook};
use claymark_model::units::{Litres, LitresPerHour};

/// What lies ahead of one drum: the hypotheses that count, with their weights.
#[derive(Debug, Clone)]
pub struct Prospect {
    pub(super) at: Timestamp,
    pub(super) basis: Basis,
    pub(super) tracker: Tracker,
    pub(super) in_use: bool,
    /// Other hypotheses that fit the readings, in which a refill that was written down wasn't done.
    pub(super) without: Vec<Hypothesis>,
    /// What past errors say of the widths.
    pub(super) calibration: Calibration,
}

/// Something that isn't so, to see what would be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WhatIf {
    /// If it held that much now; `None`: what it holds.
    pub volume: Option<Litres>,
    /// If the pump's draw were multiplied by this; 1: as it is.
    pub draw_share: f64,
}

impl Prospect {
    /// When it would be empty if things were otherwise; `None` when no draw is known.
    #[must_use]
    pub fn empty_if(&self, what: WhatIf) -> Option<EmptyAt> {
        let size = self.tracker.size;
        let mut state = self.tracker.lead.state;
        if let Some(Litres(volume)) = what.volume {
            let sd = state.volume().sd;
            state.set_volume(Gaussian { mean: volume, sd }, &self.tracker.noise.ripple());
        }
        let known = state.log_draw().sd < UNTOLD_DRAW_SD && what.draw_share > 0.0;
        let ahead = || Ahead::of(&state, &size, size.heel, what.draw_share, self.tracker.hidden());
        known.then(|| quantiles(self.at, &[(1.0, ahead())], &self.calibration))
    }

    /// When it will have come down to `volume`, as things are; `None` when nothing draws from it.
    #[must_use]
    pub fn reaches(&self, volume: Litres) -> Option<EmptyAt> {
        Some(quantiles(self.at, &self.way_down(volume)?, &self.calibration))
    }

    /// When the level that is believed will have come down to `volume`: what can be judged by that level later.
    pub(super) fn passes(&self, volume: Litres) -> Option<EmptyAt> {
        Some(believed(self.at, &self.way_down(volume)?, &self.calibration))
    }

    /// With its forecast.
    pub(super) fn outlook(&self) -> Outlook {
        let (tracker, size) = (&self.tracker, &self.tracker.size);
        Outlook::Known {
            basis: self.basis,
            volume: Litres(tracker.lead.state.volume().mean.clamp(0.0, size.brim)),
            draw: LitresPerHour(if tracker.phase == Phase::Dry { 0.0 } else { tracker.lead.draw(size).mean }),
            empty_at: self.down_to(size.heel),
        }
    }

    /// When it will have come down to so many litres.
    pub(super) fn down_to(&self, target: f64) -> EmptyAt {
        let told = quantiles(self.at, &self.ahead(target), &self.calibration);
        let without = |hypothesis| {
            quantiles(self.at, &[(1.0, self.ahead_of(hypothesis, target))], &self.calibration).p05
        };
        let earliest = told.p05.into_iter().chain(self.without.iter().filter_map(without)).min();
        EmptyAt { p05: earliest, ..told }
    }

    /// By one hypothesis.
    pub(super) fn ahead_of(&self, hypothesis: &Hypothesis, target: f64) -> Ahead {
        Ahead::of(&hypothesis.state, &self.tracker.size, target, 1.0, self.tracker.hidden())
    }

    /// The hypotheses that count, with their weights.
    pub(super) fn ahead(&self, target: f64) -> Vec<(f64, Ahead)> {
        let tracker = &self.tracker;
        if tracker.phase == Phase::Dry {
            return vec![(1.0, Ahead::REACHED)];
        }
        let lead = (1.0, self.ahead_of(&tracker.lead, target));
        let others = tracker.others.iter().filter(|other| {
            let probable = other.log_odds > TOLD_ODDS.ln() && other.mean_weight > STEADY;
            probable
                && self.basis == Basis::Level
                && (other.draws || !tracker.lead.draws)
                && tracker.at - other.since > TOLD_AGE
        });
        let others = others.map(|other| (other.log_odds.exp().min(1.0), self.ahead_of(other, target)));
        std::iter::once(lead).chain(others).collect()
    }

    fn way_down(&self, volume: Litres) -> Option<Vec<(f64, Ahead)>> {
        let drawn = self.in_use && self.tracker.phase != Phase::Dry;
        drawn.then(|| self.ahead(volume.0.max(self.tracker.size.heel)))
    }
}
