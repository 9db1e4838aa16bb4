//! `platemark verify`: reference cases, ours or anyone's, against our numbers.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;
use clap::Args;
use serde_json::{Value, json};

use super::{Streams, coordinates};
use crate::cohort::verify as every_family;
use crate::metrology::verify::{CaseResult, Difference, FileResult};

/// Arguments of `verify`.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  platemark verify tests/data/geometry/*.json --summary\n  \
                       platemark verify mine.json --family gaussian_circle2d --json\n  \
                       platemark verify - --family chebyshev_mzc < mine.json\n\n\
                       Exit status: 0 every case with something expected passes, 1 one fails or a file cannot be read, 2 usage."
)]
pub struct VerifyArgs {
    /// Files of cases, as JSON; - reads standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// What the cases are, where the files do not say, or to overrule them
    #[arg(long, value_name = "FAMILY")]
    family: Option<String>,
    /// Print only the table, and the cases that fail
    #[arg(long, conflicts_with = "json")]
    summary: bool,
    /// Print one JSON object, or a list of them for more than one file
    #[arg(long)]
    json: bool,
}

/// Computes all files and prints what came out.
///
/// # Errors
/// With the message for people where a file cannot be run.
pub fn run(args: &VerifyArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let mut results = Vec::new();
    for path in &args.files {
        results.push(run_file(path, args.family.as_deref(), streams)?);
    }
    let failed = results
        .iter()
        .flat_map(|result| &result.cases)
        .any(|case| case.pass == Some(false));
    if args.json {
        let mut values: Vec<Value> = results.iter().map(as_json).collect();
        let value = if values.len() == 1 {
            values.remove(0)
        } else {
            Value::Array(values)
        };
        serde_json::to_writer_pretty(&mut streams.output, &value)?;
        writeln!(streams.output)?;
    } else {
        for result in &results {
            for case in result
                .cases
                .iter()
                .filter(|case| !args.summary || case.pass == Some(false))
            {
                print_case(result.family, case, &mut streams.output)?;
            }
        }
        print_table(&results, &mut streams.output)?;
    }
    Ok(if failed { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

fn run_file(path: &Path, family: Option<&str>, streams: &mut Streams<'_>) -> anyhow::Result<FileResult> {
    let name = path.display();
    let text = coordinates::take_in(path, streams)?;
    // The parser says line and column.
    let file: Value = serde_json::from_str(&text).with_context(|| format!("{name}: this is not JSON"))?;
    let stem = path
        .file_stem()
        .and_then(|stem| stem.to_str())
        .filter(|stem| *stem != "-");
    every_family::run(&file, stem, family).with_context(|| format!("{name}"))
}

fn as_json(result: &FileResult) -> Value {
    let difference = |d: &Difference| json!({ "field": d.field, "difference": d.difference, "tolerance": d.tolerance });
    let case = |case: &CaseResult| {
        let mut value = json!({ "id": case.id, "computed": case.computed, "pass": case.pass });
        if !case.differences.is_empty() {
            value["differences"] = case.differences.iter().map(difference).collect();
        }
        value
    };
    json!({ "family": result.family, "cases": result.cases.iter().map(case).collect::<Vec<_>>() })
}

fn word(pass: Option<bool>) -> &'static str {
    match pass {
        Some(true) => "pass",
        Some(false) => "FAIL",
        None => "computed",
    }
}

fn print_case(family: &str, case: &CaseResult, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "{family}  {}  {}", case.id, word(case.pass))?;
    if let Some(values) = case.computed.as_object() {
        for (field, value) in values {
            writeln!(out, "  {field:<32} {value}")?;
        }
    }
    for d in &case.differences {
        let limit = d
            .tolerance
            .map_or_else(|| "-".to_owned(), |tolerance| format!("{tolerance:.1e}"));
        let mark = if d.share().is_some_and(|share| share > 1.0) {
            "  <- over"
        } else {
            ""
        };
        writeln!(
            out,
            "  difference {:<32} {:<9.1e} of {limit}{mark}",
            d.field, d.difference
        )?;
    }
    writeln!(out)?;
    Ok(())
}

/// One line a file: how many cases passed, and the worst difference over its tolerance.
fn print_table(results: &[FileResult], out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(
        out,
        "{:<28} {:>5} {:>6} {:>6} {:>10}  worst difference / tolerance",
        "family", "cases", "passed", "failed", "no answer"
    )?;
    for result in results {
        let counted = |pass: Option<bool>| result.cases.iter().filter(|case| case.pass == pass).count();
        let worst = result.cases.iter().filter_map(|case| {
            let worst = case.worst()?;
            Some((worst.share()?, &case.id, &worst.field))
        });
        let worst = worst.max_by(|a, b| a.0.total_cmp(&b.0));
        let worst = worst.map_or_else(
            || "-".to_owned(),
            |(share, id, field)| format!("{share:.3} ({field} of {id})"),
        );
        writeln!(
            out,
            "{:<28} {:>5} {:>6} {:>6} {:>10}  {worst}",
            result.family,
            result.cases.len(),
            counted(Some(true)),
            counted(Some(false)),
            counted(None),
        )?;
    }
    Ok(())
}
