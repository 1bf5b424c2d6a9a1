//! A notice as a line of JSON, keys in a fixed order, whole seconds in UTC: over MQTT, to a webhook, in `replay` and
//! `demo`.

use jiff::Timestamp;
use serde::Serialize;

use claymark_model::id::Id;
use claymark_notice::{Audience, Call, NoticeKind, Priority};
use claymark_store::batch::Issued;

/// The line of a notice as it is sent.
#[must_use]
pub fn notice(issued: &Issued) -> String {
    json(&NoticeLine::of(issued))
}

/// The same for a webhook, with whom it is for and the short form.
pub(super) fn to_contact(issued: &Issued, contact: &Id, short: &str) -> String {
    json(&ContactLine { contact, short, notice: NoticeLine::of(issued) })
}

/// The line by which a way is tried; with its short form for a webhook.
pub(super) fn to_try(
    contact: &Id,
    at: Timestamp,
    (subject, text): (&str, &str),
    short: Option<&str>,
) -> String {
    let to = vec![contact.clone()];
    let notice = NoticeLine {
        number: 0,
        at: whole(at),
        kind: "test",
        cause: "test",
        drum: None,
        priority: Priority::Morning,
        replaces: None,
        to: Some(&to),
        call: None,
        be_there_by: None,
        subject,
        text,
    };
    match short {
        Some(short) => json(&ContactLine { contact, short, notice }),
        None => json(&notice),
    }
}

fn json(line: &impl Serialize) -> String {
    serde_json::to_string(line).expect("ids, numbers and texts always make JSON")
}

fn whole(time: Timestamp) -> Timestamp {
    Timestamp::from_second(time.as_second()).unwrap_or(time)
}

#[derive(Serialize)]
struct ContactLine<'a, K> {
    contact: &'a Id,
    short: &'a str,
    #[serde(flatten)]
    notice: NoticeLine<'a, K>,
}

#[derive(Serialize)]
struct NoticeLine<'a, K> {
    number: u64,
    at: Timestamp,
    kind: K,
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

impl<'a> NoticeLine<'a, NoticeKind> {
    fn of(issued: &'a Issued) -> Self {
        let notice = &issued.notice;
        Self {
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
        }
    }
}
