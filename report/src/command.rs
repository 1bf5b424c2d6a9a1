//! `claymark-report week`: the command line, and which files are written.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use jiff::Timestamp;
use serde::Deserialize;

use claymark_store::{Reader, StoreError};

use crate::charts::Undrawn;
use crate::typeset::Unset;
use crate::view::View;
use crate::week::{BadWeek, Week};
use crate::{page, picture, sheet, source};

/// Makes the manager's weekly report from the local store.
#[derive(Debug, Parser)]
#[command(version)]
pub struct Arguments {
    #[command(subcommand)]
    task: Task,
}

#[derive(Debug, Subcommand)]
enum Task {
    /// One ISO week: week-2026-W47.pdf, .png and .csv.
    Week(Wanted),
}

/// Which week, from where, to where.
#[derive(Debug, Args)]
struct Wanted {
    /// The site file; only the place of the store is read from it.
    #[arg(long, value_name = "FILE", required_unless_present = "store", conflicts_with = "store")]
    config: Option<PathBuf>,
    /// The store itself.
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
    /// The week, for example 2026-W47; without it, the last full week in the site's time zone.
    #[arg(long, value_name = "WEEK")]
    week: Option<String>,
    /// Where the files go.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The site file can't be read.
    #[error("the site file {path} can't be read: {why}")]
    SiteFile {
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// The site file doesn't say where the store is.
    #[error("the site file {path} doesn't tell where the store is: {why}")]
    NoStorePath {
        /// Which.
        path: PathBuf,
        /// What was found.
        why: toml::de::Error,
    },
    /// The week was named wrongly.
    #[error(transparent)]
    Week(#[from] BadWeek),
    /// The store can't be read.
    #[error("the store can't be read: {0}")]
    Store(#[from] StoreError),
    /// A picture couldn't be drawn.
    #[error(transparent)]
    Undrawn(#[from] Undrawn),
    /// A page couldn't be set.
    #[error(transparent)]
    Unset(#[from] Unset),
    /// The CSV couldn't be written.
    #[error("the daily figures couldn't be written: {0}")]
    Sheet(#[from] csv::Error),
    /// A file can't be written.
    #[error("{path} can't be written: {why}")]
    Unwritten {
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
}

impl Failure {
    /// What to do about it, in a sentence.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::SiteFile { .. } => "Give the site file's path with --config, or the store's with --store.",
            Self::NoStorePath { .. } => "Run `claymark check --config FILE`, or name the store with --store.",
            Self::Week(_) => "Name a week such as 2026-W47, or leave --week out for the last full one.",
            Self::Store(_) => {
                "Check the path and that you may read it; the daemon may go on running meanwhile."
            }
            Self::Undrawn(_) | Self::Unset(_) | Self::Sheet(_) => {
                "This is a mistake in the program: keep the store and tell the developers this text."
            }
            Self::Unwritten { .. } => "Choose a folder that you may write to with --out.",
        }
    }

    /// 2 for a wrong command line or site file, 1 for what failed while running.
    #[must_use]
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::SiteFile { .. } | Self::NoStorePath { .. } | Self::Week(_) => ExitCode::from(2),
            Self::Store(_) | Self::Undrawn(_) | Self::Unset(_) | Self::Sheet(_) | Self::Unwritten { .. } => {
                ExitCode::from(1)
            }
        }
    }
}

/// Makes the files; gives their paths.
pub fn run(arguments: &Arguments, now: Timestamp) -> Result<Vec<PathBuf>, Failure> {
    let Task::Week(wanted) = &arguments.task;
    let store = Reader::open(&store_path(wanted)?)?;
    let site = store.site()?;
    // A store that was filled by another clock (a replay, the demo) shows by itself how late it is.
    let now = store.extent()?.map_or(now, |(_, last)| now.max(last));
    let week = match &wanted.week {
        Some(text) => Week::parse(text, &site.time_zone)?,
        None => Week::last_full(now, &site.time_zone)?,
    };
    if week.start() >= now {
        return Err(BadWeek::NotBegun(week.to_string()).into());
    }
    let name = format!("week-{week}");
    let facts = source::facts(&store, site, week, now)?;
    let view = View::of(&facts)?;
    let files = [("pdf", page::pdf(&view)?), ("png", picture::png(&view)?), ("csv", sheet::csv(&facts)?)];
    let unwritten = |path: &Path| {
        let path = path.to_owned();
        move |why| Failure::Unwritten { path, why }
    };
    fs::create_dir_all(&wanted.out).map_err(unwritten(&wanted.out))?;
    let mut made = Vec::new();
    for (ending, bytes) in files {
        let path = wanted.out.join(format!("{name}.{ending}"));
        fs::write(&path, bytes).map_err(unwritten(&path))?;
        made.push(path);
    }
    Ok(made)
}

/// Where the store is, told or read from the site file; a relative path starts at the site file.
fn store_path(wanted: &Wanted) -> Result<PathBuf, Failure> {
    match (&wanted.store, &wanted.config) {
        (Some(store), _) => Ok(store.clone()),
        (None, Some(config)) => {
            let text =
                fs::read_to_string(config).map_err(|why| Failure::SiteFile { path: config.clone(), why })?;
            let file: SiteFile =
                toml::from_str(&text).map_err(|why| Failure::NoStorePath { path: config.clone(), why })?;
            Ok(config.parent().unwrap_or(Path::new("")).join(file.store.path))
        }
        // The command line asks for one of the two.
        (None, None) => Ok(PathBuf::new()),
    }
}

/// The only part of the site file that the report reads.
#[derive(Debug, Deserialize)]
struct SiteFile {
    store: StoreSection,
}

#[derive(Debug, Deserialize)]
struct StoreSection {
    path: PathBuf,
}
