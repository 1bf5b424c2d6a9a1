//! "I'm on it": an answer to a notice, as JSON on `<prefix>/answer`.

use serde::Deserialize;

use claymark_core::notice::Answer;
use claymark_core::quarantine::Reason;

use super::{Decoded, Problem, text};
use crate::message::Message;

#[derive(Deserialize)]
struct Sent {
    notice: u64,
    by: Option<String>,
}

/// Reads `{"notice":7,"by":"…"}`; it counts from its arrival.
pub(super) fn decode(message: &Message, decoded: &mut Decoded) {
    let read = text(message).and_then(|json| {
        serde_json::from_str::<Sent>(json).map_err(|fault| {
            let detail = format!("not an answer such as {{\"notice\":7,\"by\":\"Aino\"}}: {fault}");
            Problem::new(Reason::BadAnswer, detail)
        })
    });
    match read {
        Ok(sent) => {
            decoded.answers.push(Answer { notice: sent.notice, by: sent.by, at: message.received_at })
        }
        Err(problem) => decoded.keep_aside(message, None, problem),
    }
}
