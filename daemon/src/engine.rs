//! The pipeline, live: messages in, batches to the store, notices to people, receipts to the broker.

mod snapshot;

pub use snapshot::{Counts, Last, Snapshot};
