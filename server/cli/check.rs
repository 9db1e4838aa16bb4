//! `platemark check`: every problem of exercise and plates files, at its place.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;

use crate::exercise::file::{FileKind, Problem, Severity, kind_of, read_exercise, read_plates};
use crate::exercise::model::Exercise;

/// Options of `check`.
#[derive(Debug, Clone, Args)]
#[command(
    about = "Check exercise and plates files",
    long_about = "Reads exercise and plates files and prints everything that is wrong with them, each with file, line, \
                  column and how to mend it. Which of the two a file is shows from its content. A plates file is checked \
                  against its exercise: one of the files named, or `exercise.toml` beside it.",
    after_long_help = "Example:\n  platemark check exercises/BR-02/*.toml\n  platemark check plates.toml --json\n  \
                       platemark check exercise.toml - < plates.toml\n\n\
                       Exit status: 0 no errors (there can be warnings), 1 errors, 2 usage."
)]
pub struct CheckArgs {
    /// Files to check; `-` reads standard input
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Print the problems as one JSON array
    #[arg(long)]
    pub json: bool,
}

/// Largest file that is read, in bytes; an exercise with a hundred characteristics has about 20 thousand.
const MAX_FILE: u64 = 16 * 1024 * 1024;

/// A file that was named, its text, and the exercise that it holds if it does.
struct Input {
    name: String,
    path: PathBuf,
    content: Content,
}

enum Content {
    Unreadable(Problem),
    Exercise {
        exercise: Option<Box<Exercise>>,
        problems: Vec<Problem>,
    },
    Plates {
        text: String,
        code: Option<String>,
    },
}

/// Checks the files that `args` names and prints what was found to `out`.
///
/// # Errors
/// When `out` cannot be written to; what is wrong with a file is printed, and the status is 1.
pub fn run(args: &CheckArgs, out: &mut dyn Write) -> anyhow::Result<ExitCode> {
    run_with(args, &mut io::stdin().lock(), out)
}

/// [`run`] with another standard input.
///
/// # Errors
/// As [`run`].
pub fn run_with(args: &CheckArgs, stdin: &mut dyn Read, out: &mut dyn Write) -> anyhow::Result<ExitCode> {
    let inputs: Vec<Input> = args.files.iter().map(|path| take_in(path, stdin)).collect();
    let problems: Vec<Problem> = inputs.iter().flat_map(|input| problems(input, &inputs)).collect();
    let mut out = io::BufWriter::new(out);
    if args.json {
        serde_json::to_writer_pretty(&mut out, &problems)?;
        writeln!(out)?;
    } else {
        for problem in &problems {
            writeln!(out, "{problem}")?;
        }
        writeln!(out, "{}", closing(inputs.len(), &problems))?;
    }
    out.flush()?;
    let faulty = problems.iter().any(|p| p.severity == Severity::Error);
    Ok(if faulty { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

fn closing(files: usize, problems: &[Problem]) -> String {
    let counted = |count: usize, word: &str| format!("{count} {word}{}", if count == 1 { "" } else { "s" });
    let errors = problems.iter().filter(|p| p.severity == Severity::Error).count();
    let warnings = problems.len() - errors;
    let found = match (errors, warnings) {
        (0, 0) => "nothing to mend".to_owned(),
        (0, warnings) => format!("no errors, {}", counted(warnings, "warning")),
        (errors, 0) => counted(errors, "error"),
        (errors, warnings) => format!("{}, {}", counted(errors, "error"), counted(warnings, "warning")),
    };
    format!("{} checked: {found}.", counted(files, "file"))
}

fn take_in(path: &Path, stdin: &mut dyn Read) -> Input {
    let name = if path == Path::new("-") {
        "<stdin>".to_owned()
    } else {
        path.display().to_string()
    };
    let content = match text_of(path, &name, stdin) {
        Err(problem) => Content::Unreadable(problem),
        Ok(text) => match kind_of(&text) {
            FileKind::Plates { exercise } => Content::Plates { text, code: exercise },
            FileKind::Exercise => {
                let (exercise, problems) = read_exercise(&name, &text);
                Content::Exercise {
                    exercise: exercise.map(Box::new),
                    problems,
                }
            }
        },
    };
    Input {
        name,
        path: path.to_owned(),
        content,
    }
}

fn text_of(path: &Path, name: &str, stdin: &mut dyn Read) -> Result<String, Problem> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        stdin.take(MAX_FILE + 1).read_to_end(&mut bytes)
    } else {
        File::open(path).and_then(|file| file.take(MAX_FILE + 1).read_to_end(&mut bytes))
    };
    if let Err(error) = read {
        return Err(at(
            name,
            1,
            1,
            &format!("the file cannot be read ({error})"),
            "Check its name, and that it is a file.",
        ));
    }
    if u64::try_from(bytes.len()).is_ok_and(|length| length > MAX_FILE) {
        return Err(at(
            name,
            1,
            1,
            "the file is larger than 16 MB",
            "An exercise or plates file is text of some pages.",
        ));
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(error.as_bytes().get(..good).unwrap_or_default()).into_owned();
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |last| last.chars().count()) + 1;
        at(
            name,
            line,
            column,
            "there is a byte that is not UTF-8",
            "Save the file as UTF-8 text.",
        )
    })
}

fn at(file: &str, line: usize, column: usize, what: &str, mend: &str) -> Problem {
    Problem {
        file: file.to_owned(),
        line,
        column,
        severity: Severity::Error,
        what: what.to_owned(),
        mend: mend.to_owned(),
        key: None,
    }
}

fn problems(input: &Input, all: &[Input]) -> Vec<Problem> {
    match &input.content {
        Content::Unreadable(problem) => vec![problem.clone()],
        Content::Exercise { problems, .. } => problems.clone(),
        Content::Plates { text, code } => match exercise_of(input, code.as_deref(), all) {
            Ok(exercise) => read_plates(&input.name, text, &exercise).1,
            Err(problem) => vec![problem],
        },
    }
}

/// The exercise of a plates file: the one named with its code, the one beside it, or the only one named.
fn exercise_of(input: &Input, code: Option<&str>, all: &[Input]) -> Result<Exercise, Problem> {
    let named = all
        .iter()
        .filter(|other| matches!(other.content, Content::Exercise { .. }));
    let with_code = named
        .clone()
        .find(|other| exercise(other).is_some_and(|e| Some(e.code.as_str()) == code));
    let beside = input.path.with_file_name("exercise.toml");
    let is_file = input.path != Path::new("-");
    let named_beside = named.clone().find(|other| is_file && other.path == beside);
    let faulty = |name: &str| {
        let what = format!("the exercise of these plates, {name}, has errors");
        at(
            &input.name,
            1,
            1,
            &what,
            "Mend it first; the plates are checked against it.",
        )
    };
    if let Some(found) = with_code.or(named_beside) {
        return exercise(found).cloned().ok_or_else(|| faulty(&found.name));
    }
    if is_file && beside.is_file() {
        let found = take_in(&beside, &mut io::empty());
        return exercise(&found).cloned().ok_or_else(|| faulty(&found.name));
    }
    let mut named = named;
    if let (Some(only), None) = (named.next(), named.next()) {
        return exercise(only).cloned().ok_or_else(|| faulty(&only.name));
    }
    let code = code.map_or_else(String::new, |code| format!(" {code}"));
    let what = format!("the exercise{code} of these plates is not at hand");
    Err(at(
        &input.name,
        1,
        1,
        &what,
        "Put `exercise.toml` beside the file, or name it as well.",
    ))
}

fn exercise(input: &Input) -> Option<&Exercise> {
    match &input.content {
        Content::Exercise { exercise, .. } => exercise.as_deref(),
        Content::Unreadable(_) | Content::Plates { .. } => None,
    }
}
