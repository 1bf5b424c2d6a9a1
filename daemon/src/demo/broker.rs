//! The demo's broker: inside the process, on a free port of this machine, nothing to install.

use std::collections::HashMap;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::thread;

use rumqttd::{Broker, Config, ConnectionSettings, RouterConfig, ServerSettings};

/// Starts the broker; it ends with the process. The port that it listens on.
pub fn start() -> std::io::Result<u16> {
    // The broker can't say which port it was given, so one is looked for and let go just before.
    let port = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?.local_addr()?.port();
    let mut broker = Broker::new(config(port));
    thread::Builder::new().name("demo broker".to_owned()).spawn(move || {
        if let Err(error) = broker.start() {
            tracing::error!("the demo's broker stopped: {error}");
        }
    })?;
    Ok(port)
}

fn config(port: u16) -> Config {
    let server = |name: &str, port: u16| ServerSettings {
        name: name.to_owned(),
        listen: SocketAddr::from((Ipv4Addr::LOCALHOST, port)),
        tls: None,
        next_connection_delay_ms: 1,
        connections: ConnectionSettings {
            connection_timeout_ms: 10_000,
            max_payload_size: 1 << 21,
            max_inflight_count: 500,
            auth: None,
            external_auth: None,
            dynamic_filters: true,
        },
    };
    Config {
        id: 0,
        router: RouterConfig {
            max_connections: 16,
            max_outgoing_packet_count: 1000,
            max_segment_size: 16 << 20,
            max_segment_count: 8,
            ..RouterConfig::default()
        },
        v4: Some(HashMap::from([("demo".to_owned(), server("demo", port))])),
        ..Config::default()
    }
}
