//! `platemark instructor`: the first account and later ones, and help for whoever has lost passphrase or second step.

use std::io::{BufRead, IsTerminal};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Duration;

use anyhow::{Context, bail};
use clap::Subcommand;

use super::{block_on, say};
use crate::actions::add_person::{Wanted, add_person};
use crate::actions::clock::Clock;
use crate::actions::{Service, second_step, take_seat};
use crate::config::Given;
use crate::store::people::{self, Person, Role};

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
    /// Make a slip with which somebody who has lost the passphrase chooses another one
    #[command(
        after_help = "Example:\n  platemark instructor new-slip ferro --data /srv/platemark\n\n\
        For anybody of the staff, and for students whose instructor cannot do it. The code is good once, on the page /seat of \
        the server; give it to its person only. The old passphrase stays good until then, and a second step stays switched on. \
        Stop the server first."
    )]
    NewSlip {
        /// What the person types to sign in
        sign_in: String,
        /// For how many days the code is good
        #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u64).range(1..=14))]
        days: u64,
        /// Folder of the database
        #[arg(long, env = "PLATEMARK_DATA", value_name = "DIR", default_value = "data")]
        data: PathBuf,
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

/// Does something with the account of a person, and says what came of it.
fn with_person(
    sign_in: &str,
    data: &Path,
    doing: impl AsyncFnOnce(&Service, &Person) -> anyhow::Result<String>,
) -> anyhow::Result<ExitCode> {
    let given = Given {
        data: Some(data.to_owned()),
        ..Given::default()
    };
    let settings = super::serve::settings(None, given, "data")?;
    block_on(async {
        let service = super::serve::open(&settings, Clock::default()).await?;
        let known = people::by_sign_in(&service.store, &sign_in.trim().to_lowercase()).await?;
        let (person, _) = known.with_context(|| format!("nobody signs in as `{sign_in}`"))?;
        let done = doing(&service, &person).await?;
        service.store.close().await;
        say(done)?;
        Ok(ExitCode::SUCCESS)
    })
}

/// Takes the second step of a person away.
fn reset(sign_in: &str, data: &Path) -> anyhow::Result<ExitCode> {
    with_person(sign_in, data, async |service, person| {
        let had = second_step::reset(service, person.id, None).await?;
        let done = if had {
            "The second step is off; the passphrase alone signs in."
        } else {
            "There was no second step; nothing is changed."
        };
        Ok(done.to_owned())
    })
}

/// Makes a slip for a person.
fn new_slip(sign_in: &str, days: u64, data: &Path) -> anyhow::Result<ExitCode> {
    with_person(sign_in, data, async |service, person| {
        let slip = take_seat::make_slip_here(service, person, Duration::from_secs(days * 86_400)).await?;
        Ok(format!(
            "{}\nThe code is for {} and good once, until {}: on the page /seat of this server. It is shown this once.",
            slip.code,
            slip.name,
            slip.until.timestamp(),
        ))
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
        Action::NewSlip { sign_in, days, data } => return new_slip(sign_in, *days, data),
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
