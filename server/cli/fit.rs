//! `platemark fit`: a figure through points of a file.

mod nominal;

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, anyhow};
use clap::{Args, ValueEnum};
use serde_json::{Value, json};

use super::coordinates::{self, Point};
use super::{Streams, show};
use crate::metrology::fields::{self, Fields};
use crate::metrology::fit::{self, zone};
pub use nominal::Nominal;

/// Figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// Line in the plane
    Line2d,
    /// Line in space
    Line3d,
    /// Plane
    Plane,
    /// Circle in the plane
    Circle2d,
    /// Circle in space: least-squares plane, then the circle in it
    Circle3d,
    /// Sphere
    Sphere,
    /// Cylinder
    Cylinder,
    /// Cone
    Cone,
    /// Obround slot in the plane
    Slot,
}

/// What makes a figure the best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Criterion {
    /// Least sum of squared distances
    LeastSquares,
    /// Narrowest zone that holds all points: line2d, plane, circle2d
    MinimumZone,
    /// Smallest circle around all points: circle2d
    MinimumCircumscribed,
    /// Largest circle with no point inside: circle2d
    MaximumInscribed,
}

/// Arguments of `fit`.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  platemark fit circle2d bore.csv --json\n  \
                       platemark fit cylinder wall.csv --nominal point=25,30,0 --nominal direction=0,0,1 --nominal radius=10\n  \
                       platemark fit plane points.csv --feature A --criterion minimum-zone\n\n\
                       Exit status: 0 a figure was fitted, 1 the points give none, 2 usage.")]
pub struct FitArgs {
    /// The figure
    #[arg(value_enum, value_name = "KIND")]
    kind: Kind,
    /// The points; - reads standard input
    #[arg(value_name = "POINTS")]
    points: PathBuf,
    /// What makes the figure the best
    #[arg(long, value_enum, default_value = "least-squares")]
    criterion: Criterion,
    /// A rough value of a cylinder, cone or slot, to choose where few points have several: point, direction, radius,
    /// half_angle (degrees) and center, angle (degrees), half_length, radius; may be repeated
    #[arg(long, value_name = "NAME=VALUES")]
    nominal: Vec<Nominal>,
    /// Only lines of this feature
    #[arg(long, value_name = "NAME")]
    feature: Option<String>,
    /// Print every point's residual
    #[arg(long)]
    residuals: bool,
    /// Print one JSON object, with residuals
    #[arg(long)]
    json: bool,
}

/// Fits and prints.
///
/// # Errors
/// With the message for people where the points give no figure.
pub fn run(args: &FitArgs, streams: &mut Streams<'_>) -> anyhow::Result<ExitCode> {
    let name = args.points.display();
    if let Err(usage) = suits(args.kind, args.criterion) {
        writeln!(streams.errors, "{usage}")?;
        return Ok(ExitCode::from(2));
    }
    let mut points = coordinates::read(&args.points, streams)?;
    if let Some(feature) = &args.feature {
        points.retain(|point| point.feature.as_ref() == Some(feature));
        if points.is_empty() {
            return Err(anyhow!("{name}: no line of feature `{feature}`"));
        }
    }
    let flat = matches!(args.kind, Kind::Line2d | Kind::Circle2d | Kind::Slot);
    if flat && points.iter().any(|point| point.space().is_some()) {
        writeln!(
            streams.errors,
            "{name}: a figure in the plane takes x and y; z is left out"
        )?;
    }
    let (mut value, residuals) = fitted(args, &points).with_context(|| format!("{name}"))?;
    value["kind"] = json!(word(args.kind));
    value["criterion"] = json!(word(args.criterion));
    value["points"] = json!(points.len());
    if let Some(unit) = points.first().and_then(|point| point.unit) {
        value["units"] = json!(unit.to_string());
    }
    if args.json {
        value["residuals"] = json!(residuals);
        serde_json::to_writer_pretty(&mut streams.output, &value)?;
        writeln!(streams.output)?;
    } else {
        print(
            &value,
            residuals.as_deref().filter(|_| args.residuals),
            &mut streams.output,
        )?;
    }
    Ok(ExitCode::SUCCESS)
}

fn word(value: impl ValueEnum) -> String {
    value
        .to_possible_value()
        .map(|value| value.get_name().to_owned())
        .unwrap_or_default()
}

fn suits(kind: Kind, criterion: Criterion) -> Result<(), String> {
    let kinds: &[Kind] = match criterion {
        Criterion::LeastSquares => return Ok(()),
        Criterion::MinimumZone => &[Kind::Line2d, Kind::Plane, Kind::Circle2d],
        Criterion::MinimumCircumscribed | Criterion::MaximumInscribed => &[Kind::Circle2d],
    };
    if kinds.contains(&kind) {
        return Ok(());
    }
    let list = kinds.iter().map(|kind| word(*kind)).collect::<Vec<_>>().join(", ");
    Err(format!(
        "--criterion {} is for {list}; {} takes least-squares",
        word(criterion),
        word(kind)
    ))
}

/// Values and, for least squares, residuals.
fn fitted(args: &FitArgs, points: &[Point]) -> anyhow::Result<(Value, Option<Vec<f64>>)> {
    let plane = || {
        points
            .iter()
            .map(Point::plane)
            .collect::<Option<Vec<_>>>()
            .unwrap_or_default()
    };
    let space = || {
        let all: Option<Vec<[f64; 3]>> = points.iter().map(Point::space).collect();
        all.ok_or_else(|| {
            anyhow!(
                "{} takes points with x, y and z; these have x and y only",
                word(args.kind)
            )
        })
    };
    match args.criterion {
        Criterion::LeastSquares => least_squares(args, plane, space),
        Criterion::MinimumZone => Ok((
            match args.kind {
                Kind::Line2d => zone::straightness(&plane())?.fields(),
                Kind::Plane => zone::flatness(&space()?)?.fields(),
                _ => zone::minimum_zone_circle(&plane())?.fields(),
            },
            None,
        )),
        Criterion::MinimumCircumscribed => Ok((zone::minimum_circumscribed_circle(&plane())?.fields(), None)),
        Criterion::MaximumInscribed => Ok((zone::maximum_inscribed_circle(&plane())?.fields(), None)),
    }
}

fn least_squares(
    args: &FitArgs,
    plane: impl Fn() -> Vec<[f64; 2]>,
    space: impl Fn() -> anyhow::Result<Vec<[f64; 3]>>,
) -> anyhow::Result<(Value, Option<Vec<f64>>)> {
    let nominal = nominal::Nominals(&args.nominal);
    Ok(match args.kind {
        Kind::Line2d => {
            let fit = fit::line2d(&plane())?;
            (fields::fit(&fit), Some(fit.residuals))
        }
        Kind::Line3d => {
            let fit = fit::line3d(&space()?)?;
            (fields::line3d(&fit), Some(fit.residuals))
        }
        Kind::Plane => {
            let fit = fit::plane(&space()?)?;
            (fields::plane(&fit), Some(fit.residuals))
        }
        Kind::Circle2d => {
            let points = plane();
            let fit = fit::circle2d(&points)?;
            (fields::circle2d(&fit, &points), Some(fit.residuals))
        }
        Kind::Circle3d => {
            let fit = fit::circle3d(&space()?)?;
            (fields::fit(&fit), Some(fit.residuals))
        }
        Kind::Sphere => {
            let fit = fit::sphere(&space()?)?;
            (fields::fit(&fit), Some(fit.residuals))
        }
        Kind::Cylinder => {
            let points = space()?;
            let fit = fit::cylinder(&points, nominal.cylinder()?.as_ref())?;
            (fields::cylinder(&fit, &points), Some(fit.residuals))
        }
        Kind::Cone => {
            let points = space()?;
            let fit = fit::cone(&points, nominal.cone()?.as_ref())?;
            (fields::cone(&fit, &points), Some(fit.residuals))
        }
        Kind::Slot => {
            let fit = fit::slot(&plane(), nominal.slot()?.as_ref())?;
            (fields::fit(&fit), Some(fit.residuals))
        }
    })
}

fn print(value: &Value, residuals: Option<&[f64]>, out: &mut dyn Write) -> anyhow::Result<()> {
    let text = |key: &str| value[key].as_str().unwrap_or_default().to_owned();
    let unit = value["units"].as_str().map(|unit| format!(" in {unit}"));
    writeln!(
        out,
        "{}, {}, {} points{}",
        text("kind"),
        text("criterion"),
        value["points"],
        unit.unwrap_or_default()
    )?;
    let hidden = [
        "units",
        "kind",
        "criterion",
        "points",
        "rank",
        "covariance_unit_noise",
        "other_solutions",
    ];
    let fields = value.as_object().into_iter().flatten();
    for (field, value) in fields.filter(|(field, _)| !hidden.contains(&field.as_str())) {
        match value.as_array().filter(|_| field.starts_with("active")) {
            // People count points from one, as the lines of residuals do; JSON has positions.
            Some(positions) => {
                let counted = positions
                    .iter()
                    .filter_map(Value::as_u64)
                    .map(|position| (position + 1).to_string());
                let name = field.replace("active", "touched_by_point");
                writeln!(out, "  {name:<30} {}", counted.collect::<Vec<_>>().join(", "))?;
            }
            None => writeln!(out, "  {field:<30} {}", show::value(value))?,
        }
    }
    print_uncertainties(&value["covariance_unit_noise"], out)?;
    if let Some(others) = value["other_solutions"].as_array() {
        writeln!(
            out,
            "  these points fit other figures about as well ({}); --nominal chooses:",
            others.len()
        )?;
        for other in others {
            writeln!(out, "    {}", show::value(other))?;
        }
    }
    if let Some(residuals) = residuals {
        writeln!(out, "  point  residual")?;
        for (index, residual) in residuals.iter().enumerate() {
            writeln!(out, "  {:>5}  {}", index + 1, show::number(*residual))?;
        }
    }
    Ok(())
}

fn print_uncertainties(covariance: &Value, out: &mut dyn Write) -> anyhow::Result<()> {
    if let (Some(names), Some(rows)) = (covariance["parameters"].as_array(), covariance["matrix"].as_array()) {
        writeln!(
            out,
            "  standard uncertainty of each parameter, for point noise of 1 (angles in radians):"
        )?;
        for (index, (name, row)) in names.iter().zip(rows).enumerate() {
            let deviation = row[index].as_f64().unwrap_or_default().sqrt();
            writeln!(
                out,
                "    {:<28} {}",
                name.as_str().unwrap_or_default(),
                show::number(deviation)
            )?;
        }
    }
    Ok(())
}
