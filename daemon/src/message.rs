//! One message as it arrived, without the types of the MQTT library.

use jiff::Timestamp;

/// One message as it arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Full topic.
    pub topic: String,
    /// As sent.
    pub payload: Vec<u8>,
    /// The broker kept it from earlier: without a time of its own it isn't a reading.
    pub retained: bool,
    /// When it arrived.
    pub received_at: Timestamp,
}
