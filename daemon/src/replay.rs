//! Recorded messages through the whole pipeline, with the recording's clock.
//!
//! The same messages give the same forecasts, notices and rows: nothing here looks at a clock.

mod store;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};
use jiff::Timestamp;

use claymark_model::forecast::Forecast;
use claymark_room::Event;
use claymark_store::{StoreError, Writer};
use claymark_words::doubt;

use crate::pipeline::{Output, Pipeline};
use crate::recording::{self, Recording, RecordingError};
use crate::{notify, run};

/// What is replayed, and where the results go.
pub struct Settings {
    /// As built from the site file.
    pub site: run::Settings,
    /// The recording, compressed if it is called `.zst`.
    pub messages: PathBuf,
    /// The folder for `forecasts.ndjson`, `notices.ndjson` and `claymark.db`.
    pub out: PathBuf,
    /// Messages after it are left out, and deadlines up to it are met; else the last message is the end.
    pub until: Option<Timestamp>,
}

/// What came of a replay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Replayed {
    /// Messages that were fed.
    pub messages: u64,
    /// New readings among them.
    pub readings: u64,
    /// Things that were kept aside.
    pub quarantined: u64,
    /// Forecasts made.
    pub forecasts: u64,
    /// Notices made.
    pub notices: u64,
}

/// Why a replay stopped.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// A file can't be opened, made or written.
    #[error("{path}: {source}")]
    File {
        /// Which.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The recording is faulty.
    #[error("{path}: {source}")]
    Recording {
        /// Which.
        path: PathBuf,
        /// Where and why.
        source: RecordingError,
    },
    /// The results would overwrite a store that isn't the result of a replay.
    #[error("{0} holds a store that doesn't come from a replay; choose another folder for --out")]
    NotOurs(PathBuf),
    /// The store refused.
    #[error("{path}: {source}")]
    Store {
        /// Which.
        path: PathBuf,
        /// What it says.
        source: StoreError,
    },
}

/// Feeds the messages and writes the results.
pub fn replay(settings: Settings) -> Result<Replayed, ReplayError> {
    let Settings { site, messages, out, until } = settings;
    let file = File::open(&messages).map_err(in_file(&messages))?;
    let bar = progress(file.metadata().map_err(in_file(&messages))?.len());
    let faulty = |source| ReplayError::Recording { path: messages.clone(), source };
    let recording =
        Recording::new(bar.wrap_read(file), recording::is_compressed(&messages)).map_err(faulty)?;

    let mut results = Results::create(&out, &site)?;
    let mut pipeline = Pipeline::new(site.site, site.decode, &site.notify);
    let mut replayed = Replayed::default();
    let mut latest = None;
    for message in recording {
        let message = message.map_err(faulty)?;
        if until.is_some_and(|until| message.received_at > until) {
            break;
        }
        if latest.is_none() {
            pipeline.event(message.received_at, Event::GoLive);
        }
        latest = Some(message.received_at);
        pipeline.advance_before(message.received_at);
        pipeline.message(&message);
        results.take(pipeline.take_output(), &mut replayed)?;
    }
    if let Some(end) = until.or(latest).filter(|_| latest.is_some()) {
        pipeline.advance_through(end);
    }
    results.take(pipeline.take_output(), &mut replayed)?;
    results.finish()?;
    bar.finish_and_clear();
    let counters = pipeline.counters();
    Ok(Replayed {
        messages: counters.messages,
        readings: counters.readings,
        quarantined: counters.quarantined.values().sum(),
        ..replayed
    })
}

/// The files that a replay leaves.
struct Results {
    forecasts: LineFile,
    notices: LineFile,
    store: store::Batches,
}

impl Results {
    fn create(out: &Path, site: &run::Settings) -> Result<Self, ReplayError> {
        std::fs::create_dir_all(out).map_err(in_file(out))?;
        let path = out.join("claymark.db");
        make_room(&path, out, &site.store)?;
        let writer = Writer::open(&path, &site.site)
            .map_err(|source| ReplayError::Store { path: path.clone(), source })?;
        Ok(Self {
            forecasts: LineFile::create(out.join(FORECASTS))?,
            notices: LineFile::create(out.join(NOTICES))?,
            store: store::Batches::new(path, writer),
        })
    }

    fn take(&mut self, output: Output, replayed: &mut Replayed) -> Result<(), ReplayError> {
        for forecast in &output.forecasts {
            self.forecasts.push(&forecast_line(forecast))?;
            replayed.forecasts += 1;
        }
        for issued in &output.issued {
            self.notices.push(&notify::line::notice(issued))?;
            replayed.notices += 1;
        }
        self.store.push(output.batch)
    }

    fn finish(self) -> Result<(), ReplayError> {
        self.forecasts.finish()?;
        self.notices.finish()?;
        self.store.finish()
    }
}

/// The line of a forecast, keys in a fixed order, whole seconds in UTC.
#[must_use]
pub fn forecast_line(forecast: &Forecast) -> String {
    serde_json::to_string(&forecast.line(doubt::unknown)).expect("ids, numbers and times always make JSON")
}

/// A file of lines.
struct LineFile {
    path: PathBuf,
    file: BufWriter<File>,
}

impl LineFile {
    fn create(path: PathBuf) -> Result<Self, ReplayError> {
        let file = File::create(&path).map_err(in_file(&path))?;
        Ok(Self { path, file: BufWriter::new(file) })
    }

    fn push(&mut self, line: &str) -> Result<(), ReplayError> {
        writeln!(self.file, "{line}").map_err(in_file(&self.path))
    }

    fn finish(mut self) -> Result<(), ReplayError> {
        self.file.flush().map_err(in_file(&self.path))
    }
}

/// Removes the store of an earlier replay, known by the files beside it, and never another one.
fn make_room(path: &Path, out: &Path, live: &Path) -> Result<(), ReplayError> {
    if !path.exists() {
        return Ok(());
    }
    let is_live = match (path.canonicalize(), live.canonicalize()) {
        (Ok(here), Ok(live)) => here == live,
        (Ok(_), Err(_)) | (Err(_), _) => false,
    };
    if is_live || !out.join(FORECASTS).exists() || !out.join(NOTICES).exists() {
        return Err(ReplayError::NotOurs(path.to_owned()));
    }
    for ending in ["", "-wal", "-shm"] {
        let mut file = path.as_os_str().to_owned();
        file.push(ending);
        let file = PathBuf::from(file);
        if file.exists() {
            std::fs::remove_file(&file).map_err(in_file(&file))?;
        }
    }
    Ok(())
}

/// Hidden when nobody looks.
fn progress(bytes: u64) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg} {wide_bar} {bytes}/{total_bytes}, {eta} left");
    let style = style.expect("the template is fixed and right");
    ProgressBar::new(bytes).with_style(style).with_message("replaying")
}

fn in_file(path: &Path) -> impl FnOnce(std::io::Error) -> ReplayError {
    let path = path.to_owned();
    move |source| ReplayError::File { path, source }
}

/// The file of forecasts in the folder.
pub const FORECASTS: &str = "forecasts.ndjson";
/// The file of notices in the folder.
pub const NOTICES: &str = "notices.ndjson";

#[cfg(test)]
pub(crate) mod tests;
