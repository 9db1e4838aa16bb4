//! `platemark retention`: how long after its archiving a class keeps the names of its students, and what happens then.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context;
use clap::ValueEnum;
use jiff::tz::TimeZone;

use super::serve::open;
use super::{block_on, log, say};
use crate::actions::Service;
use crate::actions::clock::Clock;
use crate::actions::end_of_term::{due, keep_for};
use crate::actions::restore::{self, OldCopy};
use crate::config::{Given, Settings};
use crate::store::FILE_NAME;
use crate::store::classes::{self, Class, WhenOver};
use crate::web::times;

/// Arguments of `retention`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  platemark retention --data /srv/platemark\n  \
    platemark retention --class 3 --days 180 --over names --data /srv/platemark\n\n\
    Without --class it lists the classes, and copies of the school from before a restore, which the server removes after 30 days. \
    Days are counted from the archiving of a class. A server may run on the folder \
    meanwhile; it takes out by itself what is over, at its start and each hour.")]
pub struct RetentionArgs {
    /// Number of the class to change, as the list has it
    #[arg(long, value_name = "NUMBER", requires = "days")]
    class: Option<i64>,
    /// Days after the archiving for which the school keeps names, 0 to 36500
    #[arg(long, requires = "class")]
    days: Option<i64>,
    /// What happens then [default: as it stands]
    #[arg(long, value_enum, requires = "class")]
    over: Option<Over>,
    /// Print one JSON object for each class and copy
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    given: Given,
}

/// What happens when the time is over.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Over {
    /// Nothing by itself: the page of the class says that it is over
    Ask,
    /// The names are taken out; numbers stand in their place
    Names,
    /// The students are deleted; the numbers of their reports stay
    Delete,
}

impl Over {
    const fn meant(self) -> WhenOver {
        match self {
            Self::Ask => WhenOver::Ask,
            Self::Names => WhenOver::Names,
            Self::Delete => WhenOver::Delete,
        }
    }
}

const fn word(over: WhenOver) -> &'static str {
    match over {
        WhenOver::Ask => "ask",
        WhenOver::Names => "names",
        WhenOver::Delete => "delete",
    }
}

pub(super) fn run(args: RetentionArgs) -> anyhow::Result<ExitCode> {
    log("warn");
    let settings = Settings::new(args.given, PathBuf::from("data"))?;
    anyhow::ensure!(
        settings.data.join(FILE_NAME).exists(),
        "there is no school in {}; check the folder",
        settings.data.display()
    );
    let classes = block_on(async {
        let service = open(&settings, Clock::default()).await?;
        if let (Some(number), Some(days)) = (args.class, args.days) {
            change(&service, number, days, args.over).await?;
        }
        let all = classes::all(&service.store).await?;
        service.store.close().await;
        Ok(all)
    })?;
    let shown = classes
        .iter()
        .filter(|c| args.class.is_none_or(|number| c.id.0 == number));
    for class in shown {
        show(class, args.json)?;
    }
    if args.class.is_none() {
        for copy in restore::old_copies(&settings.data)? {
            show_copy(&copy, args.json)?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

async fn change(service: &Service, number: i64, days: i64, over: Option<Over>) -> anyhow::Result<()> {
    let all = classes::all(&service.store).await?;
    let class = all.iter().find(|c| c.id.0 == number);
    let class = class.with_context(|| format!("there is no class {number}; without --class the command lists them"))?;
    anyhow::ensure!(
        class.forgotten_at.is_none(),
        "the names of class {number} were taken out already; there is nothing to keep"
    );
    let over = over.map_or(class.when_over, Over::meant);
    keep_for(service, class.id, days, over, None).await?;
    Ok(())
}

/// A copy of the school from before a restore has every name of then.
fn show_copy(copy: &OldCopy, json: bool) -> anyhow::Result<()> {
    let name = &copy.name;
    if json {
        return say(serde_json::json!({ "copy": name, "removed_at": copy.until.timestamp().to_string() }));
    }
    let until = times::show(copy.until, &TimeZone::system());
    say(format_args!(
        "      {name}: the school from before a restore, with the names of then; the server removes it on {until}"
    ))
}

fn show(class: &Class, json: bool) -> anyhow::Result<()> {
    let zone = times::zone(&class.time_zone);
    let due = due(class);
    if json {
        let time = |at: Option<crate::store::when::When>| at.map(|at| at.timestamp().to_string());
        return say(serde_json::json!({
            "class": class.id, "name": class.name, "term": class.term, "days": class.keep_days, "over": word(class.when_over),
            "archived_at": time(class.archived_at), "due_at": time(due), "taken_out_at": time(class.forgotten_at),
        }));
    }
    let stands = match (class.forgotten_at, due) {
        (Some(at), _) => format!("names were taken out on {}", times::show(at, &zone)),
        (None, Some(due)) => format!("names are kept until {}", times::show(due, &zone)),
        (None, None) => "runs".to_owned(),
    };
    say(format_args!(
        "{:>4}  {} {}: {} days after the archiving, then {}; {stands}",
        class.id,
        class.name,
        class.term,
        class.keep_days,
        word(class.when_over)
    ))
}
