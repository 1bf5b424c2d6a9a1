//! The broker forgot our session: what it held for us is gone, so readings may be missing.

use jiff::Timestamp;

use crate::notice::content::ReadingsMissing;
use crate::notice::{Content, Priority};
use crate::room::Room;
use crate::room::episode::QUIET_FOR;
use crate::room::look::Scene;

/// Losses that people were, or weren't yet, told of.
#[derive(Debug, Default)]
pub(crate) struct Session {
    untold_since: Option<Timestamp>,
    quiet_until: Option<Timestamp>,
}

impl Session {
    /// It was lost; it is known to have stood at `since`.
    pub(crate) fn lost(&mut self, since: Timestamp) {
        self.untold_since = Some(self.untold_since.map_or(since, |first| first.min(since)));
    }

    /// Since when readings may be missing, where people must be told now.
    pub(crate) fn finding(&self, now: Timestamp) -> Option<Timestamp> {
        self.untold_since.filter(|_| self.quiet_until.is_none_or(|quiet| quiet <= now))
    }

    /// People were told at `at`; a broker that forgets again and again is told of every two hours.
    pub(crate) fn told(&mut self, at: Timestamp) {
        self.untold_since = None;
        self.quiet_until = Some(at + QUIET_FOR);
    }

    /// When it must be told if it wasn't yet.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.untold_since.and(self.quiet_until)
    }
}

impl Room {
    /// Tells a loss that wasn't told yet.
    pub(crate) fn look_at_session(&mut self, scene: &Scene) {
        if let Some(since) = self.session.finding(scene.now) {
            let content = Content::ReadingsMissing(ReadingsMissing::SessionLost { since, until: scene.now });
            let finding = self.on_duty(scene, "session".to_owned(), Priority::Morning, content);
            self.tell(scene, finding);
            self.session.told(scene.now);
        }
    }
}
