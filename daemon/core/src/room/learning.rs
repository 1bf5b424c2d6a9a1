//! What the room learns slowly: the yield of the clay that is fed, and an hourly line on draw and clay.

use jiff::{SignedDuration, Timestamp};

use crate::clay::LearnedYield;
use crate::clay::yields::{Sample, YieldChange, YieldWatch};
use crate::forecast::{Basis, Outlook};
use crate::room::evidence::days::Days;
use crate::room::look::Scene;
use crate::room::{Effect, Room};
use crate::site::Place;
use crate::units::{LitresPerHour, Turbidity};

/// What was learned so far.
#[derive(Debug, Default)]
pub(crate) struct Learned {
    pub(crate) yields: YieldWatch,
    /// The last change of the yield.
    pub(crate) change: Option<YieldChange>,
    pub(crate) days: Days,
    /// What was kept last, or recalled.
    kept: Option<LearnedYield>,
    looked_at: Option<Timestamp>,
}

impl Room {
    /// Looks every ten minutes. Times after a refill, a pump setting or another change, and while something has
    /// failed, are left out.
    pub(crate) fn learn(&mut self, scene: &Scene) {
        if self.learned.looked_at.is_some_and(|at| scene.now < at + EVERY) {
            return;
        }
        self.learned.looked_at = Some(scene.now);
        let Some(sample) = self.sample(scene) else {
            self.learned.yields.interrupt();
            return;
        };
        self.learned.days.note(scene.now, sample.1.0, sample.0.above.0);
        if self.failures.none() {
            self.learned.yields.take(self.site.head_tank.volume, &sample.0);
        }
        self.learned.change = self.learned.yields.take_changes().pop().or(self.learned.change);
        self.keep_yield(scene.now);
    }

    /// What had been learned before a restart.
    pub(crate) fn recall_yield(&mut self, learned: LearnedYield) {
        self.learned.yields.recall(learned.clay);
        self.learned.kept = Some(learned);
    }

    /// Keeps what was learned once a day, and when it has moved by more than its doubt.
    fn keep_yield(&mut self, now: Timestamp) {
        let Some(clay) = self.learned.yields.settled() else { return };
        let stands = |kept: LearnedYield| now < kept.learned_at + KEPT_EVERY && clay.lies_by(&kept.clay, 1.0);
        if !self.learned.kept.is_some_and(stands) {
            let learned = LearnedYield { learned_at: now, clay };
            self.learned.kept = Some(learned);
            self.effects.push(Effect::Learned(learned));
        }
    }

    /// The one drum that feeds the head tank, by its books, against what the head tank shows; with its draw.
    fn sample(&self, scene: &Scene) -> Option<(Sample, LitresPerHour)> {
        let mut drawn = self.desks.iter().zip(&scene.forecasts).filter(|(_, forecast)| forecast.in_use);
        let (desk, forecast) = drawn.next().filter(|_| drawn.next().is_none())?;
        let Outlook::Known { basis: Basis::Level, draw, .. } = forecast.outlook else { return None };
        let changed = desk.changed().is_some_and(|at| scene.now < at + SETTLES);
        let cleaned = self.journal.has(scene.now, SETTLES, |deed| {
            matches!(deed, crate::fieldlog::Deed::Cleaning { .. } | crate::fieldlog::Deed::Wipe { .. })
        });
        let left = desk.books(&self.site.clay).left;
        if changed || cleaned || !left.is_known() {
            return None;
        }
        let water = self.fresh_water(scene.now)?.flow;
        let shown = self.water.turbidity(scene.now, &Place::Head)?.turbidity;
        let above = Turbidity(shown.0 - self.site.clay.background_ntu);
        let fed = water.diluting(draw.clay(left.strength))?;
        Some((Sample { at: scene.now, fed, water, above }, draw))
    }
}

const EVERY: SignedDuration = SignedDuration::from_mins(10);
const KEPT_EVERY: SignedDuration = SignedDuration::from_hours(24);
/// After a change the head tank settles, and the forecast learns its draw.
const SETTLES: SignedDuration = SignedDuration::from_mins(45);
