//! What the page says of what was asked for, answered or written down.

use crate::typed;

/// The engine is silent: nothing may look as if it were known.
#[must_use]
pub fn no_answer() -> &'static str {
    "Claymark doesn't answer: nothing is known now. Look at the room yourself, and at the service (claymark status)."
}

/// There is no such thing.
#[must_use]
pub fn nothing_here(what: &str) -> String {
    format!("{what} <a href=\"/\">To the room</a>")
}

/// No page has that address.
#[must_use]
pub fn no_page() -> &'static str {
    "There is no such page."
}

/// No drum has that id.
#[must_use]
pub fn no_drum(id: &str) -> String {
    format!("There is no drum '{}'.", plain(id))
}

/// No notice has that number, or it is long past.
#[must_use]
pub fn no_notice(number: &str) -> String {
    format!("There is no notice '{}', or it is long past.", plain(number))
}

/// An answer must say whose it is.
#[must_use]
pub fn who_is_it() -> &'static str {
    "Nothing was answered: choose who goes, so that the others know."
}

/// It holds, and isn't on the disk yet.
#[must_use]
pub fn taken_not_kept() -> String {
    "It is taken and holds. The disk hasn't kept it yet: should the server stop now it could be lost, so look again in a \
     few minutes."
        .to_owned()
}

/// An entry is on the disk.
#[must_use]
pub fn kept(entry: &str) -> String {
    format!("Written down: {entry}")
}

/// The form was sent before: what it wrote down then, and whether that is the same.
#[must_use]
pub fn sent_before(entry: &str, same: bool) -> String {
    if same {
        return format!("Written down already, and counted once: {entry}");
    }
    format!(
        "Not written down: this form was sent before, and that stands: {entry} If that was wrong, take it back, then open \
         the page anew."
    )
}

/// An entry can hardly be meant.
#[must_use]
pub fn asked(why: &str) -> String {
    format!("Not written down yet. {why} Is it right?")
}

/// An entry can't be taken.
#[must_use]
pub fn refused(why: &str) -> String {
    format!("Not written down: {}. Go back and write it otherwise.", typed::line(why))
}

/// Without it the entry says nothing.
#[must_use]
pub fn figure_missing() -> &'static str {
    "Not written down: the figure is missing. Go back and type it."
}

/// What it is about must be chosen.
#[must_use]
pub fn choose_one() -> &'static str {
    "Not written down: choose what it is about."
}

/// No form of ours sends that.
#[must_use]
pub fn no_such_entry() -> &'static str {
    "Not written down: there is no such entry."
}

/// The figure can't be read, and why.
#[must_use]
pub fn bad_figure(why: &str) -> String {
    format!("Not written down: {}. Go back and type it otherwise.", typed::line(why))
}

/// Amounts aren't below zero.
#[must_use]
pub fn below_zero(typed: &str) -> String {
    format!("Not written down: '{}' can't be: type a number of zero or more.", typed::line(typed))
}

/// What stands in an address may be anything: only letters that mean nothing to a browser.
fn plain(text: &str) -> String {
    let plain: String = typed::line(text).chars().filter(|c| c.is_alphanumeric() || *c == '-').collect();
    crate::names::short(&plain, 32)
}
