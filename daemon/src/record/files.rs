//! The daily files: appended to frame by frame, removed when they are too old.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use super::Settings;

/// The folder, and the file of the day.
pub struct Files {
    settings: Settings,
    open: Option<(Date, File)>,
    failing: bool,
}

/// The day of a file, in UTC: a day of recordings never has 23 or 25 hours.
pub fn day(at: Timestamp) -> Date {
    at.to_zoned_datetime(TimeZone::UTC).date()
}

impl Files {
    /// Opens nothing yet.
    pub fn new(settings: Settings) -> Self {
        Self { settings, open: None, failing: false }
    }

    /// Appends lines as one frame to the file of that day. A disk that refuses is told once; the store
    /// has the readings, only the recording has a gap.
    pub fn append(&mut self, at: Timestamp, lines: &str) {
        match self.try_append(day(at), lines) {
            Ok(()) => self.failing = false,
            Err(error) => {
                self.open = None;
                if !self.failing {
                    let dir = self.settings.dir.display();
                    tracing::error!(
                        "messages can't be recorded in {dir}: {error}; readings are kept all the same"
                    );
                }
                self.failing = true;
            }
        }
    }

    fn try_append(&mut self, day: Date, lines: &str) -> io::Result<()> {
        let frame = zstd::encode_all(lines.as_bytes(), zstd::DEFAULT_COMPRESSION_LEVEL)?;
        let file = match self.open.take() {
            Some((open, file)) if open == day => file,
            _ => {
                self.remove_old(day);
                open(&self.path(day))?
            }
        };
        let (_, file) = self.open.insert((day, file));
        file.write_all(&frame)
    }

    fn path(&self, day: Date) -> PathBuf {
        self.settings.dir.join(format!("{PREFIX}{day}{SUFFIX}"))
    }

    fn remove_old(&self, today: Date) {
        let keep = Span::new().days(i64::from(self.settings.keep_days));
        let Ok(first_kept) = today.checked_sub(keep) else { return };
        let Ok(entries) = fs::read_dir(&self.settings.dir) else { return };
        for entry in entries.flatten() {
            let name = entry.file_name();
            let Some(day) = name.to_str().and_then(day_in_name) else { continue };
            if day < first_kept
                && let Err(error) = fs::remove_file(entry.path())
            {
                tracing::warn!("{} is too old but can't be removed: {error}", entry.path().display());
            }
        }
    }
}

fn day_in_name(name: &str) -> Option<Date> {
    name.strip_prefix(PREFIX)?.strip_suffix(SUFFIX)?.parse().ok()
}

/// Opens a file for appending behind its last whole frame.
fn open(path: &Path) -> io::Result<File> {
    let file = OpenOptions::new().create(true).append(true).open(path)?;
    let content = fs::read(path)?;
    let whole = whole_frames(&content);
    if whole < content.len() {
        let torn = content.len() - whole;
        tracing::warn!(
            "{} ends with {torn} bytes of a frame that was never finished: cut off",
            path.display()
        );
        file.set_len(u64::try_from(whole).unwrap_or(u64::MAX))?;
    }
    Ok(file)
}

/// How many bytes hold whole frames.
fn whole_frames(mut content: &[u8]) -> usize {
    let length = content.len();
    while let Ok(frame) = zstd::zstd_safe::find_frame_compressed_size(content) {
        match content.get(frame..) {
            Some(rest) if frame > 0 => content = rest,
            _ => break,
        }
    }
    length - content.len()
}

const PREFIX: &str = "messages-";
const SUFFIX: &str = ".ndjson.zst";
