//! One account of what is going on in a drum, and how well it explains the minutes.
//!
//! An account is a filter ([`State`]) with an assumption: the pump draws, or it doesn't; at some minute slurry
//! was added, taken out, or the draw changed. Each minute it is judged by how probable it made the reading
//! beforehand. A reading is either of the level, or of foam or nonsense: foam comes and goes as a two-state
//! Markov chain of its own, so ln p = ln((1−f) N(y; ŷ, S) + f g(y)), with f the probability that this reading is
//! of foam and g its density: mostly high, an exponential above the level, a thin uniform elsewhere. The share of
//! the first term is the weight with which the reading moves the filter (a mixture update as in Bar-Shalom and
//! Fortmann, Tracking and Data Association, 1988, chapter 6, from memory).

use super::noise::Noise;
use super::state::{Belief, Numbers, Ripple, State, Vessel};
use super::tuning::{
    FOAM_ABOVE_SHARE, FOAM_BEGINS_PER_HOUR, FOAM_ENDS_PER_HOUR, FOAM_HEIGHT_SHARE, FOAM_MINUTES_FOAMED,
    FROTH_UNSTEADY_SHARE, LEAST_WEIGHT, NONSENSE,
};

/// What an account assumes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turn {
    /// Nothing new.
    Goes,
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
    /// The pump doesn't draw any more.
    Stopped,
    /// The pump draws again.
    Started,
}

/// One account.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Account {
    pub state: State,
    pub turn: Turn,
    /// When it parted from the others, hours since 1970.
    pub since: f64,
    pub draws: bool,
    /// How unsteady the foam is that stands on the level, L; 0: none does.
    pub froth: f64,
    /// Ln of how probable it is, against the leading account.
    pub odds: f64,
    /// Probability that the level is foaming.
    pub foaming: f64,
    /// How much its readings counted since it parted, 0 to 1.
    pub fits: f64,
    /// How much the newest reading counted.
    pub newest: f64,
    /// Ln of how probable the newest reading was.
    pub told: f64,
    /// Readings since it parted.
    pub minutes: f64,
}

impl Account {
    /// From a first state.
    pub fn new(state: State, since: f64, draws: bool) -> Self {
        Self {
            state,
            turn: Turn::Goes,
            since,
            draws,
            froth: 0.0,
            odds: 0.0,
            foaming: 0.05,
            fits: 1.0,
            newest: 1.0,
            told: 0.0,
            minutes: 0.0,
        }
    }

    /// Parts from this one: the same so far, but for what `turn` says, which is this probable (ln).
    pub fn part(&self, turn: Turn, since: f64, prior: f64) -> Self {
        Self { turn, since, odds: self.odds + prior, fits: 1.0, minutes: 0.0, ..*self }
    }

    /// Goes on by `hours`.
    pub fn predict(&mut self, vessel: &Vessel, hours: f64, ripple: &Ripple) {
        self.state.predict(vessel, hours, self.draws, ripple, self.froth);
        let (begins, ends) = (FOAM_BEGINS_PER_HOUR * hours, FOAM_ENDS_PER_HOUR * hours);
        let keeps = (-(begins + ends)).exp();
        let level = FOAM_BEGINS_PER_HOUR / (FOAM_BEGINS_PER_HOUR + FOAM_ENDS_PER_HOUR);
        self.foaming = level + (self.foaming - level) * keeps;
    }

    /// Takes a minute's reading; how much it counts and how probable it was go into the account.
    pub fn take(&mut self, sight: &Numbers, reads: f64, vessel: &Vessel, ripple: &Ripple) {
        let (expected, variance) = self.state.expected(sight, ripple);
        let off = reads - expected;
        let level = (-off * off / (2.0 * variance)).exp() / (variance * std::f64::consts::TAU).sqrt();
        let foam = foam_density(off, vessel);
        let calm_off = NONSENSE;
        let (calm, foamed) = (1.0 - self.foaming, self.foaming);
        let of_level = calm * (1.0 - calm_off) + foamed * (1.0 - FOAM_MINUTES_FOAMED);
        let total = of_level * level + (1.0 - of_level) * foam;
        let weight = (of_level * level / total).clamp(0.0, 1.0);
        let when_foaming = (1.0 - FOAM_MINUTES_FOAMED) * level + FOAM_MINUTES_FOAMED * foam;
        self.foaming = (foamed * when_foaming / total).clamp(1e-6, 1.0 - 1e-6);
        self.told = total.max(f64::MIN_POSITIVE).ln();
        self.odds += self.told;
        self.minutes += 1.0;
        // Foam can feign another draw: that is judged by all readings, a level by the last ones.
        let over = if matches!(self.turn, Turn::Changed | Turn::Hinted | Turn::Stopped | Turn::Started) {
            self.minutes
        } else {
            self.minutes.min(FITS_MINUTES)
        };
        self.fits += (weight - self.fits) / over;
        self.newest = weight;
        // People write the time down to some minutes: until then a reading may still be from before.
        let certain = self.turn != Turn::Poured || self.minutes > POURED_MINUTES;
        if weight >= LEAST_WEIGHT && certain {
            self.state.update(sight, reads, weight, ripple);
        }
        // Foam never stands below the level.
        if self.froth > 0.0 && self.state.froth_height() < -FROTH_BELOW * ripple.lasting {
            self.state.froth_was_volume();
            self.froth = 0.0;
        }
    }

    /// Foam stands on the level by so many litres (0: no more).
    pub fn foam(&mut self, litres: f64) {
        self.froth = FROTH_UNSTEADY_SHARE * litres;
        self.state.froth(Belief { mean: litres, sd: self.froth });
    }

    /// What is drawn now, L/h.
    pub fn draw(&self, vessel: &Vessel) -> Belief {
        self.state.draw_at(vessel, self.state.volume().mean)
    }

    /// Lets the scatter learn from a reading that counted.
    pub fn teach(&self, noise: &mut Noise, sight: &Numbers, reads: f64, follows: bool) {
        if self.newest > TEACHES && self.froth <= 0.0 {
            noise.saw(reads - self.state.level(sight), follows);
        }
    }
}

/// Of a reading that isn't of the level and is off by so many litres, 1/L.
fn foam_density(off: f64, vessel: &Vessel) -> f64 {
    let height = FOAM_HEIGHT_SHARE * vessel.span;
    let above = if off > 0.0 { (-off / height).exp() / height } else { 0.0 };
    FOAM_ABOVE_SHARE * above + (1.0 - FOAM_ABOVE_SHARE) / (2.0 * vessel.brim)
}

/// Readings after a logged refill that only judge it.
const POURED_MINUTES: f64 = 4.0;
/// Foam that stands so many deviations below the level isn't foam.
const FROTH_BELOW: f64 = 2.0;
/// Readings over which the fit of an account is averaged.
const FITS_MINUTES: f64 = 15.0;
/// A reading that counted so much tells the scatter.
const TEACHES: f64 = 0.5;
