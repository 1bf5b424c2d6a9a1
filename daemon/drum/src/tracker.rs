//! All that is believed of a drum at one time: the leading hypothesis, the others, and what they have in common.
//!
//! What a reading, an entry of the log and the evidence make of it stands in the files above: `observe`, `branch`,
//! `controls`, `confirm`, `judge`.

use super::facts::Facts;
use super::hypothesis::{Hypothesis, Regime};
use super::noise::MeasurementNoise;
use super::state::{DrumSize, Gaussian, State};
use super::tuning::{
    ADDED_SD, DEAD_FALL_SHARE, DEAD_HOURS, FOAMS_WHEN_POURED, HIDDEN_SCATTERS, HIDDEN_SHARE, POURED_LOG_PRIOR,
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
    /// The hypothesis that is believed: the log odds of the others are against it.
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
    /// The draw (ln, at the full line) before a leak began, while it lasts.
    pub leak_from: Option<f64>,
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
    /// When hypotheses of another draw last parted, hours since 1970.
    pub branched: f64,
    /// When the first minute was read, hours since 1970.
    pub began: f64,
    /// Up to when log entries have been heard, hours since 1970.
    pub heard: f64,
    /// Since when the readings have been the same to the last digit, and what was believed then.
    pub same: Option<Box<(f64, Hypothesis)>>,
    /// The newest reading, L, whether or not it counts.
    pub read_before: Option<f64>,
    /// Older checkpoints than this one were forgotten.
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
            leak_from: None,
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

    /// There are no readings, or of a dead sensor.
    pub fn is_silent(&self, facts: &Facts) -> bool {
        let Some(gauge) = &facts.gauge else { return true };
        let silent = self.newest.is_none_or(|(newest, _)| self.at - newest > gauge.gap);
        silent || matches!(self.phase, Phase::Still { .. })
    }

    /// Slurry came in, and no level can show it.
    pub fn add_blindly(&mut self, added: Gaussian) {
        self.each(|hypothesis| hypothesis.state.add_volume(added));
        self.since = self.at;
        if self.phase == Phase::Dry {
            self.phase = Phase::Drawn;
            self.lead.draws = true;
        }
    }

    /// Whether the level rose will be seen; in foam it can't, and then the log is believed.
    pub fn pour(&mut self, at: f64, litres: f64) {
        let mut hypothesis = self.lead.branch(Regime::Poured, at, POURED_LOG_PRIOR);
        hypothesis.state.add_volume(Gaussian { mean: litres, sd: ADDED_SD * litres });
        hypothesis.foam_probability = FOAMS_WHEN_POURED;
        if self.phase == Phase::Dry {
            hypothesis.draws = true;
        }
        self.others.push(hypothesis);
    }
}

/// The first reading counts as so many scatters.
const FIRST_SCATTERS: f64 = 1.5;
