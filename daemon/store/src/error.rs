//! What can go wrong with the store, and whether trying again makes sense.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

/// The store couldn't do what it was asked; nothing of it was done.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// There is no file.
    #[error("there is no store at {}. Check the path; `claymark run` makes the store when it starts", .0.display())]
    Missing(PathBuf),
    /// The file is something else.
    #[error("{} is not a Claymark store. Check the path; it was left as it is", .0.display())]
    Foreign(PathBuf),
    /// The file is no database at all: something else, or a store whose beginning is damaged.
    #[error("{} is no database: a wrong path, or a store whose beginning is damaged. It was left as it is", .0.display())]
    NoDatabase(PathBuf),
    /// A later Claymark made it.
    #[error(
        "{} was written by a newer Claymark (schema {found}; this one knows up to {known}). \
         Install the newer version again; it was left as it is", .path.display()
    )]
    Newer {
        /// The store.
        path: PathBuf,
        /// Its schema version.
        found: i64,
        /// The newest version that this program knows.
        known: i64,
    },
    /// An earlier Claymark made it, and a reader changes nothing.
    #[error(
        "{} was written by an older Claymark (schema {found}; this one needs {known}). \
         Start `claymark run` once with this version: it brings the store up to date", .path.display()
    )]
    Older {
        /// The store.
        path: PathBuf,
        /// Its schema version.
        found: i64,
        /// The version that this program reads.
        known: i64,
    },
    /// Another daemon writes to it.
    #[error(
        "another Claymark{} is already writing to {}. Stop that one first \
         (`systemctl stop claymark`), or give this one a store of its own",
        .process.map(|id| format!(" (process {id})")).unwrap_or_default(), .path.display()
    )]
    InUse {
        /// The store.
        path: PathBuf,
        /// The other's process id, where it could be read.
        process: Option<u32>,
    },
    /// What was written last stands in files beside it that can't be read.
    #[error(
        "{} can be read, but not the newest data in {}-wal beside it. \
         Give read permission to that file and to {}-shm, or read the store as the daemon's user", .0.display(), .0.display(), .0.display()
    )]
    UnreadableLog(PathBuf),
    /// No room on the disk.
    #[error("the disk that holds the store is full. Free some space; Claymark tries again by itself")]
    DiskFull(#[source] rusqlite::Error),
    /// The disk or the folder refused.
    #[error("the store can't be read or written ({0}). Check the disk and the folder's permissions")]
    Disk(#[source] rusqlite::Error),
    /// The lock file couldn't be made.
    #[error("the lock file {} can't be opened ({source}). Check the folder and its permissions", .path.display())]
    LockFile {
        /// The lock file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// What stands beside the database can't be moved out of the way.
    #[error("a file beside {} can't be moved out of the way ({source}). Check the folder and its permissions", .path.display())]
    Beside {
        /// The database.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The thread that writes waits for the disk, and has done so for long.
    #[error("the disk that holds the store doesn't answer. Claymark tries again by itself")]
    Hangs,
    /// The file is damaged.
    #[error(
        "the store is damaged ({0}). `claymark run` puts it aside and begins a fresh one; what can be read is saved over"
    )]
    Damaged(#[source] rusqlite::Error),
    /// The file is shorter than it was.
    #[error("{} was cut off while it was written. `claymark run` puts it aside and begins a fresh one", .0.display())]
    Cut(PathBuf),
    /// A row holds something that this program can't have written.
    #[error("the store holds a {what} that can't be understood: {found}. Keep a copy of it and report this")]
    BadRow {
        /// What kind of thing.
        what: &'static str,
        /// What was found.
        found: String,
    },
    /// A record can't be written as JSON, which no record of ours should cause.
    #[error("a record can't be written as JSON: {0}")]
    Encoding(#[from] serde_json::Error),
    /// Anything else that SQLite says.
    #[error("the store failed: {0}")]
    Sqlite(#[source] rusqlite::Error),
}

impl StoreError {
    /// Whether the same commit may well succeed later without anybody changing the program or the file.
    #[must_use]
    pub fn retry_makes_sense(&self) -> bool {
        match self {
            Self::Hangs
            | Self::DiskFull(_)
            | Self::Disk(_)
            | Self::LockFile { .. }
            | Self::Beside { .. }
            | Self::UnreadableLog(_) => true,
            Self::Missing(_)
            | Self::Foreign(_)
            | Self::NoDatabase(_)
            | Self::Newer { .. }
            | Self::Older { .. }
            | Self::InUse { .. }
            | Self::Damaged(_)
            | Self::Cut(_)
            | Self::BadRow { .. }
            | Self::Encoding(_)
            | Self::Sqlite(_) => false,
        }
    }

    /// What was found, without what to do.
    #[must_use]
    pub fn cause(&self) -> String {
        if let Self::DiskFull(error) | Self::Disk(error) | Self::Damaged(error) | Self::Sqlite(error) = self {
            return error.to_string();
        }
        if matches!(self, Self::NoDatabase(_)) {
            return "its beginning isn't that of a database".to_owned();
        }
        if matches!(self, Self::Cut(_)) {
            return "its file is shorter than it was: somebody or something cut it off".to_owned();
        }
        self.to_string()
    }

    /// Whether what was opened can never be written again, although a store that is opened anew can.
    #[must_use]
    pub fn is_for_good(&self) -> bool {
        let (Self::Disk(error) | Self::Damaged(error)) = self else { return false };
        matches!(
            error.sqlite_error_code(),
            Some(ErrorCode::ReadOnly | ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase)
        ) || error
            .sqlite_error()
            .is_some_and(|error| error.extended_code == rusqlite::ffi::SQLITE_IOERR_SHORT_READ)
    }

    /// Whether one record of a batch is to blame, which no later try will keep: the others can be.
    #[must_use]
    pub(crate) fn blames_a_record(&self) -> bool {
        !self.retry_makes_sense()
            && (matches!(self, Self::Encoding(_) | Self::BadRow { .. })
                || matches!(self, Self::Sqlite(error) if of_a_value(error)))
    }

    /// Whether one row can't be understood, while the others can be.
    #[must_use]
    pub(crate) fn is_of_one_row(&self) -> bool {
        matches!(self, Self::BadRow { .. }) || matches!(self, Self::Sqlite(error) if of_a_value(error))
    }

    /// As [`StoreError::from`], but a file that SQLite doesn't take for a database is told as that.
    pub(crate) fn while_opening(path: &Path, error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => Self::NoDatabase(path.to_owned()),
            _ => error.into(),
        }
    }
}

/// Whether a value can't be turned into SQLite's, or back, or a column refuses it.
fn of_a_value(error: &rusqlite::Error) -> bool {
    let code = error.sqlite_error_code();
    matches!(code, Some(ErrorCode::ConstraintViolation | ErrorCode::TooBig | ErrorCode::TypeMismatch))
        || matches!(
            error,
            rusqlite::Error::ToSqlConversionFailure(_)
                | rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::InvalidColumnType(..)
                | rusqlite::Error::Utf8Error(..)
        )
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::DiskFull(error),
            Some(
                ErrorCode::SystemIoFailure
                | ErrorCode::CannotOpen
                | ErrorCode::ReadOnly
                | ErrorCode::PermissionDenied
                | ErrorCode::DatabaseBusy
                | ErrorCode::DatabaseLocked
                | ErrorCode::FileLockingProtocolFailed
                | ErrorCode::OutOfMemory,
            ) => Self::Disk(error),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged(error),
            _ => Self::Sqlite(error),
        }
    }
}
