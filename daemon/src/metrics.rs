//! Counters and gauges for a monitoring system, in OpenMetrics text.

use std::net::SocketAddr;

/// Where they are served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// A loopback address.
    pub listen: SocketAddr,
}
