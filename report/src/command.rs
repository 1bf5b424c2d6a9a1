//! `claymark-report week`: the command line, and which files are written.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use jiff::Timestamp;

use crate::charts::Undrawn;
use crate::origin::{Opened, Origin, Unopened};
use crate::source::{Source, Unread};
use crate::typeset::Unset;
use crate::view::View;
use crate::week::{BadWeek, Week};
use crate::{page, picture, sheet, source};

/// Makes the manager's weekly report from the local store, or from InfluxDB.
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
    #[command(flatten)]
    origin: Origin,
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
    /// No rows are within reach.
    #[error(transparent)]
    Unopened(#[from] Unopened),
    /// The week was named wrongly.
    #[error(transparent)]
    Week(#[from] BadWeek),
    /// The rows can't be read.
    #[error(transparent)]
    Unread(#[from] Unread),
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
            Self::Unopened(unopened) => unopened.remedy(),
            Self::Week(_) => "Name a week such as 2026-W47, or leave --week out for the last full one.",
            Self::Unread(unread) => unread.remedy(),
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
            Self::Unopened(unopened) if unopened.is_about_the_command() => ExitCode::from(2),
            Self::Week(_) => ExitCode::from(2),
            Self::Unopened(_)
            | Self::Unread(_)
            | Self::Undrawn(_)
            | Self::Unset(_)
            | Self::Sheet(_)
            | Self::Unwritten { .. } => ExitCode::from(1),
        }
    }
}

/// Makes the files; gives their paths.
pub fn run(arguments: &Arguments, now: Timestamp) -> Result<Vec<PathBuf>, Failure> {
    let Task::Week(wanted) = &arguments.task;
    match wanted.origin.open()? {
        Opened::Store(store) => make(&store, wanted, now),
        Opened::Influx(influx) => make(influx.as_ref(), wanted, now),
    }
}

fn make(source: &impl Source, wanted: &Wanted, now: Timestamp) -> Result<Vec<PathBuf>, Failure> {
    let site = source.site()?;
    // Rows that were made by another clock (a replay, the demo) show by themselves how late it is.
    let now = source.last_reading()?.map_or(now, |last| now.max(last));
    let week = match &wanted.week {
        Some(text) => Week::parse(text, &site.time_zone)?,
        None => Week::last_full(now, &site.time_zone)?,
    };
    if week.start() >= now {
        return Err(BadWeek::NotBegun(week.to_string()).into());
    }
    let name = format!("week-{week}");
    let facts = source::facts(source, site, week, now)?;
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
