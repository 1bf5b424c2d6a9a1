//! What arrived and couldn't be used is kept aside with its reason; it never stops the rest.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::id::Id;

/// Why something was kept aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// No sensor claims the topic.
    UnknownTopic,
    /// The payload isn't UTF-8 where text was expected.
    NotUtf8,
    /// The payload is larger than any reading.
    TooLarge,
    /// Not a bare decimal number.
    NotANumber,
    /// NaN or infinite.
    NotFinite,
    /// A number that a 64-bit float can't hold.
    OutOfNumberRange,
    /// Not JSON.
    BadJson,
    /// JSON, but nothing stands at the pointer, or the wrong kind of thing.
    MissingField,
    /// Not a SenML pack (RFC 8428).
    BadSenml,
    /// Not CBOR, or something follows it.
    BadCbor,
    /// A unit that Claymark doesn't know, or of another dimension.
    UnknownUnit,
    /// The payload's time isn't RFC 3339 or SenML time.
    BadTime,
    /// The payload's time is more than 60 s ahead.
    FutureTime,
    /// A retained message without a time of its own isn't a reading.
    RetainedWithoutTime,
    /// Another value for the same sensor and time is already kept.
    Conflict,
    /// Not a field-log entry.
    BadLogEntry,
    /// Not an answer to a notice.
    BadAnswer,
    /// A figure or a text that can't be meant, or that nothing physical can show.
    Impossible,
    /// An answer to a notice that there never was.
    NoSuchNotice,
    /// The store can't hold it.
    NotKept,
}

impl Reason {
    /// Every reason, in the order of the declaration.
    pub const ALL: [Self; 20] = [
        Self::UnknownTopic,
        Self::NotUtf8,
        Self::TooLarge,
        Self::NotANumber,
        Self::NotFinite,
        Self::OutOfNumberRange,
        Self::BadJson,
        Self::MissingField,
        Self::BadSenml,
        Self::BadCbor,
        Self::UnknownUnit,
        Self::BadTime,
        Self::FutureTime,
        Self::RetainedWithoutTime,
        Self::Conflict,
        Self::BadLogEntry,
        Self::BadAnswer,
        Self::Impossible,
        Self::NoSuchNotice,
        Self::NotKept,
    ];
}

/// One thing kept aside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Quarantined {
    /// When it arrived.
    pub received_at: Timestamp,
    /// On which topic.
    pub topic: String,
    /// The sensor that it was meant for, where that is known.
    pub sensor: Option<Id>,
    /// Why.
    pub reason: Reason,
    /// What was found and what was expected, for the person who mends it.
    pub detail: String,
    /// The payload, or its first 64 KiB.
    pub payload: Vec<u8>,
    /// How long the payload was, bytes.
    pub payload_length: usize,
}

/// How much of a payload is kept.
pub const KEPT_PAYLOAD_BYTES: usize = 64 * 1024;
