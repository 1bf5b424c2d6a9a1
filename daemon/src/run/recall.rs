//! What the store remembers, told to a new pipeline; whatever of it can be read.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use claymark_model::forecast::Subject;
use claymark_store::batch::{Delivery, Issued};
use claymark_store::{Reader, StoreError};

use super::Settings;
use super::process::Process;
use crate::pipeline::{self, Pipeline};
use crate::publish;

/// What the store remembers.
pub struct Past {
    /// Has been told the past, and is live.
    pub pipeline: Pipeline,
    /// Deliveries that were still to be made.
    pub pending: Vec<(Issued, Delivery)>,
    /// The last time that the broker session is known to have stood.
    pub session_seen: Option<Timestamp>,
    /// Topics of what has left the site file.
    pub gone: Vec<String>,
}

/// Reads the past, off the threads that poll. The watch never waits for a disk that hangs: without a sign of
/// progress for a while it begins without the past, and people are told.
pub async fn recall(process: &Process, settings: &Settings, store: PathBuf) -> Past {
    // One that was put aside already is as damaged as it was.
    let in_use = store == settings.store;
    let answered = Arc::new(AtomicU64::new(0));
    let (read, now, count) = (settings.clone(), process.clock.now(), Arc::clone(&answered));
    let mut work = tokio::task::spawn_blocking(move || read_past(&read, &store, now, count));
    let mut seen = 0;
    let read = loop {
        match tokio::time::timeout(PATIENCE, &mut work).await {
            Ok(read) => break read.map_err(|fault| fault.to_string()),
            Err(_not_yet) if answered.load(Ordering::Relaxed) > seen => {
                seen = answered.load(Ordering::Relaxed)
            }
            Err(_still) => break Err("the disk doesn't answer".to_owned()),
        }
    };
    match read {
        Ok((past, None)) => past,
        Ok((past, Some(trouble))) => {
            tracing::error!("not all of the past can be read, the watch begins with the rest: {trouble}");
            if in_use && matches!(trouble, StoreError::Damaged(_)) {
                process.keeper.damaged(trouble).await;
            }
            past
        }
        Err(why) => {
            tracing::error!("the past can't be read, the watch begins without it: {why}");
            Past::nothing(settings, process.clock.now())
        }
    }
}

impl Past {
    fn nothing(settings: &Settings, now: Timestamp) -> Self {
        let mut pipeline = fresh(settings);
        pipeline.begin_without_past(now);
        Self { pipeline, pending: Vec::new(), session_seen: None, gone: Vec::new() }
    }
}

fn fresh(settings: &Settings) -> Pipeline {
    Pipeline::new(settings.site.clone(), settings.decode.clone(), &settings.notify)
}

fn read_past(
    settings: &Settings,
    store: &Path,
    now: Timestamp,
    answered: Arc<AtomicU64>,
) -> (Past, Option<StoreError>) {
    let opened = match Reader::open(store) {
        Err(error) if error.retry_makes_sense() => Reader::open_alone(store).map_err(|_worse| error),
        opened => opened,
    };
    let reader = match opened {
        Ok(reader) => reader,
        Err(error) => return (Past::nothing(settings, now), Some(error)),
    };
    let mut pipeline = fresh(settings);
    let mut past = reader.recall(pipeline::recalled_since(now));
    let written = reader.session_seen().ok().flatten();
    past.last_notice = past.last_notice.map(|last| last + not_kept(written, now));
    past.readings.count_in(answered);
    let mut trouble = pipeline.recall(now, past);
    let mut or_none = |error: StoreError| {
        trouble.get_or_insert(error);
    };
    let prefix = &settings.intake.prefix;
    let is_gone = |of: &Subject| match of {
        Subject::Drum(drum) => settings.site.drum(drum).is_none(),
        Subject::Supply(pump) => settings.site.drums_of(pump).count() < 2,
    };
    let subjects = reader.forecast_subjects().map_err(&mut or_none).unwrap_or_default();
    let gone = subjects.iter().filter(|of| is_gone(of)).flat_map(|of| publish::topics(prefix, of)).collect();
    let pending = reader.pending_deliveries().map_err(&mut or_none).unwrap_or_default();
    let session_seen = reader.session_seen().map_err(&mut or_none).unwrap_or_default();
    (Past { pipeline, pending, session_seen, gone }, trouble)
}

/// How many numbers may have been given to notices that weren't kept any more: none where the store was written until
/// just now. No number comes twice.
fn not_kept(written: Option<Timestamp>, now: Timestamp) -> u64 {
    if written.is_some_and(|written| now.duration_since(written) < WRITTEN_LATELY) { 0 } else { A_FEW }
}

const WRITTEN_LATELY: SignedDuration = SignedDuration::from_mins(3);
/// The first commit that fails has no more; from then on the clock gives the numbers.
const A_FEW: u64 = 10;

/// A disk that gives nothing for so long hangs.
const PATIENCE: Duration = Duration::from_secs(20);
