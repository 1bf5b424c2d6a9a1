//! Who asks: by a session, by the token of a screen, or anybody where nobody has to log in.

use std::collections::BTreeMap;
use std::net::IpAddr;

use axum::extract::{Extension, Form, FromRequest, FromRequestParts, Request};
use axum::http::{HeaderMap, Method};
use axum::response::{IntoResponse, Response};

use claymark_model::id::Id;
use claymark_model::site::{Contact, Site};
use claymark_words::page as words;

use super::look::NotShown;
use super::{Desk, UsersNow};
use crate::users::PageRole;

/// What a form sends.
pub(super) type Fields = BTreeMap<String, String>;

/// Whoever asks.
#[derive(Debug, Clone)]
pub(super) struct Visitor {
    pub(super) who: KnownBy,
    /// What their browser keeps for us; forms are bound to it.
    pub(super) cookie: Option<String>,
    /// Where they come from.
    pub(super) from: IpAddr,
    /// How bright they want it, as their browser keeps it.
    pub(super) light: Option<String>,
    /// The contact who wrote last, where nobody logs in.
    pub(super) wrote_last: Option<String>,
}

/// By what they are known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum KnownBy {
    /// Nobody has to log in.
    Anybody,
    /// Somebody who has logged in.
    User {
        /// As their login is called.
        name: String,
        /// What they may do.
        role: PageRole,
    },
    /// A screen on a wall.
    Screen,
    /// Somebody who would have to log in.
    Nobody,
}

/// As whom somebody writes and answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SignedAs {
    pub(super) by: String,
    /// Where it is a contact.
    pub(super) contact: Option<Id>,
}

impl From<&Contact> for SignedAs {
    fn from(contact: &Contact) -> Self {
        Self { by: contact.name.clone(), contact: Some(contact.id.clone()) }
    }
}

/// Where a connection comes from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peer(pub(super) IpAddr);

impl Visitor {
    /// Reads who it is from the head of a request.
    pub(super) fn of(desk: &Desk, headers: &HeaderMap, peer: IpAddr) -> Self {
        let cookie = |name: &str| cookie(headers, name).map(str::to_owned);
        let from = if desk.behind.is_empty() { peer } else { forwarded(headers).unwrap_or(peer) };
        let kept = cookie(desk.cookies().session);
        let who = match &**desk.users.borrow() {
            UsersNow::NotAsked => KnownBy::Anybody,
            UsersNow::Unknown => KnownBy::Nobody,
            UsersNow::Known(users) => {
                let now = desk.clock.steady();
                let logged_in = kept.as_ref().and_then(|kept| desk.porter.whose(kept, users, now));
                let token = cookie(desk.cookies().screen).or_else(|| bearer(headers));
                match (logged_in, token) {
                    (Some(account), _) => KnownBy::User { name: account.name, role: account.role },
                    (None, Some(token)) if users.screen(&token).is_some() => KnownBy::Screen,
                    (None, _) => KnownBy::Nobody,
                }
            }
        };
        let cookie_of_forms = match who {
            KnownBy::User { .. } => kept,
            KnownBy::Anybody | KnownBy::Screen | KnownBy::Nobody => cookie(desk.cookies().before),
        };
        Self { who, cookie: cookie_of_forms, from, light: cookie("light"), wrote_last: cookie("who") }
    }

    /// Whether they may do that.
    pub(super) fn may(&self, role: PageRole) -> bool {
        match &self.who {
            KnownBy::Anybody => true,
            KnownBy::User { role: own, .. } => *own >= role,
            KnownBy::Screen => role == PageRole::Look,
            KnownBy::Nobody => false,
        }
    }

    /// By which name they are logged in.
    pub(super) fn name(&self) -> Option<&str> {
        match &self.who {
            KnownBy::User { name, .. } => Some(name),
            KnownBy::Anybody | KnownBy::Screen | KnownBy::Nobody => None,
        }
    }

    /// As whom they write: the contact whose id or name their login has, or by the name of the login. `None`: they say so
    /// themselves.
    pub(super) fn signed(&self, site: &Site) -> Option<SignedAs> {
        let name = self.name()?;
        let same = |known: &str| known.to_lowercase() == name.to_lowercase();
        let contact = site.contacts.iter().find(|c| same(c.id.as_str()) || same(&c.name));
        Some(contact.map_or_else(|| SignedAs { by: name.to_owned(), contact: None }, SignedAs::from))
    }

    /// What their forms carry; empty where nobody logs in, and the origin alone is looked at.
    pub(super) fn form_token(&self, desk: &Desk) -> String {
        match (&self.who, &self.cookie) {
            (KnownBy::Anybody, _) | (_, None) => String::new(),
            (_, Some(cookie)) => desk.porter.form_token(cookie),
        }
    }

    fn sent(&self, desk: &Desk, token: &str) -> bool {
        let theirs = |cookie: &String| desk.porter.is_theirs(cookie, token);
        self.who == KnownBy::Anybody || self.cookie.as_ref().is_some_and(theirs)
    }
}

/// A form that was made for whoever sends it.
pub(super) struct OwnForm {
    pub(super) visitor: Visitor,
    pub(super) fields: Fields,
}

impl FromRequest<Desk> for OwnForm {
    type Rejection = Response;

    async fn from_request(request: Request, desk: &Desk) -> Result<Self, Response> {
        let (mut parts, body) = request.into_parts();
        let visitor = Extension::<Visitor>::from_request_parts(&mut parts, desk).await;
        let Extension(visitor) = visitor.map_err(IntoResponse::into_response)?;
        let form = Form::<Fields>::from_request(Request::from_parts(parts, body), desk).await;
        let Form(fields) = form.map_err(IntoResponse::into_response)?;
        if visitor.sent(desk, fields.get("csrf").map(String::as_str).unwrap_or_default()) {
            return Ok(Self { visitor, fields });
        }
        Err(NotShown::Refused(words::not_your_form().to_owned()).into_response())
    }
}

/// What somebody must be allowed for an address; `None`: nothing.
pub(super) fn needed(method: &Method, path: &str) -> Option<PageRole> {
    let open = matches!(path, "/page.css" | "/page.js" | "/login")
        || ["/answer-by-link/", "/screen/", "/light/"].iter().any(|known| path.starts_with(known));
    if open {
        return None;
    }
    if matches!(*method, Method::GET | Method::HEAD) {
        return Some(PageRole::Look);
    }
    Some(match path {
        "/logout" => PageRole::Look,
        "/log" => PageRole::Log,
        "/answer" | "/decline" => PageRole::Answer,
        _ => PageRole::Set,
    })
}

/// A cookie's value.
fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let all = headers.get_all("cookie").iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';'))
        .find_map(|pair| pair.trim().split_once('=').filter(|(key, _)| *key == name))
        .map(|(_, value)| value)
}

/// For other programs: the token of a screen.
fn bearer(headers: &HeaderMap) -> Option<String> {
    let value = headers.get("authorization")?.to_str().ok()?;
    value.strip_prefix("Bearer ").map(str::to_owned)
}

/// The last address that a proxy has added: what stands before it anybody can write.
fn forwarded(headers: &HeaderMap) -> Option<IpAddr> {
    let line = headers.get_all("x-forwarded-for").iter().next_back()?.to_str().ok()?;
    line.rsplit(',').next()?.trim().parse().ok()
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    #[test]
    fn each_address_needs_its_role_and_what_changes_anything_else_needs_the_highest() {
        let role = |method: Method, path: &str| needed(&method, path);
        for path in [
            "/",
            "/wall",
            "/drum/a",
            "/notice/7",
            "/log",
            "/live/room",
            "/api/v1/room",
            "/answer",
            "/anything",
        ] {
            assert_eq!(role(Method::GET, path), Some(PageRole::Look), "{path}");
        }
        for (path, expected) in [
            ("/logout", PageRole::Look),
            ("/log", PageRole::Log),
            ("/answer", PageRole::Answer),
            ("/decline", PageRole::Answer),
            ("/shelve", PageRole::Set),
            ("/anything", PageRole::Set),
        ] {
            assert_eq!(role(Method::POST, path), Some(expected), "{path}");
        }
        for open in ["/login", "/page.css", "/answer-by-link/7/ann/x", "/screen/x"] {
            assert_eq!(role(Method::GET, open), None, "{open}");
        }
        assert_eq!(role(Method::DELETE, "/log"), Some(PageRole::Log));
    }

    #[test]
    fn of_what_a_proxy_says_only_the_last_address_counts() {
        let mut headers = HeaderMap::new();
        assert_eq!(forwarded(&headers), None);
        headers.append("x-forwarded-for", HeaderValue::from_static("10.0.0.1, 198.51.100.3"));
        assert_eq!(forwarded(&headers), Some("198.51.100.3".parse().unwrap()));
        headers.append("x-forwarded-for", HeaderValue::from_static("192.0.2.9"));
        assert_eq!(forwarded(&headers), Some("192.0.2.9".parse().unwrap()));
        headers.append("x-forwarded-for", HeaderValue::from_static("unknown"));
        assert_eq!(forwarded(&headers), None);
    }

    #[test]
    fn a_cookie_is_found_by_its_whole_name() {
        let mut headers = HeaderMap::new();
        headers.append("cookie", HeaderValue::from_static("xlight=a; light=night;who=ann"));
        assert_eq!((cookie(&headers, "light"), cookie(&headers, "who")), (Some("night"), Some("ann")));
        assert_eq!(cookie(&headers, "ligh"), None);
    }
}
