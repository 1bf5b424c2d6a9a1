//! The server's clock was set: times before and after don't fit together, and people must know.

use jiff::SignedDuration;

use crate::action::AlarmAction;
use crate::scene::RoomView;
use claymark_notice::content::ReadingsMissing;
use claymark_notice::keeping::ClockStep;
use claymark_notice::{Content, Priority};

/// Tells a step of the clock.
pub(crate) fn told(view: &RoomView<'_>, step: ClockStep) -> AlarmAction {
    let at_night = if step.by.abs() < WAKES { Priority::Morning } else { Priority::Soon };
    let stepped = Content::ReadingsMissing(ReadingsMissing::ClockStepped(step));
    AlarmAction::Tell(view.on_duty("clock", at_night, (None, stepped)))
}

/// A larger step moves a forecast by more than it is usually wrong.
const WAKES: SignedDuration = SignedDuration::from_mins(10);
