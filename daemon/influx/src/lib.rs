//! InfluxDB 2: everything that the store keeps, once more in one place for many rooms.
//!
//! - [`schema`]: the one list of measurements, tags and fields, for writing and for reading;
//! - [`line`]: points as line protocol, checked before they leave;
//! - [`settings`]: where the server is and who we are there;
//! - [`client`]: the server: writes, and questions in Flux.

pub mod client;
pub mod line;
pub mod schema;
pub mod settings;

pub use client::Client;
pub use settings::Settings;
