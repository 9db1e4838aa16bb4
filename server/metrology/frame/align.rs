//! Levelling, turning, placing.

use nalgebra::{Matrix3, Vector3};

use super::{Axis, Datums, FrameError, Hit, Hole, Rigid, Surface};
use crate::metrology::fit::{FitError, LARGEST, circle2d, count, line2d, plane, usable};
use crate::metrology::tip::against;

/// An alignment without its covariance.
pub(super) struct Aligned {
    pub(super) movement: Rigid,
    pub(super) primary_form: f64,
    pub(super) secondary_form: Option<f64>,
    pub(super) hole_distance_error: Option<f64>,
}

const PRIMARY: &str = "primary";
const SECONDARY: &str = "secondary";
const TERTIARY: &str = "tertiary";
const ORIGIN: &str = "origin hole as";
const TOWARD: &str = "second hole as";

pub(super) fn align(datums: &Datums<'_>, tip_radius: f64) -> Result<Aligned, FrameError> {
    coordinates(datums)?;
    match datums {
        Datums::Faces {
            primary,
            secondary,
            tertiary,
        } => faces(primary, secondary, tertiary, tip_radius),
        Datums::TwoHoles {
            primary,
            origin,
            toward,
        } => two_holes(primary, origin, toward, tip_radius),
        Datums::LineHole {
            primary,
            secondary,
            origin,
        } => line_hole(primary, secondary, origin, tip_radius),
    }
}

fn coordinates(datums: &Datums<'_>) -> Result<(), FrameError> {
    let given = match datums {
        Datums::Faces {
            primary,
            secondary,
            tertiary,
        } => {
            vec![
                (PRIMARY, primary.at),
                (SECONDARY, secondary.at),
                (TERTIARY, tertiary.at),
            ]
        }
        Datums::TwoHoles {
            primary,
            origin,
            toward,
        } => {
            let [a, b] = [origin.at, toward.at];
            vec![
                (PRIMARY, primary.at),
                (ORIGIN, a[0]),
                (ORIGIN, a[1]),
                (TOWARD, b[0]),
                (TOWARD, b[1]),
            ]
        }
        Datums::LineHole { primary, origin, .. } => {
            vec![(PRIMARY, primary.at), (ORIGIN, origin.at[0]), (ORIGIN, origin.at[1])]
        }
    };
    let wrong = given.into_iter().find(|(_, at)| at.is_nan() || at.abs() > LARGEST);
    wrong.map_or(Ok(()), |(datum, _)| Err(FrameError::Coordinate { datum }))
}

impl Axis {
    pub(super) fn index(self) -> usize {
        match self {
            Axis::X => 0,
            Axis::Y => 1,
            Axis::Z => 2,
        }
    }
}

impl Surface<'_> {
    fn sign(&self) -> f64 {
        if self.outward { 1.0 } else { -1.0 }
    }

    /// Part coordinate of tip centres on this surface.
    fn tip_coordinate(&self, tip_radius: f64) -> f64 {
        self.at + self.sign() * tip_radius
    }
}

/// The primary plane: its axis in the machine, a point of it among the tip centres, a frame in it, its form.
struct Level {
    axis: Vector3<f64>,
    point: Vector3<f64>,
    u: Vector3<f64>,
    v: Vector3<f64>,
    form: f64,
}

impl Level {
    /// A machine point in the plane's own two coordinates, seen along the normal.
    fn seen(&self, tip: [f64; 3]) -> [f64; 2] {
        let p = Vector3::from(tip) - self.point;
        [p.dot(&self.u), p.dot(&self.v)]
    }

    fn direction(&self, flat: [f64; 2]) -> Vector3<f64> {
        self.u * flat[0] + self.v * flat[1]
    }

    fn place(&self, flat: [f64; 2]) -> Vector3<f64> {
        self.point + self.direction(flat)
    }
}

fn tips(hits: &[Hit]) -> Vec<[f64; 3]> {
    hits.iter().map(|hit| hit.tip).collect()
}

fn mean(hits: &[Hit]) -> Vector3<f64> {
    hits.iter().map(|hit| Vector3::from(hit.tip)).sum::<Vector3<f64>>() / count(hits.len().max(1))
}

/// Turns a normal out of the material: against the approach, or, where no hit tells it, away from the other hits,
/// which lie on the part too.
fn outward(
    datum: &'static str,
    normal: Vector3<f64>,
    surface: &Surface<'_>,
    others: Vector3<f64>,
) -> Result<Vector3<f64>, FrameError> {
    let approach: Vec<[f64; 3]> = surface.hits.iter().filter_map(|hit| hit.approach).collect();
    if approach.is_empty() {
        let away = (mean(surface.hits) - others).dot(&normal);
        return Ok(if away < 0.0 { -normal } else { normal });
    }
    let turned = against(normal.into(), &approach).map_err(|problem| FrameError::Side { datum, problem })?;
    Ok(Vector3::from(turned))
}

fn level(primary: &Surface<'_>, others: Vector3<f64>) -> Result<Level, FrameError> {
    let datum = PRIMARY;
    let fit = plane(&tips(primary.hits)).map_err(|problem| FrameError::Datum { datum, problem })?;
    let out = outward(datum, Vector3::from(fit.figure.normal), primary, others)?;
    Ok(Level {
        axis: out * primary.sign(),
        point: Vector3::from(fit.figure.point),
        u: Vector3::from(fit.figure.u),
        v: Vector3::from(fit.figure.v),
        form: fit.form,
    })
}

/// The secondary line: its normal out of the material, a point of it, its form.
fn turn(level: &Level, secondary: &Surface<'_>) -> Result<(Vector3<f64>, Vector3<f64>, f64), FrameError> {
    let seen: Vec<[f64; 2]> = secondary.hits.iter().map(|hit| level.seen(hit.tip)).collect();
    let fit = line2d(&seen).map_err(|problem| upright(level, secondary.hits, &seen, problem))?;
    let normal = level.direction(fit.figure.normal());
    let out = outward(SECONDARY, normal, secondary, level.point)?;
    Ok((out, level.place(fit.figure.point), fit.form))
}

/// Points one above the other are a problem of their own.
fn upright(level: &Level, hits: &[Hit], seen: &[[f64; 2]], problem: FitError) -> FrameError {
    let extent = |values: &mut dyn Iterator<Item = f64>| {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        high - low
    };
    let rise = extent(&mut hits.iter().map(|hit| Vector3::from(hit.tip).dot(&level.axis)));
    let across = |axis: usize| extent(&mut seen.iter().map(|p| p[axis]));
    let run = across(0).hypot(across(1));
    if hits.len() >= 2 && rise > 10.0 * run {
        return FrameError::SecondaryUpright { rise, run };
    }
    FrameError::Datum {
        datum: SECONDARY,
        problem,
    }
}

/// Part axes in the machine from two of them.
fn rotation(first: (Axis, Vector3<f64>), second: (Axis, Vector3<f64>)) -> Result<Matrix3<f64>, FrameError> {
    let (a, b) = (first.0.index(), second.0.index());
    if a == b {
        return Err(FrameError::SameAxis);
    }
    let cyclic = (a + 1) % 3 == b;
    let third = if cyclic {
        first.1.cross(&second.1)
    } else {
        second.1.cross(&first.1)
    };
    let mut rows = [third; 3];
    rows[a] = first.1;
    rows[b] = second.1;
    Ok(Matrix3::from_rows(&rows.map(|row| row.transpose())))
}

/// The translation that gives machine points their part coordinates, one per axis.
fn translation(rotation: &Matrix3<f64>, placed: [(Vector3<f64>, f64); 3]) -> Vector3<f64> {
    Vector3::from_fn(|axis, _| placed[axis].1 - rotation.row(axis).transpose().dot(&placed[axis].0))
}

fn faces(
    primary: &Surface<'_>,
    secondary: &Surface<'_>,
    tertiary: &Surface<'_>,
    tip_radius: f64,
) -> Result<Aligned, FrameError> {
    if tertiary.hits.is_empty() {
        return Err(FrameError::NoHits { datum: TERTIARY });
    }
    usable(&tips(tertiary.hits)).map_err(|problem| FrameError::Datum {
        datum: TERTIARY,
        problem,
    })?;
    let others = 0.5 * (mean(secondary.hits) + mean(tertiary.hits));
    let level = level(primary, others)?;
    let (out, on_line, form) = turn(&level, secondary)?;
    let rotation = rotation((primary.axis, level.axis), (secondary.axis, out * secondary.sign()))?;
    let [a, b, c] = [primary, secondary, tertiary].map(|surface| surface.axis.index());
    if c == a || c == b {
        return Err(FrameError::SameAxis);
    }
    let mut placed = [(level.point, 0.0); 3];
    placed[a] = (level.point, primary.tip_coordinate(tip_radius));
    placed[b] = (on_line, secondary.tip_coordinate(tip_radius));
    placed[c] = (mean(tertiary.hits), tertiary.tip_coordinate(tip_radius));
    let movement = Rigid {
        rotation,
        translation: translation(&rotation, placed),
    };
    Ok(Aligned {
        movement,
        primary_form: level.form,
        secondary_form: Some(form),
        hole_distance_error: None,
    })
}

/// A hole's centre seen along the primary normal.
fn centre(datum: &'static str, level: &Level, hole: &Hole<'_>) -> Result<[f64; 2], FrameError> {
    let seen: Vec<[f64; 2]> = hole.hits.iter().map(|hit| level.seen(hit.tip)).collect();
    Ok(circle2d(&seen)
        .map_err(|problem| FrameError::Datum { datum, problem })?
        .figure
        .centre)
}

/// The two axes across the primary's, so that they and it are right-handed, and a hole's `at` along them.
fn across(primary: Axis, at: [f64; 2]) -> ([usize; 2], [f64; 2]) {
    match primary {
        Axis::X => ([1, 2], at),
        // y, z come before x in the cycle, but `at` is in the order x, z.
        Axis::Y => ([2, 0], [at[1], at[0]]),
        Axis::Z => ([0, 1], at),
    }
}

fn two_holes(
    primary: &Surface<'_>,
    origin: &Hole<'_>,
    toward: &Hole<'_>,
    tip_radius: f64,
) -> Result<Aligned, FrameError> {
    let level = level(primary, 0.5 * (mean(origin.hits) + mean(toward.hits)))?;
    let [first, second] = [centre(ORIGIN, &level, origin)?, centre(TOWARD, &level, toward)?];
    let ([b, c], from) = across(primary.axis, origin.at);
    let (_, to) = across(primary.axis, toward.at);
    let wanted = nalgebra::Vector2::new(to[0] - from[0], to[1] - from[1]);
    let apart = level.direction([second[0] - first[0], second[1] - first[1]]);
    let (Some(wanted_unit), Some(along)) = (wanted.try_normalize(1e-12), apart.try_normalize(1e-12)) else {
        return Err(FrameError::SamePlace);
    };
    // The line of centres is cos * e_b + sin * e_c in the part.
    let e_b = along * wanted_unit.x - level.axis.cross(&along) * wanted_unit.y;
    let mut rows = [level.axis; 3];
    rows[b] = e_b;
    rows[c] = level.axis.cross(&e_b);
    let rotation = Matrix3::from_rows(&rows.map(|row| row.transpose()));
    let place = level.place(first);
    let mut placed = [(level.point, primary.tip_coordinate(tip_radius)); 3];
    placed[b] = (place, from[0]);
    placed[c] = (place, from[1]);
    let movement = Rigid {
        rotation,
        translation: translation(&rotation, placed),
    };
    let error = apart.norm() - wanted.norm();
    Ok(Aligned {
        movement,
        primary_form: level.form,
        secondary_form: None,
        hole_distance_error: Some(error),
    })
}

fn line_hole(
    primary: &Surface<'_>,
    secondary: &Surface<'_>,
    origin: &Hole<'_>,
    tip_radius: f64,
) -> Result<Aligned, FrameError> {
    let level = level(primary, 0.5 * (mean(secondary.hits) + mean(origin.hits)))?;
    let (out, _, form) = turn(&level, secondary)?;
    let rotation = rotation((primary.axis, level.axis), (secondary.axis, out * secondary.sign()))?;
    let place = level.place(centre(ORIGIN, &level, origin)?);
    let ([b, c], at) = across(primary.axis, origin.at);
    let mut placed = [(level.point, primary.tip_coordinate(tip_radius)); 3];
    placed[b] = (place, at[0]);
    placed[c] = (place, at[1]);
    let movement = Rigid {
        rotation,
        translation: translation(&rotation, placed),
    };
    Ok(Aligned {
        movement,
        primary_form: level.form,
        secondary_form: Some(form),
        hole_distance_error: None,
    })
}
