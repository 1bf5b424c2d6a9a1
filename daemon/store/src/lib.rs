//! The durable local store: one SQLite file, open to the ordinary `sqlite3` tool at any time.
//!
//! In the order in which data flows:
//! - [`batch`]: what one commit carries;
//! - [`writer`]: the one writer; when [`writer::Writer::commit`] returns, all of a batch is on the disk;
//! - [`limits`]: which of the site's water limits the hourly figures count against;
//! - [`reader`]: the recent past for a restart, and ranges for the report;
//! - [`journal`]: what was written and hasn't been forwarded yet;
//! - [`files`]: whether the files are still those that were opened, and how a damaged store is put aside;
//! - [`rescue`]: what is readable of a store that was damaged or taken away goes into a fresh one;
//! - [`error`]: what can go wrong, and whether trying again makes sense.
//!
//! Times are kept in whole milliseconds. The tables are described in `migrations/`; the views ending in
//! `_v` show them for people.

pub mod batch;
pub mod error;
pub mod files;
pub mod journal;
pub mod limits;
pub mod reader;
pub mod rescue;
pub mod writer;

mod columns;
mod lock;
mod schema;

pub use error::StoreError;
pub use reader::{Reader, Recall};
pub use writer::{Committed, Writer};
