//! A notice as an MQTT message below `<prefix>/notice/<contact>`.

use tokio::sync::oneshot;

use super::schedule::Attempt;
use super::{Letter, Sender};
use crate::publish::Request;

/// One attempt: ends when the broker has taken or refused it, however long it is away.
pub(super) async fn send(sender: &Sender, letter: &Letter) -> Attempt {
    let payload = super::line::notice(&letter.issued).into_bytes();
    let topic = format!("{}/notice/{}", sender.settings.prefix, letter.contact);
    let (done, taken) = oneshot::channel();
    let request = Request { topic, payload, retain: false, done };
    let published = async {
        if sender.publish.send(request).await.is_err() {
            return Attempt::Interrupted;
        }
        match taken.await {
            Ok(Ok(())) => Attempt::Accepted,
            Ok(Err(refused)) => Attempt::Never(refused.to_string()),
            Err(_publisher_gone) => Attempt::Interrupted,
        }
    };
    tokio::select! {
        attempt = published => attempt,
        () = sender.stop.cancelled() => Attempt::Interrupted,
    }
}
