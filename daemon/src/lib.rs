//! The Claymark daemon: edges around the pure centre.
//!
//! In the order in which a reading travels:
//! - [`config`]: the site file, checked, becomes each module's own settings;
//! - [`clock`]: the one file that reads the clock;
//! - [`intake`]: MQTT in, acknowledged only after the commit; [`publish`]: MQTT out;
//! - [`recording`]: arriving messages as NDJSON lines, written by [`record`], read by [`replay`];
//! - [`decode`]: payloads become readings, field-log entries, answers, or go to quarantine;
//! - [`pipeline`]: decode, quality and room behind one door, without I/O;
//! - [`engine`]: the pipeline live: batches to the store, notices to people, receipts to the broker;
//! - [`keeper`]: the one thread that writes the store; [`snapshot`]: how things stand, for all to see;
//! - [`notify`]: notices by mail, MQTT, webhook and command until they are delivered; [`post`]: one HTTP POST;
//! - [`replies`]: answers by mail, from a mailbox; [`sign_of_life`]: a call to something outside;
//! - [`forward`]: what the store keeps, once more in InfluxDB;
//! - [`metrics`]: counters for a monitoring system; [`service`]: logs, systemd, signals; [`pulse`]: signs of life;
//! - [`run`]: the only place that makes channels and starts tasks;
//! - [`demo`]: an invented hatchery on a stepped clock;
//! - [`say`]: `claymark log` and `claymark answer`, which only publish;
//! - [`ahead`]: a time to come; [`amount`]: a figure with its unit, as people type it; [`suggest`]: what a slip of the fingers was meant for;
//! - [`cli`]: the command line.

pub mod ahead;
pub mod amount;
pub mod cli;
pub mod clock;
pub mod config;
pub mod decode;
pub mod demo;
pub mod engine;
pub mod forward;
pub mod intake;
pub mod keeper;
pub mod message;
pub mod metrics;
pub mod notify;
pub mod page;
pub mod pipeline;
pub mod post;
pub mod publish;
pub mod pulse;
pub mod record;
pub mod recording;
pub mod replay;
pub mod replies;
pub mod run;
pub mod say;
pub mod service;
pub mod sign_of_life;
pub mod snapshot;
mod suggest;
