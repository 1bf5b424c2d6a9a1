//! A refill that was written down, and what became of it.

use super::hours::timestamp;
use super::hypothesis::Hypothesis;
use super::log::Figures;
use super::state::Gaussian;
use super::tuning::{CONTRADICTS_SHARE, PART_SHARE};
use claymark_model::units::{Kilograms, Litres};
use claymark_model::unseen::{Unseen, UnseenSign};

/// A refill that was written down.
#[derive(Debug, Clone)]
pub(super) struct WrittenRefill {
    pub key: String,
    /// h since 1970.
    pub at: f64,
    pub figures: Figures,
    /// L. What was in the drum before it.
    pub before: f64,
    /// What it adds.
    pub added: Gaussian,
    pub again: bool,
    pub overfull: bool,
    pub stage: Stage,
}

/// What became of it.
#[derive(Debug, Clone, Copy)]
#[expect(clippy::large_enum_variant, reason = "the whole stands in a box")]
pub(super) enum Stage {
    /// The level hasn't shown it yet. The level may have been believed against it before.
    Awaited { hypothesis: Hypothesis, was_denied: bool },
    /// The level is believed against it.
    Denied,
    /// It was added to what is reckoned without a level.
    Reckoned,
    /// It leads, and the level is still foaming.
    Believed,
    /// The level shows it.
    Seen,
}

/// A rise of the level.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rise {
    /// When it began, h since 1970.
    pub at: f64,
    /// L, with those shortly before.
    pub added: f64,
}

impl WrittenRefill {
    /// The hypothesis in which it was done, while that is told.
    pub fn hypothesis_mut(&mut self) -> Option<&mut Hypothesis> {
        if let Stage::Awaited { hypothesis, .. } = &mut self.stage { Some(hypothesis) } else { None }
    }

    /// Its key, and whether the level is believed against it.
    pub fn denied(&self) -> (&str, bool) {
        (&self.key, matches!(self.stage, Stage::Denied))
    }

    /// The hypothesis in which it was done, where that is told: without litres it says nothing that the level doesn't
    /// say better within minutes. And whether the level was believed against it before.
    pub fn counts(&self) -> Option<(Hypothesis, bool)> {
        let Stage::Awaited { hypothesis, was_denied } = self.stage else { return None };
        self.figures.added.map(|_| (hypothesis, was_denied))
    }

    /// Whether a level that rose by so much shows it.
    pub fn is_shown_by(&self, rise: f64, span: f64) -> bool {
        self.added.mean - rise <= (CONTRADICTS_SHARE * span).max(PART_SHARE * self.added.mean)
    }
}

/// One of a drum of which nothing else is known.
pub(super) fn unseen(key: &str, at: f64, figures: Figures) -> Unseen {
    Unseen {
        key: key.to_owned(),
        at: timestamp(at),
        water: figures.water.map(Litres),
        clay: figures.clay.map(Kilograms),
        before: None,
        after: None,
        sign: UnseenSign::Reckoned,
        again: false,
        overfull: false,
    }
}
