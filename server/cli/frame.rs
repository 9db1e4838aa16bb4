//! `platemark frame`: the datum frame of probed points.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;
use std::str::FromStr;

use anyhow::{Context, anyhow};
use clap::Args;
use serde_json::{Value, json};

use super::coordinates::{self, Point};
use super::{Streams, show};
use crate::metrology::frame::{Axis, Datums, Frame, Hit, Hole, Surface, frame};

/// Arguments of `frame`.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  platemark frame points.csv --tip-diameter 3\n  \
                       platemark frame points.csv --tip-diameter 3 --primary A=top --secondary B=right@140 --tertiary C=front\n  \
                       platemark frame points.csv --tip-diameter 3 --origin bore@20,30 --toward dowel@95,60 --json\n\n\
                       Exit status: 0 a frame was made, 1 the points give none, 2 usage.")]
pub struct FrameArgs {
    /// The points; - reads standard input
    #[arg(value_name = "POINTS")]
    points: PathBuf,
    /// Diameter of the tip, in the unit of the points
    #[arg(long, value_name = "DIAMETER", allow_negative_numbers = true)]
    tip_diameter: f64,
    /// Primary datum: feature=face, and @coordinate where it is not 0; faces are top, bottom, left, right, front, back
    #[arg(long, value_name = "DATUM", default_value = "A=top")]
    primary: FaceDatum,
    /// Secondary datum, likewise
    #[arg(long, value_name = "DATUM", default_value = "B=left")]
    secondary: FaceDatum,
    /// Tertiary datum, likewise
    #[arg(long, value_name = "DATUM", default_value = "C=front")]
    tertiary: FaceDatum,
    /// Hole that is the origin: feature@its two coordinates, e.g. bore@20,30
    #[arg(long, value_name = "HOLE")]
    origin: Option<HoleDatum>,
    /// Hole that gives the direction, in place of the secondary datum
    #[arg(long, value_name = "HOLE", requires = "origin")]
    toward: Option<HoleDatum>,
    /// Print every point of the file in part coordinates
    #[arg(long)]
    part_points: bool,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// A face as a datum.
#[derive(Debug, Clone, PartialEq)]
pub struct FaceDatum {
    feature: String,
    axis: Axis,
    outward: bool,
    at: f64,
}

impl FromStr for FaceDatum {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let usage =
            || format!("`{text}`: write it as A=top or B=right@140; faces are top, bottom, left, right, front, back");
        let (feature, face) = text.split_once('=').ok_or_else(usage)?;
        let (face, at) = face.split_once('@').unwrap_or((face, "0"));
        let (axis, outward) = match face.trim() {
            "top" => (Axis::Z, true),
            "bottom" => (Axis::Z, false),
            "right" => (Axis::X, true),
            "left" => (Axis::X, false),
            "back" => (Axis::Y, true),
            "front" => (Axis::Y, false),
            _ => return Err(usage()),
        };
        let at = at
            .trim()
            .parse()
            .ok()
            .filter(|at: &f64| at.is_finite())
            .ok_or_else(usage)?;
        Ok(FaceDatum {
            feature: feature.trim().to_owned(),
            axis,
            outward,
            at,
        })
    }
}

impl FaceDatum {
    fn surface<'a>(&self, hits: &'a [Hit]) -> Surface<'a> {
        Surface {
            hits,
            axis: self.axis,
            outward: self.outward,
            at: self.at,
        }
    }
}

/// A hole as a datum.
#[derive(Debug, Clone, PartialEq)]
pub struct HoleDatum {
    feature: String,
    at: [f64; 2],
}

impl FromStr for HoleDatum {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let usage = || format!("`{text}`: write it as bore@20,30");
        let (feature, at) = text.split_once('@').ok_or_else(usage)?;
        let numbers: Option<Vec<f64>> = at
            .split(',')
            .map(|n| n.trim().parse().ok().filter(|n: &f64| n.is_finite()))
            .collect();
        let at = numbers.and_then(|numbers| numbers.try_into().ok()).ok_or_else(usage)?;
        Ok(HoleDatum {
            feature: feature.trim().to_owned(),
            at,
        })
    }
}

/// Makes the frame and prints it.
///
/// # Errors
/// With the message for people where the points give no frame.
pub fn run(args: &FrameArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let name = args.points.display();
    let points = coordinates::read(&args.points, streams)?;
    if points
        .iter()
        .any(|point| point.feature.is_none() || point.space().is_none())
    {
        return Err(anyhow!(
            "{name}: a frame takes lines of feature,x,y,z; headings say which column is which"
        ));
    }
    let found = make(args, &points).with_context(|| format!("{name}"))?;
    if args.json {
        let mut value = as_json(&found);
        if args.part_points {
            let part = points
                .iter()
                .filter_map(|p| Some((p.feature.as_ref()?, found.movement.to_part(p.space()?))));
            value["part_points"] = part
                .map(|(feature, at)| json!({ "feature": feature, "at": at }))
                .collect();
        }
        serde_json::to_writer_pretty(&mut streams.output, &value)?;
        writeln!(streams.output)?;
    } else {
        print(&found, &points, args.part_points, &mut streams.output)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The hits of a feature. The file's direction is from the surface towards the tip, the approach its reverse.
fn hits(points: &[Point], feature: &str) -> anyhow::Result<Vec<Hit>> {
    let own = points.iter().filter(|point| point.feature.as_deref() == Some(feature));
    let hit = |point: &Point| {
        let approach = point.direction().map(|direction| direction.map(|c| -c));
        Some(Hit {
            tip: point.space()?,
            approach,
        })
    };
    let found: Vec<Hit> = own.filter_map(hit).collect();
    if found.is_empty() {
        Err(anyhow!("no line of feature `{feature}`, which is a datum"))
    } else {
        Ok(found)
    }
}

fn make(args: &FrameArgs, points: &[Point]) -> anyhow::Result<Frame> {
    let first = hits(points, &args.primary.feature)?;
    let second = hits(
        points,
        args.toward
            .as_ref()
            .map_or(&args.secondary.feature, |hole| &hole.feature),
    )?;
    let third = hits(
        points,
        args.origin
            .as_ref()
            .map_or(&args.tertiary.feature, |hole| &hole.feature),
    )?;
    let primary = args.primary.surface(&first);
    let datums = match (&args.origin, &args.toward) {
        (Some(origin), Some(toward)) => {
            let (origin, toward) = (
                Hole {
                    hits: &third,
                    at: origin.at,
                },
                Hole {
                    hits: &second,
                    at: toward.at,
                },
            );
            Datums::TwoHoles {
                primary,
                origin,
                toward,
            }
        }
        (Some(origin), None) => {
            let origin = Hole {
                hits: &third,
                at: origin.at,
            };
            Datums::LineHole {
                primary,
                secondary: args.secondary.surface(&second),
                origin,
            }
        }
        (None, _) => {
            let (secondary, tertiary) = (args.secondary.surface(&second), args.tertiary.surface(&third));
            Datums::Faces {
                primary,
                secondary,
                tertiary,
            }
        }
    };
    Ok(frame(&datums, 0.5 * args.tip_diameter)?)
}

fn rows(found: &Frame) -> [[f64; 4]; 4] {
    let movement = &found.movement;
    let row = |i: usize| {
        let r = |j: usize| movement.rotation[(i, j)];
        [r(0), r(1), r(2), movement.translation[i]]
    };
    [row(0), row(1), row(2), [0.0, 0.0, 0.0, 1.0]]
}

fn as_json(found: &Frame) -> Value {
    json!({
        "machine_to_part": rows(found),
        "part_origin_in_machine": found.movement.to_machine([0.0; 3]),
        "primary_form": found.primary_form,
        "secondary_form": found.secondary_form,
        "hole_distance_error": found.hole_distance_error,
        "covariance_unit_noise": {
            "parameters": found.covariance.parameters,
            "matrix": found.covariance.matrix,
        },
        "checks": found.checks.iter().map(ToString::to_string).collect::<Vec<_>>(),
    })
}

fn print(found: &Frame, points: &[Point], part_points: bool, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "machine to part (p_part = R p_machine + t), R and t row by row:")?;
    // No minus before what prints as zero.
    let tidy = |value: f64| if value.abs() < 5e-10 { 0.0 } else { value };
    for row in rows(found).iter().take(3).map(|row| row.map(tidy)) {
        writeln!(
            out,
            "  {:>12.9} {:>12.9} {:>12.9}   {:>14.6}",
            row[0], row[1], row[2], row[3]
        )?;
    }
    let list = |numbers: &[f64]| numbers.iter().map(|n| show::number(*n)).collect::<Vec<_>>().join(", ");
    writeln!(
        out,
        "part origin in the machine: {}",
        list(&found.movement.to_machine([0.0; 3]))
    )?;
    writeln!(out, "primary form: {}", show::number(found.primary_form))?;
    if let Some(form) = found.secondary_form {
        writeln!(out, "secondary form: {}", show::number(form))?;
    }
    if let Some(error) = found.hole_distance_error {
        writeln!(
            out,
            "distance of the holes, measured less given: {}",
            show::number(error)
        )?;
    }
    let matrix = &found.covariance.matrix;
    let deviations: Vec<f64> = (0..6).map(|i| matrix[i][i].sqrt()).collect();
    writeln!(
        out,
        "standard uncertainties for point noise of 1: shift {}; turn in radians {}",
        list(&deviations[..3]),
        list(&deviations[3..])
    )?;
    for check in &found.checks {
        writeln!(out, "check: {check}")?;
    }
    if part_points {
        writeln!(out, "feature,x,y,z")?;
        for point in points {
            if let (Some(feature), Some(at)) = (&point.feature, point.space()) {
                let [x, y, z] = found.movement.to_part(at);
                writeln!(out, "{feature},{x:.6},{y:.6},{z:.6}")?;
            }
        }
    }
    Ok(())
}
