//! The manager's week: from the local store, or from InfluxDB, to PDF, PNG and CSV.
//!
//! In the order in which data flow:
//! - [`command`]: the command line, and which files are written;
//! - [`week`]: an ISO week in the site's time zone;
//! - [`origin`]: the store or InfluxDB, as the command line says;
//! - [`source`]: which of its rows are read;
//! - [`facts`]: what they amount to: pure, no words, no pictures;
//! - [`parts`]: what fails alone, and what goes by which rows;
//! - [`charts`]: pictures of facts as SVG;
//! - [`view`]: words and pictures as the templates read them;
//! - [`glyphs`]: what no font has, by its name;
//! - [`typeset`]: Typst as a library; [`page`] makes the PDF of it, [`picture`] the PNG;
//! - [`sheet`]: daily figures as CSV.
//!
//! This crate knows nothing of MQTT, mail, SQL or Flux.

pub mod charts;
pub mod command;
pub mod facts;
pub mod fonts;
pub mod glyphs;
pub mod origin;
pub mod page;
pub mod parts;
pub mod picture;
pub mod sheet;
pub mod source;
pub mod typeset;
pub mod view;
pub mod week;
