//! `platemark instructor add`: the first account, and later ones.

use std::io::{BufRead, IsTerminal};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use anyhow::{Context, bail};
use clap::Subcommand;

use super::{block_on, say};
use crate::actions::add_person::{Wanted, add_person};
use crate::actions::clock::Clock;
use crate::actions::second_step;
use crate::config::Given;
use crate::store::people::{self, Role};

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
    /// Switch off the second step at sign-in of somebody who has lost phone and recovery codes
    #[command(
        after_help = "Example:\n  platemark instructor reset-second-step ferro --data /srv/platemark\n\n\
        The passphrase stays as it is; every device of the person is signed out. Stop the server first."
    )]
    ResetSecondStep {
        /// What the person types to sign in
        sign_in: String,
        /// Folder of the database
        #[arg(long, env = "PLATEMARK_DATA", value_name = "DIR", default_value = "data")]
        data: PathBuf,
    },
}

/// Takes the second step of a person away.
fn reset(sign_in: &str, data: &Path) -> anyhow::Result<ExitCode> {
    let given = Given {
        data: Some(data.to_owned()),
        ..Given::default()
    };
    let settings = super::serve::settings(None, given, "data")?;
    block_on(async {
        let service = super::serve::open(&settings, Clock::default()).await?;
        let known = people::by_sign_in(&service.store, &sign_in.trim().to_lowercase()).await?;
        let (person, _) = known.with_context(|| format!("nobody signs in as `{sign_in}`"))?;
        let had = second_step::reset(&service, person.id, None).await?;
        service.store.close().await;
        say(if had {
            "The second step is off; the passphrase alone signs in."
        } else {
            "There was no second step; nothing is changed."
        })?;
        Ok(ExitCode::SUCCESS)
    })
}

pub(super) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let (sign_in, name, data, passphrase_stdin) = match &args.action {
        Action::Add {
            sign_in,
            name,
            data,
            passphrase_stdin,
        } => (sign_in, name, data, passphrase_stdin),
        Action::ResetSecondStep { sign_in, data } => return reset(sign_in, data),
    };
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
