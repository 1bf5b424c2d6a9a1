//! Appends each arriving message to a daily compressed file, kept for some days.

use std::path::PathBuf;

/// Where recordings go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Folder.
    pub dir: PathBuf,
    /// Older files are removed.
    pub keep_days: u16,
}
