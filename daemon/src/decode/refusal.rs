//! What people sent and can't be taken: kept aside like everything else, and told to them.

use serde_json::Value;

use claymark_clay::bounds::Impossible;
use claymark_model::quarantine::Reason;
use claymark_model::site::Site;
use claymark_notice::query::{About, Query, WhyNot, shown};
use claymark_words::bounds;

use super::{Decoded, Problem};
use crate::message::Message;

/// Why an entry or an answer isn't taken.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Refusal {
    /// It can't be read.
    Unreadable(Problem),
    /// It breaks its form: what is kept aside says it in the words of the reader, what is told in those of people.
    Form(Problem, WhyNot),
    /// It can't be meant.
    Impossible(Impossible),
}

impl Refusal {
    /// By what the reader of the form says; `meant`: what people are told where the form holds, and other things are in it.
    pub(super) fn form(problem: Problem, fault: &serde_json::Error, meant: &str) -> Self {
        let why = if fault.is_data() {
            WhyNot::Unreadable { detail: meant.to_owned() }
        } else {
            WhyNot::Form { line: fault.line(), column: fault.column().max(1) }
        };
        Self::Form(problem, why)
    }
}

impl From<Problem> for Refusal {
    fn from(problem: Problem) -> Self {
        Self::Unreadable(problem)
    }
}

impl From<Impossible> for Refusal {
    fn from(impossible: Impossible) -> Self {
        Self::Impossible(impossible)
    }
}

impl Decoded {
    /// Keeps the message aside, and tells whoever wrote it.
    pub(super) fn refuse(&mut self, site: &Site, message: &Message, refusal: Refusal) {
        let (problem, why) = match refusal {
            Refusal::Unreadable(problem) => {
                let detail = shown(&problem.detail);
                (problem, WhyNot::Unreadable { detail })
            }
            Refusal::Form(problem, why) => (problem, why),
            Refusal::Impossible(what) => {
                let problem = Problem::new(Reason::Impossible, bounds::impossible(site, &what));
                (problem, WhyNot::Impossible { what })
            }
        };
        self.keep_aside(message, None, problem);
        let written = shown(&String::from_utf8_lossy(&message.payload));
        self.queries.push(Query {
            at: message.received_at,
            by: writer(message),
            about: About::NotTaken { written, why },
        });
    }
}

/// Who wrote it, where that much of it can be read.
fn writer(message: &Message) -> Option<String> {
    let sent: Value = serde_json::from_slice(&message.payload).ok()?;
    sent.get("by")?.as_str().map(shown)
}
