//! What the demo leaves in its folder.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use claymark_store::Reader;

use super::{DemoError, site};
use crate::message::Message;
use crate::{notify, recording, replay};

/// The folder, with the recording that is being written.
pub(super) struct Folder {
    path: PathBuf,
    recording: BufWriter<File>,
}

impl Folder {
    /// Makes the folder, or clears it of what an earlier demo left, and of nothing else.
    pub(super) fn clear(path: PathBuf) -> Result<Self, DemoError> {
        fs::create_dir_all(&path).map_err(in_file(&path))?;
        let store = path.join(STORE);
        let site_file = path.join("site.toml");
        let ours = fs::read_to_string(&site_file).is_ok_and(|text| text.starts_with(site::MARK));
        if !ours && (store.exists() || site_file.exists()) {
            return Err(DemoError::NotOurs(path));
        }
        for name in [STORE, "claymark.db-wal", "claymark.db-shm"] {
            let file = path.join(name);
            if file.exists() {
                fs::remove_file(&file).map_err(in_file(&file))?;
            }
        }
        let messages = path.join("messages.ndjson");
        let recording = File::create(&messages).map_err(in_file(&messages))?;
        Ok(Self { path, recording: BufWriter::new(recording) })
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn store(&self) -> PathBuf {
        self.path.join(STORE)
    }

    pub(super) fn write(&self, name: &str, text: &str) -> Result<PathBuf, DemoError> {
        let file = self.path.join(name);
        fs::write(&file, text).map_err(in_file(&file))?;
        Ok(file)
    }

    pub(super) fn record(&mut self, message: &Message) -> Result<(), DemoError> {
        writeln!(self.recording, "{}", recording::line(message)).map_err(in_file(&self.path))
    }

    /// Forecasts and notices as the store has them; how many notices there are.
    pub(super) fn write_results(&mut self) -> Result<u64, DemoError> {
        self.recording.flush().map_err(in_file(&self.path))?;
        let store = Reader::open(&self.store())?;
        let text = |lines: Vec<String>| lines.into_iter().map(|line| line + "\n").collect::<String>();
        let forecasts = store.forecasts(Timestamp::MIN, Timestamp::MAX)?;
        self.write(replay::FORECASTS, &text(forecasts.iter().map(replay::forecast_line).collect()))?;
        let notices = store.notices(Timestamp::MIN, Timestamp::MAX)?;
        self.write(replay::NOTICES, &text(notices.iter().map(notify::line::notice).collect()))?;
        Ok(u64::try_from(notices.len()).unwrap_or(u64::MAX))
    }
}

fn in_file(path: &Path) -> impl FnOnce(std::io::Error) -> DemoError {
    let path = path.to_owned();
    move |source| DemoError::File { path, source }
}

const STORE: &str = "claymark.db";
