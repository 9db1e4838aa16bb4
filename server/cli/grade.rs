//! `platemark grade`: one report or a folder of them, offline, by the same code as the server.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, anyhow, bail};
use clap::Args;
use rust_decimal::Decimal;

pub mod set_up;

use super::Streams;
use crate::exercise::file::{self, Problem, Severity};
use crate::exercise::model::{Exercise, ScoreKind};
use crate::exercise::names::Serial;
use crate::exercise::plate::{Plate, Plates};
use crate::grading::decided::UNDECIDED;
use crate::grading::grade::Grade;
use crate::grading::{self, GradeInput};
use crate::report::assemble::{self, Assembled};
use crate::report::table::{self, DecimalMark, MustAsk, ReadOptions, Table};
use crate::units::{LengthUnit, show_f64};

/// Arguments of `grade`.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  platemark grade --exercise exercises/SB-11/exercise.toml --plates exercises/SB-11/plates.toml \\\n    --serial SB-11-01 report.csv --json\n\n\
    The set-up record is what the pair says of how it set the plate up: --set-up tip=4 --set-up A=top (or left, right, front, back,\n\
    bottom, other) --set-up unit=mm --set-up temperature=21.5. In the file of --serials it stands in columns of these names, and\n\
    counts for its report before the options. It moves the odds of the mistakes that it speaks of."
)]
pub struct GradeArgs {
    /// The exercise file
    #[arg(long, value_name = "FILE")]
    exercise: PathBuf,
    /// The plates file of the exercise
    #[arg(long, value_name = "FILE")]
    plates: PathBuf,
    /// Serial of the plate that was measured
    #[arg(long, value_name = "SERIAL", required_unless_present = "serials")]
    serial: Option<String>,
    /// A CSV file with the columns report and serial, for reports of many plates
    #[arg(long, value_name = "FILE", conflicts_with = "serial")]
    serials: Option<PathBuf>,
    /// Decimal mark of the reports, where a file could be read two ways
    #[arg(long, value_name = "MARK", value_parser = decimal_mark)]
    decimal: Option<DecimalMark>,
    /// Unit of lengths that state none: mm or inch
    #[arg(long, value_name = "UNIT")]
    unit: Option<LengthUnit>,
    /// Points of a line marked by hand, as "name=points"; may be repeated
    #[arg(long = "line", value_name = "NAME=POINTS")]
    lines: Vec<String>,
    /// What the pair says of its set-up, as tip=DIAMETER, unit=UNIT, temperature=CELSIUS or DATUM=FACE; may be repeated
    #[arg(long, value_name = "WHAT=VALUE")]
    set_up: Vec<String>,
    /// One JSON object a line in place of tables
    #[arg(long)]
    json: bool,
    /// The reports, as CSV; - reads standard input
    #[arg(required = true, value_name = "REPORT")]
    reports: Vec<PathBuf>,
}

fn decimal_mark(word: &str) -> Result<DecimalMark, String> {
    DecimalMark::parse_word(word).ok_or_else(|| format!("`{word}` is no decimal mark; use point, comma or mixed"))
}

/// Grades the reports in order and prints one grade for each. All reports are read before the first is printed, so
/// that a file at fault prints nothing by half.
///
/// # Errors
/// With the message for people where the input is at fault.
pub fn run(args: &GradeArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let exercise = read_exercise(&args.exercise)?;
    let plates = read_plates(&args.plates, &exercise)?;
    let hand_marks = hand_marks(&exercise, &args.lines)?;
    let said = set_up::options(&exercise, &args.set_up)?;
    let serials = args
        .serials
        .as_deref()
        .map(|file| read_serials(&file.display().to_string(), &read_text(file)?, &exercise))
        .transpose()?;
    let mut grades = Vec::new();
    let mut problems = Vec::new();
    // All plates are in it: it is made once for all reports.
    let looking = plates.plates.first();
    let looking = looking.and_then(|plate| grading::diagnoser(&exercise, plate, &plates.plates));
    for path in &args.reports {
        let name = report_name(path);
        let plate = plate_of(args, serials.as_ref(), &name, &plates);
        let graded = plate.and_then(|plate| {
            let own = serials.as_ref().and_then(|s| s.get(&name)).map(|line| &line.set_up);
            let record = set_up::read(&exercise, &name, own, &said)?;
            let report = read_report(args, &exercise, path, streams)?;
            let input = GradeInput {
                name: &name,
                exercise: &exercise,
                plate,
                rules: &exercise.marks,
                report: &report.report,
                hand_marks: &hand_marks,
                siblings: &plates.plates,
                decided: &UNDECIDED,
                set_up: record.as_ref(),
            };
            Ok(grading::grade_with(&input, looking.as_ref()))
        });
        match graded {
            Ok(grade) => grades.push(grade),
            Err(problem) => problems.push(problem),
        }
    }
    if !problems.is_empty() {
        let all: Vec<String> = problems.iter().map(|p| format!("{p:#}")).collect();
        bail!("{}", all.join("\n"));
    }
    for grade in &grades {
        if args.json {
            serde_json::to_writer(&mut streams.output, grade)?;
            writeln!(streams.output)?;
        } else {
            table_of(grade, &exercise, &mut streams.output)?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn report_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

fn read_text(path: &Path) -> anyhow::Result<String> {
    std::fs::read_to_string(path).with_context(|| format!("{}: cannot be read", path.display()))
}

/// An exercise file without errors.
///
/// # Errors
/// With all problems of the file.
pub fn read_exercise(path: &Path) -> anyhow::Result<Exercise> {
    let (exercise, problems) = file::read_exercise(&path.display().to_string(), &read_text(path)?);
    without_errors(exercise, &problems)
}

/// A plates file of `exercise` without errors.
///
/// # Errors
/// With all problems of the file.
pub fn read_plates(path: &Path, exercise: &Exercise) -> anyhow::Result<Plates> {
    let (plates, problems) = file::read_plates(&path.display().to_string(), &read_text(path)?, exercise);
    without_errors(plates, &problems)
}

fn without_errors<T>(value: Option<T>, problems: &[Problem]) -> anyhow::Result<T> {
    let errors: Vec<String> = problems
        .iter()
        .filter(|p| p.severity == Severity::Error)
        .map(ToString::to_string)
        .collect();
    match value {
        Some(value) if errors.is_empty() => Ok(value),
        _ => Err(anyhow!("{}", errors.join("\n"))),
    }
}

fn hand_marks(exercise: &Exercise, lines: &[String]) -> anyhow::Result<BTreeMap<String, Decimal>> {
    let mut marks = BTreeMap::new();
    for line in lines {
        let (name, points) = line
            .rsplit_once('=')
            .ok_or_else(|| anyhow!("--line {line}: write it as \"name=points\""))?;
        let names: Vec<&str> = exercise.marks.lines.iter().map(|l| l.name.as_str()).collect();
        let known = exercise.marks.lines.iter().find(|l| l.name == name.trim());
        let known = known.ok_or_else(|| {
            anyhow!(
                "--line {line}: no line marked by hand has this name; the exercise has: {}",
                names.join("; ")
            )
        })?;
        let points: Decimal = points
            .trim()
            .parse()
            .map_err(|_| anyhow!("--line {line}: `{points}` is not a number"))?;
        if points < Decimal::ZERO || points > known.points {
            bail!("--line {line}: the line earns 0 to {} points", known.points);
        }
        if marks.insert(known.name.clone(), points).is_some() {
            bail!("--line {line}: this line stands twice; give its points once");
        }
    }
    Ok(marks)
}

/// What the file of serials says of one report.
#[derive(Debug)]
pub struct SerialLine {
    /// Serial of the plate that was measured.
    pub serial: String,
    /// Fields of the set-up record, by the names of the form.
    pub set_up: BTreeMap<String, String>,
}

/// Reads the text of a file of serials; `shown` is what messages call the file.
///
/// # Errors
/// When it is no such table, or says something of one report twice.
pub fn read_serials(shown: &str, text: &str, exercise: &Exercise) -> anyhow::Result<BTreeMap<String, SerialLine>> {
    let heading = text.lines().next().unwrap_or_default();
    // Some spreadsheets write semicolons; a heading of two words shows which.
    let delimiter = if heading.contains(';') { b';' } else { b',' };
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let headings = reader
        .headers()
        .with_context(|| format!("{shown}: is no CSV table"))?
        .clone();
    let column = |name: &str| {
        let found = headings
            .iter()
            .position(|h| h.trim_start_matches('\u{feff}').eq_ignore_ascii_case(name));
        found.ok_or_else(|| {
            anyhow!("{shown}: there is no column `{name}`; the file needs the columns report and serial")
        })
    };
    let (report, serial) = (column("report")?, column("serial")?);
    let record: Vec<(usize, String)> = headings
        .iter()
        .enumerate()
        .filter_map(|(i, heading)| Some((i, set_up::field(exercise, heading)?)))
        .collect();
    let mut serials = BTreeMap::new();
    let mut lines: BTreeMap<String, u64> = BTreeMap::new();
    for row in reader.records() {
        let row = row.with_context(|| format!("{shown}: a row cannot be read"))?;
        let cell = |i: usize| row.get(i).unwrap_or_default().to_owned();
        let line = row.position().map_or(0, csv::Position::line);
        if let Some(first) = lines.insert(cell(report), line) {
            bail!(
                "{shown}: {} stands twice, at lines {first} and {line}; keep the one that counts",
                cell(report)
            );
        }
        let set_up = record.iter().map(|(i, field)| (field.clone(), cell(*i)));
        let line = SerialLine {
            serial: cell(serial),
            set_up: set_up.filter(|(_, said)| !said.is_empty()).collect(),
        };
        serials.insert(cell(report), line);
    }
    Ok(serials)
}

fn plate_of<'a>(
    args: &GradeArgs,
    serials: Option<&BTreeMap<String, SerialLine>>,
    report: &str,
    plates: &'a Plates,
) -> anyhow::Result<&'a Plate> {
    let serial = match (&args.serial, serials) {
        (Some(serial), _) => serial,
        (None, Some(serials)) => {
            let line = serials.get(report).ok_or_else(|| {
                anyhow!("{report}: the file of --serials has no line for this report; add one with its serial")
            })?;
            &line.serial
        }
        (None, None) => bail!("say which plate was measured: --serial or --serials"),
    };
    let known = || {
        plates
            .plates
            .iter()
            .map(|p| p.serial.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    let parsed: Serial = serial.parse().map_err(|e| anyhow!("{report}: {e}"))?;
    plates
        .by_serial(&parsed)
        .ok_or_else(|| anyhow!("{report}: there is no plate {serial}; the plates file has {}", known()))
}

fn read_report(
    args: &GradeArgs,
    exercise: &Exercise,
    path: &Path,
    streams: &mut Streams<'_>,
) -> anyhow::Result<Assembled> {
    let shown = path.display();
    let bytes = if path == Path::new("-") {
        let mut bytes = Vec::new();
        streams.input.read_to_end(&mut bytes)?;
        bytes
    } else {
        std::fs::read(path).with_context(|| format!("{shown}: cannot be read"))?
    };
    let options = ReadOptions {
        decimal: args.decimal,
        ..ReadOptions::default()
    };
    let table = match table::read(&bytes, &options).map_err(|refusal| anyhow!("{shown}: {refusal}"))? {
        Table::Report(table) => table,
        Table::Points(_) => {
            bail!("{shown}: this is a file of probed points; a report has the columns no, measured and call")
        }
    };
    if let Some(question) = table.head.must_ask {
        bail!("{shown}: {}", question_text(question, &table.head.readings));
    }
    let assembled = assemble::assemble(exercise, &table, args.unit).map_err(|problems| {
        let all: Vec<String> = problems.iter().map(|p| at_line(&shown.to_string(), p)).collect();
        anyhow!("{}", all.join("\n"))
    })?;
    for note in &assembled.notes {
        writeln!(streams.errors, "{}", at_line(&shown.to_string(), note))?;
    }
    Ok(assembled)
}

fn at_line(file: &str, problem: &assemble::Problem) -> String {
    match problem.line {
        Some(line) => format!("{file}:{line}: {}", problem.text),
        None => format!("{file}: {}", problem.text),
    }
}

fn question_text(question: MustAsk, readings: &[table::Reading]) -> String {
    match question {
        MustAsk::DecimalMark => {
            let example = |r: &table::Reading| r.values.iter().flatten().next().cloned().unwrap_or_default();
            let ways: Vec<String> = readings
                .iter()
                .filter_map(|r| Some(format!("--decimal {} reads {}", word_of(r.decimal?), example(r))))
                .collect();
            format!(
                "the decimal mark can be read in more than one way; say which: {}",
                ways.join(", ")
            )
        }
        MustAsk::Delimiter => {
            "the cells could be separated in more than one way; save the table with semicolons or commas only"
                .to_owned()
        }
        MustAsk::Columns => "there is no heading row; put `no,measured,call` above the rows".to_owned(),
    }
}

/// The word of `--decimal` for a mark.
const fn word_of(mark: DecimalMark) -> &'static str {
    match mark {
        DecimalMark::Point => "point",
        DecimalMark::Comma => "comma",
        DecimalMark::Mixed => "mixed",
    }
}

/// A grade as a table for people.
fn table_of(grade: &Grade, exercise: &Exercise, out: &mut dyn Write) -> anyhow::Result<()> {
    let places = exercise.decimals;
    let number = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| show_f64(v, places));
    let word = |call: Option<crate::report::call::Call>| call.map_or("-", crate::report::call::Call::as_str);
    let statistic = match exercise.marks.score {
        ScoreKind::En => "E_n",
        ScoreKind::Fitness(_) => "z'",
    };
    writeln!(
        out,
        "{}: {} plate {}, {}",
        grade.report, grade.exercise, grade.serial, exercise.units
    )?;
    writeln!(
        out,
        "{:>6} {:<16} {:>11} {:>11} {:>7} {:>8}  {:<14} {:<14} {:<14}",
        "no", "of", "measured", "reference", statistic, "score", "call", "own value", "plate"
    )?;
    for item in &grade.items {
        let en = item.en.map_or_else(|| "-".to_owned(), |v| show_f64(v, 2));
        let score = item
            .measurement_score
            .map_or_else(|| "-".to_owned(), |v| show_f64(v, 3));
        let doubt = if item.in_doubt == Some(true) { " (in doubt)" } else { "" };
        writeln!(
            out,
            "{:>6} {:<16} {:>11} {:>11} {en:>7} {score:>8}  {:<14} {:<14} {}{doubt}",
            item.no,
            item.of.word(),
            number(item.measured),
            number(item.reference),
            word(item.call),
            word(item.call_by_own_value),
            word(item.call_by_reference),
        )?;
    }
    for line in &grade.marks.lines {
        writeln!(out, "{:>10} {}", crate::units::show_signed(line.points, 3), line.text)?;
    }
    match grade.marks.r#final {
        Some(mark) => writeln!(out, "{mark:>10} mark out of 100\n")?,
        None => writeln!(out, "no mark\n")?,
    }
    Ok(())
}
