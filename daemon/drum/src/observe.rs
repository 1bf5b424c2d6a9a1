//! A minute's reading: all hypotheses take it, then others branch off the leading one.

use super::hours::minutes;
use super::hypothesis::{CALM_AGAIN, Hypothesis, Regime};
use super::state::{Ripple, StateRow, observation_row};
use super::tracker::{Phase, Tracker};
use super::tuning::{BACK_LOG_PRIOR, LEAST_WEIGHT, UNFIT, WELL_FIT};

impl Tracker {
    /// Takes a minute; `likely_refill`: somebody wrote down a refill about now.
    pub fn observe(&mut self, t: f64, reads: f64, likely_refill: bool) {
        let follows = self.newest.is_some_and(|(last, _)| t - last < FOLLOWS_HOURS);
        if let Some((_, before)) = self.newest.filter(|_| follows) {
            self.noise.moved(reads - before);
        }
        self.predict_to(t);
        let (ripple, before, row) = (self.noise.ripple(), self.lead, observation_row(t));
        self.update(&row, reads, &ripple);
        self.lead.teach(&mut self.noise, &row, reads, follows);
        self.newest = Some((t, reads));
        // Foam that falls in on itself soon comes again.
        if self.lead.froth_sd <= 0.0
            && self.lead.mean_weight > CALM_AGAIN
            && t - self.lead.since > CALM_AGAIN_HOURS
        {
            self.foamed = None;
        }
        self.note_sameness(t, reads, &before);
        self.note_fit(t);
        self.branch_steps(t, reads, &before, &ripple, likely_refill);
        self.branch_leak(t, reads, &before, &ripple);
        self.branch_regimes(t);
        self.branch_froth_end(t);
        self.prune(t);
    }

    /// All hypotheses take the reading, and their log odds are against the leading one again.
    fn update(&mut self, row: &StateRow, reads: f64, ripple: &Ripple) {
        let size = self.size;
        self.lead.update(row, reads, &size, ripple);
        let stuck = matches!(self.phase, Phase::Still { .. }) && self.lead.newest_weight > WELL_FIT;
        let log_odds = self.lead.log_odds;
        // What a stuck sensor says mustn't draw the reckoning along.
        for other in &mut self.others {
            let believed = other.state;
            other.update(row, reads, &size, ripple);
            if stuck && other.regime == Regime::Unchanged {
                other.state = believed;
            }
        }
        if let Some(hypothesis) = self.written.as_mut().and_then(|written| written.hypothesis_mut()) {
            hypothesis.update(row, reads, &size, ripple);
        }
        self.each(|hypothesis| hypothesis.log_odds -= log_odds);
        if let Phase::Still { .. } = self.phase {
            // A stuck sensor may come back at any minute.
            let reckons = |other: &&mut Hypothesis| other.regime == Regime::Unchanged;
            self.others
                .iter_mut()
                .filter(reckons)
                .for_each(|other| other.log_odds = other.log_odds.max(BACK_LOG_PRIOR));
        }
    }

    fn note_sameness(&mut self, t: f64, reads: f64, before: &Hypothesis) {
        let same = self.read_before.is_some_and(|last| (last - reads).abs() < SAME_LITRES);
        self.read_before = Some(reads);
        if !same {
            self.same = None;
        } else if self.same.is_none() {
            self.same = Some(Box::new((t, *before)));
        }
    }

    fn note_fit(&mut self, t: f64) {
        if self.lead.newest_weight < LEAST_WEIGHT {
            self.left.get_or_insert(t);
        } else if self.lead.newest_weight > WELL_FIT && self.lead.mean_weight > WELL_FIT {
            self.left = None;
        }
        if self.lead.mean_weight < UNFIT {
            self.unfit = self.unfit.or(self.left).or(Some(t));
        } else if self.lead.mean_weight > WELL_FIT {
            self.unfit = None;
        }
    }
}

/// Minutes no further apart than this follow each other.
const FOLLOWS_HOURS: f64 = minutes(1.6);
/// h. A level must have been calm for so long.
const CALM_AGAIN_HOURS: f64 = minutes(10.0);
/// L. Readings no further apart are the same.
const SAME_LITRES: f64 = 1e-6;
