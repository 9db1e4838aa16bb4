//! `platemark propose`: plates from a seed.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};
use clap::Args;
use rand::TryRng;
use rand::rngs::SysRng;
use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::Streams;
use super::take_in::{take_in, tell};
use crate::exercise::file::{read_exercise, read_plates, write_plates};
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Plate, PlateKind, Plates};
use crate::procedure::seeding::{Aims, PlateSeed, Proposal, propose};

/// Options of `propose`.
#[derive(Debug, Clone, Args)]
#[command(
    about = "Propose plates that are off on purpose, from a seed",
    long_about = "Prints a plates file with so many copies of an exercise. On every copy exactly so many characteristics are \
                  nonconforming and so many are close to a limit; deviations are whole steps of the shop, walls are kept, and \
                  every two copies differ in so many characteristics by more than 3 U that a report tells which one it was. The \
                  same seed gives the same plates on every machine. What cannot be met is said with the nearest that can.\n\n\
                  The file and the seed are what the plates really are: keep both from students.",
    after_long_help = "Example:\n  platemark propose exercises/SB-11/exercise.toml --copies 8 --seed 9f1c0a7be2d44c51 > plates.toml\n  \
                       platemark propose exercise.toml --copies 4 --plates plates.toml --nonconforming 5 --close 3 --step 0.005\n\n\
                       Exit status: 0 done, 1 something is wrong with the input or an aim cannot be met, 2 usage."
)]
pub struct ProposeArgs {
    /// Exercise file; `-` reads standard input
    pub exercise: PathBuf,
    /// How many copies
    #[arg(long)]
    pub copies: usize,
    /// Seed, up to 32 hexadecimal digits; without it one is drawn and stands in the file
    #[arg(long, value_name = "HEX")]
    pub seed: Option<PlateSeed>,
    /// Nonconforming characteristics on each copy
    #[arg(long, value_name = "COUNT")]
    pub nonconforming: Option<usize>,
    /// Characteristics close to a limit on each copy, on either side of it
    #[arg(long, value_name = "COUNT")]
    pub close: Option<usize>,
    /// What close is, as a share of half the tolerance
    #[arg(long, value_name = "SHARE", allow_negative_numbers = true)]
    pub share: Option<Decimal>,
    /// Characteristics in which every two copies differ by more than 3 U
    #[arg(long, value_name = "COUNT")]
    pub apart: Option<usize>,
    /// Smallest step of a length that the shop makes
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true)]
    pub step: Option<Decimal>,
    /// Smallest step of an angle that the shop makes
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub angle_step: Option<Decimal>,
    /// Thinnest wall
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true)]
    pub wall: Option<Decimal>,
    /// Virtual plates: numbers only
    #[arg(long = "virtual")]
    pub is_virtual: bool,
    /// Expanded uncertainty (k = 2) of what the shop makes, where it is trusted as a reference
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true)]
    pub shop_uncertainty: Option<Decimal>,
    /// Plates that there are already, which the new ones must be told apart from; `-` reads standard input
    #[arg(long, value_name = "FILE")]
    pub plates: Option<PathBuf>,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// Prints the plates; remarks and what is wrong go to standard error.
///
/// # Errors
/// When a file cannot be read, an aim cannot be met, or nobody reads the output any more.
pub fn run(args: &ProposeArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    if args.exercise == Path::new("-") && args.plates.as_deref() == Some(Path::new("-")) {
        bail!("standard input can be one of the two files, not both");
    }
    let name = args.exercise.to_string_lossy();
    let (exercise, problems) = read_exercise(&name, &take_in(&args.exercise, streams)?);
    tell(&problems, streams)?;
    let Some(exercise) = exercise else {
        return Ok(ExitCode::FAILURE);
    };
    let existing = match &args.plates {
        None => Vec::new(),
        Some(path) => {
            let (plates, problems) = read_plates(&path.to_string_lossy(), &take_in(path, streams)?, &exercise);
            tell(&problems, streams)?;
            match plates {
                Some(plates) => plates.plates,
                None => return Ok(ExitCode::FAILURE),
            }
        }
    };
    let seed = match args.seed {
        Some(seed) => seed,
        None => drawn_seed()?,
    };
    let aims = aims(args, &exercise);
    let proposal = propose(&exercise, seed, &aims, &existing, &[])?;
    for remark in &proposal.remarks {
        writeln!(streams.errors, "{remark}")?;
    }
    if args.json {
        serde_json::to_writer_pretty(&mut streams.output, &as_json(&exercise, seed, &aims, &proposal))?;
        writeln!(streams.output)?;
    } else {
        let plates = Plates {
            exercise: exercise.code.clone(),
            plates: proposal.plates,
        };
        streams.output.write_all(write_plates(&plates).as_bytes())?;
    }
    streams.output.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn drawn_seed() -> anyhow::Result<PlateSeed> {
    let mut bytes = [0_u8; 16];
    SysRng
        .try_fill_bytes(&mut bytes)
        .context("the system gives no random numbers")?;
    Ok(PlateSeed(u128::from_be_bytes(bytes)))
}

fn aims(args: &ProposeArgs, exercise: &Exercise) -> Aims {
    let usual = Aims::usual(exercise, args.copies);
    Aims {
        nonconforming: args.nonconforming.unwrap_or(usual.nonconforming),
        close: args.close.unwrap_or(usual.close),
        share: args.share.unwrap_or(usual.share),
        apart: args.apart.unwrap_or(usual.apart),
        step: args.step.unwrap_or(usual.step),
        angle_step: args.angle_step.unwrap_or(usual.angle_step),
        wall: args.wall.unwrap_or(usual.wall),
        kind: if args.is_virtual {
            PlateKind::Virtual
        } else {
            PlateKind::Physical
        },
        shop_uncertainty: args.shop_uncertainty,
        ..usual
    }
}

fn as_json(exercise: &Exercise, seed: PlateSeed, aims: &Aims, proposal: &Proposal) -> Value {
    let plate = |p: &Plate| {
        let planted: serde_json::Map<String, Value> = p
            .planted
            .iter()
            .map(|(key, deviations)| {
                let deviations: serde_json::Map<String, Value> = deviations
                    .iter()
                    .map(|(of, by)| (of.word().to_owned(), json!(crate::units::decimal_to_f64(*by))))
                    .collect();
                (key.to_string(), Value::Object(deviations))
            })
            .collect();
        json!({ "serial": p.serial.as_str(), "planted": planted })
    };
    json!({
        "exercise": exercise.code.as_str(),
        "units": exercise.units.as_str(),
        "seed": seed.to_string(),
        "kind": if aims.kind == PlateKind::Physical { "physical" } else { "virtual" },
        "nonconforming": aims.nonconforming,
        "close": aims.close,
        "share": crate::units::decimal_to_f64(aims.share),
        "apart": aims.apart,
        "plates": proposal.plates.iter().map(plate).collect::<Vec<_>>(),
        "remarks": proposal.remarks,
    })
}
