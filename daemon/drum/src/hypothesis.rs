//! One hypothesis of what is going on in a drum, and how well it explains the minutes.
//!
//! A hypothesis is a filter ([`State`]) with an assumption: the pump draws, or it doesn't; at some minute slurry
//! was added, taken out, or the draw changed: its regime. Each minute it is judged by the likelihood of the reading,
//! how probable it made it beforehand. A reading is either of the level, or of foam or nonsense: foam comes and goes as a two-state
//! Markov chain of its own, so ln L = ln((1−f) N(y; ŷ, S) + f g(y)), with f the probability that this reading is
//! of foam and g its density: mostly high, an exponential above the level, a thin uniform elsewhere. The share of
//! the first term is the weight with which the reading moves the filter (a mixture update as in Bar-Shalom and
//! Fortmann, Tracking and Data Association, 1988, chapter 6, from memory).

use super::noise::MeasurementNoise;
use super::state::{DrumSize, Gaussian, Ripple, State, StateRow};
use super::tuning::{
    FOAM_ABOVE_SHARE, FOAM_BEGINS_PER_HOUR, FOAM_ENDS_PER_HOUR, FOAM_HEIGHT_SHARE, FOAMED_SHARE,
    FROTH_UNSTEADY_SHARE, LEAST_WEIGHT, NONSENSE_SHARE, STEADY,
};

/// What a hypothesis assumes to have been so since it branched off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Regime {
    /// Nothing new.
    Unchanged,
    /// The level rose and stays.
    Rose,
    /// Foam rose and stands on the level.
    Foamed,
    /// So many litres came in as somebody wrote down, whatever the readings say meanwhile.
    Poured,
    /// The level fell at once and stays.
    Dropped,
    /// The pump draws otherwise.
    Changed,
    /// It draws as another sensor says.
    Hinted,
    /// Slurry leaves several times as fast: a hose came off, a tube split.
    Leaks,
    /// It leaves as before the leak.
    Mended,
    /// The pump doesn't draw any more.
    Stopped,
    /// The pump draws again.
    Started,
}

impl Regime {
    /// Whether it says that the draw is another, and leaves the level as it was.
    pub fn is_of_draw(self) -> bool {
        match self {
            Self::Changed | Self::Hinted | Self::Leaks | Self::Mended | Self::Stopped | Self::Started => true,
            Self::Unchanged | Self::Rose | Self::Foamed | Self::Poured | Self::Dropped => false,
        }
    }
}

/// One filter with its assumption.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hypothesis {
    pub state: State,
    pub regime: Regime,
    /// When it branched off, hours since 1970.
    pub since: f64,
    /// Whether the pump draws from the drum.
    pub draws: bool,
    /// Standard deviation of the froth, foam that stands on the level, L; 0: none does.
    pub froth_sd: f64,
    /// Ln of how probable it is by prior and readings, against the leading hypothesis.
    pub log_odds: f64,
    /// Probability that the level is foaming.
    pub foam_probability: f64,
    /// Mean weight of its readings since it branched off, 0 to 1.
    pub mean_weight: f64,
    /// Weight of the newest reading: how probably it is of the level.
    pub newest_weight: f64,
    /// Of the newest reading.
    pub log_likelihood: f64,
    /// Readings since it branched off.
    pub readings: f64,
}

impl Hypothesis {
    /// From a first state.
    pub fn new(state: State, since: f64, draws: bool) -> Self {
        Self {
            state,
            regime: Regime::Unchanged,
            since,
            draws,
            froth_sd: 0.0,
            log_odds: 0.0,
            foam_probability: CALM,
            mean_weight: 1.0,
            newest_weight: 1.0,
            log_likelihood: 0.0,
            readings: 0.0,
        }
    }

    /// Branches off this one: the same so far, but for what `regime` says, which is this probable (ln).
    pub fn branch(&self, regime: Regime, since: f64, log_prior: f64) -> Self {
        Self { regime, since, log_odds: self.log_odds + log_prior, mean_weight: 1.0, readings: 0.0, ..*self }
    }

    /// Goes on by `hours`.
    pub fn predict(&mut self, size: &DrumSize, hours: f64, ripple: &Ripple) {
        self.state.predict(size, hours, self.draws, ripple, self.froth_sd);
        let (begins, ends) = (FOAM_BEGINS_PER_HOUR * hours, FOAM_ENDS_PER_HOUR * hours);
        let keeps = (-(begins + ends)).exp();
        let level = FOAM_BEGINS_PER_HOUR / (FOAM_BEGINS_PER_HOUR + FOAM_ENDS_PER_HOUR);
        self.foam_probability = level + (self.foam_probability - level) * keeps;
    }

    /// Takes a minute's reading: its likelihood judges the hypothesis, its weight moves the filter.
    pub fn update(&mut self, row: &StateRow, reads: f64, size: &DrumSize, ripple: &Ripple) {
        let (expected, variance) = self.state.expected(row, ripple);
        let innovation = reads - expected;
        let level =
            (-innovation * innovation / (2.0 * variance)).exp() / (variance * std::f64::consts::TAU).sqrt();
        let foam = foam_density(innovation, size);
        let calm_off = NONSENSE_SHARE;
        let (calm, foamed) = (1.0 - self.foam_probability, self.foam_probability);
        let of_level = calm * (1.0 - calm_off) + foamed * (1.0 - FOAMED_SHARE);
        let total = of_level * level + (1.0 - of_level) * foam;
        let weight = (of_level * level / total).clamp(0.0, 1.0);
        let when_foaming = (1.0 - FOAMED_SHARE) * level + FOAMED_SHARE * foam;
        self.foam_probability = (foamed * when_foaming / total).clamp(1e-6, 1.0 - 1e-6);
        self.log_likelihood = total.max(f64::MIN_POSITIVE).ln();
        self.log_odds += self.log_likelihood;
        self.readings += 1.0;
        // Foam can feign another draw: that is judged by all readings, a level by the last ones.
        let over = if self.regime.is_of_draw() { self.readings } else { self.readings.min(WEIGHT_READINGS) };
        self.mean_weight += (weight - self.mean_weight) / over;
        self.newest_weight = weight;
        // People write the time down to some minutes: until then a reading may still be from before.
        let certain = self.regime != Regime::Poured || self.readings > POURED_READINGS;
        if weight >= LEAST_WEIGHT && certain {
            self.state.update(row, reads, weight, ripple);
        }
        // Foam never stands below the level.
        if self.froth_sd > 0.0 && self.state.froth_height() < -FROTH_BELOW * ripple.lasting {
            self.state.froth_was_volume();
            self.froth_sd = 0.0;
        }
    }

    /// Froth stands on the level by so many litres (0: no more).
    pub fn set_froth(&mut self, litres: f64) {
        self.froth_sd = FROTH_UNSTEADY_SHARE * litres;
        self.state.set_froth(Gaussian { mean: litres, sd: self.froth_sd });
    }

    /// Its readings fit, of late and now.
    pub fn is_steady(&self) -> bool {
        self.mean_weight > STEADY && self.newest_weight > STEADY
    }

    /// What is drawn now, L/h.
    pub fn draw(&self, size: &DrumSize) -> Gaussian {
        self.state.draw_at(size, self.state.volume().mean)
    }

    /// Lets the scatter learn from a reading that counted.
    pub fn teach(&self, noise: &mut MeasurementNoise, row: &StateRow, reads: f64, follows: bool) {
        if self.newest_weight > TEACHES && self.froth_sd <= 0.0 {
            noise.learn(reads - self.state.level(row), follows);
        }
    }
}

/// Density of a reading that isn't of the level, by its innovation in litres, 1/L.
fn foam_density(innovation: f64, size: &DrumSize) -> f64 {
    let height = FOAM_HEIGHT_SHARE * size.span;
    let above = if innovation > 0.0 { (-innovation / height).exp() / height } else { 0.0 };
    FOAM_ABOVE_SHARE * above + (1.0 - FOAM_ABOVE_SHARE) / (2.0 * size.brim)
}

/// Mean weight of the readings from which a level is calm.
pub(super) const CALM_AGAIN: f64 = 0.9;
/// Probability of foam where nothing speaks for it.
pub(super) const CALM: f64 = 0.05;
/// Readings after a logged refill that only judge it.
const POURED_READINGS: f64 = 4.0;
/// Foam that stands so many deviations below the level isn't foam.
const FROTH_BELOW: f64 = 2.0;
/// Readings over which the fit of a hypothesis is averaged.
const WEIGHT_READINGS: f64 = 15.0;
/// A reading that counted so much tells the scatter.
const TEACHES: f64 = 0.5;
