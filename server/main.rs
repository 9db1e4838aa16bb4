//! Parse the command line, start, report the end.

use std::process::ExitCode;

use clap::Parser;
use platemark::cli::Cli;

/// The status of a command whose input is at fault; clap's own for wrong usage is 2.
const INPUT: u8 = 1;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version come this way too, with status 0.
            drop(error.print());
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    match cli.command.run() {
        Ok(code) => code,
        Err(error) => {
            eprintln!("platemark: {error:#}");
            ExitCode::from(INPUT)
        }
    }
}
