//! A notice as a signed HTTP POST, for a telephone or chat gateway.
//!
//! The signature covers the time, the id and the body, so that nobody on the way can change the notice or send it once
//! more later on. The id is the same for each try of one notice to one contact: who has it says so, and has it once.

use std::time::Duration;

use jiff::Timestamp;
use ring::hmac;

use super::packet::Packet;
use super::schedule::Attempt;
use crate::post::{self, PostError, Said, WebAddress};

/// Where one contact's notices are posted.
#[derive(Clone, PartialEq, Eq)]
pub struct Webhook {
    /// There.
    pub address: WebAddress,
    /// PEM of the own certificate authority; `None`: the system's roots.
    pub ca_pem: Option<Vec<u8>>,
    /// Known to both sides alone.
    pub secret: String,
}

/// One attempt.
pub(super) async fn send(
    webhook: &Webhook,
    packet: &Packet,
    now: Timestamp,
    on_data: impl Future<Output = ()>,
) -> Attempt {
    let time = now.as_second().to_string();
    let headers = [
        ("Claymark-Time", time.clone()),
        ("Claymark-Id", packet.id.clone()),
        ("Claymark-Signature", signature(&webhook.secret, &time, &packet.id, &packet.body)),
    ];
    let (address, ca) = (&webhook.address, webhook.ca_pem.as_deref());
    let post = post::json(address, ca, &headers, packet.body.clone(), on_data);
    match tokio::time::timeout(PATIENCE, post).await {
        Ok(Ok(said)) => judge(&said),
        Ok(Err(PostError::NotSent(why))) => Attempt::Later(why),
        Ok(Err(PostError::Unanswered(why))) => Attempt::Unanswered(why),
        Err(_elapsed) => Attempt::Unanswered(format!("no answer within {} s", PATIENCE.as_secs())),
    }
}

/// Hex of HMAC-SHA-256 over `time.id.body`.
fn signature(secret: &str, time: &str, id: &str, body: &str) -> String {
    let key = hmac::Key::new(hmac::HMAC_SHA256, secret.as_bytes());
    let tag = hmac::sign(&key, format!("{time}.{id}.{body}").as_bytes());
    tag.as_ref().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What isn't about this notice, a wrong secret or a server in trouble, is mended and tried again.
fn judge(said: &Said) -> Attempt {
    let Said { status, location } = said;
    match status {
        200..=299 => Attempt::Accepted,
        // It has this id already.
        409 => Attempt::Accepted,
        300..=399 => {
            let there = location.as_deref().unwrap_or("another address");
            Attempt::Never(format!("HTTP {status}: it points to {there}, and no redirect is followed"))
        }
        401 | 403 | 404 | 407 | 408 | 425 | 429 | 500..=599 => Attempt::Later(format!("HTTP {status}")),
        _ => Attempt::Never(format!("HTTP {status}")),
    }
}

const PATIENCE: Duration = Duration::from_secs(20);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_signature_changes_with_time_id_body_and_secret() {
        let all = [
            signature("s", "1", "a.7.duty", "{}"),
            signature("t", "1", "a.7.duty", "{}"),
            signature("s", "2", "a.7.duty", "{}"),
            signature("s", "1", "a.8.duty", "{}"),
            signature("s", "1", "a.7.duty", "{ }"),
        ];
        let different: std::collections::BTreeSet<_> = all.iter().collect();
        assert_eq!(different.len(), all.len(), "{all:?}");
        assert!(all.iter().all(|hex| hex.len() == 64));
    }

    #[test]
    fn what_a_receiver_says_decides_whether_it_is_tried_again() {
        let outcome = |status| judge(&Said { status, location: None });
        for status in [200, 204, 409] {
            assert_eq!(outcome(status), Attempt::Accepted, "{status}");
        }
        for status in [401, 403, 404, 429, 500, 503] {
            assert!(matches!(outcome(status), Attempt::Later(_)), "{status}");
        }
        for status in [301, 302, 307, 308, 400, 410, 413] {
            assert!(matches!(outcome(status), Attempt::Never(_)), "{status}");
        }
    }
}
