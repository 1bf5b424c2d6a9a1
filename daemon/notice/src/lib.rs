//! A notice: one thing that people are told, as facts; the sentences are made elsewhere.

pub mod alarm;
pub mod calling;
pub mod caught;
pub mod content;
pub mod device_clock;
pub mod dose;
pub mod drum;
pub mod failure;
pub mod figures;
pub mod glance;
pub mod handover;
pub mod keeping;
pub mod link;
pub mod query;
pub mod register;
mod standing;
pub mod undelivered;
pub mod unstirred;
pub mod unwatched;
mod validity;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use claymark_model::id::Id;

pub use calling::{AlsoStands, Call, Calling, OnTonight, Promise, ShelvedAlarm, Urgency};
pub use content::Content;
pub use failure::Failure;
pub use undelivered::{Missed, Undelivered};

/// What a notice is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoticeKind {
    /// The evening's word on the whole room, sent even when all is well.
    EveningCheck,
    /// A drum will not last.
    Runout,
    /// A warning no longer holds.
    Withdrawn,
    /// A level can't be believed.
    LevelDoubt,
    /// Readings are missing, or may be.
    ReadingsMissing,
    /// Too little or too much clay reaches the fish, or will: pump, line, drum or mix.
    Strength,
    /// The water itself: its flow, its heat, or a probe in it.
    Water,
    /// Air and oxygen.
    Air,
    /// Something that was written down, answered or to be kept wasn't taken, or is asked about.
    Query,
    /// A notice didn't reach somebody.
    Undelivered,
    /// Nobody has been seen in the room.
    Unattended,
    /// Nobody has confirmed that the night is theirs.
    Handover,
    /// What the night has brought.
    Morning,
    /// Whether calls arrive.
    TestCall,
}

impl NoticeKind {
    /// Whether it wants somebody to go.
    #[must_use]
    pub fn calls(self) -> bool {
        match self {
            Self::Runout
            | Self::LevelDoubt
            | Self::ReadingsMissing
            | Self::Strength
            | Self::Water
            | Self::Air
            | Self::Undelivered
            | Self::Unattended
            | Self::Handover => true,
            Self::EveningCheck | Self::Withdrawn | Self::Query | Self::Morning | Self::TestCall => false,
        }
    }
}

/// How soon someone must act.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    /// At once.
    Now,
    /// Within the hour.
    Soon,
    /// By the next visit.
    Morning,
}

/// Who is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Audience {
    /// All contacts.
    Everyone,
    /// These contacts.
    Only(#[serde(deserialize_with = "one_or_several")] Vec<Id>),
}

/// Rows of before several could be called at once name one.
fn one_or_several<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Vec<Id>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum NamedContacts {
        One(Id),
        Several(Vec<Id>),
    }
    Ok(match NamedContacts::deserialize(deserializer)? {
        NamedContacts::One(contact) => vec![contact],
        NamedContacts::Several(contacts) => contacts,
    })
}

impl Audience {
    /// One contact.
    #[must_use]
    pub fn one(contact: Id) -> Self {
        Self::Only(vec![contact])
    }

    /// Whether that contact is told.
    #[must_use]
    pub fn includes(&self, contact: &Id) -> bool {
        match self {
            Self::Everyone => true,
            Self::Only(contacts) => contacts.contains(contact),
        }
    }
}

/// By which way a notice goes to a contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Channel {
    /// SMTP.
    Email,
    /// MQTT.
    Mqtt,
    /// A signed HTTP POST.
    Webhook,
    /// A command of this machine: a modem, a siren.
    Command,
}

/// One notice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Notice {
    /// Counts up from 1; a repeat after a crash keeps its number.
    pub number: u64,
    /// When it was decided.
    pub at: Timestamp,
    /// What it is about.
    pub kind: NoticeKind,
    /// Names what caused it: one cause, one message.
    pub cause: String,
    /// The drum, where it is about one.
    pub drum: Option<Id>,
    /// How soon.
    pub priority: Priority,
    /// The notice that it replaces.
    pub replaces: Option<u64>,
    /// Who is told.
    pub to: Audience,
    /// How it calls people; `None`: it doesn't, or can wait until the next visit.
    #[serde(default)]
    pub calling: Option<Box<Calling>>,
    /// Who has the night, where the site asks for that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tonight: Option<OnTonight>,
    /// All facts that the sentences need.
    pub content: Content,
}

impl Notice {
    /// Whether an answer to it means something.
    #[must_use]
    pub fn asks(&self) -> bool {
        let test = matches!(self.content, Content::TestCall(handover::TestCall::Asked { .. }));
        self.kind.calls() || self.asks_for_the_night() || test
    }

    /// Whether whoever answers it has the night.
    #[must_use]
    pub fn asks_for_the_night(&self) -> bool {
        match &self.content {
            Content::EveningCheck(check) => check.confirm_by.is_some(),
            Content::Handover(_) => true,
            Content::Runout(_)
            | Content::Withdrawn(_)
            | Content::LevelDoubt(_)
            | Content::ReadingsMissing(_)
            | Content::Failure(_)
            | Content::Query(_)
            | Content::Undelivered(_)
            | Content::Unattended(_)
            | Content::TestCall(_)
            | Content::Morning(_) => false,
        }
    }
}

/// "I'm on it": stops calls for a notice until then, not the calculation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// The number of the notice.
    pub notice: u64,
    /// By whom.
    pub by: Option<String>,
    /// When it arrived.
    pub at: Timestamp,
    /// By when they will be there, where they said so.
    #[serde(default)]
    pub there_by: Option<Timestamp>,
}
