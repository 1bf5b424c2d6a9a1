//! What the room learns slowly: the yield of the clay that is fed, and an hourly line on draw and clay.

use jiff::{SignedDuration, Timestamp};

use crate::drum_record::DrumRecord;
use crate::evidence::days::Days;
use crate::scene::Scene;
use crate::{Effect, Room};
use claymark_clay::LearnedYield;
use claymark_clay::yields::{Sample, YieldChange, YieldWatch};
use claymark_model::forecast::{Basis, Forecast, Outlook};
use claymark_model::site::Place;
use claymark_model::units::{GramsPerMinute, LitresPerHour, Turbidity};

/// What was learned so far.
#[derive(Debug, Default)]
pub(crate) struct Learned {
    pub(crate) yields: YieldWatch,
    /// The last change of the yield.
    pub(crate) change: Option<YieldChange>,
    pub(crate) days: Days,
    /// What was kept last, or recalled.
    kept: Option<LearnedYield>,
    checked_at: Option<Timestamp>,
}

impl Room {
    /// Looks every ten minutes. Times after a refill, a pump setting or another change, and while something has
    /// failed, are left out.
    pub(crate) fn learn(&mut self, scene: &Scene) {
        if self.learned.checked_at.is_some_and(|at| scene.now < at + EVERY) {
            return;
        }
        self.learned.checked_at = Some(scene.now);
        let Some(sample) = self.sample(scene) else {
            self.learned.yields.interrupt();
            return;
        };
        if let Some(draw) = sample.1 {
            self.learned.days.note(scene.now, draw.0, sample.0.above.0);
        }
        if !self.failures.cloud() {
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

    /// The drums that feed the head tank, by their books, against what the head tank shows; with the draw where it is
    /// one drum's.
    fn sample(&self, scene: &Scene) -> Option<(Sample, Option<LitresPerHour>)> {
        let drawn: Vec<_> = self.records.iter().zip(&scene.forecasts).filter(|(_, one)| one.in_use).collect();
        let fed = drawn.iter().map(|(record, forecast)| self.feeds(scene.now, record, forecast));
        let fed: Vec<(LitresPerHour, GramsPerMinute)> = fed.collect::<Option<_>>()?;
        let cleaned = self.journal.has(scene.now, SETTLES, |deed| {
            matches!(
                deed,
                claymark_model::fieldlog::Deed::Cleaning { .. } | claymark_model::fieldlog::Deed::Wipe { .. }
            )
        });
        if fed.is_empty() || cleaned {
            return None;
        }
        let water = self.fresh_water(scene.now)?.flow;
        let shown = self.water.turbidity(scene.now, &Place::Head)?.turbidity;
        let above = Turbidity(shown.0 - self.site.clay.background_ntu);
        let clay = fed.iter().fold(GramsPerMinute(0.0), |sum, (_, clay)| sum + *clay);
        let alone = if let [(draw, _)] = fed.as_slice() { Some(*draw) } else { None };
        Some((Sample { at: scene.now, fed: water.diluting(clay)?, water, above }, alone))
    }

    /// What one drum is drawn at and feeds; `None` where that isn't sure, or has just changed.
    fn feeds(
        &self,
        now: Timestamp,
        record: &DrumRecord,
        forecast: &Forecast,
    ) -> Option<(LitresPerHour, GramsPerMinute)> {
        let Outlook::Known { basis: Basis::Level, draw, .. } = forecast.outlook else { return None };
        let changed = record.changed().is_some_and(|at| now < at + SETTLES);
        let left = record.books(&self.site.clay).left;
        (!changed && left.is_known()).then(|| (draw, draw.clay(left.strength)))
    }
}

const EVERY: SignedDuration = SignedDuration::from_mins(10);
const KEPT_EVERY: SignedDuration = SignedDuration::from_hours(24);
/// After a change the head tank settles, and the forecast learns its draw.
const SETTLES: SignedDuration = SignedDuration::from_mins(45);
