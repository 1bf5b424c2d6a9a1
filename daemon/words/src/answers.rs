//! What an answer to a notice comes to, where it isn't simply "I'm on it".

use claymark_model::site::Staff;
use claymark_notice::Urgency;
use claymark_notice::register::Standing;
use jiff::Timestamp;

use crate::format::Clock;
use crate::names::short;
use crate::typed;

/// "Notice 4711 doesn't exist. Was 7 meant?"
#[must_use]
pub fn standing(clock: Clock<'_>, notice: u64, standing: &Standing, meant: Option<u64>) -> String {
    let what = match standing {
        Standing::Open => format!("Notice {notice} waits for an answer."),
        Standing::Answered { by, at } => {
            let who =
                by.as_deref().map_or_else(|| "somebody".to_owned(), |name| short(&typed::line(name), 30));
            format!("Notice {notice} was answered already: {who}, {}.", clock.time(*at))
        }
        Standing::Over { at } => format!("Notice {notice} has been over since {}.", clock.time(*at)),
        Standing::CallsNobody => format!("Notice {notice} calls nobody, so it needs no answer."),
        Standing::TooOld => {
            format!("Notice {notice} is long past, or was never sent; nobody is called for it.")
        }
        Standing::Nonexistent => format!("There is no notice {notice}."),
    };
    match meant {
        Some(meant) => format!("{what} Was {meant} meant?"),
        None => what,
    }
}

/// "Kim is on it, notice 7, until 03:15."
#[must_use]
pub fn taken(
    clock: Clock<'_>,
    staff: &Staff,
    (who, notice): (&str, u64),
    urgency: Option<Urgency>,
    there_by: Option<Timestamp>,
) -> String {
    let now = clock.seen_from();
    let needed_by = urgency.and_then(Urgency::by).filter(|by| *by > now);
    if let Some((there_by, needed_by)) =
        there_by.zip(needed_by).filter(|(there_by, needed_by)| there_by > needed_by)
    {
        return format!(
            "{who} will be there by {}, notice {notice}; somebody must be there by {}. Others are called as well.",
            clock.by(there_by),
            clock.by(needed_by)
        );
    }
    let until = there_by.or_else(|| urgency?.answered_until(now, staff));
    match until {
        Some(until) => format!(
            "{who} is on it, notice {notice}. Nobody else is called for it until {}, unless it gets worse.",
            clock.time(until)
        ),
        None => format!("{who} is on it, notice {notice}. Nobody else is called for it."),
    }
}

/// What to do about it.
#[must_use]
pub fn to_do(standing: &Standing, meant: Option<u64>) -> String {
    let nothing = match standing {
        Standing::Answered { .. } => "The first answer stands.",
        Standing::Open
        | Standing::Over { .. }
        | Standing::CallsNobody
        | Standing::TooOld
        | Standing::Nonexistent => "Nothing is silenced by it.",
    };
    format!("{nothing} {}", instead(meant))
}

/// Which notice waits for an answer.
#[must_use]
pub fn instead(meant: Option<u64>) -> String {
    match meant {
        Some(meant) => format!(
            "Notice {meant} is open and nobody is on it: whoever goes answers that one (claymark answer {meant})."
        ),
        None => "No notice waits for an answer now.".to_owned(),
    }
}
