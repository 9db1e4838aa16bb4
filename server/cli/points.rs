//! `platemark points`: the probed points of a plate, as a machine would give them.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};
use clap::Args;
use serde::Serialize;

use crate::exercise::file::{Problem, Severity, read_exercise, read_plates};
use crate::exercise::model::Exercise;
use crate::exercise::names::Serial;
use crate::exercise::plate::{Plate, Plates};
use crate::procedure::points::{ProbedPoint, Setting, probed_points, table};
use crate::procedure::sampler::Sampler;
use crate::units::decimal_to_f64;

/// Options of `points`.
#[derive(Debug, Clone, Args)]
#[command(
    about = "Print the probed points of a plate as a machine would give them",
    long_about = "Prints every touch of a plate's datums and features as CSV (feature,x,y,z,i,j,k): tip centres in the \
                  machine's frame, in the exercise's unit, with the direction from the surface towards the tip. The \
                  part lies turned and off on the machine; the touches have the exercise's repeatability. The same \
                  seed gives the same points on every machine.",
    after_long_help = "Example:\n  platemark points exercises/SB-11/exercise.toml --plates exercises/SB-11/plates.toml \\\n    \
                       --serial SB-11-01 --seed 7\n\n\
                       Exit status: 0 done, 1 something is wrong with the input, 2 usage."
)]
pub struct PointsArgs {
    /// Exercise file; `-` reads standard input
    pub exercise: PathBuf,
    /// Plates file of the exercise; `-` reads standard input
    #[arg(long, value_name = "FILE")]
    pub plates: PathBuf,
    /// Serial of the plate
    #[arg(long)]
    pub serial: Serial,
    /// Seed of setting and noise
    #[arg(long)]
    pub seed: u64,
    /// Turn of the part about Z in degrees, instead of one from the seed
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub angle: Option<f64>,
    /// Place of the part's origin on the machine, instead of one from the seed
    #[arg(long, value_name = "X,Y,Z", value_parser = place, allow_hyphen_values = true)]
    pub offset: Option<Place>,
    /// Touches without noise
    #[arg(long)]
    pub noiseless: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// A place on the machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place(pub [f64; 3]);

fn place(text: &str) -> Result<Place, String> {
    let numbers: Option<Vec<f64>> = text.split(',').map(|n| n.trim().parse().ok()).collect();
    let place = numbers.and_then(|n| <[f64; 3]>::try_from(n).ok());
    place
        .map(Place)
        .ok_or_else(|| "give three numbers, as in 210,-35,-400".to_owned())
}

/// Largest file that is taken in, in bytes; far beyond any exercise.
const MAX_INPUT: u64 = 16 * 1024 * 1024;

#[derive(Debug, Serialize)]
struct Shown<'a> {
    exercise: &'a str,
    serial: &'a str,
    seed: u64,
    units: &'a str,
    tip_diameter: f64,
    setting: ShownSetting,
    points: Vec<ShownPoint<'a>>,
}

#[derive(Debug, Serialize)]
struct ShownSetting {
    angle_deg: f64,
    tilt_deg: [f64; 2],
    offset: [f64; 3],
}

#[derive(Debug, Serialize)]
struct ShownPoint<'a> {
    feature: &'a str,
    x: f64,
    y: f64,
    z: f64,
    i: f64,
    j: f64,
    k: f64,
}

/// Prints the points to `out`; what is wrong with a file, and warnings, go to `err`.
///
/// # Errors
/// When a file cannot be read or has no such plate, or nobody reads `out` any more.
pub fn run(args: &PointsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<ExitCode> {
    if args.exercise == Path::new("-") && args.plates == Path::new("-") {
        bail!("standard input can be one of the two files, not both");
    }
    let Some((exercise, plates)) = files(args, err)? else {
        return Ok(ExitCode::FAILURE);
    };
    let plate = plate_of(&plates, &args.serial)?;
    let mut sampler = Sampler::new(args.seed, "probed points");
    let mut setting = Setting::by_eye(exercise.units, &mut sampler);
    if let Some(angle) = args.angle {
        setting.angle_deg = angle;
    }
    if let Some(Place(offset)) = args.offset {
        setting.offset = offset;
    }
    let all = setting.offset.into_iter().chain([setting.angle_deg]);
    if all.into_iter().any(|v| !v.is_finite() || v.abs() > 1e6) {
        bail!("the part cannot lie there; give an angle and an offset of a machine's size");
    }
    let noise = if args.noiseless { 0.0 } else { 1.0 };
    let points = probed_points(&exercise, plate, &setting, noise, &mut sampler);
    let mut out = io::BufWriter::new(out);
    if args.json {
        serde_json::to_writer_pretty(&mut out, &shown(args, &exercise, setting, &points))?;
        writeln!(out)?;
    } else {
        out.write_all(table(&points, exercise.decimals)?.as_bytes())?;
    }
    out.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn shown<'a>(args: &'a PointsArgs, exercise: &'a Exercise, setting: Setting, points: &'a [ProbedPoint]) -> Shown<'a> {
    let point = |p: &'a ProbedPoint| {
        let ([x, y, z], [i, j, k]) = (p.tip, p.direction);
        ShownPoint {
            feature: &p.feature,
            x,
            y,
            z,
            i,
            j,
            k,
        }
    };
    Shown {
        exercise: exercise.code.as_str(),
        serial: args.serial.as_str(),
        seed: args.seed,
        units: exercise.units.as_str(),
        tip_diameter: decimal_to_f64(exercise.measurement.tip_diameter),
        setting: ShownSetting {
            angle_deg: setting.angle_deg,
            tilt_deg: setting.tilt_deg,
            offset: setting.offset,
        },
        points: points.iter().map(point).collect(),
    }
}

/// Both files, or nothing where their problems were written to `err`.
fn files(args: &PointsArgs, err: &mut dyn Write) -> anyhow::Result<Option<(Exercise, Plates)>> {
    let (exercise, problems) = read_exercise(&args.exercise.to_string_lossy(), &take_in(&args.exercise)?);
    report(&problems, err)?;
    let Some(exercise) = exercise else { return Ok(None) };
    let (plates, problems) = read_plates(&args.plates.to_string_lossy(), &take_in(&args.plates)?, &exercise);
    report(&problems, err)?;
    Ok(plates.map(|plates| (exercise, plates)))
}

/// Errors only: `check` is for warnings.
fn report(problems: &[Problem], err: &mut dyn Write) -> io::Result<()> {
    let mut errors = problems.iter().filter(|p| p.severity == Severity::Error);
    errors.try_for_each(|problem| writeln!(err, "{problem}"))
}

fn plate_of<'a>(plates: &'a Plates, serial: &Serial) -> anyhow::Result<&'a Plate> {
    plates.by_serial(serial).with_context(|| {
        let serials: Vec<&str> = plates.plates.iter().map(|p| p.serial.as_str()).collect();
        format!("the plates file has no plate {serial}; it has {}", serials.join(", "))
    })
}

fn take_in(path: &Path) -> anyhow::Result<String> {
    let mut text = String::new();
    let read = if path == Path::new("-") {
        io::stdin().lock().take(MAX_INPUT).read_to_string(&mut text)
    } else {
        File::open(path).and_then(|file| file.take(MAX_INPUT).read_to_string(&mut text))
    };
    read.with_context(|| {
        format!(
            "{} cannot be read. Check the name and that it is a text file.",
            path.display()
        )
    })?;
    Ok(text)
}
