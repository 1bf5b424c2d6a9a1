//! A notice as a line of JSON, keys in a fixed order, whole seconds in UTC: over MQTT, in `replay` and `demo`.

use jiff::Timestamp;
use serde::Serialize;

use claymark_model::id::Id;
use claymark_notice::{NoticeKind, Priority};
use claymark_store::batch::Issued;

/// The line of a notice as it is sent.
#[must_use]
pub fn notice(issued: &Issued) -> String {
    let notice = &issued.notice;
    let line = NoticeLine {
        number: notice.number,
        at: Timestamp::from_second(notice.at.as_second()).unwrap_or(notice.at),
        kind: notice.kind,
        cause: &notice.cause,
        drum: notice.drum.as_ref(),
        priority: notice.priority,
        replaces: notice.replaces,
        subject: &issued.subject,
        text: &issued.text,
    };
    serde_json::to_string(&line).expect("ids, numbers and texts always make JSON")
}

#[derive(Serialize)]
struct NoticeLine<'a> {
    number: u64,
    at: Timestamp,
    kind: NoticeKind,
    cause: &'a str,
    drum: Option<&'a Id>,
    priority: Priority,
    replaces: Option<u64>,
    subject: &'a str,
    text: &'a str,
}
