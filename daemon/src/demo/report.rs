//! The week's report, made by the `claymark-report` that lies beside this binary.

use std::path::PathBuf;
use std::process::Command;

use jiff::ToSpan;
use jiff::civil::Date;

use super::DemoError;
use super::folder::Folder;

/// What became of the report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Report {
    /// The report of that week lies in the folder.
    Made(String),
    /// There is no such program.
    NotThere(PathBuf),
}

/// Makes the report of the last full week before `end`.
pub(super) fn week(folder: &Folder, end: Date) -> Result<Report, DemoError> {
    let here = std::env::current_exe().map_err(|error| DemoError::Report(error.to_string()))?;
    let program = here.with_file_name("claymark-report");
    if !program.exists() {
        return Ok(Report::NotThere(program));
    }
    let last = end.checked_sub(1.week()).unwrap_or(end).iso_week_date();
    let week = format!("{:04}-W{:02}", last.year(), last.week());
    let made = Command::new(&program)
        .arg("week")
        .arg("--store")
        .arg(folder.store())
        .args(["--week", &week, "--out"])
        .arg(folder.path())
        .output()
        .map_err(|error| DemoError::Report(format!("{}: {error}", program.display())))?;
    if made.status.success() {
        Ok(Report::Made(week))
    } else {
        Err(DemoError::Report(String::from_utf8_lossy(&made.stderr).trim().to_owned()))
    }
}
