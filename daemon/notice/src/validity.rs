//! How long a notice is of use: until then it is worth trying to deliver it, and no longer.

use jiff::{SignedDuration, Timestamp};

use crate::Notice;
use crate::content::{Content, ReadingsMissing, Visit};

impl Notice {
    /// Until when it is of use to whoever gets it.
    ///
    /// What calls somebody in is of use until people are in the room anyway; what stands until it is withdrawn, until
    /// an evening check has told it again; a gap in the readings as long as a mail server is usually tried.
    #[must_use]
    pub fn of_use_until(&self) -> Timestamp {
        let until = match &self.content {
            Content::EveningCheck(check) => check.visit.at,
            Content::Handover(handover) => handover.visit,
            Content::Runout(runout) => self.until_visit(runout.visit),
            Content::Unattended(_) | Content::Morning(_) | Content::TestCall(_) => self.at + BY_DAY,
            Content::LevelDoubt(_) | Content::Failure(_) | Content::Withdrawn(_) | Content::Query(_) => {
                self.at + STANDING
            }
            Content::ReadingsMissing(missing) => match missing {
                ReadingsMissing::Silent { .. }
                | ReadingsMissing::StoreFailing { .. }
                | ReadingsMissing::DeviceClock(_)
                | ReadingsMissing::ServerClock(_) => self.at + STANDING,
                ReadingsMissing::SessionLost { .. }
                | ReadingsMissing::StoreReplaced { .. }
                | ReadingsMissing::ClockStepped(_)
                | ReadingsMissing::Unwatched(_)
                | ReadingsMissing::NotForwarded { .. }
                | ReadingsMissing::TakenOver { .. } => self.at + FOR_THE_RECORD,
            },
            Content::Undelivered(undelivered) => undelivered.notice.of_use_until(),
        };
        until.max(self.at + LEAST)
    }

    fn until_visit(&self, visit: Option<Visit>) -> Timestamp {
        visit.map_or(self.at + BY_DAY, |visit| visit.at)
    }

    /// Whether this one makes `earlier` needless to whoever has neither yet: the all-clear of its cause.
    #[must_use]
    pub fn clears(&self, earlier: &Notice) -> bool {
        let all_clear = matches!(self.content, Content::Withdrawn(_));
        let meant = earlier.meant();
        all_clear
            && earlier.number < self.number
            && (self.replaces == Some(meant.number) || self.cause == meant.cause)
    }

    /// Whether nobody else has to hear this one once somebody has answered that other one.
    #[must_use]
    pub fn is_settled_by_answer_to(&self, answered: &Notice) -> bool {
        let (own, other) = (self.meant(), answered.meant());
        own.number == other.number || (own.cause == other.cause && own.number < other.number)
    }

    /// The notice that this one passes on, or else itself.
    fn meant(&self) -> &Notice {
        if let Content::Undelivered(undelivered) = &self.content { &undelivered.notice } else { self }
    }
}

/// An evening check tells again what stands, within a day; half a day more for its own delivery.
const STANDING: SignedDuration = SignedDuration::from_hours(36);

/// While people are there they see a drum themselves within a shift.
const BY_DAY: SignedDuration = SignedDuration::from_hours(8);

/// It is told nowhere else. RFC 5321 section 4.5.4.1 tries for at least 4 to 5 days (from memory).
const FOR_THE_RECORD: SignedDuration = SignedDuration::from_hours(4 * 24);

/// What is decided just before a visit.
const LEAST: SignedDuration = SignedDuration::from_hours(1);
