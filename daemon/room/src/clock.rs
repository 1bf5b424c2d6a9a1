//! The server's clock was set: times before and after don't fit together, and people must know.

use jiff::SignedDuration;

use crate::Room;
use crate::scene::Scene;
use claymark_notice::content::ReadingsMissing;
use claymark_notice::keeping::ClockStep;
use claymark_notice::{Content, Priority};

impl Room {
    /// The clock was set. Sensors that seem silent only for that get a moment to speak.
    pub(crate) fn clock_stepped(&mut self, step: ClockStep) {
        self.clock_stepped = Some(step);
        self.live = self.live.map(|live| live.max(step.at));
    }

    /// Tells a step of the clock that wasn't told yet.
    pub(crate) fn check_clock(&mut self, scene: &Scene) {
        if let Some(step) = self.clock_stepped.take() {
            let at_night = if step.by.abs() < WAKES { Priority::Morning } else { Priority::Soon };
            let content = Content::ReadingsMissing(ReadingsMissing::ClockStepped(step));
            let finding = self.on_duty(scene, "clock".to_owned(), at_night, content);
            self.tell(scene, finding);
        }
    }
}

/// A larger step moves a forecast by more than it is usually wrong.
const WAKES: SignedDuration = SignedDuration::from_mins(10);
