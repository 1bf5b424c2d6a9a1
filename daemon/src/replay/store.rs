//! Outputs gathered into commits large enough that the disk isn't what a replay waits for.

use std::path::PathBuf;

use claymark_store::Writer;
use claymark_store::batch::CommitBatch;

use super::ReplayError;

/// Batches on their way into a store.
pub(super) struct Batches {
    path: PathBuf,
    writer: Writer,
    gathered: CommitBatch,
}

impl Batches {
    pub(super) fn new(path: PathBuf, writer: Writer) -> Self {
        Self { path, writer, gathered: CommitBatch::default() }
    }

    /// Adds `batch`, in order, and commits when enough has come together.
    pub(super) fn push(&mut self, batch: CommitBatch) -> Result<(), ReplayError> {
        let CommitBatch {
            mut readings,
            mut quarantined,
            mut log,
            mut answers,
            mut forecasts,
            mut happenings,
            mut marks,
            mut yields,
            mut notices,
            mut deliveries,
            session_seen,
        } = batch;
        let gathered = &mut self.gathered;
        gathered.readings.append(&mut readings);
        gathered.quarantined.append(&mut quarantined);
        gathered.log.append(&mut log);
        gathered.answers.append(&mut answers);
        gathered.forecasts.append(&mut forecasts);
        gathered.happenings.append(&mut happenings);
        gathered.marks.append(&mut marks);
        gathered.yields.append(&mut yields);
        gathered.notices.append(&mut notices);
        gathered.deliveries.append(&mut deliveries);
        gathered.session_seen = session_seen.or(gathered.session_seen);
        if gathered.readings.len() >= READINGS_PER_COMMIT { self.commit() } else { Ok(()) }
    }

    pub(super) fn finish(mut self) -> Result<(), ReplayError> {
        self.commit()
    }

    fn commit(&mut self) -> Result<(), ReplayError> {
        let batch = std::mem::take(&mut self.gathered);
        let committed = self.writer.commit(&batch);
        committed.map(drop).map_err(|source| ReplayError::Store { path: self.path.clone(), source })
    }
}

const READINGS_PER_COMMIT: usize = 10_000;
