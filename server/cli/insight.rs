//! `platemark insight`: what a print can tell about mistakes, before any class.

mod table;

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use serde_json::{Value, json};

use super::Streams;
use super::take_in::{take_in, tell};
use crate::exercise::file::{read_exercise, read_plates};
use crate::exercise::model::Exercise;
use crate::exercise::plate::Plate;
use crate::grading::insight::{CHANCE, Effort, Insight, insight, insight_on, tried, words};

/// Options of `insight`.
#[derive(Debug, Clone, Args)]
#[command(
    about = "Show which mistakes a print can tell, and which it cannot tell apart",
    long_about = "Works out for every mistake that the diagnosis knows from which amount on it is detected in a report and from \
                  which amount on it is named, each with 95 % chance; which mistakes the sheet cannot tell apart or does not see \
                  at all; and which one added characteristic would mend that. Sizes are found by bisection with drawn reports \
                  that are given to the diagnosis itself, the same for every amount and seeded, so that equal prints have equal \
                  answers; a proposal is made only where reports were told with it. The work is bounded; what is not tried \
                  any more is an estimate and marked so. Where a plates file is there, its plates and the uncertainty of their \
                  references count.",
    after_long_help = "Example:\n  platemark insight exercises/SB-11\n  platemark insight exercise.toml --plates plates.toml --json\n  \
                       platemark insight exercises/SB-11 --reports 0\n\n\
                       Exit status: 0 done, 1 something is wrong with the input, 2 usage."
)]
pub struct InsightArgs {
    /// Exercise file, or a folder with `exercise.toml` and perhaps `plates.toml`; `-` reads standard input
    pub exercise: PathBuf,
    /// Plates file whose references count
    #[arg(long, value_name = "FILE")]
    pub plates: Option<PathBuf>,
    /// Reports for each size that is tried on the diagnosis; 0 gives estimates at once
    #[arg(long, value_name = "N", default_value_t = Effort::default().reports)]
    pub reports: u32,
    /// Diagnoses in all at most
    #[arg(long, value_name = "N", default_value_t = Effort::default().most)]
    pub most: u32,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// Prints what the print can tell; what is wrong with a file goes to standard error.
///
/// # Errors
/// When a file cannot be read or nobody reads the output any more.
pub fn run(args: &InsightArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let (file, beside) = if args.exercise.is_dir() {
        let plates = args.exercise.join("plates.toml");
        (args.exercise.join("exercise.toml"), plates.is_file().then_some(plates))
    } else {
        (args.exercise.clone(), None)
    };
    let text = take_in(&file, streams)?;
    let (exercise, problems) = read_exercise(&file.to_string_lossy(), &text);
    tell(&problems, streams)?;
    let Some(exercise) = exercise else {
        return Ok(ExitCode::FAILURE);
    };
    let plates = match args.plates.clone().or(beside) {
        Some(file) => {
            let text = take_in(&file, streams)?;
            let (plates, problems) = read_plates(&file.to_string_lossy(), &text, &exercise);
            tell(&problems, streams)?;
            let Some(plates) = plates else {
                return Ok(ExitCode::FAILURE);
            };
            plates.plates
        }
        None => Vec::new(),
    };
    let effort = Effort {
        reports: args.reports,
        most: args.most,
    };
    let found = found(&exercise, &plates, effort)?;
    if args.json {
        serde_json::to_writer_pretty(&mut streams.output, &as_json(&exercise, &found))?;
        writeln!(streams.output)?;
    } else {
        table::print(&exercise, &found, !plates.is_empty(), &mut streams.output)?;
    }
    streams.output.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn found(exercise: &Exercise, plates: &[Plate], effort: Effort) -> anyhow::Result<Insight> {
    Ok(if effort.reports > 0 {
        tried(exercise, plates, effort)?
    } else if plates.is_empty() {
        insight(exercise)
    } else {
        insight_on(exercise, plates)
    })
}

fn as_json(exercise: &Exercise, found: &Insight) -> Value {
    let with_text = |value: Value, text: String| match value {
        Value::Object(mut object) => {
            object.insert("text".to_owned(), Value::String(text));
            Value::Object(object)
        }
        other => other,
    };
    let confusable: Vec<Value> = found
        .confusable
        .iter()
        .map(|c| with_text(json!(c), words::confusable(exercise, c)))
        .collect();
    let unseen: Vec<Value> = found
        .unseen
        .iter()
        .map(|u| with_text(json!(u), words::unseen(exercise, u)))
        .collect();
    json!({
        "exercise": exercise.code.as_str(),
        "units": exercise.units.as_str(),
        "chance": CHANCE,
        "faults": found.faults,
        "confusable": confusable,
        "unseen": unseen,
        "first": found.first.as_ref().map(|p| with_text(json!(p), words::first(exercise, found).unwrap_or_default())),
    })
}
