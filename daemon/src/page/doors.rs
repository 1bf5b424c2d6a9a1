//! Who may ask: by one of the page's names, from our own pages where something is changed, and as far as their role goes.

use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::header::HOST;
use axum::http::{HeaderName, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use claymark_words::page as words;

use super::Desk;
use super::hand;
use super::look::NotShown;
use super::visitor::{self, KnownBy, Peer, Visitor};
use super::{api, login};

/// Lets in who may, and puts on each answer what keeps browsers careful.
pub(super) async fn door(State(desk): State<Desk>, mut request: Request, next: Next) -> Response {
    let stays_open = request.uri().path().starts_with("/live/");
    let mut response = match admit(&desk, &mut request) {
        Err(refused) => refused,
        Ok(()) if stays_open => next.run(request).await,
        Ok(()) => tokio::time::timeout(ANSWERED_WITHIN, next.run(request))
            .await
            .unwrap_or_else(|_late| StatusCode::REQUEST_TIMEOUT.into_response()),
    };
    let headers = response.headers_mut();
    for (name, value) in CAREFUL {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    if desk.names.are_secure() {
        headers.insert("strict-transport-security", HeaderValue::from_static(STRICT_TRANSPORT));
    }
    if !headers.contains_key("cache-control") {
        headers.insert("cache-control", HeaderValue::from_static("no-store"));
    }
    response
}

#[expect(clippy::result_large_err, reason = "it is the answer, made once for a request and handed on")]
fn admit(desk: &Desk, request: &mut Request) -> Result<(), Response> {
    let (method, headers) = (request.method().clone(), request.headers());
    let host = headers.get(HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    if !desk.names.are_asked(host) {
        return Err((StatusCode::MISDIRECTED_REQUEST, words::not_by_that_name()).into_response());
    }
    let changes = !matches!(method, Method::GET | Method::HEAD);
    if changes && !desk.names.sent(headers, host) {
        return Err((StatusCode::FORBIDDEN, words::not_from_here()).into_response());
    }
    let peer =
        request.extensions().get::<Peer>().map_or(std::net::Ipv4Addr::UNSPECIFIED.into(), |peer| peer.0);
    let visitor = Visitor::of(desk, headers, peer);
    let path = request.uri().path();
    if let Some(role) = visitor::needed(&method, path).filter(|role| !visitor.may(*role)) {
        let for_programs = path.starts_with("/api/") || path.starts_with("/live/");
        return Err(match visitor.who {
            KnownBy::Nobody | KnownBy::Screen if for_programs => api::log_in_first(),
            KnownBy::Nobody if changes => NotShown::Refused(words::log_in_first().to_owned()).into_response(),
            KnownBy::Nobody => login::first(path),
            KnownBy::Anybody | KnownBy::User { .. } | KnownBy::Screen => {
                NotShown::Refused(hand::may_not(&visitor, role)).into_response()
            }
        });
    }
    request.extensions_mut().insert(visitor);
    Ok(())
}

const CAREFUL: [(&str, &str); 5] = [
    (
        "content-security-policy",
        "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self' data:; form-action 'self'; \
         frame-ancestors 'none'; base-uri 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
];

/// A day: whoever takes TLS away again isn't kept out for longer.
const STRICT_TRANSPORT: &str = "max-age=86400";

/// Longer than any answer of ours takes, a body that trickles in included.
const ANSWERED_WITHIN: Duration = Duration::from_secs(30);
