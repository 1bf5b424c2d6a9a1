//! A notice as an MQTT message below `<prefix>/notice/<contact>`.

use serde::Serialize;
use tokio::sync::oneshot;

use claymark_core::id::Id;
use claymark_core::notice::{NoticeKind, Priority};
use jiff::Timestamp;

use super::schedule::Attempt;
use super::{Letter, Sender};
use crate::publish::Request;

/// One attempt: ends when the broker has taken or refused it, however long it is away.
pub(super) async fn send(sender: &Sender, letter: &Letter) -> Attempt {
    let payload = match serde_json::to_vec(&Line::of(letter)) {
        Ok(payload) => payload,
        Err(error) => return Attempt::Never(format!("the notice can't be written as JSON: {error}")),
    };
    let topic = format!("{}/notice/{}", sender.settings.prefix, letter.contact);
    let (done, taken) = oneshot::channel();
    let request = Request { topic, payload, retain: false, done };
    let published = async {
        if sender.publish.send(request).await.is_err() {
            return Attempt::Interrupted;
        }
        match taken.await {
            Ok(Ok(())) => Attempt::Accepted,
            Ok(Err(refused)) => Attempt::Never(refused.to_string()),
            Err(_publisher_gone) => Attempt::Interrupted,
        }
    };
    tokio::select! {
        attempt = published => attempt,
        () = sender.stop.cancelled() => Attempt::Interrupted,
    }
}

/// Keys in this order.
#[derive(Serialize)]
struct Line<'a> {
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

impl<'a> Line<'a> {
    fn of(letter: &'a Letter) -> Self {
        let notice = &letter.issued.notice;
        Self {
            number: notice.number,
            at: notice.at,
            kind: notice.kind,
            cause: &notice.cause,
            drum: notice.drum.as_ref(),
            priority: notice.priority,
            replaces: notice.replaces,
            subject: &letter.issued.subject,
            text: &letter.issued.text,
        }
    }
}
