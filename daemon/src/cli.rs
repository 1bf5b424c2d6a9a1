//! The command line.

mod failure;

use std::io::{IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

use clap::{Args, Parser, Subcommand};

pub use self::failure::Failure;
use crate::config::{self, Secrets};

/// Keeps watch over a larval rearing room whose water is kept cloudy with clay
///
/// Will each clay drum last until the next visit, and if not, when does it run out and what must be added?
/// Claymark reads the sensors over MQTT, keeps every reading, and tells people in time. It advises only: it
/// switches nothing and is no life-support control.
#[derive(Debug, Parser)]
#[command(version, propagate_version = true, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Say what a site file describes, or every mistake in it and how to mend it
    Check(SiteFile),
}

#[derive(Debug, Args)]
struct SiteFile {
    /// The site file
    #[arg(long, value_name = "FILE", default_value = DEFAULT_SITE_FILE)]
    config: PathBuf,
}

impl Cli {
    /// Does what was asked for.
    pub fn run(self) -> Result<(), Failure> {
        match self.command {
            Command::Check(SiteFile { config }) => check(&config),
        }
    }
}

/// Whoever panics takes the whole process down, after a word in the log: half a daemon is worse than none,
/// and the service manager starts a new one.
pub fn abort_on_panic() {
    std::panic::set_hook(Box::new(|panic| {
        tracing::error!("Claymark has a fault and stops: {panic}");
        let said = writeln!(std::io::stderr(), "Claymark has a fault and stops: {panic}");
        // Nobody is left to hear that stderr is closed.
        drop(said);
        std::process::abort();
    }));
}

fn check(path: &Path) -> Result<(), Failure> {
    let file = config::read(path, Secrets::LookedAt)?;
    let warnings = file.warnings.render(std::io::stderr().is_terminal());
    std::io::stderr().write_all(warnings.as_bytes())?;
    let mut out = std::io::stdout();
    out.write_all(config::describe(&file.settings).as_bytes())?;
    let warned = config::count(file.warnings.len(), "warning");
    writeln!(out, "\n{}: no mistakes, {warned}", path.display())?;
    Ok(())
}

const DEFAULT_SITE_FILE: &str = "/etc/claymark/site.toml";
