//! What the room learns slowly: the yield of the clay that is fed, and an hourly line on draw and clay.

use jiff::{SignedDuration, Timestamp};

use crate::evidence::days::Days;
use claymark_clay::LearnedYield;
use claymark_clay::yields::{Sample, YieldChange, YieldWatch};
use claymark_model::units::{Litres, LitresPerHour};

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

impl Learned {
    /// Whether it is time for a look.
    pub(crate) fn is_due(&self, now: Timestamp) -> bool {
        self.checked_at.is_none_or(|at| now >= at + EVERY)
    }

    /// Takes what the head tank, of that volume, shows of the clay, with the draw where it is one drum's; while something
    /// else clouds it too, nothing is learned of the yield. What is to be kept.
    pub(crate) fn take(
        &mut self,
        now: Timestamp,
        head_tank: Litres,
        sample: Option<(Sample, Option<LitresPerHour>)>,
        clouded: bool,
    ) -> Option<LearnedYield> {
        self.checked_at = Some(now);
        let Some((sample, draw)) = sample else {
            self.yields.interrupt();
            return None;
        };
        if let Some(draw) = draw {
            self.days.note(now, draw.0, sample.above.0);
        }
        if !clouded {
            self.yields.take(head_tank, &sample);
        }
        self.change = self.yields.take_changes().pop().or(self.change);
        self.keep_yield(now)
    }

    /// What had been learned before a restart.
    pub(crate) fn recall(&mut self, learned: LearnedYield) {
        self.yields.recall(learned.clay);
        self.kept = Some(learned);
    }

    /// Keeps what was learned once a day, and when it has moved by more than its doubt.
    fn keep_yield(&mut self, now: Timestamp) -> Option<LearnedYield> {
        let clay = self.yields.settled()?;
        let stands = |kept: LearnedYield| now < kept.learned_at + KEPT_EVERY && clay.lies_by(&kept.clay, 1.0);
        if self.kept.is_some_and(stands) {
            return None;
        }
        self.kept = Some(LearnedYield { learned_at: now, clay });
        self.kept
    }
}

const EVERY: SignedDuration = SignedDuration::from_mins(10);
const KEPT_EVERY: SignedDuration = SignedDuration::from_hours(24);
