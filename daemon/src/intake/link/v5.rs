//! MQTT 5: our few packets in the library's types.

use std::time::Duration;

use futures_util::{SinkExt, StreamExt};
pub use rumqttc::v5::mqttbytes::v5::Codec;
use rumqttc::v5::mqttbytes::v5::{
    Connect, ConnectProperties, ConnectReturnCode, Disconnect, DisconnectReasonCode, Filter, LastWill,
    LastWillProperties, Login, Packet, PingReq, PubAck, PubAckReason, Publish, RetainForwardRule, Subscribe,
    SubscribeReasonCode,
};
use rumqttc::v5::mqttbytes::{Error, QoS};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio_util::codec::Framed;

use super::plan::{Accepted, ConnectionPlan, Incoming, Outgoing, STOPPED, closed, ended};
use super::{Broken, Delivered, Grant};

/// Says who we are, and waits for the answer.
pub async fn connect<S: AsyncRead + AsyncWrite + Unpin>(
    socket: S,
    plan: &ConnectionPlan,
) -> Result<(Framed<S, Codec>, Accepted), Broken> {
    let codec = Codec { max_incoming_size: Some(plan.largest), max_outgoing_size: None };
    let mut framed = Framed::new(socket, codec);
    framed.send(hello(plan)).await.map_err(|error| broken(&error))?;
    let answer = framed.next().await.ok_or_else(closed)?.map_err(|error| broken(&error))?;
    let Packet::ConnAck(answer) = answer else {
        return Err(Broken::Lost(format!("the broker answers with {answer:?}")));
    };
    if answer.code != ConnectReturnCode::Success {
        return Err(Broken::Lost(format!("the broker refuses us: {:?}", answer.code)));
    }
    let properties = answer.properties.as_ref();
    framed.codec_mut().max_outgoing_size = properties.and_then(|all| all.max_packet_size);
    let receive_maximum = properties.and_then(|all| all.receive_max).unwrap_or(u16::MAX);
    let keep_alive = properties.and_then(|all| all.server_keep_alive);
    let accepted = Accepted {
        session_present: answer.session_present,
        receive_maximum: usize::from(receive_maximum),
        keep_alive: keep_alive.map(|seconds| Duration::from_secs(u64::from(seconds))),
    };
    Ok((framed, accepted))
}

/// No topic alias maximum is offered, so the broker may use none: an alias means nothing on the next
/// connection.
fn hello(plan: &ConnectionPlan) -> Packet {
    let mut properties = ConnectProperties::new();
    properties.session_expiry_interval = Some(if plan.kept { plan.session_expiry_s } else { 0 });
    properties.receive_maximum = Some(plan.receive_maximum);
    properties.max_packet_size = Some(plan.largest);
    let connect = Connect {
        keep_alive: plan.keep_alive_s(),
        client_id: plan.client_id.clone(),
        clean_start: !plan.kept,
        properties: Some(properties),
    };
    let delayed = LastWillProperties {
        delay_interval: Some(WILL_DELAY_S),
        payload_format_indicator: None,
        message_expiry_interval: None,
        content_type: None,
        response_topic: None,
        correlation_data: None,
        user_properties: Vec::new(),
    };
    let will = |topic| LastWill::new(topic, STOPPED, QoS::AtLeastOnce, true, Some(delayed));
    let will = plan.status_topic.as_ref().map(will);
    let login = plan.login.as_ref().map(|login| Login::new(&login.user, &login.password));
    Packet::Connect(connect, will, login)
}

/// A packet of the broker.
pub fn incoming(packet: Packet) -> Incoming {
    match packet {
        Packet::Publish(Publish { qos: QoS::ExactlyOnce, .. }) => Incoming::Unasked("message of QoS 2"),
        Packet::Publish(publish) => Incoming::Message(Delivered {
            topic: String::from_utf8_lossy(&publish.topic).into_owned(),
            payload: Vec::from(publish.payload),
            retained: publish.retain,
            packet: (publish.qos == QoS::AtLeastOnce).then_some(publish.pkid),
        }),
        Packet::PubAck(ack) => {
            let taken = matches!(ack.reason, PubAckReason::Success | PubAckReason::NoMatchingSubscribers);
            Incoming::Taken { packet: ack.pkid, refused: (!taken).then(|| format!("{:?}", ack.reason)) }
        }
        Packet::SubAck(answer) => Incoming::Granted(answer.return_codes.into_iter().map(grant).collect()),
        Packet::PingResp(_) => Incoming::Pong,
        Packet::Disconnect(goodbye) => Incoming::Goodbye(left(&goodbye)),
        Packet::Auth(_)
        | Packet::Connect(..)
        | Packet::ConnAck(_)
        | Packet::PubRec(_)
        | Packet::PubRel(_)
        | Packet::PubComp(_)
        | Packet::Subscribe(_)
        | Packet::Unsubscribe(_)
        | Packet::UnsubAck(_)
        | Packet::PingReq(_) => Incoming::Unasked("packet"),
    }
}

/// A packet of ours.
pub fn outgoing(packet: Outgoing) -> Packet {
    match packet {
        Outgoing::Subscribe { packet, filters, kept } => {
            let filters = filters.into_iter().map(|path| Filter {
                path,
                qos: if kept { QoS::AtLeastOnce } else { QoS::AtMostOnce },
                // Retained messages once, not at each reconnect.
                retain_forward_rule: RetainForwardRule::OnNewSubscribe,
                ..Filter::default()
            });
            let mut subscribe = Subscribe::new_many(filters, None);
            subscribe.pkid = packet;
            Packet::Subscribe(subscribe)
        }
        Outgoing::Publish { packet, topic, payload, retain } => {
            let mut publish = Publish::new(topic, QoS::AtLeastOnce, payload, None);
            publish.pkid = packet;
            publish.retain = retain;
            Packet::Publish(publish)
        }
        Outgoing::Acknowledge { packet } => Packet::PubAck(PubAck::new(packet, None)),
        Outgoing::Ping => Packet::PingReq(PingReq),
        Outgoing::Disconnect => {
            Packet::Disconnect(Disconnect::new(DisconnectReasonCode::NormalDisconnection))
        }
    }
}

/// Why the connection is of no use any more.
pub fn broken(error: &Error) -> Broken {
    if let Error::PayloadSizeLimitExceeded { pkt_size, .. } = error {
        Broken::TooLarge { bytes: *pkt_size }
    } else if let Error::Io(error) = error {
        ended(error)
    } else {
        Broken::Lost(error.to_string())
    }
}

fn left(goodbye: &Disconnect) -> Broken {
    if goodbye.reason_code == DisconnectReasonCode::SessionTakenOver {
        Broken::TakenOver
    } else {
        Broken::Lost(format!("the broker ended the connection: {:?}", goodbye.reason_code))
    }
}

fn grant(code: SubscribeReasonCode) -> Grant {
    if let SubscribeReasonCode::Success(granted) = code {
        match granted {
            QoS::AtMostOnce => Grant::AtMostOnce,
            QoS::AtLeastOnce | QoS::ExactlyOnce => Grant::AtLeastOnce,
        }
    } else {
        Grant::Refused(format!("{code:?}"))
    }
}

/// A short break doesn't make the broker say that we have stopped.
const WILL_DELAY_S: u32 = 10;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broker_that_names_another_client_is_understood() {
        let taken = Packet::Disconnect(Disconnect::new(DisconnectReasonCode::SessionTakenOver));
        assert!(matches!(incoming(taken), Incoming::Goodbye(Broken::TakenOver)));
        let down = Packet::Disconnect(Disconnect::new(DisconnectReasonCode::ServerShuttingDown));
        assert!(matches!(incoming(down), Incoming::Goodbye(Broken::Lost(_))));
    }
}
