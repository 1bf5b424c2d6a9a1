//! MQTT 3.1.1: our few packets in the library's types.

use futures_util::{SinkExt, StreamExt};
pub use rumqttc::Codec;
use rumqttc::mqttbytes::Error;
use rumqttc::{
    Connect, ConnectReturnCode, LastWill, Login, Packet, PubAck, Publish, QoS, Subscribe, SubscribeFilter,
    SubscribeReasonCode,
};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio_util::codec::Framed;

use super::plan::{Accepted, ConnectionPlan, Incoming, Outgoing, STOPPED, closed, ended};
use super::{Broken, Delivered, Grant};

/// Says who we are, and waits for the answer. There is no expiry in this protocol: a session that isn't
/// clean stays as long as the broker likes.
pub async fn connect<S: AsyncRead + AsyncWrite + Unpin>(
    socket: S,
    plan: &ConnectionPlan,
) -> Result<(Framed<S, Codec>, Accepted), Broken> {
    let largest = usize::try_from(plan.largest).unwrap_or(usize::MAX);
    let mut framed = Framed::new(socket, Codec { max_incoming_size: largest, max_outgoing_size: usize::MAX });
    let mut connect = Connect::new(&plan.client_id);
    connect.keep_alive = plan.keep_alive_s();
    connect.clean_session = !plan.kept;
    let will = |topic| LastWill::new(topic, STOPPED, QoS::AtLeastOnce, true);
    connect.last_will = plan.status_topic.as_ref().map(will);
    connect.login = plan.login.as_ref().map(|login| Login::new(&login.user, &login.password));
    framed.send(Packet::Connect(connect)).await.map_err(|error| broken(&error))?;
    let answer = framed.next().await.ok_or_else(closed)?.map_err(|error| broken(&error))?;
    let Packet::ConnAck(answer) = answer else {
        return Err(Broken::Lost(format!("the broker answers with {answer:?}")));
    };
    if answer.code != ConnectReturnCode::Success {
        return Err(Broken::Lost(format!("the broker refuses us: {:?}", answer.code)));
    }
    let session_present = answer.session_present;
    Ok((framed, Accepted { session_present, receive_maximum: usize::from(u16::MAX), keep_alive: None }))
}

/// A packet of the broker.
pub fn incoming(packet: Packet) -> Incoming {
    match packet {
        Packet::Publish(Publish { qos: QoS::ExactlyOnce, .. }) => Incoming::Unasked("message of QoS 2"),
        Packet::Publish(publish) => Incoming::Message(Delivered {
            topic: publish.topic,
            payload: Vec::from(publish.payload),
            retained: publish.retain,
            packet: (publish.qos == QoS::AtLeastOnce).then_some(publish.pkid),
        }),
        Packet::PubAck(ack) => Incoming::Taken { packet: ack.pkid, refused: None },
        Packet::SubAck(answer) => Incoming::Granted(answer.return_codes.into_iter().map(grant).collect()),
        Packet::PingResp => Incoming::Pong,
        Packet::Disconnect => Incoming::Goodbye(closed()),
        Packet::Connect(_)
        | Packet::ConnAck(_)
        | Packet::PubRec(_)
        | Packet::PubRel(_)
        | Packet::PubComp(_)
        | Packet::Subscribe(_)
        | Packet::Unsubscribe(_)
        | Packet::UnsubAck(_)
        | Packet::PingReq => Incoming::Unasked("packet"),
    }
}

/// A packet of ours.
pub fn outgoing(packet: Outgoing) -> Packet {
    match packet {
        Outgoing::Subscribe { packet, filters, kept } => {
            let qos = if kept { QoS::AtLeastOnce } else { QoS::AtMostOnce };
            let filters = filters.into_iter().map(|path| SubscribeFilter::new(path, qos));
            let mut subscribe = Subscribe::new_many(filters);
            subscribe.pkid = packet;
            Packet::Subscribe(subscribe)
        }
        Outgoing::Publish { packet, topic, payload, retain } => {
            let mut publish = Publish::new(topic, QoS::AtLeastOnce, payload);
            publish.pkid = packet;
            publish.retain = retain;
            Packet::Publish(publish)
        }
        Outgoing::Acknowledge { packet } => Packet::PubAck(PubAck::new(packet)),
        Outgoing::Ping => Packet::PingReq,
        Outgoing::Disconnect => Packet::Disconnect,
    }
}

/// Why the connection is of no use any more.
pub fn broken(error: &Error) -> Broken {
    if let Error::PayloadSizeLimitExceeded(bytes) = error {
        Broken::TooLarge { bytes: *bytes }
    } else if let Error::Io(error) = error {
        ended(error)
    } else {
        Broken::Lost(error.to_string())
    }
}

fn grant(code: SubscribeReasonCode) -> Grant {
    match code {
        SubscribeReasonCode::Success(QoS::AtMostOnce) => Grant::AtMostOnce,
        SubscribeReasonCode::Success(QoS::AtLeastOnce | QoS::ExactlyOnce) => Grant::AtLeastOnce,
        SubscribeReasonCode::Failure => Grant::Refused("no reason given".to_owned()),
    }
}
