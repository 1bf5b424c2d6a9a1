//! A notice as an MQTT message below `<prefix>/notice/<contact>`.

use tokio::sync::oneshot;

use super::Sender;
use super::letter::Letter;
use super::packet::Packet;
use super::schedule::Attempt;
use crate::publish::Request;

/// One attempt: ends when the broker has taken or refused it, however long it is away, or when it is of no use.
pub(super) async fn send(sender: &Sender, letter: &Letter, packet: Packet) -> Attempt {
    let payload = packet.line.into_bytes();
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
        () = sender.clock.sleep_until(letter.notice().of_use_until()) => {
            Attempt::Later("the broker hasn't taken it in all that time".to_owned())
        }
        () = sender.stop.cancelled() => Attempt::Interrupted,
    }
}
