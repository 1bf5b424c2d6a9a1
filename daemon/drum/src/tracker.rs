//! The hypotheses of a drum that are still probable, and the leading one.
//!
//! Whenever a reading stands off the line, and every few minutes in any case, a hypothesis parts from the leading one:
//! the level rose here, it fell here, the draw changed here, it stopped here. All are carried on side by side and
//! judged by the same readings, so that "refill or foam" and "slower or foam" are decided by evidence, as soon
//! as there is enough, and the decision can be taken back while the other hypothesis lives: multiple hypotheses as in
//! Reid (IEEE Trans. Autom. Control 24:843, 1979, from memory).

use super::hypothesis::{Hypothesis, Regime};
use super::noise::MeasurementNoise;
use super::state::{DrumSize, Gaussian, Ripple, State, observation_row};
use super::tuning::{
    AGE_CLASS_HOURS, BACK_LOG_PRIOR, BRANCH_HOURS, CHANGE_LOG_PRIOR, CHANGE_SD, DEAD_FALL_SHARE, DEAD_HOURS,
    DROP_LOG_PRIOR, FROTH_ENDS_LOG_PRIOR, FROTH_HOURS, FROTH_LOG_PRIOR, FROTH_SPREAD, HIDDEN_SCATTERS,
    HIDDEN_SHARE, HIGHEST_FROTH_SHARE, HOPELESS_HOURS, HOPELESS_LOG_ODDS, HYPOTHESIS_HOURS, LEAST_WEIGHT,
    LOGGED_RISE_LOG_PRIOR, LOOSE_LOG_PRIOR, NOT_DONE_LOG_PRIOR, OUT_OF_FOAM_LOG_PRIOR, RISE_LOG_PRIOR,
    START_LOG_PRIOR, STARTED_SD, STEP_SHARE, STOP_LOG_PRIOR, UNFIT, WELL_FIT,
};
use super::written::{Rise, WrittenRefill};

/// What the drum is doing, as far as is believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Phase {
    /// The pump draws from it.
    Drawn,
    /// Nothing draws from it, and nothing should.
    Idle,
    /// The level stands although the pump should draw: stopped, or the sensor is stuck. Since when, h since 1970.
    Still { since: f64 },
    /// Nothing is left that the pump could lift.
    Dry,
}

/// All that is believed of a drum at one time.
#[derive(Debug, Clone)]
pub(super) struct Tracker {
    /// Up to when, hours since 1970.
    pub at: f64,
    pub size: DrumSize,
    /// The hypothesis that is believed.
    pub lead: Hypothesis,
    /// The others.
    pub others: Vec<Hypothesis>,
    pub phase: Phase,
    pub noise: MeasurementNoise,
    /// Since when the draw has been what it is.
    pub since: f64,
    /// Own time and litres of the newest minute.
    pub newest: Option<(f64, f64)>,
    /// Since when the readings haven't fitted.
    pub unfit: Option<f64>,
    /// Since when foam stands on the level, if it does.
    pub foamed: Option<f64>,
    /// When the readings left the line, if they are off it now.
    pub left: Option<f64>,
    /// Draw (ln, at the full line) at the present setting, and since when it is followed, h since 1970.
    pub setting: Option<(f64, f64)>,
    /// Sudden falls of the draw at that setting.
    pub steps_down: u32,
    /// Somebody said that nothing draws from it.
    pub told_off: bool,
    /// When the sensor was last wiped.
    pub wiped: Option<f64>,
    /// When slurry last came in.
    pub refilled: Option<f64>,
    /// The rise that the level showed last.
    pub rise: Option<Rise>,
    /// The refill that was written down last, until the level shows it.
    pub written: Option<Box<WrittenRefill>>,
    branched: f64,
    /// When the first minute was read, hours since 1970.
    pub began: f64,
    /// Up to when log entries have been heard, hours since 1970.
    pub heard: f64,
    /// Since when the readings have been the same to the last digit, and what was believed then.
    same: Option<Box<(f64, Hypothesis)>>,
    read_before: Option<f64>,
    /// Older beliefs than this one were forgotten.
    pub forgot: bool,
}

impl Tracker {
    /// At the first minute.
    pub fn new(size: DrumSize, at: f64, reads: f64, draw: Option<Gaussian>, phase: Phase) -> Self {
        let noise = MeasurementNoise::usual(size.span);
        let volume = Gaussian { mean: reads, sd: FIRST_SCATTERS * noise.scatter() };
        let draws = phase == Phase::Drawn;
        Self {
            at,
            size,
            lead: Hypothesis::new(State::first(&size, volume, draw), at, draws),
            others: Vec::new(),
            phase,
            noise,
            since: at,
            newest: Some((at, reads)),
            unfit: None,
            foamed: None,
            left: None,
            setting: None,
            steps_down: 0,
            told_off: phase == Phase::Idle,
            wiped: None,
            refilled: None,
            rise: None,
            written: None,
            branched: at,
            began: at,
            heard: at,
            same: None,
            read_before: Some(reads),
            forgot: false,
        }
    }

    /// Carries all hypotheses on to `t` without a reading.
    pub fn predict_to(&mut self, t: f64) {
        let hours = t - self.at;
        if hours <= 0.0 {
            return;
        }
        let (size, ripple) = (self.size, self.noise.ripple());
        self.each(|hypothesis| hypothesis.predict(&size, hours, &ripple));
        self.at = t;
    }

    /// Takes a minute; `likely_refill`: somebody wrote down a refill about now.
    pub fn observe(&mut self, t: f64, reads: f64, likely_refill: bool) {
        let follows = self.newest.is_some_and(|(last, _)| t - last < FOLLOWS_HOURS);
        if let Some((_, before)) = self.newest.filter(|_| follows) {
            self.noise.moved(reads - before);
        }
        self.predict_to(t);
        let (size, ripple, before) = (self.size, self.noise.ripple(), self.lead);
        let row = observation_row(t);
        self.lead.update(&row, reads, &size, &ripple);
        let stuck = matches!(self.phase, Phase::Still { .. }) && self.lead.newest_weight > WELL_FIT;
        // What a stuck sensor says mustn't draw the reckoning along.
        let log_odds = self.lead.log_odds;
        for other in &mut self.others {
            let believed = other.state;
            other.update(&row, reads, &size, &ripple);
            if stuck && other.regime == Regime::Unchanged {
                other.state = believed;
            }
        }
        if let Some(hypothesis) = self.written.as_mut().and_then(|written| written.hypothesis_mut()) {
            hypothesis.update(&row, reads, &size, &ripple);
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
        self.lead.teach(&mut self.noise, &row, reads, follows);
        self.newest = Some((t, reads));
        // Foam that falls in on itself soon comes again.
        if self.lead.froth_sd <= 0.0
            && self.lead.mean_weight > CALM_AGAIN.0
            && t - self.lead.since > CALM_AGAIN.1
        {
            self.foamed = None;
        }
        self.note_sameness(t, reads, &before);
        self.note_fit(t);
        self.branch_steps(t, reads, &before, &ripple, likely_refill);
        self.branch_regimes(t);
        self.branch_froth(t);
        self.prune(t);
    }

    /// The hypothesis at that place leads from now on; the one before stays as one of the others.
    pub fn promote(&mut self, place: usize) -> Hypothesis {
        let next = self.others.swap_remove(place);
        let old = std::mem::replace(&mut self.lead, Hypothesis { log_odds: 0.0, ..next });
        for other in &mut self.others {
            other.log_odds -= next.log_odds;
        }
        if let Some(hypothesis) = self.written.as_mut().and_then(|written| written.hypothesis_mut()) {
            hypothesis.log_odds -= next.log_odds;
        }
        self.unfit = None;
        self.left = None;
        Hypothesis { log_odds: -next.log_odds, ..old }
    }

    /// A copy to come back to, with so many of the other hypotheses, the best.
    pub fn checkpoint(&self, others: usize) -> Self {
        let others = self.others.iter().take(others).copied().collect();
        Self { others, same: self.same.clone(), written: self.written.clone(), ..*self }
    }

    /// The same for all hypotheses.
    pub fn each(&mut self, mut change: impl FnMut(&mut Hypothesis)) {
        change(&mut self.lead);
        self.others.iter_mut().for_each(&mut change);
        self.written.iter_mut().filter_map(|written| written.hypothesis_mut()).for_each(change);
    }

    /// The pump or its line is another from here on.
    pub fn new_setting(&mut self) {
        self.setting = None;
        self.steps_down = 0;
    }

    /// Usual standard deviation of a minute, L.
    pub fn scatter(&self) -> f64 {
        self.noise.scatter()
    }

    /// What strapping table and sensor may be wrong by without the level showing it, L: a sensor that is restless within
    /// minutes isn't true over days.
    pub fn hidden(&self) -> f64 {
        (HIDDEN_SHARE * self.size.span).hypot(HIDDEN_SCATTERS * self.noise.scatter())
    }

    /// The readings haven't moved for so long that the sensor must be dead, or the pump and the air with it; since when,
    /// and what was believed then.
    pub fn dead(&self) -> Option<(f64, Hypothesis)> {
        let (since, then) = **self.same.as_ref()?;
        let hours = self.at - since;
        let fall = then.draw(&self.size).mean * hours;
        (hours >= DEAD_HOURS && fall >= DEAD_FALL_SHARE * self.size.span).then_some((since, then))
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

    /// A reading that stands off the line may be a new level.
    fn branch_steps(
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
        let mut hypothesis =
            self.lead.branch(regime, t, log_prior - self.size.span.ln() - self.lead.log_likelihood);
        hypothesis.state.set_volume(
            Gaussian { mean: reads - hypothesis.state.daily(&observation_row(t)), sd: self.scatter() },
            ripple,
        );
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
        if off > 0.0 && off < HIGHEST_FROTH_SHARE * self.size.span {
            let mut foamed = self.lead.branch(
                Regime::Foamed,
                t,
                FROTH_LOG_PRIOR - (FROTH_SPREAD * off).ln() - self.lead.log_likelihood,
            );
            foamed.set_froth(off);
            self.others.push(foamed);
        }
    }

    /// Every few minutes the draw may have changed, stopped or started.
    fn branch_regimes(&mut self, t: f64) {
        // What parts in foam has seen nothing but foam.
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

    /// Foam that stands may fall in on itself at any minute.
    fn branch_froth(&mut self, t: f64) {
        if self.lead.froth_sd > 0.0 {
            let mut ended = self.lead.branch(Regime::Unchanged, t, FROTH_ENDS_LOG_PRIOR);
            ended.set_froth(0.0);
            self.others.push(ended);
        }
    }

    /// Of hypotheses of about the same age that say the same, the best stays; hopeless and old ones go.
    fn prune(&mut self, t: f64) {
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
pub(super) fn is_step(hypothesis: &Hypothesis) -> bool {
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

/// The first reading counts as so many scatters.
const FIRST_SCATTERS: f64 = 1.5;
/// Minutes no further apart than this follow each other.
const FOLLOWS_HOURS: f64 = 1.6 / 60.0;
/// Mean weight of the readings, and h, from which it is calm again.
const CALM_AGAIN: (f64, f64) = (0.9, 10.0 / 60.0);
/// A step is at least so many scatters.
const STEP_SCATTERS: f64 = 4.0;
const CALM: f64 = 0.05;
/// L. Readings no further apart are the same.
const SAME_LITRES: f64 = 1e-6;
const STEPS_KEPT: usize = 4;
/// A step this young has hardly been judged.
const YOUNG_READINGS: f64 = 2.0;
const YOUNG_HOURS: f64 = 2.5 / 60.0;
const YOUNG_KEPT: usize = 4;
/// A hypothesis whose readings count less than this on the mean says nothing of a level.
const NO_LEVEL: f64 = 0.25;
