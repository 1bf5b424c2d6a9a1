//! The evening check: when it is due, and when it is late.
//!
//! It is sent every evening, so that its absence means something.

use jiff::Timestamp;

use crate::room::silence::BACKLOG;

/// When the next evening check is due.
#[derive(Debug, Default)]
pub(crate) struct Evening {
    sent_for: Option<Timestamp>,
    next: Option<Due>,
}

/// An evening check that is to be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Due {
    /// The evening that it is for.
    pub(crate) evening: Timestamp,
    /// When it is to be sent.
    pub(crate) at: Timestamp,
}

impl Evening {
    /// From `now` on, in the night of `tonight` if it is one; `upcoming` is the next evening check.
    ///
    /// A check that was missed is sent late, after the readings that waited at the broker have come in.
    pub(crate) fn go_live(
        &mut self,
        now: Timestamp,
        tonight: Option<Timestamp>,
        upcoming: Option<Timestamp>,
    ) {
        let missed = tonight.filter(|evening| self.sent_for != Some(*evening) && *evening < now);
        self.next = match (missed, tonight) {
            (Some(evening), _) => Some(Due { evening, at: now + BACKLOG }),
            (None, Some(evening)) if evening == now && self.sent_for != Some(evening) => {
                Some(Due { evening, at: now })
            }
            (None, _) => upcoming.map(|evening| Due { evening, at: evening }),
        };
    }

    /// The check that is to be sent now.
    pub(crate) fn due(&self, now: Timestamp) -> Option<Due> {
        self.next.filter(|due| due.at <= now)
    }

    /// It was sent, or the night that it was for is over; `upcoming` is the next one.
    pub(crate) fn done(&mut self, upcoming: Option<Timestamp>) {
        self.next = upcoming.map(|evening| Due { evening, at: evening });
    }

    /// It is known to have been sent.
    pub(crate) fn sent_for(&mut self, evening: Timestamp) {
        self.sent_for = Some(evening);
    }

    /// When the next one is to be sent.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.next.map(|due| due.at)
    }
}
