//! `platemark demo`: the demo school, ready to be looked at.

mod fill;
mod scenario;
mod stories;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use anyhow::Context;
use rust_embed::Embed;

use super::serve::{check_scan, hear, hold, listen, open, put_ready_in_place, serve_again};
use super::{block_on, log, say};
use crate::actions::clock::Clock;
use crate::actions::restore;
use crate::config::{Given, Settings};
use crate::store::FILE_NAME;
use scenario::{Scenario, scenario};

/// How long a school that was just filled is waited for.
const SEARCHED_WITHIN: Duration = Duration::from_secs(20);

/// Arguments of the command.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  platemark demo --listen 127.0.0.1:9000\n\n\
    The school is kept in data/demo. Remove that folder to begin anew.")]
pub struct Args {
    #[command(flatten)]
    given: Given,
}

/// The exercises that come with the program, with the truth of their plates. No route serves them.
#[derive(Embed)]
#[folder = "exercises/"]
struct Shipped;

pub(super) fn run(args: Args) -> anyhow::Result<ExitCode> {
    log("warn");
    let settings = Settings::new(args.given, PathBuf::from("data/demo"))?;
    check_scan(&settings)?;
    let school = scenario()?;
    block_on(async {
        // The port first: who cannot have it should not wait for a school.
        let listener = listen(&settings).await?;
        let _held = hold(&settings)?;
        restore::sweep(&settings.data);
        put_ready_in_place(&settings).await?;
        if !settings.data.join(FILE_NAME).exists() {
            say("Filling the demo school...")?;
            build(&settings, &school).await?;
        }
        let service = open(&settings, Clock::default()).await?;
        let stop = hear()?;
        say(format_args!(
            "The demo school is open: http://{}",
            listener.local_addr()?
        ))?;
        for line in sign_ins(&school) {
            say(line)?;
        }
        serve_again(settings, service, listener, stop).await?;
        Ok(ExitCode::SUCCESS)
    })
}

fn sign_ins(school: &Scenario) -> Vec<String> {
    let mut lines = Vec::new();
    for member in school
        .staff
        .iter()
        .filter(|m| m.role == scenario::StaffRole::Instructor)
    {
        lines.push(format!(
            "  instructor   sign-in {}   passphrase {}",
            member.sign_in, member.passphrase
        ));
    }
    let pair = school
        .class
        .iter()
        .flat_map(|c| &c.pairs)
        .find_map(|p| Some((&p.name, p.people.first()?)));
    if let Some((name, [sign_in, _])) = pair {
        lines.push(format!(
            "  pair {name}   sign-in {sign_in}   PIN {} (the same for everybody here)",
            school.pin
        ));
    }
    lines.push("Stop it with Ctrl-C.".to_owned());
    lines
}

/// Fills a school beside its place and moves it there when it is whole, so that a demo that was stopped on the way
/// leaves none by half.
async fn build(settings: &Settings, school: &Scenario) -> anyhow::Result<()> {
    let beside = settings.data.join("filling");
    remove(&beside)?;
    let filling = Settings {
        data: beside.clone(),
        ..settings.clone()
    };
    let service = open(&filling, Clock::default()).await?;
    fill::fill(&service, school).await?;
    // So that its review queue is whole when the demo opens; what is not searched by then is after the next start.
    tokio::time::timeout(SEARCHED_WITHIN, service.searches.settled())
        .await
        .ok();
    service.store.close().await;
    let place = settings.data.join(FILE_NAME);
    std::fs::rename(beside.join(FILE_NAME), &place)
        .with_context(|| format!("the school cannot be moved to {}", place.display()))?;
    remove(&beside)
}

fn remove(folder: &Path) -> anyhow::Result<()> {
    if folder.exists() {
        std::fs::remove_dir_all(folder)
            .with_context(|| format!("the folder {} cannot be removed", folder.display()))?;
    }
    Ok(())
}

/// Text of a shipped file.
fn shipped(path: &str) -> anyhow::Result<String> {
    let file = Shipped::get(path).with_context(|| format!("{path} does not come with the program"))?;
    Ok(String::from_utf8(file.data.into_owned())?)
}

/// Codes of the shipped exercises.
fn codes() -> Vec<String> {
    let code = |path: std::borrow::Cow<'static, str>| path.strip_suffix("/exercise.toml").map(str::to_owned);
    let mut codes: Vec<String> = Shipped::iter().filter_map(code).collect();
    codes.sort();
    codes
}
