//! The broker forgot our session: what it held for us is gone, so readings may be missing.

use jiff::{SignedDuration, Timestamp};

use crate::action::AlarmAction;
use crate::alarms::QUIET_FOR;
use crate::scene::RoomView;
use claymark_notice::content::ReadingsMissing;
use claymark_notice::{Content, Priority};

/// Losses that people were, or weren't yet, told of.
#[derive(Debug, Default)]
pub(crate) struct Session {
    untold: Option<Loss>,
    quiet_until: Option<Timestamp>,
}

#[derive(Debug, Clone, Copy)]
struct Loss {
    /// It is known to have stood then.
    since: Timestamp,
    noticed: Timestamp,
}

impl Session {
    /// It was lost; it is known to have stood at `since`.
    pub(crate) fn lost(&mut self, now: Timestamp, since: Timestamp) {
        let since = self.untold.map_or(since, |first| first.since.min(since));
        self.untold = Some(Loss { since, noticed: now });
    }

    /// It wasn't the broker: another client has our name.
    pub(crate) fn explained(&mut self) {
        self.untold = None;
    }

    fn due(&self, loss: &Loss) -> Timestamp {
        let settled = loss.noticed + SETTLED_IN;
        self.quiet_until.map_or(settled, |quiet| quiet.max(settled))
    }

    /// People were told at `at`; a broker that forgets again and again is told of every two hours.
    pub(crate) fn told(&mut self, at: Timestamp) {
        self.untold = None;
        self.quiet_until = Some(at + QUIET_FOR);
    }

    /// Tells a loss that wasn't told yet.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let Loss { since, noticed } = self.untold.filter(|loss| self.due(loss) <= view.scene.now)?;
        self.told(view.scene.now);
        let lost = Content::ReadingsMissing(ReadingsMissing::SessionLost { since, until: noticed });
        Some(AlarmAction::Tell(view.on_duty("session", Priority::Morning, (None, lost))))
    }

    /// When it must be told if it wasn't yet.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.untold.map(|loss| self.due(&loss))
    }
}

/// Another client that took our name and dropped our session betrays itself within this time, by throwing us out
/// again; the broker mustn't be blamed for it.
const SETTLED_IN: SignedDuration = SignedDuration::from_secs(20);
