//! Starts the tasks: the only place that makes channels and spawns.

use std::path::PathBuf;

use claymark_core::site::Site;

/// Everything that a running daemon needs, as built from a checked site file.
#[derive(Clone)]
pub struct Settings {
    /// The room.
    pub site: Site,
    /// The store's file.
    pub store: PathBuf,
    /// MQTT.
    pub intake: crate::intake::Settings,
    /// Payloads.
    pub decode: crate::decode::Settings,
    /// People.
    pub notify: crate::notify::Settings,
    /// Recordings, when wanted.
    pub record: Option<crate::record::Settings>,
    /// Metrics, when wanted.
    pub metrics: Option<crate::metrics::Settings>,
    /// A `tracing` filter, for instance `info`.
    pub log: String,
}
