//! Who may ask: whoever sits at this machine, by its own name, and from our own pages where something is changed.
//!
//! A page of the network that is open in a browser of this machine could ask us, too. It names another host, or another
//! origin, and is refused.

use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::header::{HOST, ORIGIN};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::Desk;

/// Lets in who may, and puts on each answer what keeps browsers careful.
pub(super) async fn door(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let refused = refusal(&desk, request.method(), request.headers());
    let stays_open = request.uri().path().starts_with("/live/");
    let mut response = match refused {
        Some(status) => (status, words_of(status)).into_response(),
        None if stays_open => next.run(request).await,
        None => tokio::time::timeout(ANSWERED_WITHIN, next.run(request))
            .await
            .unwrap_or_else(|_late| StatusCode::REQUEST_TIMEOUT.into_response()),
    };
    let headers = response.headers_mut();
    for (name, value) in CAREFUL {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    if !headers.contains_key("cache-control") {
        headers.insert("cache-control", HeaderValue::from_static("no-store"));
    }
    response
}

fn refusal(desk: &Desk, method: &Method, headers: &HeaderMap) -> Option<StatusCode> {
    let host = headers.get(HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    if !is_ours(host, desk.listen.port()) {
        return Some(StatusCode::MISDIRECTED_REQUEST);
    }
    let changes = !matches!(*method, Method::GET | Method::HEAD);
    (changes && !comes_from(headers, host)).then_some(StatusCode::FORBIDDEN)
}

/// Whether a name is one of this machine's for itself.
fn is_ours(host: &str, port: u16) -> bool {
    let Some((name, given)) = host.rsplit_once(':') else { return port == 80 && OUR_NAMES.contains(&host) };
    OUR_NAMES.contains(&name) && given.parse() == Ok(port)
}

/// Whether a form was sent by a page of ours.
fn comes_from(headers: &HeaderMap, host: &str) -> bool {
    let text = |name: &HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    let origin = text(&ORIGIN).and_then(|origin| origin.parse::<Uri>().ok());
    match origin {
        Some(origin) => origin.authority().is_some_and(|authority| authority.as_str() == host),
        None => text(&HeaderName::from_static("sec-fetch-site")) == Some("same-origin"),
    }
}

fn words_of(status: StatusCode) -> &'static str {
    if status == StatusCode::MISDIRECTED_REQUEST {
        "This page answers only at this machine, by the name localhost or 127.0.0.1."
    } else {
        "This didn't come from a page of Claymark, so nothing was changed. Open the page itself and try again there."
    }
}

const OUR_NAMES: [&str; 3] = ["127.0.0.1", "localhost", "[::1]"];

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

/// Longer than any answer of ours takes, a body that trickles in included.
const ANSWERED_WITHIN: Duration = Duration::from_secs(30);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_by_its_own_name_is_answered() {
        for (host, ours) in [
            ("127.0.0.1:8080", true),
            ("localhost:8080", true),
            ("[::1]:8080", true),
            ("localhost", false),
            ("localhost:8081", false),
            ("barn.example.org:8080", false),
            ("127.0.0.1.example.org:8080", false),
            ("", false),
        ] {
            assert_eq!(is_ours(host, 8080), ours, "{host}");
        }
    }

    #[test]
    fn a_form_of_another_page_changes_nothing() {
        let with = |name: &'static str, value: &'static str| {
            let mut headers = HeaderMap::new();
            headers.insert(name, HeaderValue::from_static(value));
            headers
        };
        let host = "localhost:8080";
        assert!(comes_from(&with("origin", "http://localhost:8080"), host));
        assert!(comes_from(&with("sec-fetch-site", "same-origin"), host));
        for (name, value) in [
            ("origin", "https://elsewhere.example.org"),
            ("origin", "http://localhost:8081"),
            ("origin", "null"),
            ("sec-fetch-site", "cross-site"),
            ("accept", "*/*"),
        ] {
            assert!(!comes_from(&with(name, value), host), "{name}: {value}");
        }
    }
}
