//! `platemark instructor add`: the first account, and later ones.

use std::io::{BufRead, IsTerminal};
use std::path::PathBuf;
use std::process::{Command, ExitCode};

use anyhow::{Context, bail};
use clap::Subcommand;

use super::{block_on, say};
use crate::actions::add_person::{Wanted, add_person};
use crate::actions::clock::Clock;
use crate::config::Given;
use crate::store::people::Role;

/// Arguments of the command.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// Add an instructor, who can then sign in
    #[command(
        after_help = "Examples:\n  platemark instructor add ferro --name \"M. Ferro\" --data /srv/platemark\n  \
        printf '%s' \"$PHRASE\" | platemark instructor add ferro --passphrase-stdin"
    )]
    Add {
        /// What the instructor types to sign in
        sign_in: String,
        /// Name that others see [default: the sign-in name]
        #[arg(long)]
        name: Option<String>,
        /// Folder of the database
        #[arg(long, env = "PLATEMARK_DATA", value_name = "DIR", default_value = "data")]
        data: PathBuf,
        /// Read the passphrase from standard input, without asking
        #[arg(long)]
        passphrase_stdin: bool,
    },
}

pub(super) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let Action::Add {
        sign_in,
        name,
        data,
        passphrase_stdin,
    } = &args.action;
    let secret = if *passphrase_stdin { read_line()? } else { ask()? };
    let given = Given {
        data: Some(data.clone()),
        ..Given::default()
    };
    let settings = super::serve::settings(None, given, "data")?;
    block_on(async {
        let service = super::serve::open(&settings, Clock::default()).await?;
        let name = name.as_deref().unwrap_or(sign_in);
        let wanted = Wanted {
            role: Role::Instructor,
            name,
            sign_in,
            secret: &secret,
            by: None,
        };
        add_person(&service, &wanted).await?;
        service.store.close().await;
        say(format_args!("{name} signs in as `{}`.", sign_in.to_lowercase()))?;
        Ok(ExitCode::SUCCESS)
    })
}

fn read_line() -> anyhow::Result<String> {
    let mut line = String::new();
    std::io::stdin()
        .lock()
        .read_line(&mut line)
        .context("the passphrase on standard input")?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}

/// Asks twice, without showing what is typed where the terminal can do that.
fn ask() -> anyhow::Result<String> {
    let hidden = std::io::stdin().is_terminal() && echo(false);
    let asked = ask_twice(hidden);
    if hidden {
        echo(true);
    }
    asked
}

fn ask_twice(hidden: bool) -> anyhow::Result<String> {
    eprint!(
        "Passphrase, 12 characters and more{}: ",
        if hidden { " (not shown)" } else { "" }
    );
    let first = read_line()?;
    eprint!("\nThe same again: ");
    let second = read_line()?;
    eprintln!();
    if first != second {
        bail!("the two were not the same; nothing was added, try again");
    }
    Ok(first)
}

/// Whether the terminal now shows, or hides, what is typed.
fn echo(on: bool) -> bool {
    let word = if on { "echo" } else { "-echo" };
    Command::new("stty").arg(word).status().is_ok_and(|s| s.success())
}
