//! The program `swatchlight`: runs what the command line asks for and ends with its exit code.
#![forbid(unsafe_code)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::crash::install_apology();
    // A panic has apologised by the time it gets here.
    let exit = std::panic::catch_unwind(cli::run).unwrap_or(cli::exit::Exit::Failed);
    ExitCode::from(exit.code())
}
