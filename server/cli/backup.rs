//! `platemark backup`, `platemark restore` and `platemark export`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;

use super::serve::{hold, open_again};
use super::{block_on, log, say};
use crate::actions::clock::Clock;
use crate::actions::restore;
use crate::config::{Given, Settings};
use crate::store::ids::PersonId;
use crate::store::{FILE_NAME, Store, backup, end_of_term, evidence, people};

/// Arguments of `backup`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  platemark backup school.db --data /srv/platemark\n\n\
    A server may run on the folder meanwhile. The copy is of one moment, and is checked. It holds everything, also what \
    plates really are: keep it where students cannot come.")]
pub struct BackupArgs {
    /// File to write; it must not be there yet
    file: PathBuf,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    given: Given,
}

/// Arguments of `restore`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  platemark restore school.db --data /srv/platemark\n\n\
    Refuses while a server runs on the folder. The backup is checked first. The school that is there stays beside it. \
    Names that were taken out since the backup are taken out again, and everybody signs in again. A damaged school is set aside \
    as it is.")]
pub struct RestoreArgs {
    /// Backup to put in place
    file: PathBuf,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    given: Given,
}

/// Arguments of `export`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  platemark export d26-101 --files d26-101 --data /srv/platemark > d26-101.json\n\n\
    Everything that is stored about one person, as one JSON object; what plates really are is not in it. Photos and PDFs \
    are named in it under `files`; with --files they are written beside it."
)]
pub struct ExportArgs {
    /// Sign-in name of the person
    sign_in: String,
    /// Print one JSON object (there is no other form)
    #[arg(long)]
    json: bool,
    /// Folder for the person's photos and PDFs; it must not be there yet
    #[arg(long, value_name = "FOLDER")]
    files: Option<PathBuf>,
    #[command(flatten)]
    given: Given,
}

pub(super) fn export(args: ExportArgs) -> anyhow::Result<ExitCode> {
    log("warn");
    let settings = Settings::new(args.given, PathBuf::from("data"))?;
    let file = settings.data.join(FILE_NAME);
    anyhow::ensure!(
        file.exists(),
        "there is no school in {}; check the folder",
        settings.data.display()
    );
    let text = block_on(async {
        let school = Store::open(&settings.data).await?;
        let known = people::by_sign_in(&school, &args.sign_in.trim().to_lowercase()).await?;
        let (person, _) = known.with_context(|| format!("nobody signs in as `{}`", args.sign_in))?;
        let text = end_of_term::about(&school, person.id).await?;
        if let Some(folder) = &args.files {
            write_files(&school, person.id, folder).await?;
        }
        school.close().await;
        Ok(text)
    })?;
    say(text)?;
    Ok(ExitCode::SUCCESS)
}

/// Writes the files of a person under the names that the JSON has for them.
async fn write_files(school: &Store, person: PersonId, folder: &Path) -> anyhow::Result<()> {
    let told = || {
        format!(
            "cannot write to {}: choose a folder that is not there yet",
            folder.display()
        )
    };
    std::fs::create_dir(folder).with_context(told)?;
    for (file, kind) in evidence::of_person(school, person).await? {
        let bytes = evidence::bytes_of(school, file).await?;
        std::fs::write(folder.join(format!("{file}.{}", kind.ending())), bytes).with_context(told)?;
    }
    Ok(())
}

pub(super) fn backup(args: BackupArgs) -> anyhow::Result<ExitCode> {
    log("warn");
    let settings = Settings::new(args.given, PathBuf::from("data"))?;
    let made = block_on(async { Ok(backup::copy(&settings.data, &args.file).await?) })?;
    let file = args.file.display();
    if args.json {
        let told = serde_json::json!({ "file": file.to_string(), "people": made.people, "reports": made.reports, "checked": true });
        say(told)?;
    } else {
        say(format_args!(
            "{file}: {} people, {} reports, checked",
            made.people, made.reports
        ))?;
    }
    Ok(ExitCode::SUCCESS)
}

pub(super) fn restore(args: RestoreArgs) -> anyhow::Result<ExitCode> {
    log("warn");
    let settings = Settings::new(args.given, PathBuf::from("data"))?;
    let restored = block_on(async {
        let _held = hold(&settings)?;
        let now = Clock::default().now();
        let opened = async || open_again(&settings).await;
        Ok(restore::from_file(&settings.data, &args.file, "platemark restore", now, opened).await?)
    })?;
    if args.json {
        let told = serde_json::json!({ "people": restored.people, "reports": restored.reports, "names_taken_out_again": restored.again,
            "list_of_names_was_whole": !restored.unread, "before": restored.aside,
            "log_of_before": restored.log });
        say(told)?;
    } else {
        say(format_args!(
            "Restored: {} people, {} reports. Everybody signs in again.",
            restored.people, restored.reports
        ))?;
        say(format_args!(
            "Names taken out again: {}. What was there before, if anything, is beside it: {}",
            restored.again, restored.aside
        ))?;
        if let Some(log) = &restored.log {
            say(restore::belong_together(&restored.aside, log))?;
        }
        if restored.unread {
            say(
                "The school that was there is damaged: whose names were taken out since the backup could not be read whole. Look at \
                 the classes whose term is over, and take out again what the backup brought back.",
            )?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
