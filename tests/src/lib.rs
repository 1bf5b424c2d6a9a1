//! What the tests against real parts share; the tests themselves are in `tests/`.
//!
//! - [`broker`], [`binary`], [`mqtt`], [`site`]: a real broker, our programs, MQTT clients, a small site;
//! - [`shim`]: a disk that hangs, fails or lies and a clock that is set, under the real program; [`barn`]: a
//!   whole barn server on them;
//! - [`hostile`]: messages from the edges of every field;
//! - [`mail`]: a real mail server; [`imap`]: a real mailbox; [`receiver`]: of webhooks, as shipped; [`certificates`]: for all of them;
//! - [`flux_server`]: plays the part of InfluxDB 2;
//! - [`metrics`]: the page for a monitoring system; [`outside`]: who takes signs of life;
//! - [`victoria`]: a real time-series server that takes InfluxDB's writes;
//! - [`wait`]: waiting for a thing with a deadline;
//! - [`oracle`]: asks the reference libraries that `tests/run` installs;
//! - [`river`]: nine months of a real river's readings, with what technicians said of them;
//! - [`season`]: simulated hatchery seasons with their truth; [`contest`]: forecasts of the same messages, scored;
//! - [`story`]: a room in which things go wrong, as recorded messages.

pub mod barn;
pub mod binary;
pub mod broker;
pub mod certificates;
pub mod contest;
pub mod flux_server;
pub mod hostile;
pub mod imap;
pub mod mail;
pub mod metrics;
pub mod mqtt;
pub mod oracle;
pub mod outside;
pub mod receiver;
pub mod river;
pub mod season;
pub mod shim;
pub mod site;
pub mod story;
pub mod victoria;
pub mod wait;
pub mod web;
