//! `platemark plan`: what the measuring plan of an exercise can achieve before anyone measures.

mod table;

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;
use clap::Args;
use serde_json::{Value, json};

use super::Streams;
use super::take_in::{take_in, tell};
use crate::exercise::file::read_exercise;
use crate::exercise::model::Exercise;
use crate::procedure::plan::{Advice, Budget, Change, Conditions, Line, Plan, plan};

/// Options of `plan`.
#[derive(Debug, Clone, Args)]
#[command(
    about = "Show what uncertainty the measuring plan of an exercise can achieve",
    long_about = "Works out the expanded uncertainty (k = 2) of every characteristic from the touches that the exercise asks \
                  for and where they lie, the frame that the datum touches make, the tip, the machine's error per length and \
                  temperature, and holds it against what the exercise states. Where the plan does not reach that, it says what \
                  to touch more often, how often and where. Angles and their uncertainties are in degrees.",
    after_long_help = "Example:\n  platemark plan exercises/SB-11/exercise.toml\n  \
                       platemark plan exercise.toml --temperature 22 --within 1 --json\n\n\
                       Exit status: 0 done, 1 something is wrong with the input, 2 usage."
)]
pub struct PlanArgs {
    /// Exercise file; `-` reads standard input
    pub exercise: PathBuf,
    /// Standard uncertainty of the tip's diameter, in the exercise's unit; without it that of a tip qualified with five
    /// touches of a reference ball
    #[arg(long, value_name = "LENGTH")]
    pub tip_uncertainty: Option<f64>,
    /// Temperature of the part in degrees Celsius, for which lengths are corrected
    #[arg(long, value_name = "CELSIUS", default_value_t = 20.0, allow_negative_numbers = true)]
    pub temperature: f64,
    /// How far the part may be from that temperature, in kelvin
    #[arg(long, value_name = "KELVIN", default_value_t = 0.5)]
    pub within: f64,
    /// How far the coefficient of expansion may be off, in per cent of it
    #[arg(long, value_name = "PER CENT", default_value_t = 10.0)]
    pub expansion_within: f64,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// Prints the plan; what is wrong with the file goes to standard error.
///
/// # Errors
/// When the file cannot be read, an option makes no sense, or nobody reads the output any more.
pub fn run(args: &PlanArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let conditions = conditions(args)?;
    let name = args.exercise.to_string_lossy();
    let (exercise, problems) = read_exercise(&name, &take_in(&args.exercise, streams)?);
    tell(&problems, streams)?;
    let Some(exercise) = exercise else {
        return Ok(ExitCode::FAILURE);
    };
    let plan = plan(&exercise, &conditions);
    if args.json {
        serde_json::to_writer_pretty(&mut streams.output, &as_json(&exercise, &conditions, &plan))?;
        writeln!(streams.output)?;
    } else {
        table::print(&exercise, &conditions, &plan, &mut streams.output)?;
    }
    streams.output.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn conditions(args: &PlanArgs) -> anyhow::Result<Conditions> {
    let tip = args.tip_uncertainty.unwrap_or(0.0);
    for (option, value) in [
        ("--tip-uncertainty", tip),
        ("--within", args.within),
        ("--expansion-within", args.expansion_within),
    ] {
        if !(value.is_finite() && value >= 0.0) {
            bail!("{option} is {value}; it must be zero or more");
        }
    }
    if !(-50.0..=150.0).contains(&args.temperature) {
        bail!(
            "--temperature is {}; give the part's temperature in degrees Celsius",
            args.temperature
        );
    }
    Ok(Conditions {
        tip: args.tip_uncertainty,
        temperature: args.temperature,
        within: args.within,
        expansion_within: args.expansion_within / 100.0,
    })
}

fn as_json(exercise: &Exercise, conditions: &Conditions, plan: &Plan) -> Value {
    let lines: Vec<Value> = plan.lines.iter().map(|line| line_json(exercise, line)).collect();
    json!({
        "exercise": exercise.code.as_str(),
        "units": exercise.units.as_str(),
        "k": crate::procedure::plan::COVERAGE,
        "conditions": {
            "tip_uncertainty": conditions.tip_of(exercise),
            "temperature": conditions.temperature,
            "within": conditions.within,
            "expansion_within_per_cent": conditions.expansion_within * 100.0,
        },
        "characteristics": lines,
        "first": plan.first.map(|advice| advice_json(exercise, &advice)),
    })
}

fn line_json(exercise: &Exercise, line: &Line) -> Value {
    let standard = |b: &Budget| {
        json!({
            "points": b.from_points(),
            "frame": b.from_frame(),
            "tip": b.tip,
            "length": b.length,
            "temperature": b.temperature,
        })
    };
    let budget = line.budget.as_ref().ok();
    json!({
        "no": line.no.as_str(),
        "of": line.of.word(),
        "feature": line.owner,
        "standard_uncertainty": budget.map(standard),
        "expanded_uncertainty": budget.map(Budget::expanded),
        "stated": line.stated,
        "reached": line.is_reached(),
        "problem": line.budget.as_ref().err().map(ToString::to_string),
        "advice": line.advice.map(|advice| advice_json(exercise, &advice)),
    })
}

fn advice_json(exercise: &Exercise, advice: &Advice) -> Value {
    let (kind, name) = match advice.change {
        Change::Points { feature, .. } => ("feature", exercise.features.get(feature).map(|f| f.key.to_string())),
        Change::Touches { datum, .. } => ("datum", Some(datum.to_string())),
    };
    json!({
        kind: name,
        "touches": advice.change.to(),
        "in_place_of": advice.change.from(exercise),
        "where": table::places_of(exercise, advice.change),
        "no": exercise.characteristics.get(advice.line).map(|c| c.no.as_str()),
        "expanded_uncertainty": advice.expanded,
        "reaches": advice.reaches,
        "mends": advice.mends,
    })
}
