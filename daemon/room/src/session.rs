//! The broker forgot our session: what it held for us is gone, so readings may be missing.

use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::alarms::QUIET_FOR;
use crate::scene::Scene;
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

    /// The loss that people must be told now.
    fn finding(&self, now: Timestamp) -> Option<Loss> {
        self.untold.filter(|loss| self.due(loss) <= now)
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

    /// When it must be told if it wasn't yet.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.untold.map(|loss| self.due(&loss))
    }
}

impl Room {
    /// Tells a loss that wasn't told yet.
    pub(crate) fn check_session(&mut self, scene: &Scene) {
        if let Some(Loss { since, noticed }) = self.session.finding(scene.now) {
            let content = Content::ReadingsMissing(ReadingsMissing::SessionLost { since, until: noticed });
            let finding = self.on_duty(scene, "session".to_owned(), Priority::Morning, content);
            self.tell(scene, finding);
            self.session.told(scene.now);
        }
    }
}

/// Another client that took our name and dropped our session betrays itself within this time, by throwing us out
/// again; the broker mustn't be blamed for it.
const SETTLED_IN: SignedDuration = SignedDuration::from_secs(20);
