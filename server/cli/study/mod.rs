//! `platemark study`: how often the diagnosis is right, on reports made by the forward model with known faults.

mod draw;
mod judge;
mod rows;
mod table;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};
use clap::Args;

use super::Streams;
use super::grade::{read_exercise, read_plates};
use crate::exercise::names::Serial;
use crate::grading::diagnosis::Diagnoser;
use crate::grading::diagnosis::priors::Priors;
use crate::procedure::fault::Family;
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use draw::Bench;
use rows::{Mix, Row, Study};

/// Options of `study`.
#[derive(Debug, Args)]
#[command(after_long_help = "What is printed, shares with their 95 % Wilson intervals:\n\
        - clean reports, and reports with one, two and three faults above the identifiable size: how many are right, how many have \
        another set stated, suspected, unexplained, clean; the time; plain data snooping on the same reports; each family by itself;\n\
        - drawn from the priors, small effects included: what share of the reports with a fault has one below the identifiable \
        size, what becomes of those (they must come back clean, suspected or unexplained and not as something else), and how \
        often another set is stated over the whole mix, which must be at most 0.5 %;\n\
        - calibration on that same draw: of those stated at a probability, how many were right, and as one figure the mean \
        difference between the two over the bins, which must be within 2 %.\n\n\
        A fault is above the identifiable size when it changes the values by more than ten standard deviations across what the \
        other faults' amounts could take up.\n\n\
        Example:\n  platemark study --exercise exercises/SB-11 --reports 50 --clean 1000 --seed 7")]
pub struct StudyArgs {
    /// Folder of an exercise, with exercise.toml and plates.toml; may be repeated. Without it: all folders of exercises/
    #[arg(long = "exercise", value_name = "DIR")]
    pub exercises: Vec<PathBuf>,
    /// Reports for each family of faults; four times as many with two and with three faults
    #[arg(long, default_value_t = 200)]
    pub reports: u64,
    /// Reports without a fault
    #[arg(long, default_value_t = 5000)]
    pub clean: u64,
    /// Reports of the calibration, drawn from the priors
    #[arg(long, default_value_t = 2000)]
    pub calibration: u64,
    /// Seed; the same seed gives the same reports on every machine
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Clean reports whose noise is not as declared too: frame doubled, t with 4 degrees of freedom, all doubled
    #[arg(long)]
    pub stress: bool,
    /// Every so many reports plain data snooping looks at one as well; 0 is never
    #[arg(long, default_value_t = 5)]
    pub baseline: u64,
    /// List each report whose answer is not right, with what was true and what was said
    #[arg(long)]
    pub misses: bool,
}

/// All rows of one exercise, or of all together.
#[derive(Debug, Default)]
struct Rows {
    /// Rows by name, in the order of the table.
    named: Vec<(String, Row)>,
    singles: Vec<(Family, Row)>,
    confused: BTreeMap<(Family, String), u64>,
    mix: Mix,
}

impl Rows {
    fn add(&mut self, other: &Self) {
        for (name, row) in &other.named {
            match self.named.iter_mut().find(|(n, _)| n == name) {
                Some((_, mine)) => mine.add(row),
                None => self.named.push((name.clone(), row.clone())),
            }
        }
        for (family, row) in &other.singles {
            match self.singles.iter_mut().find(|(f, _)| f == family) {
                Some((_, mine)) => mine.add(row),
                None => self.singles.push((*family, row.clone())),
            }
        }
        for (key, n) in &other.confused {
            *self.confused.entry(key.clone()).or_default() += n;
        }
        self.mix.add(&other.mix);
    }
}

/// Draws, diagnoses, judges and prints.
///
/// # Errors
/// When an exercise cannot be read or the output is closed.
pub fn run(args: &StudyArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let folders = folders(args)?;
    let mut together = Rows::default();
    for folder in &folders {
        let exercise = read_exercise(&folder.join("exercise.toml"))?;
        let plates = read_plates(&folder.join("plates.toml"), &exercise)?;
        let priors = Priors::default();
        let diagnoser = Diagnoser::new(&exercise, &plates.plates, priors.clone())
            .with_context(|| format!("{}: cannot be diagnosed", folder.display()))?;
        let serials: Vec<Serial> = plates.plates.iter().map(|p| p.serial.clone()).collect();
        let study = Study {
            exercise: &exercise,
            bench: Bench {
                exercise: &exercise,
                model: diagnoser.model(),
                serials: &serials,
                priors: &priors,
            },
            diagnoser: &diagnoser,
            snoop_every: args.baseline,
            misses: std::cell::RefCell::default(),
        };
        let rows = measure(args, &study);
        writeln!(
            streams.output,
            "{}: {} characteristics, {} plates, seed {}",
            exercise.code,
            exercise.characteristics.len(),
            serials.len(),
            args.seed
        )?;
        table::print(&rows, &mut streams.output)?;
        for miss in study.misses.borrow().iter().filter(|_| args.misses) {
            writeln!(streams.output, "{miss}")?;
        }
        together.add(&rows);
    }
    if folders.len() > 1 {
        writeln!(streams.output, "All {} exercises", folders.len())?;
        table::print(&together, &mut streams.output)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn folders(args: &StudyArgs) -> anyhow::Result<Vec<PathBuf>> {
    if !args.exercises.is_empty() {
        return Ok(args.exercises.clone());
    }
    let entries =
        std::fs::read_dir("exercises").context("there is no folder exercises/ here; name a folder with --exercise")?;
    let mut folders: Vec<PathBuf> = entries
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.join("exercise.toml").is_file() && p.join("plates.toml").is_file())
        .collect();
    folders.sort();
    if folders.is_empty() {
        bail!("exercises/ holds no folder with exercise.toml and plates.toml; name one with --exercise");
    }
    Ok(folders)
}

fn measure(args: &StudyArgs, study: &Study<'_>) -> Rows {
    let mut rows = Rows::default();
    let sampler = |purpose: &str| Sampler::new(args.seed, &format!("{} {purpose}", study.exercise.code));
    let declared = Conditions::default();
    let mut conditions = vec![("clean", declared)];
    if args.stress {
        conditions.push(("clean, frame noise doubled", Conditions { frame: 2.0, ..declared }));
        conditions.push((
            "clean, t(4) noise",
            Conditions {
                heavy_tails: true,
                ..declared
            },
        ));
        conditions.push(("clean, all noise doubled", Conditions { all: 2.0, ..declared }));
    }
    for (name, conditions) in conditions {
        let row = study.clean(args.clean, conditions, &mut sampler(name));
        rows.named.push((name.to_owned(), row));
    }
    let mut one = Row::default();
    for (code, family) in Family::ALL {
        let row = study.single(family, args.reports, &mut sampler(code), &mut rows.confused);
        one.add(&row);
        rows.singles.push((family, row));
    }
    rows.named.push(("one fault".to_owned(), one));
    for (name, faults) in [("two faults", 2), ("three faults", 3)] {
        let row = study.several(faults, 4 * args.reports, &mut sampler(name));
        rows.named.push((name.to_owned(), row));
    }
    rows.mix = study.mix(args.calibration, &mut sampler("calibration"));
    rows.named.push(("drawn from the priors".to_owned(), rows.mix.all()));
    rows
}
