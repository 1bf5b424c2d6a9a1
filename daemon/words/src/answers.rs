//! What an answer to a notice comes to, where it isn't simply "I'm on it".

use claymark_notice::register::Standing;

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
