//! `platemark demo`: the demo school, ready to be looked at.

use std::path::PathBuf;
use std::process::ExitCode;

use super::serve::{listen, open};
use super::{block_on, log, say};
use crate::actions::Service;
use crate::actions::add_person::{Wanted, add_person};
use crate::actions::clock::Clock;
use crate::config::{Given, Settings};
use crate::store::people::{self, Role};
use crate::store::{classes, pairs};
use crate::web::app::App;
use crate::web::serve::{asked_to_stop, serve};

/// Arguments of the command.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  platemark demo --listen 127.0.0.1:9000")]
pub struct Args {
    #[command(flatten)]
    given: Given,
}

/// Sign-in of the demo's instructor.
const INSTRUCTOR: (&str, &str) = ("fennimar", "plates on granite");
/// Sign-in of one of its students.
const STUDENT: (&str, &str) = ("d26-101", "314159");

pub(super) fn run(args: Args) -> anyhow::Result<ExitCode> {
    log("warn");
    let settings = Settings::new(args.given, PathBuf::from("data/demo"))?;
    block_on(async {
        let service = open(&settings, Clock::default()).await?;
        if people::count(&service.store, Role::Instructor).await? == 0 {
            fill(&service).await?;
        }
        let listener = listen(&settings).await?;
        say(format_args!(
            "The demo school is open: http://{}",
            listener.local_addr()?
        ))?;
        say(format_args!("  instructor  {}  {}", INSTRUCTOR.0, INSTRUCTOR.1))?;
        say(format_args!("  a pair      {}  {}", STUDENT.0, STUDENT.1))?;
        serve(App::new(service, settings), listener, asked_to_stop()).await?;
        Ok(ExitCode::SUCCESS)
    })
}

async fn fill(service: &Service) -> anyhow::Result<()> {
    let (sign_in, secret) = INSTRUCTOR;
    let wanted = Wanted {
        role: Role::Instructor,
        name: "Orsolya Fennimar",
        sign_in,
        secret,
        by: None,
    };
    let instructor = add_person(service, &wanted).await?;
    let (sign_in, secret) = STUDENT;
    let wanted = Wanted {
        role: Role::Student,
        name: "Ailbhe Corrowan",
        sign_in,
        secret,
        by: Some(instructor),
    };
    let student = add_person(service, &wanted).await?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let name = "Dimensional inspection 1, Tuesday group";
    let class = classes::add(&mut tx, name, "Autumn 2026", "Europe/Dublin", now).await?;
    classes::join(&mut tx, class, instructor, now).await?;
    classes::join(&mut tx, class, student, now).await?;
    let pair = pairs::add(&mut tx, class, "Alder").await?;
    pairs::join(&mut tx, pair, student, now).await?;
    tx.commit().await?;
    Ok(())
}
