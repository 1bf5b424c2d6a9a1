//! What the page says of "not me" and of a shelf.

use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::Audience;
use claymark_notice::calling::DeclineFate;
use claymark_notice::query::NotShelved;
use jiff::Timestamp;

use crate::format::Clock;
use crate::names::{self, list, short};
use crate::typed;

/// What "not me" came to.
#[must_use]
pub fn declined(site: &Site, notice: u64, fate: &DeclineFate) -> String {
    let names = |to: &[Id]| list(&to.iter().map(|id| names::contact(site, id)).collect::<Vec<_>>());
    match fate {
        DeclineFate::NextAsked { to: Audience::Only(to) } => {
            format!("Notice {notice}: {} is asked now. Nobody is on it until somebody says so.", names(to))
        }
        DeclineFate::NextAsked { to: Audience::Everyone } => {
            format!("Notice {notice}: everybody is asked now. Nobody is on it until somebody says so.")
        }
        DeclineFate::NobodyElse => format!(
            "Notice {notice}: it is noted, and there is nobody else to ask at once. Calls go on as before: ring somebody yourself."
        ),
        DeclineFate::OthersAsked => {
            format!("Notice {notice}: it is noted. Others have been asked already; nobody is on it yet.")
        }
        DeclineFate::OnIt { by } => {
            let who = by.as_deref().map_or_else(|| "somebody".to_owned(), |by| short(&typed::name(by), 32));
            format!("Notice {notice}: {who} is on it, so nobody else is asked.")
        }
        DeclineFate::NobodyCalled => format!("Notice {notice}: nobody is being called for it now."),
        DeclineFate::NothingStands => {
            format!("Notice {notice}: nothing that calls people stands by that number any more.")
        }
    }
}

/// Only whoever is called can say "not me".
#[must_use]
pub fn nobody_called_so() -> &'static str {
    "Nothing was changed: only somebody whom Claymark calls can say \"not me\". Choose who it is."
}

/// It is shelved.
#[must_use]
pub fn shelved(clock: Clock<'_>, notice: u64, until: Timestamp) -> String {
    format!(
        "Notice {notice} is shelved: nobody is called for it until {}, unless it gets worse. It stands in the evening message.",
        clock.time(until)
    )
}

/// It isn't, and why.
#[must_use]
pub fn not_shelved(notice: u64, why: NotShelved) -> String {
    let why = match why {
        NotShelved::Danger => {
            "what endangers fish can't be shelved: people are called until somebody has promised to come"
        }
        NotShelved::NothingStands => "nothing that calls people stands by that number any more",
        NotShelved::Over => "its end has come already",
    };
    format!("Notice {notice} isn't shelved: {why}.")
}

/// A shelf must say why.
#[must_use]
pub fn why_missing() -> &'static str {
    "Nothing was shelved: write why nobody need be called, so that the others know. Choose until when, too."
}
