//! `claymark demo`: an invented hatchery, a broker inside the process, the real daemon.

use std::io::Write as _;
use std::path::PathBuf;

use clap::Args;
use tokio_util::sync::CancellationToken;

use super::failure::CommandFailure;
use crate::demo::{self, DemoError, DemoOutcome, Report};

/// What `claymark demo` is asked for.
#[derive(Debug, Args)]
pub(super) struct DemoCommand {
    /// End after nine days and their report; else go on live until Ctrl-C
    #[arg(long)]
    once: bool,
    /// The folder for all that it leaves
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    out: PathBuf,
    /// Another number gives another course of chance
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

/// Runs it and says what it has left.
pub(super) fn run(asked: DemoCommand) -> Result<(), CommandFailure> {
    let DemoCommand { once, out, seed } = asked;
    let runtime = tokio::runtime::Runtime::new()?;
    let shown = runtime.block_on(async {
        let stop = CancellationToken::new();
        let interrupt = tokio::spawn({
            let stop = stop.clone();
            async move {
                if tokio::signal::ctrl_c().await.is_ok() {
                    stop.cancel();
                }
            }
        });
        let told = |line: &str| drop(writeln!(std::io::stderr(), "{line}"));
        let shown = demo::demo(demo::Settings { once, out: out.clone(), seed }, stop, told).await;
        interrupt.abort();
        shown
    });
    // The demo's broker can't be asked to stop.
    runtime.shutdown_background();
    let DemoOutcome { messages, notices, report } = shown?;
    let mut stdout = std::io::stdout();
    writeln!(
        stdout,
        "{messages} messages arrived, {notices} notices were sent. All of it is in {}:",
        out.display()
    )?;
    writeln!(stdout, "  notices.ndjson, forecasts.ndjson, messages.ndjson, claymark.db, site.toml")?;
    writeln!(
        stdout,
        "  page-room.html, page-wall.html, page-drum-a.html, page-log.html: how the page looked at the end"
    )?;
    match report {
        Report::Made(week) => writeln!(stdout, "  week-{week}.pdf, week-{week}.png, week-{week}.csv")?,
        Report::NotThere(program) => writeln!(
            stdout,
            "The week's report wasn't made: there is no {}. Build it with cargo build --release -p claymark-report.",
            program.display()
        )?,
    }
    writeln!(stdout, "The hatchery, its room and its people are invented.")?;
    Ok(())
}

impl From<DemoError> for CommandFailure {
    fn from(error: DemoError) -> Self {
        let what = format!("{error}.");
        let remedy = match &error {
            DemoError::File { .. } | DemoError::NotOurs(_) => "Choose an empty folder with --out.",
            DemoError::Broker(_) | DemoError::Mqtt(_) | DemoError::Page(_) => {
                "The demo needs a free port on 127.0.0.1."
            }
            DemoError::Report(_) => {
                "Everything else is in the folder; make it by hand with claymark-report week."
            }
            DemoError::Site(_) | DemoError::Daemon(_) | DemoError::DaemonGone | DemoError::Store(_) => {
                "Please report this with the seed."
            }
        };
        match error {
            DemoError::NotOurs(_) => Self::Wrong { what, remedy: remedy.to_owned() },
            DemoError::File { .. }
            | DemoError::Broker(_)
            | DemoError::Mqtt(_)
            | DemoError::Site(_)
            | DemoError::Daemon(_)
            | DemoError::DaemonGone
            | DemoError::Store(_)
            | DemoError::Page(_)
            | DemoError::Report(_) => Self::Failed { what, remedy: remedy.to_owned() },
        }
    }
}
