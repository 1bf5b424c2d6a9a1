//! The `claymark` binary: hands the command line over.

use std::process::ExitCode;

use clap::Parser as _;

use claymark::cli::{Cli, abort_on_panic};

fn main() -> ExitCode {
    abort_on_panic();
    match Cli::parse().run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            failure.tell();
            failure.status()
        }
    }
}
