//! One file per command. A new command is a module, a line in `Command` and a line in its `Command::run`.

/// `backup`, `restore` and `export`.
pub mod backup;
/// `check`: what is wrong with exercise and plates files.
pub mod check;
/// Files of points for `fit` and `frame`.
pub mod coordinates;
/// The demo school, ready to be looked at.
pub mod demo;
/// `fit`: a figure through points.
pub mod fit;
/// `frame`: the datum frame of probed points.
pub mod frame;
/// `grade`: reports, offline.
pub mod grade;
/// `insight`: which mistakes a print can tell.
pub mod insight;
/// Instructors' accounts.
pub mod instructor;
/// `plan`: what a measuring plan can achieve.
pub mod plan;
/// `points`: the probed points of a plate.
pub mod points;
/// `propose`: plates from a seed.
pub mod propose;
/// `read`: what a file is read as.
pub mod read;
/// How long names are kept.
pub mod retention;
/// The server.
pub mod serve;
/// `study`: how often the diagnosis is right.
pub mod study;
/// `verify`: reference cases.
pub mod verify;

mod show;
mod take_in;

use std::fmt::Display;
use std::io::{IsTerminal, Read, Write};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Takes students' reports of measured practice plates and marks them.
#[derive(Debug, Parser)]
#[command(name = "platemark", version, about, arg_required_else_help = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a checked copy of the whole school to a file
    Backup(backup::BackupArgs),
    /// Check exercise and plates files
    Check(check::CheckArgs),
    /// Start the demo school on this machine
    Demo(demo::Args),
    /// Print everything that is stored about one person
    Export(backup::ExportArgs),
    /// Fit a figure to points
    ///
    /// Fits a figure to the points of a file: one point a line, x,y or x,y,z, headings or none. A file of probed points
    /// with a column `feature` will do too; --feature chooses its lines. Lengths come back in the unit of the points,
    /// angles as their names say. Points that do not determine the figure are an error that says why.
    Fit(fit::FitArgs),
    /// Make the datum frame of probed points
    ///
    /// Makes the movement from machine to part coordinates from tip centres probed on the datums. The points file has a
    /// feature's name and x,y,z a line, and i,j,k from the surface towards the tip where known: they tell on which side
    /// the material is. 3-2-1 from three faces (the default: A on top, B left, C in front, each at 0); a plane with a
    /// line and a hole where --origin is given; a plane and two holes where --toward is given too. Datums are
    /// least-squares figures.
    Frame(frame::FrameArgs),
    /// Grade reports against an exercise and its plates
    Grade(grade::GradeArgs),
    /// Show which mistakes a print can tell, and which it cannot tell apart
    Insight(insight::InsightArgs),
    /// Add an instructor, or help somebody who has lost passphrase or second step
    Instructor(instructor::Args),
    /// Show what uncertainty the measuring plan of an exercise can achieve
    Plan(plan::PlanArgs),
    /// Print the probed points of a plate as a machine would give them
    Points(points::PointsArgs),
    /// Propose plates that are off on purpose, from a seed
    Propose(propose::ProposeArgs),
    /// Show what a report or a file of probed points is read as
    Read(read::ReadArgs),
    /// Put a backup in the place of the school
    Restore(backup::RestoreArgs),
    /// Show and set how long classes keep the names of their students
    Retention(retention::RetentionArgs),
    /// Start the server
    Serve(serve::Args),
    /// Measure how often the diagnosis is right
    ///
    /// Makes reports with known faults and honest noise from exercises and their plates, diagnoses them and prints how
    /// often that was right, what was taken for what, whether stated probabilities hold, how long it took, and what plain
    /// data snooping makes of the same reports. Faults are drawn from the priors; in the rows by number and by family
    /// only such that change the report by more than ten standard deviations beside the others.
    Study(study::StudyArgs),
    /// Hold our numbers against reference cases
    ///
    /// Computes every case of reference files and prints the values under the names that the file's `expected` uses, the
    /// difference where something is expected, and pass or fail; then a table of each file's worst difference over its
    /// tolerance. A case without `expected` is computed all the same. A file is a JSON object with a list of `cases`.
    /// What they are is told by its `family` key, by its name, or by --family.
    Verify(verify::VerifyArgs),
}

impl Command {
    /// Does it. What is returned as an error is the input's fault and ends with status 1.
    ///
    /// # Errors
    /// With a message for the person at the command line.
    pub fn run(self) -> anyhow::Result<ExitCode> {
        match self {
            Self::Backup(args) => backup::backup(args),
            Self::Export(args) => backup::export(args),
            Self::Restore(args) => backup::restore(args),
            Self::Check(args) => check::run(&args, &mut std::io::stdout().lock()),
            Self::Demo(args) => demo::run(args),
            Self::Fit(args) => fit::run(&args, &mut Streams::of_process()),
            Self::Frame(args) => frame::run(&args, &mut Streams::of_process()),
            Self::Grade(args) => grade::run(&args, &mut Streams::of_process()),
            Self::Insight(args) => insight::run(&args, &mut Streams::of_process()),
            Self::Instructor(args) => instructor::run(&args),
            Self::Plan(args) => plan::run(&args, &mut Streams::of_process()),
            Self::Points(args) => points::run(&args, &mut std::io::stdout().lock(), &mut std::io::stderr().lock()),
            Self::Propose(args) => propose::run(&args, &mut Streams::of_process()),
            Self::Read(args) => read::run(&args, &mut std::io::stdout().lock(), &mut std::io::stderr().lock()),
            Self::Retention(args) => retention::run(args),
            Self::Serve(args) => serve::run(args),
            Self::Study(args) => study::run(&args, &mut Streams::of_process()),
            Self::Verify(args) => verify::run(&args, &mut Streams::of_process()),
        }
    }
}

/// Where a command reads and writes: the process's own streams, or a test's.
pub struct Streams<'a> {
    /// Standard input.
    pub input: Box<dyn Read + 'a>,
    /// Standard output.
    pub output: Box<dyn Write + 'a>,
    /// Standard error.
    pub errors: Box<dyn Write + 'a>,
}

impl Streams<'_> {
    /// Those of the process.
    #[must_use]
    pub fn of_process() -> Self {
        Self {
            input: Box::new(std::io::stdin().lock()),
            output: Box::new(std::io::stdout().lock()),
            errors: Box::new(std::io::stderr().lock()),
        }
    }
}

/// Prints a line.
///
/// # Errors
/// When nobody reads it any more.
pub fn say(line: impl Display) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}")?;
    out.flush()?;
    Ok(())
}

/// Runs what is async.
///
/// # Errors
/// Those of the work, or when the threads cannot be started.
pub fn block_on<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?
        .block_on(work)
}

/// Sends the log to standard error: as JSON where a program reads it. `RUST_LOG` chooses; `usual` is the level else.
pub fn log(usual: &str) {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(usual));
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr);
    if std::io::stderr().is_terminal() {
        log.init();
    } else {
        log.json().init();
    }
}
