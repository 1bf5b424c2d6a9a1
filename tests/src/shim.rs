//! A disk that hangs, fails, lies or is full, and a clock that is set: `tests/shim`, preloaded under the real program.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use jiff::SignedDuration;
use tempfile::TempDir;

/// The built library, the folder that lies on its disk, and the files that tell it what to do.
pub struct Shim {
    dir: TempDir,
}

/// What the disk does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Disk {
    /// What a disk should.
    Works,
    /// A sync doesn't return until that changes.
    SyncHangs,
    /// A sync fails with EIO.
    SyncFails,
    /// A sync succeeds and does nothing.
    SyncLies,
    /// Nothing can be made or become longer.
    Full,
    /// Nothing can be written.
    ReadOnly,
}

impl Shim {
    /// Builds it with the system's C compiler; the disk works, the clock is right.
    ///
    /// # Panics
    /// When there is no C compiler, which SQLite needs as well.
    #[must_use]
    pub fn build() -> Self {
        let shim = Self { dir: tempfile::tempdir().expect("a temporary folder can be made") };
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("shim");
        let mut compiler = Command::new("cc");
        compiler.args(["-std=gnu11", "-Wall", "-Wextra", "-Werror", "-O2", "-fPIC", "-shared", "-o"]);
        compiler.arg(shim.library()).arg(source.join("disk.c")).arg(source.join("clock.c")).arg("-ldl");
        assert!(compiler.status().expect("cc is installed").success(), "the shim can't be built");
        fs::create_dir(shim.disk()).expect("writable");
        shim.turn(Disk::Works);
        shim.set_clock_ahead(SignedDuration::ZERO);
        shim
    }

    /// The folder whose files lie on the disk.
    #[must_use]
    pub fn disk(&self) -> PathBuf {
        self.dir.path().join("disk")
    }

    /// From now on the disk does that.
    ///
    /// # Panics
    /// When the real disk refuses.
    pub fn turn(&self, disk: Disk) {
        let word = match disk {
            Disk::Works => "pass",
            Disk::SyncHangs => "hang",
            Disk::SyncFails => "fail",
            Disk::SyncLies => "lie",
            Disk::Full => "full",
            Disk::ReadOnly => "readonly",
        };
        self.tell("order", word);
    }

    /// From now on the clock is so far ahead of this machine's, or behind it; whole seconds.
    ///
    /// # Panics
    /// When the real disk refuses.
    pub fn set_clock_ahead(&self, by: SignedDuration) {
        self.tell("clock", &by.as_secs().to_string());
    }

    /// How far the clock is ahead.
    ///
    /// # Panics
    /// When that was never said.
    #[must_use]
    pub fn clock_ahead(&self) -> SignedDuration {
        let told = fs::read_to_string(self.dir.path().join("clock")).expect("it was told when it was built");
        SignedDuration::from_secs(told.parse().expect("whole seconds"))
    }

    /// Preloads it under a command.
    pub fn under(&self, command: &mut Command) {
        command
            .env("LD_PRELOAD", self.library())
            .env("CLAYMARK_SHIM_DISK", self.disk())
            .env("CLAYMARK_SHIM_ORDER", self.dir.path().join("order"))
            .env("CLAYMARK_SHIM_CLOCK", self.dir.path().join("clock"));
    }

    fn library(&self) -> PathBuf {
        self.dir.path().join("shim.so")
    }

    /// In one step: nobody reads half a word.
    fn tell(&self, file: &str, word: &str) {
        let new = self.dir.path().join(format!("{file}.new"));
        fs::write(&new, word).expect("writable");
        fs::rename(&new, self.dir.path().join(file)).expect("writable");
    }
}
