//! A notice as a line of JSON, keys in a fixed order, whole seconds in UTC: over MQTT, in `replay` and `demo`.

use jiff::Timestamp;
use serde::Serialize;

use claymark_model::id::Id;
use claymark_notice::{Audience, Call, NoticeKind, Priority};
use claymark_store::batch::Issued;

/// The line of a notice as it is sent.
#[must_use]
pub fn notice(issued: &Issued) -> String {
    let notice = &issued.notice;
    let line = NoticeLine {
        number: notice.number,
        at: whole(notice.at),
        kind: notice.kind,
        cause: &notice.cause,
        drum: notice.drum.as_ref(),
        priority: notice.priority,
        replaces: notice.replaces,
        to: match &notice.to {
            Audience::Everyone => None,
            Audience::Only(contacts) => Some(contacts),
        },
        call: notice.calling.as_ref().map(|calling| calling.call),
        be_there_by: notice.calling.as_ref().and_then(|calling| calling.urgency.by()).map(whole),
        subject: &issued.subject,
        text: &issued.text,
    };
    serde_json::to_string(&line).expect("ids, numbers and texts always make JSON")
}

fn whole(time: Timestamp) -> Timestamp {
    Timestamp::from_second(time.as_second()).unwrap_or(time)
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
    /// `null`: everyone.
    to: Option<&'a Vec<Id>>,
    /// Why now; `null`: it calls nobody.
    call: Option<Call>,
    be_there_by: Option<Timestamp>,
    subject: &'a str,
    text: &'a str,
}
