//! Answers by mail: how to give one, and what is said back.

use claymark_model::site::Staff;
use claymark_notice::Urgency;
use claymark_notice::register::Standing;
use jiff::Timestamp;

use crate::answers;
use crate::format::Clock;
use crate::names::short;
use crate::notice::Wording;
use crate::typed;

/// Why a reply changes nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotTaken {
    /// Its first line doesn't begin with a number and a code.
    NoCode,
    /// The code is another one.
    WrongCode {
        /// The number that was given.
        notice: u64,
    },
    /// What follows the code is no time ahead.
    NoTime {
        /// The notice.
        notice: u64,
        /// As typed.
        typed: String,
    },
    /// The code was used before.
    Used {
        /// The notice.
        notice: u64,
    },
    /// The notice needs no answer of this person.
    Standing {
        /// The notice.
        notice: u64,
        /// How it stands.
        standing: Standing,
        /// The number that was probably meant.
        meant: Option<u64>,
    },
}

/// How to answer a notice by mail, in one line.
#[must_use]
pub fn how(notice: u64, code: &str) -> String {
    match notice {
        0 => format!("Reply with {notice} {code} to say that it has arrived."),
        _ => format!(
            "Reply with {notice} {code} to say you are on it; add a time like 04:30 to say when you will be there."
        ),
    }
}

/// What is said back to whoever is on it now.
#[must_use]
pub fn taken(
    clock: Clock<'_>,
    staff: &Staff,
    (who, notice): (&str, u64),
    urgency: Option<Urgency>,
    there_by: Option<Timestamp>,
) -> Wording {
    let who = short(&typed::name(who), NAME_CHARS);
    let said = answers::taken(clock, staff, (&who, notice), urgency, there_by);
    Wording { subject: format!("Taken: your answer to notice {notice}"), text: format!("{said}\n") }
}

/// What is said back to whoever answered a test.
#[must_use]
pub fn test_answered() -> Wording {
    Wording {
        subject: "Taken: your answer to the test".to_owned(),
        text:
            "Replies from you arrive. A real notice is answered the same way, with its own number and code.\n"
                .to_owned(),
    }
}

/// What is said back when nothing was changed.
#[must_use]
pub fn not_taken(clock: Clock<'_>, why: &NotTaken) -> Wording {
    let (subject, text) = match why {
        NotTaken::NoCode => (
            "Not taken: your reply has no code".to_owned(),
            "The first line of a reply must begin with the number and the code that stand at the end of the message, such as 8 \
             4711. Nothing was changed."
                .to_owned(),
        ),
        NotTaken::WrongCode { notice } => (
            format!("Not taken: the code isn't that of notice {notice}"),
            format!(
                "Nothing was changed, and nobody knows that you are on it. Number and code stand at the end of the message \
                 about notice {notice} that came to you; each person has another code, and so has each message."
            ),
        ),
        NotTaken::NoTime { notice, typed } => (
            format!("Not taken: when will you be there? (notice {notice})"),
            format!(
                "'{}' isn't a time ahead. Nothing was changed, and nobody knows that you are on it. Reply again with number, \
                 code and a time such as 04:30, or without one.",
                short(&typed::line(typed), NAME_CHARS)
            ),
        ),
        NotTaken::Used { notice } => (
            format!("Not needed: you had answered notice {notice}"),
            format!("The code was used, and your first answer to notice {notice} stands. If that changes, ring whoever is next."),
        ),
        NotTaken::Standing { notice, standing, meant } => (
            format!("Not taken: your answer to notice {notice}"),
            format!("{} {}", answers::standing(clock, *notice, standing, None), answers::to_do(standing, *meant)),
        ),
    };
    Wording { subject, text: format!("{text}\n") }
}

const NAME_CHARS: usize = 32;
