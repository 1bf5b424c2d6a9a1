//! MQTT out.
