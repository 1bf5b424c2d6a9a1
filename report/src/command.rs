//! `claymark-report week`: the command line, and which files are written.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use jiff::Timestamp;

use claymark_words::report::unmade::{self, Part};

use crate::facts::WeekFacts;
use crate::origin::{OpenedRows, Origin, Unopened};
use crate::parts::attempt;
use crate::source::{RowSource, Unread};
use crate::typeset;
use crate::view::View;
use crate::week::{BadWeek, Week};
use crate::{page, picture, sheet, source};

/// Makes the manager's weekly report from the local store, or from InfluxDB.
#[derive(Debug, Parser)]
#[command(version)]
pub struct Arguments {
    #[command(subcommand)]
    task: ReportTask,
}

#[derive(Debug, Subcommand)]
enum ReportTask {
    /// One ISO week: week-2026-W47.pdf, .png and .csv.
    Week(WeekWanted),
}

/// Which week, from where, to where.
#[derive(Debug, Args)]
struct WeekWanted {
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
pub enum NoReport {
    /// No rows are within reach.
    #[error(transparent)]
    Unopened(#[from] Unopened),
    /// The week was named wrongly.
    #[error(transparent)]
    Week(#[from] BadWeek),
    /// Not even the site can be read.
    #[error(transparent)]
    Unread(#[from] Unread),
    /// A file can't be written.
    #[error("{path} can't be written: {why}")]
    Unwritten {
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
}

impl NoReport {
    /// What to do about it, in a sentence.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Unopened(unopened) => unopened.remedy(),
            Self::Week(_) => "Name a week such as 2026-W47, or leave --week out for the last full one.",
            Self::Unread(unread) => unread.remedy(),
            Self::Unwritten { .. } => "Choose a folder that you may write to with --out.",
        }
    }

    /// 2 for a wrong command line or site file, 1 for what failed while running.
    #[must_use]
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::Unopened(unopened) if unopened.is_about_the_command() => ExitCode::from(2),
            Self::Week(_) => ExitCode::from(2),
            Self::Unopened(_) | Self::Unread(_) | Self::Unwritten { .. } => ExitCode::from(1),
        }
    }
}

/// The files that were made, and what is missing in them or among them.
#[derive(Debug, Default)]
pub struct FilesMade {
    /// Their paths.
    pub files: Vec<PathBuf>,
    /// A sentence each; none: all is there.
    pub missing: Vec<String>,
}

/// Makes the files: each by itself, and each from all parts that can be made.
pub fn run(arguments: &Arguments, now: Timestamp) -> Result<FilesMade, NoReport> {
    let ReportTask::Week(wanted) = &arguments.task;
    match wanted.origin.open()? {
        OpenedRows::Store(store) => make(&store, wanted, now),
        OpenedRows::Influx(influx) => make(influx.as_ref(), wanted, now),
    }
}

fn make(source: &impl RowSource, wanted: &WeekWanted, now: Timestamp) -> Result<FilesMade, NoReport> {
    let site = source.site()?;
    // Rows that were made by another clock (a replay, the demo) show by themselves how late it is. Where the last
    // reading can't be read, the clock has to do.
    let now = source.last_reading().ok().flatten().map_or(now, |last| now.max(last));
    let week = match &wanted.week {
        Some(text) => Week::parse(text, &site.time_zone)?,
        None => Week::last_full(now, &site.time_zone)?,
    };
    if week.start() >= now {
        return Err(BadWeek::NotBegun(week.to_string()).into());
    }
    let name = format!("week-{week}");
    let facts = source::facts(source, site, week, now);
    let unwritten = |path: &Path| {
        let path = path.to_owned();
        move |why| NoReport::Unwritten { path, why }
    };
    fs::create_dir_all(&wanted.out).map_err(unwritten(&wanted.out))?;
    let mut made = FilesMade::default();
    for (ending, bytes) in files(&facts, &mut made.missing) {
        let path = wanted.out.join(format!("{name}.{ending}"));
        fs::write(&path, bytes).map_err(unwritten(&path))?;
        made.files.push(path);
    }
    Ok(made)
}

/// The files that could be made, with their endings.
fn files(facts: &WeekFacts, missing: &mut Vec<String>) -> Vec<(&'static str, Vec<u8>)> {
    let view = View::of(facts);
    let mut failed = view.failed().clone();
    failed.extend(facts.unmade.why(Part::Daily).map(|why| (Part::Daily, why)));
    let mut made = Vec::new();
    for (ending, set) in [("pdf", page::pdf(&view)), ("png", picture::png(&view))] {
        match set {
            Ok(typeset::Made { made: bytes, failed: more }) => {
                failed.extend(more);
                made.push((ending, bytes));
            }
            Err(unset) => missing.push(unmade::file(ending, &unset.to_string())),
        }
    }
    match attempt(|| sheet::csv(facts).map_err(|unwritten| unwritten.to_string())).flatten() {
        Ok(bytes) => made.push(("csv", bytes)),
        Err(said) => missing.push(unmade::file("csv", &said)),
    }
    missing.extend(facts.unmade.hours().map(|unread| unmade::hours(unread.hours, &unread.said).1));
    missing.extend(failed.into_iter().map(|(part, why)| unmade::told(part, &why)));
    made
}
