//! "I'm on it": an answer to a notice, as JSON on `<prefix>/answer`.

use jiff::Timestamp;
use serde::Deserialize;

use claymark_clay::bounds;
use claymark_model::forecast::HORIZON;
use claymark_model::quarantine::Reason;
use claymark_model::site::Site;
use claymark_notice::Answer;

use super::{Decoded, Problem, Refusal, text};
use crate::message::Message;

#[derive(Deserialize)]
#[serde(expecting = "struct Sent")]
struct SentAnswer {
    notice: u64,
    by: Option<String>,
    there_by: Option<Timestamp>,
}

/// Reads `{"notice":7,"by":"…","there_by":"…"}`; it counts from its arrival.
pub(super) fn decode(site: &Site, message: &Message, decoded: &mut Decoded) {
    match answer(message) {
        Ok(answer) if answer.notice == TEST => {
            let detail = "0 answers the test of a contact's ways, and no notice: whoever tries it hears it at the broker";
            decoded.keep_aside(message, None, Problem::new(Reason::NoSuchNotice, detail));
        }
        Ok(answer) => decoded.answers.push(answer),
        Err(refusal) => decoded.refuse(site, message, refusal),
    }
}

fn answer(message: &Message) -> Result<Answer, Refusal> {
    let sent: SentAnswer = serde_json::from_str(text(message)?).map_err(|fault| {
        let meant = "an answer names its notice by number, such as {\"notice\":7,\"by\":\"Aino\"}";
        Refusal::form(Problem::new(Reason::BadAnswer, format!("{meant}: {fault}")), &fault, meant)
    })?;
    if sent.notice != TEST {
        bounds::notice_number(sent.notice)?;
    }
    bounds::name("by", sent.by.as_deref())?;
    let (at, there_by) = (message.received_at, sent.there_by);
    if let Some(there_by) = there_by.filter(|there_by| *there_by <= at || *there_by > at + HORIZON) {
        let detail = format!("there_by {there_by} isn't a time within the next {} h", HORIZON.as_hours());
        return Err(Problem::new(Reason::BadAnswer, detail).into());
    }
    Ok(Answer { notice: sent.notice, by: sent.by, at, there_by })
}

/// The number by which the test of a contact's ways is answered.
const TEST: u64 = 0;
