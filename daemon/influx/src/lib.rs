//! InfluxDB 2: everything that the store keeps, once more in one place for many rooms.
//!
//! - [`schema`]: the one list of measurements, tags and fields, for writing and for reading;
//! - [`line`]: points as line protocol, checked before they leave;
//! - [`source`]: what the store holds, as points: the journal's next page, or a range again;
//! - [`points`]: each kind of row as points;
//! - `reason`: why something isn't known, as a sentence in a record;
//! - [`send`]: lines to the server, those that it refuses told apart;
//! - [`settings`]: where the server is and who we are there;
//! - [`client`]: the server: writes, and questions in Flux; with TLS through a tunnel in this process;
//! - [`audit`]: whether the server holds what it took;
//! - [`site`]: the site itself, in parts;
//! - [`flux`]: questions, and answers row by row;
//! - [`reader`]: the rows of the store, read back.

pub mod audit;
pub mod client;
mod error;
pub mod flux;
pub mod line;
pub mod points;
pub mod reader;
pub mod schema;
pub mod send;
pub mod settings;
pub mod site;
pub mod source;

mod reason;
mod tunnel;

pub use client::Client;
pub use reader::BucketReader;
pub use settings::Settings;
