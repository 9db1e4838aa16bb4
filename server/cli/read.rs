//! `platemark read`: what a file is read as.

mod show;

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;
use clap::Args;

use crate::report::kind::{FileKind, kind_of};
use crate::report::roster::{self, RosterOptions};
use crate::report::table::{DecimalMark, Delimiter, ReadOptions, Role, read};
use crate::units::ValueUnit;

/// Options of `read`.
#[derive(Debug, Clone, Args)]
#[command(
    about = "Show what a report or a file of probed points is read as",
    long_about = "Reads a report or a file of probed points and shows what was found: encoding, delimiter, decimal mark, \
                  columns, rows, and everything that was not read, with its line. Nothing is stored or graded.\n\n\
                  A file that could be read in two ways is asked about; the options below give the answer.",
    after_long_help = "Example:\n  platemark read report.csv\n  platemark read report.csv --decimal comma --json\n  \
                       platemark read - --columns no,measured,call < rows.txt\n  platemark read class.csv --roster\n\n\
                       Exit status: 0 the file was read or something must be asked, 1 it was refused, 2 usage."
)]
pub struct ReadArgs {
    /// File to read; `-` reads standard input
    pub file: PathBuf,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// Decimal mark: point, comma, or mixed (each number by its own)
    #[arg(long, value_name = "MARK", value_parser = decimal)]
    pub decimal: Option<DecimalMark>,
    /// Delimiter: comma, semicolon, tab, bar, or the character itself
    #[arg(long, value_name = "DELIMITER", value_parser = delimiter)]
    pub delimiter: Option<Delimiter>,
    /// What each column holds, in order, separated by commas: no, name, nominal, minus, plus, tolerance, measured, unit,
    /// call, comment; or feature, x, y, z, i, j, k; `-` for one that is not used
    #[arg(long, value_name = "COLUMNS", value_parser = columns)]
    pub columns: Option<Columns>,
    /// Unit of rows that name none: mm, cm, m, um, inch, deg, rad
    #[arg(long, value_name = "UNIT", value_parser = unit)]
    pub unit: Option<ValueUnit>,
    /// Read the list of a class's people instead of a report
    #[arg(long)]
    pub roster: bool,
}

/// What each column holds; `None` for one that is not used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns(pub Vec<Option<Role>>);

/// Largest input that is taken in, in bytes: more than any format allows, so that its reader says what its limit is.
const MAX_INPUT: u64 = 64 * 1024 * 1024;

fn decimal(word: &str) -> Result<DecimalMark, String> {
    DecimalMark::parse_word(word).ok_or_else(|| "give point, comma or mixed".to_owned())
}

fn delimiter(word: &str) -> Result<Delimiter, String> {
    Delimiter::parse_word(word).ok_or_else(|| "give comma, semicolon, tab, bar, or one character".to_owned())
}

fn unit(word: &str) -> Result<ValueUnit, String> {
    ValueUnit::parse_word(word).ok_or_else(|| "give mm, cm, m, um, inch, deg or rad".to_owned())
}

fn columns(list: &str) -> Result<Columns, String> {
    let column = |word: &str| match word.trim() {
        "" | "-" => Ok(None),
        word => Role::parse_word(word)
            .map(Some)
            .ok_or_else(|| format!("{word} is no column; see --help for the list")),
    };
    let roles: Vec<Option<Role>> = list.split(',').map(column).collect::<Result<_, _>>()?;
    let has = |role: Role| roles.contains(&Some(role));
    let is_report = has(Role::Measured) && (has(Role::Label) || has(Role::Name));
    if is_report || [Role::Feature, Role::X, Role::Y, Role::Z].into_iter().all(has) {
        Ok(Columns(roles))
    } else {
        Err("a report needs no (or name) and measured, probed points need feature, x, y and z".to_owned())
    }
}

/// Reads the file that `args` names and prints what it was read as to `out`. A file that is refused leaves `out`
/// alone: `err` says what is wrong with it, and the status is 1.
pub fn run(args: &ReadArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<ExitCode> {
    let bytes = take_in(&args.file)?;
    let name = args.file.display();
    let refusal = match kind_of(&bytes) {
        FileKind::Table => None,
        FileKind::Xml => Some("this is an XML document, and only tables are read here. Save the table as CSV."),
        FileKind::Zip => Some(
            "this is a zip archive or a spreadsheet's own file, and only text is read here. Save the table as CSV.",
        ),
        FileKind::Dmis => Some("this holds DMIS statements, and only tables are read here. Save the table as CSV."),
    };
    if let Some(refusal) = refusal {
        writeln!(err, "{name}: {refusal}")?;
        return Ok(ExitCode::FAILURE);
    }
    if args.roster {
        return people(&name.to_string(), &bytes, args.json, out, err);
    }
    let options = ReadOptions {
        decimal: args.decimal,
        delimiter: args.delimiter,
        columns: args.columns.clone().map(|columns| columns.0),
        unit: args.unit,
    };
    match read(&bytes, &options) {
        Err(refusal) => {
            writeln!(err, "{name}: {refusal}")?;
            Ok(ExitCode::FAILURE)
        }
        Ok(table) if args.json => {
            let mut out = io::BufWriter::new(out);
            serde_json::to_writer_pretty(&mut out, &table)?;
            writeln!(out)?;
            out.flush()?;
            Ok(ExitCode::SUCCESS)
        }
        Ok(table) => {
            let mut out = io::BufWriter::new(out);
            show::table(&table, &mut out)?;
            out.flush()?;
            Ok(ExitCode::SUCCESS)
        }
    }
}

/// Shows what the list of a class's people is read as.
fn people(name: &str, bytes: &[u8], json: bool, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<ExitCode> {
    let roster = match roster::read(bytes, &RosterOptions::default()) {
        Ok(roster) => roster,
        Err(refusal) => {
            writeln!(err, "{name}: {refusal}")?;
            return Ok(ExitCode::FAILURE);
        }
    };
    if json {
        serde_json::to_writer_pretty(&mut *out, &roster)?;
        writeln!(out)?;
        return Ok(ExitCode::SUCCESS);
    }
    let delimiter = roster.delimiter.as_deref().unwrap_or("none, one cell to a line");
    writeln!(out, "encoding   {}", roster.encoding.as_str())?;
    writeln!(out, "delimiter  {delimiter}")?;
    writeln!(
        out,
        "headings   {}",
        if roster.heading { "the first line" } else { "none" }
    )?;
    for (at, column) in roster.columns.iter().enumerate() {
        writeln!(out, "column {}   {}  {}", at + 1, column.holds.word(), column.heading)?;
    }
    for person in &roster.people {
        writeln!(
            out,
            "{:>5}  {}  {}  {}",
            person.line, person.name, person.school_id, person.email
        )?;
    }
    for remark in &roster.remarks {
        let out_word = if remark.left_out { "left out: " } else { "" };
        writeln!(out, "line {}: {out_word}{}", remark.line, remark.text)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn take_in(path: &Path) -> anyhow::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        io::stdin().lock().take(MAX_INPUT).read_to_end(&mut bytes)
    } else {
        File::open(path).and_then(|file| file.take(MAX_INPUT).read_to_end(&mut bytes))
    };
    read.with_context(|| {
        format!(
            "{} cannot be read. Check the name and that it is a file.",
            path.display()
        )
    })?;
    Ok(bytes)
}
