//! How a notice calls people: why now, how pressing it is, who promised what, and when it calls again.

use claymark_model::id::Id;
use claymark_model::site::Staff;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::Audience;
use crate::failure::Failure;
use claymark_model::forecast::EmptyAt;

/// Why people are called now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Call {
    /// It is new.
    First,
    /// It is worse than what was told.
    Worse,
    /// It still holds.
    Again,
    /// Nobody answered: it is another person's turn.
    Next,
    /// Somebody said that they would be there by now, and what it needs wasn't seen.
    PromiseBroken,
}

/// How pressing it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "urgency", rename_all = "kebab-case")]
pub enum Urgency {
    /// Fish are in danger now, or soon: somebody must come at once.
    Danger {
        /// By when somebody must be there, where something sets that time.
        by: Option<Timestamp>,
    },
    /// Somebody must be there by then.
    By {
        /// Then.
        by: Timestamp,
    },
    /// Somebody should look; nothing sets a time.
    Look,
}

impl Urgency {
    /// Until when an answer at `now` holds, where it says no time: until somebody must be there, else the way and the time to
    /// get up; `None`: nothing hurries.
    #[must_use]
    pub fn answered_until(self, now: Timestamp, staff: &Staff) -> Option<Timestamp> {
        let on_the_way = now + (staff.travel + staff.response).min(LONGEST_WAY);
        match self {
            Self::Danger { by } => Some(by.map_or(on_the_way, |by| by.max(on_the_way))),
            Self::By { by } => Some(by.max(on_the_way)),
            Self::Look => None,
        }
    }

    /// What presses most comes first: danger that is there, danger that comes, and what has its time.
    #[must_use]
    pub fn rank(self) -> (u8, Option<Timestamp>) {
        match self {
            Self::Danger { by: None } => (0, None),
            Self::Danger { by } => (1, by),
            Self::By { by } => (2, Some(by)),
            Self::Look => (3, None),
        }
    }

    /// By when somebody must be there.
    #[must_use]
    pub fn by(self) -> Option<Timestamp> {
        match self {
            Self::Danger { by } => by,
            Self::By { by } => Some(by),
            Self::Look => None,
        }
    }
}

/// "I'm on it", until then.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Promise {
    /// By whom.
    pub by: Option<String>,
    /// When it was given.
    pub at: Timestamp,
    /// Until when nobody else is called.
    pub until: Timestamp,
    /// When they said to be there, where that is too late.
    #[serde(default)]
    pub comes_late: Option<Timestamp>,
    /// Nobody said so: hands in the room, or a refill that was written down, spoke for somebody.
    #[serde(default)]
    pub unspoken: bool,
}

/// A call that was made before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Earlier {
    /// When.
    pub at: Timestamp,
    /// Whom it went to.
    pub to: Audience,
}

/// A call that comes if nobody answers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Later {
    /// When.
    pub at: Timestamp,
    /// Whom it will go to.
    pub to: Audience,
}

/// Who has the night.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OnTonight {
    /// Who is called first.
    pub person: Id,
    /// When they said so; `None`: nobody has.
    pub confirmed: Option<Timestamp>,
}

/// Something else that stands, and that the same message calls people for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlsoStands {
    /// Its cause.
    pub cause: String,
    /// The notice that told it last.
    pub notice: u64,
    /// How it stands.
    pub what: AlsoWhat,
}

/// How something else stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "also", rename_all = "kebab-case")]
pub enum AlsoWhat {
    /// A failure.
    Failure {
        /// As it stands now.
        failure: Box<Failure>,
    },
    /// A supply ends.
    Runout {
        /// Its drum.
        drum: Id,
        /// When it ends, where that can be said.
        ends: Option<EmptyAt>,
    },
    /// A level isn't believed.
    LevelDoubt {
        /// Of that drum.
        drum: Id,
    },
    /// Nobody has been seen in the room.
    Unattended {
        /// Since then; `None`: never.
        seen: Option<Timestamp>,
    },
    /// Sensors don't speak.
    Silent {
        /// Which.
        sensors: Vec<Id>,
    },
}

/// An alarm for which nobody is called, for a time and a reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShelvedAlarm {
    /// The notice that told it last.
    pub notice: u64,
    /// When it ends.
    pub until: Timestamp,
    /// Who said so.
    pub by: Option<String>,
    /// Why.
    pub why: String,
}

/// How a notice calls people.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calling {
    /// Why now.
    pub call: Call,
    /// How pressing it is.
    pub urgency: Urgency,
    /// The call before this one.
    pub earlier: Option<Earlier>,
    /// The promise that wasn't kept.
    pub broken: Option<Promise>,
    /// Until when an answer without a time holds.
    pub holds_until: Timestamp,
    /// The next call, if nobody answers.
    pub later: Option<Later>,
    /// What else stands and calls the same people, most pressing first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<AlsoStands>,
}

/// No way to the barn takes longer: then somebody else is asked.
const LONGEST_WAY: SignedDuration = SignedDuration::from_mins(45);
