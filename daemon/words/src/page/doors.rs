//! What the page says of who may look, write down, answer and set.

use crate::format;
use crate::names::short;
use crate::typed;
use jiff::SignedDuration;

/// The name or the password is another one; it isn't said which.
#[must_use]
pub fn not_you() -> &'static str {
    "Not logged in: there is no such name with that password."
}

/// Too many wrong ones came before.
#[must_use]
pub fn wait(pause: SignedDuration) -> String {
    let pause = SignedDuration::from_secs(pause.as_secs() + 1);
    format!(
        "Not logged in: wait {} after so many wrong passwords, then try once more. The link in a message needs no password.",
        format::duration(pause)
    )
}

/// Others log in at this moment, or guess.
#[must_use]
pub fn many_at_once() -> &'static str {
    "Not logged in: too many try at once. Try again in a moment. The link in a message needs no password."
}

/// The users' file went away or was spoilt while the page was served.
#[must_use]
pub fn users_unknown() -> &'static str {
    "Nobody can log in now: the users' file can't be read. The journal says why. The link in a message needs no password."
}

/// Whoever is logged in may not do that.
#[must_use]
pub fn may_not(name: &str, what: &str) -> String {
    format!("Nothing was changed: {} may not {what} here. Ask whoever made your login.", typed::name(name))
}

/// Nobody is logged in any more.
#[must_use]
pub fn log_in_first() -> &'static str {
    "Nothing was changed: you aren't logged in any more. Log in, then go back and send it again."
}

/// A form that wasn't made for whoever sends it.
#[must_use]
pub fn not_your_form() -> &'static str {
    "Nothing was changed: this form is old, or isn't yours. Open the page anew and try again there."
}

/// The name of another machine, or of none.
#[must_use]
pub fn not_by_that_name() -> &'static str {
    "This page doesn't answer by that name. At its own machine it is localhost or 127.0.0.1; for others [page] address says it."
}

/// It came from a page of somebody else.
#[must_use]
pub fn not_from_here() -> &'static str {
    "This didn't come from a page of Claymark, so nothing was changed. Open the page itself and try again there."
}

/// A screen whose token isn't known.
#[must_use]
pub fn no_such_screen() -> &'static str {
    "No screen has that token. Make one: claymark user wall NAME."
}

/// "as Aino".
#[must_use]
pub fn signed_as(name: &str) -> String {
    short(&typed::name(name), SHOWN)
}

/// A link that answers nothing any more, or never did.
#[must_use]
pub fn link_over() -> &'static str {
    "This link answers nothing: its notice has been over for more than an hour, or the link isn't whole. Nothing was changed."
}

/// What may be done, for a sentence with "may not".
#[must_use]
pub fn deed_of(role: &str) -> &'static str {
    match role {
        "look" => "look",
        "log" => "write down",
        "answer" => "answer",
        _ => "shelve, or give the night to somebody",
    }
}

const SHOWN: usize = 40;
