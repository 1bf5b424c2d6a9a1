//! The `claymark-report` binary.

use std::process::ExitCode;

use clap::Parser;
use jiff::Timestamp;

use claymark_report::command::{self, Arguments};
use claymark_words::typed;

#[expect(clippy::print_stdout, reason = "the command line tells which files it made")]
#[expect(
    clippy::disallowed_methods,
    reason = "the report's only look at the clock: which week is the last full one"
)]
fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match command::run(&arguments, Timestamp::now()) {
        Ok(made) => {
            for path in made.files {
                println!("{}", path.display());
            }
            for missing in &made.missing {
                eprintln!("{missing}");
            }
            if made.missing.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
        }
        Err(failure) => {
            eprintln!("{}\n{}", typed::lines(&failure.to_string()), failure.remedy());
            failure.exit_code()
        }
    }
}
