//! The files of a store: the database, and the two that SQLite keeps beside it while it is written.

use std::ffi::OsString;
use std::fs::{self, Metadata};
use std::io::{self, ErrorKind};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

/// Which files they were when they were opened: device and inode of each.
///
/// A file that is deleted or replaced under an open database takes all that is written afterwards with it, and no
/// write ever fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Opened {
    database: File,
    log: File,
    index: File,
}

type File = Option<(u64, u64)>;

/// Whether the files are still those that were opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenFiles {
    /// They are.
    AsOpened,
    /// The database is, what stands beside it isn't: the newest data are reached through the open files only.
    LogGone,
    /// The database itself was deleted, moved or replaced.
    Gone,
    /// It is shorter than it was.
    Cut,
}

impl Opened {
    /// As the files are now.
    pub(crate) fn at(path: &Path) -> Self {
        Self {
            database: identity(path),
            log: identity(&beside(path, LOG)),
            index: identity(&beside(path, INDEX)),
        }
    }

    /// Takes away what stands beside the database, where that is what was opened and the database isn't: a fresh one at
    /// its place would take that log for its own, and spoil what the open files still hold. What `holds_data` gets
    /// another name instead.
    pub(crate) fn clear(&self, path: &Path, holds_data: bool, at: &str) -> io::Result<()> {
        if self.standing(path) != OpenFiles::Gone {
            return Ok(());
        }
        for (ending, opened) in [(LOG, self.log), (INDEX, self.index)] {
            let file = beside(path, ending);
            if opened.is_some() && identity(&file) == opened {
                if holds_data && ending == LOG {
                    fs::rename(&file, beside(&file, &format!(".left-{at}")))?;
                } else {
                    fs::remove_file(&file)?;
                }
            }
        }
        Ok(())
    }

    /// How the files stand now.
    pub(crate) fn standing(&self, path: &Path) -> OpenFiles {
        let now = Self::at(path);
        if now.database != self.database {
            OpenFiles::Gone
        } else if now == *self {
            OpenFiles::AsOpened
        } else {
            OpenFiles::LogGone
        }
    }
}

/// Gives the store at `path` another name that tells when it was put aside, and says which. The next open makes a
/// fresh one in its place.
pub fn put_aside(path: &Path, at: Timestamp) -> io::Result<PathBuf> {
    let aside = free_name(path, at);
    fs::rename(path, &aside)?;
    match fs::rename(beside(path, LOG), beside(&aside, LOG)) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
        Ok(()) | Err(_) => {}
    }
    match fs::remove_file(beside(path, INDEX)) {
        Err(error) if error.kind() != ErrorKind::NotFound => Err(error),
        Ok(()) | Err(_) => Ok(aside),
    }
}

/// Whether a store of ours was ever written at `path`: its lock file stays.
#[must_use]
pub fn was_ours(path: &Path) -> bool {
    beside(path, LOCK).exists()
}

/// What lies at `path` is somebody else's: no lock file of ours stays beside it.
pub(crate) fn disown(path: &Path) {
    fs::remove_file(beside(path, LOCK)).ok();
}

/// The file that stands beside the database under its name and `ending`.
pub(crate) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

fn free_name(path: &Path, at: Timestamp) -> PathBuf {
    let name = beside(path, &format!(".damaged-{}", at.strftime("%Y%m%dT%H%M%SZ")));
    (1_u32..)
        .map(|copy| if copy == 1 { name.clone() } else { beside(&name, &format!("-{copy}")) })
        .find(|name| !name.exists())
        .unwrap_or(name)
}

/// Bytes.
pub(crate) fn length(path: &Path) -> u64 {
    fs::metadata(path).map_or(0, |found| found.len())
}

fn identity(path: &Path) -> File {
    fs::metadata(path).ok().map(|found: Metadata| (found.dev(), found.ino()))
}

/// SQLite's write-ahead log.
pub(crate) const LOG: &str = "-wal";
/// SQLite's index of it, shared between processes.
pub(crate) const INDEX: &str = "-shm";
/// Ours.
pub(crate) const LOCK: &str = ".lock";
