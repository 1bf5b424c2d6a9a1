//! What the page asks of the engine: how the room stands, one notice, and to keep what somebody writes down.

use std::collections::BTreeMap;

use tokio::sync::oneshot;

use claymark_notice::glance::Glance;
use claymark_notice::register::Standing;
use claymark_store::batch::Issued;

use crate::pipeline::AgainstEntry;

/// A question to the engine; whoever doesn't wait for the answer any more isn't missed.
#[derive(Debug)]
pub enum PageAsk {
    /// How the room stands.
    Room(oneshot::Sender<RoomNow>),
    /// One notice, and what an answer to it would come to.
    Notice(u64, oneshot::Sender<Option<NoticeNow>>),
    /// A field-log entry, as it would come on `<prefix>/log`.
    Write(Vec<u8>, oneshot::Sender<WriteOutcome>),
}

/// How the room stands, and the first lines of what people were told of it.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomNow {
    /// As facts.
    pub glance: Glance,
    /// By number, as far as they are known.
    pub said: BTreeMap<u64, String>,
}

/// A notice as people got it.
#[derive(Debug, Clone, PartialEq)]
pub struct NoticeNow {
    /// It.
    pub issued: Issued,
    /// What an answer to it would come to.
    pub standing: Standing,
}

/// What became of something that was written down on the page.
#[derive(Debug, Clone, PartialEq)]
pub enum WriteOutcome {
    /// It is on the disk.
    Kept,
    /// It wasn't taken.
    NotTaken(AgainstEntry),
}
