//! The link in a message: a page with the answer's buttons for one contact and one notice, without logging in.
//!
//! Opening it changes nothing, since mail scanners open what they find. It answers and does nothing else, until an hour
//! after its notice is over. Its token is made from a secret, the contact and the number; it stands nowhere.

use askama::Template;
use axum::extract::{Extension, Form, Path, State};
use axum::response::{IntoResponse, Response};

use claymark_model::site::Contact;
use claymark_words::format::Clock;
use claymark_words::{answers, page as words, typed};

use super::asks::{NoticeNow, PageAsk};
use super::hand::{self, answer};
use super::look::{self, NotShown};
use super::visitor::{Fields, SignedAs, Visitor};
use super::{Desk, view};
use crate::replies::code;
use crate::users::secret;

/// Number, contact, token.
type LinkParts = Path<(u64, String, String)>;

#[derive(Template)]
#[template(path = "link.html")]
struct LinkPart {
    subject: String,
    text: String,
    number: u64,
    at: String,
    name: String,
    /// What stands against an answer.
    over: Option<String>,
    may_answer: bool,
    may_decline: bool,
    action: String,
    key: String,
}

/// `GET /answer-by-link/7/ann/…`
pub(super) async fn look(
    State(desk): State<Desk>,
    Extension(visitor): Extension<Visitor>,
    Path(parts): LinkParts,
) -> Result<Response, NotShown> {
    let (contact, found) = good(&desk, &parts).await?;
    let clock = Clock::new(&desk.site, desk.clock.now());
    let (number, fits) = (parts.0, found.standing.fits());
    let part = LinkPart {
        number,
        at: view::as_of(&desk.site, found.issued.notice.at),
        name: typed::name(&contact.name),
        over: (!fits).then(|| answers::standing(clock, number, &found.standing, None)),
        may_answer: fits,
        may_decline: hand::stands(&found),
        action: format!("/answer-by-link/{number}/{}/{}", contact.id, parts.2),
        key: hand::fresh_key(),
        subject: found.issued.subject,
        text: found.issued.text,
    };
    Ok(look::said(&desk, &visitor, &format!("Notice {number}"), &part)?.into_response())
}

/// `POST` to the same: the button.
pub(super) async fn press(
    State(desk): State<Desk>,
    Extension(visitor): Extension<Visitor>,
    Path(parts): LinkParts,
    Form(fields): Form<Fields>,
) -> Result<Response, NotShown> {
    let (contact, _) = good(&desk, &parts).await?;
    let field = |name: &str| fields.get(name).map(String::as_str).unwrap_or_default();
    let who = SignedAs::from(contact);
    let says = match field("says") {
        "on-it" => answer::promised(&desk, parts.0, &who, field("there_in")).await?,
        "not-me" => answer::declined(&desk, parts.0, &who, field("key")).await?,
        _ => words::no_such_entry().to_owned(),
    };
    let back = format!("/answer-by-link/{}/{}/{}", parts.0, contact.id, parts.2);
    hand::page(&desk, &visitor, hand::plain(says, back))
}

/// Whose link it is and the notice, while it is good.
async fn good<'a>(
    desk: &'a Desk,
    (number, contact, token): &(u64, String, String),
) -> Result<(&'a Contact, NoticeNow), NotShown> {
    let nothing = || NotShown::Refused(words::link_over().to_owned());
    let made_from = desk.links.as_ref().ok_or_else(nothing)?;
    let contact = desk.site.contacts.iter().find(|known| known.id.as_str() == contact).ok_or_else(nothing)?;
    let expected = code::of_link(made_from, &contact.id, *number);
    if !secret::same(expected.as_bytes(), token.as_bytes()) {
        return Err(nothing());
    }
    let found = desk.feed.ask(|to| PageAsk::Notice(*number, to)).await?.ok_or_else(nothing)?;
    let until = found.issued.notice.answered_by_link_until(&found.standing);
    if until.is_some_and(|until| until < desk.clock.now()) {
        return Err(nothing());
    }
    Ok((contact, found))
}
