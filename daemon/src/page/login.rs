//! Logging in and out, and a screen that comes with its token.

use askama::Template;
use axum::extract::{Extension, Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::{LOCATION, SET_COOKIE};
use axum::response::{Html, IntoResponse, Response};
use jiff::SignedDuration;
use serde::Deserialize;

use claymark_words::page as words;

use super::look::{self, NotShown};
use super::porter::NotLoggedIn;
use super::sessions::UNUSED;
use super::visitor::{KnownBy, OwnForm, Visitor};
use super::{Desk, UsersNow};
use crate::users::secret;

/// What the browser keeps, by which names.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cookies {
    /// Of whoever is logged in.
    pub(super) session: &'static str,
    /// Of a screen.
    pub(super) screen: &'static str,
    /// Of whoever is about to log in.
    pub(super) before: &'static str,
    secure: bool,
}

impl Cookies {
    /// Over HTTPS by names that no other host and no plain connection can set (RFC 6265bis, `__Host-`; from memory).
    pub(super) fn new(secure: bool) -> Self {
        match secure {
            true => {
                Self { session: "__Host-claymark", screen: "__Host-screen", before: "__Host-before", secure }
            }
            false => Self { session: "claymark", screen: "screen", before: "before", secure },
        }
    }

    /// One to keep for so long.
    fn keep(self, name: &str, value: &str, lasts: SignedDuration) -> String {
        let seconds = lasts.as_secs();
        let secure = if self.secure { "; Secure" } else { "" };
        format!("{name}={value}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict{secure}")
    }
}

#[derive(Template)]
#[template(path = "login.html")]
struct LoginPart {
    says: Option<String>,
    name: String,
    to: String,
    csrf: String,
    /// Somebody may be logged in, and came by a link of another page.
    goes_on: bool,
}

/// Where to, once somebody is logged in.
#[derive(Deserialize)]
pub(super) struct WhereTo {
    #[serde(default)]
    to: String,
}

/// `GET /login`
pub(super) async fn ask(
    State(desk): State<Desk>,
    Extension(visitor): Extension<Visitor>,
    Query(WhereTo { to }): Query<WhereTo>,
) -> Result<Response, NotShown> {
    let to = local(&to);
    if visitor.who != KnownBy::Nobody && visitor.who != KnownBy::Screen {
        return Ok(go(&to));
    }
    let says = matches!(&**desk.users.borrow(), UsersNow::Unknown).then(|| words::users_unknown().to_owned());
    form(&desk, visitor, (StatusCode::OK, says), (String::new(), to))
}

/// `POST /login`
pub(super) async fn log_in(
    State(desk): State<Desk>,
    OwnForm { visitor, mut fields }: OwnForm,
) -> Result<Response, NotShown> {
    let users = desk.users.borrow().clone();
    let (name, password) =
        (fields.remove("name").unwrap_or_default(), fields.remove("password").unwrap_or_default());
    let to = local(fields.get("to").map(String::as_str).unwrap_or_default());
    if visitor.who == KnownBy::Anybody {
        return Ok(go(&to));
    }
    let UsersNow::Known(users) = &*users else {
        let says = Some(words::users_unknown().to_owned());
        return form(&desk, visitor, (StatusCode::SERVICE_UNAVAILABLE, says), (name, to));
    };
    let (clock, typed) = (desk.clock.clone(), (name.trim(), password));
    match desk.porter.log_in(users, typed, (visitor.from, || clock.steady())).await {
        Ok(token) => {
            let cookies = desk.cookies();
            let kept = cookies.keep(cookies.session, &token, UNUSED);
            Ok(with_cookie(go(&to), &kept))
        }
        Err(why) => {
            let (status, says) = match why {
                NotLoggedIn::Wrong => (StatusCode::FORBIDDEN, words::not_you().to_owned()),
                NotLoggedIn::Wait(pause) => (StatusCode::TOO_MANY_REQUESTS, words::wait(pause)),
                NotLoggedIn::Busy => (StatusCode::SERVICE_UNAVAILABLE, words::many_at_once().to_owned()),
            };
            form(&desk, visitor, (status, Some(says)), (name, to))
        }
    }
}

/// `POST /logout`
pub(super) async fn log_out(State(desk): State<Desk>, OwnForm { visitor, .. }: OwnForm) -> Response {
    if let Some(token) = &visitor.cookie {
        desk.porter.log_out(token);
    }
    let cookies = desk.cookies();
    with_cookie(go("/login"), &cookies.keep(cookies.session, "", SignedDuration::ZERO))
}

/// `GET /screen/TOKEN`: from then on that browser is a screen. The token leaves the address bar at once.
pub(super) async fn screen(
    State(desk): State<Desk>,
    Extension(visitor): Extension<Visitor>,
    Path(token): Path<String>,
) -> Response {
    let now = desk.clock.steady();
    let known = match &**desk.users.borrow() {
        UsersNow::NotAsked => return go("/wall"),
        UsersNow::Unknown => false,
        UsersNow::Known(users) => desk.porter.may_guess(visitor.from, now) && users.screen(&token).is_some(),
    };
    if !known {
        desk.porter.wrong_token(visitor.from, now);
        return NotShown::Refused(words::no_such_screen().to_owned()).into_response();
    }
    let cookies = desk.cookies();
    with_cookie(go("/wall"), &cookies.keep(cookies.screen, &token, A_YEAR))
}

/// Whoever must log in first is led there, and back.
pub(super) fn first(path: &str) -> Response {
    let to: String = path
        .bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' => char::from(byte).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect();
    go(&format!("/login?to={to}"))
}

fn form(
    desk: &Desk,
    mut visitor: Visitor,
    (status, says): (StatusCode, Option<String>),
    (name, to): (String, String),
) -> Result<Response, NotShown> {
    let before = visitor.cookie.take().unwrap_or_else(secret::token);
    visitor.cookie = Some(before.clone());
    let goes_on = says.is_none() && to != "/";
    let part = LoginPart { says, name, to, csrf: desk.porter.form_token(&before), goes_on };
    let shown: Html<String> = look::said(desk, &visitor, "Log in", &part)?;
    let cookies = desk.cookies();
    Ok(with_cookie((status, shown).into_response(), &cookies.keep(cookies.before, &before, AN_HOUR)))
}

/// A way of ours: no other machine is led to.
fn local(to: &str) -> String {
    let ours = to.starts_with('/') && !to.starts_with("//") && !to.contains(['\\', '\n', '\r', '\t']);
    if ours && to.is_ascii() && to.len() < 200 { to.to_owned() } else { "/".to_owned() }
}

fn go(to: &str) -> Response {
    (StatusCode::SEE_OTHER, [(LOCATION, to.to_owned())]).into_response()
}

fn with_cookie(mut response: Response, kept: &str) -> Response {
    if let Ok(value) = kept.parse() {
        response.headers_mut().append(SET_COOKIE, value);
    }
    response
}

const AN_HOUR: SignedDuration = SignedDuration::from_hours(1);
const A_YEAR: SignedDuration = SignedDuration::from_hours(365 * 24);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_to_another_machine() {
        for (to, expected) in [
            ("/drum/a", "/drum/a"),
            ("", "/"),
            ("//elsewhere.example.org", "/"),
            ("/\\elsewhere.example.org", "/"),
            ("https://elsewhere.example.org", "/"),
            ("/a\r\nSet-Cookie: x=y", "/"),
            ("/ä", "/"),
        ] {
            assert_eq!(local(to), expected, "{to}");
        }
    }

    #[test]
    fn a_cookie_is_for_this_page_alone() {
        let cookies = Cookies::new(true);
        assert_eq!(
            cookies.keep(cookies.session, "x", SignedDuration::from_mins(1)),
            "__Host-claymark=x; Path=/; Max-Age=60; HttpOnly; SameSite=Strict; Secure"
        );
        let plain = Cookies::new(false);
        assert_eq!(
            plain.keep(plain.session, "x", SignedDuration::from_mins(1)),
            "claymark=x; Path=/; Max-Age=60; HttpOnly; SameSite=Strict"
        );
    }
}
