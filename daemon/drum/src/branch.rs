//! Hypotheses branch off the leading one, and the hopeless ones are pruned.
//!
//! Whenever a reading stands off the line, and every few minutes in any case, a hypothesis branches off the leading one:
//! the level rose here, it fell here, the draw changed here, it stopped here. All are carried on side by side and
//! judged by the same readings, so that "refill or foam" and "slower or foam" are decided by evidence, as soon
//! as there is enough, and the decision can be taken back while the other hypothesis lives: multiple hypotheses as in
//! Reid (IEEE Trans. Autom. Control 24:843, 1979, from memory).

use super::hours::minutes;
use super::hypothesis::{CALM, CALM_AGAIN, Hypothesis, Regime};
use super::state::{Gaussian, Ripple, observation_row};
use super::tracker::{Phase, Tracker};
use super::tuning::{
    AGE_CLASS_HOURS, BRANCH_HOURS, CHANGE_LOG_PRIOR, CHANGE_SD, DROP_LOG_PRIOR, FROTH_ENDS_LOG_PRIOR,
    FROTH_HOURS, FROTH_LOG_PRIOR, FROTH_SPREAD, HIGHEST_FROTH_SHARE, HOPELESS_HOURS, HOPELESS_LOG_ODDS,
    HYPOTHESIS_HOURS, KNOWN_DRAW_SD, LEAK_BEGAN_SCATTERS, LEAK_IN_FOAM_LOG_PRIOR, LEAK_LN, LEAK_LOG_PRIOR,
    LEAST_WEIGHT, LOGGED_RISE_LOG_PRIOR, LOOSE_LOG_PRIOR, MENDED_SD, NOT_DONE_LOG_PRIOR,
    OUT_OF_FOAM_LOG_PRIOR, RISE_LOG_PRIOR, START_LOG_PRIOR, STARTED_SD, STEP_SHARE, STOP_LOG_PRIOR,
};

impl Tracker {
    /// A reading that stands off the line may be a new level.
    pub fn branch_steps(
        &mut self,
        t: f64,
        reads: f64,
        before: &Hypothesis,
        ripple: &Ripple,
        likely_refill: bool,
    ) {
        if self.lead.newest_weight >= LEAST_WEIGHT {
            return;
        }
        let off = reads - before.state.expected(&observation_row(t), ripple).0;
        // Out of foam the level may come back a little lower than it was believed to be.
        let share = if self.unfit.is_some() && off < 0.0 { STEP_SHARE / 4.0 } else { STEP_SHARE };
        let least = (share * self.size.span).max(STEP_SCATTERS * self.scatter());
        if off.abs() < least
            || self.others.iter().any(|other| is_step(other) && other.newest_weight > LEAST_WEIGHT)
        {
            return;
        }
        let (regime, log_prior) = match (off > 0.0, likely_refill) {
            (true, true) => (Regime::Rose, LOGGED_RISE_LOG_PRIOR),
            (true, false) => (Regime::Rose, RISE_LOG_PRIOR),
            (false, _) if self.unfit.is_some() => (Regime::Dropped, OUT_OF_FOAM_LOG_PRIOR),
            (false, _) => (Regime::Dropped, DROP_LOG_PRIOR),
        };
        // Beforehand, a new level is as probable anywhere in the drum.
        let log_prior = log_prior - self.size.span.ln() - self.lead.log_likelihood;
        let mut hypothesis = self.lead.branch(regime, t, log_prior);
        let volume = reads - hypothesis.state.daily(&observation_row(t));
        hypothesis.state.set_volume(Gaussian { mean: volume, sd: self.scatter() }, ripple);
        hypothesis.foam_probability = CALM;
        if regime == Regime::Rose && self.phase == Phase::Dry {
            hypothesis.draws = true;
        }
        let mut loose = hypothesis;
        loose.log_odds += LOOSE_LOG_PRIOR;
        loose.state.shift_draw(Gaussian { mean: 0.0, sd: CHANGE_SD });
        self.others.push(hypothesis);
        // Whoever refills may also turn the pump.
        self.others.push(loose);
        self.branch_foamed(t, off);
    }

    /// A reading a little above the line may be of froth that stands from now on.
    fn branch_foamed(&mut self, t: f64, off: f64) {
        if off > 0.0 && off < HIGHEST_FROTH_SHARE * self.size.span {
            let log_prior = FROTH_LOG_PRIOR - (FROTH_SPREAD * off).ln() - self.lead.log_likelihood;
            let mut foamed = self.lead.branch(Regime::Foamed, t, log_prior);
            foamed.set_froth(off);
            self.others.push(foamed);
        }
    }

    /// Every few minutes the draw may have changed, stopped or started.
    pub fn branch_regimes(&mut self, t: f64) {
        // What branches off in foam has seen nothing but foam.
        if t - self.branched < BRANCH_HOURS || self.phase == Phase::Dry || self.unfit.is_some() {
            return;
        }
        self.branched = t;
        let told_off = self.told_off;
        let froths = self.refilled.is_some_and(|refilled| t - refilled < FROTH_HOURS);
        let mut branch = |regime: Regime, log_prior: f64, draws: bool, sd: f64| {
            let mut hypothesis = self.lead.branch(regime, t, log_prior);
            hypothesis.draws = draws;
            hypothesis.state.shift_draw(Gaussian { mean: 0.0, sd });
            self.others.push(hypothesis);
        };
        if self.lead.draws {
            // Dying froth looks like a faster draw.
            if !froths {
                branch(Regime::Changed, CHANGE_LOG_PRIOR, true, CHANGE_SD);
            }
            branch(Regime::Stopped, STOP_LOG_PRIOR, false, 0.0);
        } else {
            let log_prior = if told_off { START_LOG_PRIOR + NOT_DONE_LOG_PRIOR } else { START_LOG_PRIOR };
            branch(Regime::Started, log_prior, true, STARTED_SD);
        }
    }

    /// A reading below the line may be of a leak that began in this minute, one above it of a leak that was mended. Foam never
    /// reads low, so this is asked whether or not the readings fit.
    pub fn branch_leak(&mut self, t: f64, reads: f64, before: &Hypothesis, ripple: &Ripple) {
        let off = reads - before.state.expected(&observation_row(t), ripple).0;
        let mut hypothesis = before.branch(Regime::Leaks, t, LEAK_LOG_PRIOR);
        // Foam that falls in on itself lets the level sink to its line and seem to go on.
        let foams = self.unfit.or(self.foamed).is_some() || before.froth_sd > 0.0;
        let calm = before.mean_weight > CALM_AGAIN && !foams;
        hypothesis.log_odds = if calm { LEAK_LOG_PRIOR } else { LEAK_IN_FOAM_LOG_PRIOR };
        hypothesis.draws = true;
        // It may have begun a little before.
        let sd = LEAK_BEGAN_SCATTERS * self.scatter();
        hypothesis.state.add_volume(Gaussian { mean: 0.0, sd });
        match self.leak_from {
            Some(from) if off > 0.0 => {
                hypothesis.regime = Regime::Mended;
                let by = from - before.state.log_draw().mean;
                hypothesis.state.shift_draw(Gaussian { mean: by, sd: MENDED_SD });
            }
            None if off < 0.0 && self.phase != Phase::Dry && before.state.log_draw().sd < KNOWN_DRAW_SD => {
                let (mean, sd) = LEAK_LN;
                hypothesis.state.shift_draw(Gaussian { mean, sd })
            }
            Some(_) | None => return,
        }
        self.others.push(hypothesis);
    }

    /// Foam that stands may fall in on itself at any minute.
    pub fn branch_froth_end(&mut self, t: f64) {
        if self.lead.froth_sd > 0.0 {
            let mut ended = self.lead.branch(Regime::Unchanged, t, FROTH_ENDS_LOG_PRIOR);
            ended.set_froth(0.0);
            self.others.push(ended);
        }
    }

    /// Of hypotheses of about the same age that say the same, the best stays; hopeless and old ones go.
    pub fn prune(&mut self, t: f64) {
        self.others.retain(|other| {
            let age = t - other.since;
            let hopeless = other.log_odds < HOPELESS_LOG_ODDS && age > HOPELESS_HOURS;
            let no_level = is_level(other) && other.readings > YOUNG_READINGS && other.mean_weight < NO_LEVEL;
            let reckons = other.regime == Regime::Unchanged && matches!(self.phase, Phase::Still { .. });
            reckons
                || !no_level && (age < HYPOTHESIS_HOURS && (other.regime == Regime::Unchanged || !hopeless))
        });
        self.others.sort_by(|a, b| b.log_odds.total_cmp(&a.log_odds));
        let mut seen: Vec<(Regime, usize)> = Vec::with_capacity(self.others.len());
        self.others.retain(|other| {
            let class = (other.regime, age_class(t - other.since, is_step(other)));
            let first = seen.iter().filter(|known| **known == class).count() < alike(other);
            if first {
                seen.push(class);
            }
            first
        });
    }
}

/// Whether the hypothesis says that the level stepped.
fn is_step(hypothesis: &Hypothesis) -> bool {
    matches!(hypothesis.regime, Regime::Rose | Regime::Dropped | Regime::Poured | Regime::Foamed)
}

fn is_level(hypothesis: &Hypothesis) -> bool {
    matches!(hypothesis.regime, Regime::Rose | Regime::Dropped | Regime::Foamed)
}

fn alike(hypothesis: &Hypothesis) -> usize {
    if !is_step(hypothesis) {
        1
    } else if hypothesis.readings <= YOUNG_READINGS {
        YOUNG_KEPT
    } else {
        STEPS_KEPT
    }
}

fn age_class(age: f64, step: bool) -> usize {
    if step {
        usize::from(age > YOUNG_HOURS)
    } else {
        AGE_CLASS_HOURS.iter().filter(|limit| age > **limit).count()
    }
}

/// A step is at least so many scatters.
const STEP_SCATTERS: f64 = 4.0;
const STEPS_KEPT: usize = 4;
/// A step this young has hardly been judged.
const YOUNG_READINGS: f64 = 2.0;
const YOUNG_HOURS: f64 = minutes(2.5);
const YOUNG_KEPT: usize = 4;
/// A hypothesis whose readings count less than this on the mean says nothing of a level.
const NO_LEVEL: f64 = 0.25;
