//! One writer at a time: an operating-system lock that dies with its process.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::Path;

use crate::error::StoreError;
use crate::files;

/// Held as long as it lives; the file stays, which is harmless.
#[derive(Debug)]
pub(crate) struct Lock {
    file: File,
}

impl Lock {
    /// Takes the lock of the store at `store`, or says who has it.
    pub(crate) fn take(store: &Path) -> Result<Self, StoreError> {
        let path = files::beside(store, files::LOCK);
        let wrong = |source| StoreError::LockFile { path: path.clone(), source };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(wrong)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(StoreError::InUse { path: store.to_owned(), process: written_by(&mut file) });
            }
            Err(TryLockError::Error(source)) => return Err(wrong(source)),
        }
        // The number only helps people to find the process; a full disk mustn't keep the daemon from starting.
        file.set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| write!(file, "{}", std::process::id()))
            .ok();
        Ok(Self { file })
    }
}

impl Drop for Lock {
    /// Closing alone isn't enough while a child process that is being started shares the open file.
    fn drop(&mut self) {
        self.file.unlock().ok();
    }
}

fn written_by(file: &mut File) -> Option<u32> {
    let mut text = String::new();
    file.read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}
