//! One feature from tip centres in the part's frame.

use nalgebra::{Vector2, Vector3};

use super::ReduceError;
use super::own;
use crate::exercise::geometry::{FeatureState, acute_angle, datum_normal};
use crate::exercise::model::{Exercise, Feature, Owner, Quantity, Shape, Side};
use crate::metrology::fit::{self, FitError};
use crate::units::decimal_to_f64;

/// A feature as measured, in the part's frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Place, sizes, angles, and form and orientation to datums where they are asked for.
    pub state: FeatureState,
    /// Tip centres.
    pub tips: Vec<[f64; 3]>,
    /// Their distances from the least-squares figure of tip centres, with the sign that the fit gives.
    pub residuals: Vec<f64>,
    pub(super) told: Vector3<f64>,
    pub(super) is_face: bool,
}

impl Measured {
    /// What its orientation is told by: normal of a face, direction of a line or slot, axis of a round feature.
    #[must_use]
    pub fn told(&self) -> [f64; 3] {
        self.told.into()
    }

    /// Whether that is the normal of a face.
    #[must_use]
    pub const fn is_face(&self) -> bool {
        self.is_face
    }
}

/// Tip centres on one feature, and what is known of it beforehand.
pub(super) struct Tips<'a> {
    pub(super) feature: &'a Feature,
    pub(super) nominal: &'a FeatureState,
    pub(super) tips: &'a [[f64; 3]],
    pub(super) radius: f64,
}

/// The figure of one feature, without form and orientation to datums; `index` is its place in the file.
///
/// # Errors
/// Touches that do not determine it, or a size that the tip leaves nothing of.
pub(in crate::procedure) fn figure(
    exercise: &Exercise,
    nominal: &[FeatureState],
    index: usize,
    tips: &[[f64; 3]],
    tip_radius: f64,
) -> Result<Measured, ReduceError> {
    let touched = touched(exercise, nominal, index, tips, tip_radius)?;
    let key = || touched.feature.key.clone();
    let found = touched
        .measured()
        .map_err(|problem| ReduceError::Feature { key: key(), problem })?;
    for (what, value) in [("diameter", found.state.diameter), ("width", found.state.width)] {
        if value < 0.0 {
            return Err(ReduceError::Tip {
                key: key(),
                what,
                value,
            });
        }
    }
    Ok(found)
}

/// One feature with all that is asked of it.
///
/// # Errors
/// As [`figure`]; touches that have no zone.
pub(super) fn measured(
    exercise: &Exercise,
    nominal: &[FeatureState],
    index: usize,
    tips: &[[f64; 3]],
    tip_radius: f64,
) -> Result<Measured, ReduceError> {
    let mut found = figure(exercise, nominal, index, tips, tip_radius)?;
    let touched = touched(exercise, nominal, index, tips, tip_radius)?;
    for c in exercise
        .characteristics
        .iter()
        .filter(|c| c.owner == Owner::Feature(index))
    {
        let datum = Vector3::from(datum_normal(&exercise.datum_frame, c.datum));
        if found.is_face && c.of == Quantity::Angle {
            found.state.angle = acute_angle(found.state.direction, datum.into());
        }
        let value = own::value(&touched, c, datum, &found).map_err(|problem| ReduceError::Feature {
            key: touched.feature.key.clone(),
            problem,
        })?;
        if let Some(value) = value {
            found.state.own.insert(c.of, value);
        }
    }
    Ok(found)
}

fn touched<'a>(
    exercise: &'a Exercise,
    nominal: &'a [FeatureState],
    index: usize,
    tips: &'a [[f64; 3]],
    radius: f64,
) -> Result<Tips<'a>, ReduceError> {
    match (exercise.features.get(index), nominal.get(index)) {
        (Some(feature), Some(nominal)) => Ok(Tips {
            feature,
            nominal,
            tips,
            radius,
        }),
        _ => Err(ReduceError::NoFeature(index)),
    }
}

/// A feature's state and the residuals of its fit.
type Figure = (FeatureState, Vec<f64>);

/// Tip centres of a line in its own plane: along it from its middle, and along its normal.
pub(super) struct InPlane {
    pub(super) points: Vec<[f64; 2]>,
    along: Vector3<f64>,
    normal: Vector3<f64>,
}

impl Tips<'_> {
    /// What the tip adds to a radius between tip centres.
    fn added(&self) -> f64 {
        if self.feature.side == Some(Side::Outside) {
            -self.radius
        } else {
            self.radius
        }
    }

    /// Tip centres in plan view.
    pub(super) fn plan(&self) -> Vec<[f64; 2]> {
        self.tips.iter().map(|p| [p[0], p[1]]).collect()
    }

    fn measured(&self) -> Result<Measured, FitError> {
        let (state, residuals) = self.state()?;
        let direction = Vector3::from(state.direction);
        let told = match self.feature.shape {
            Shape::Line { .. } => {
                let seen = self.in_plane();
                // The normal turned back by the quarter turn that it was turned from the direction.
                let turned = seen.along.cross(&seen.normal).cross(&direction);
                -turned
            }
            Shape::Slot { .. } => {
                let (sin, cos) = state.angle.to_radians().sin_cos();
                Vector3::new(cos, sin, 0.0)
            }
            _ => direction,
        };
        Ok(Measured {
            state,
            tips: self.tips.to_vec(),
            residuals,
            told,
            is_face: matches!(self.feature.shape, Shape::Plane { .. }),
        })
    }

    fn state(&self) -> Result<Figure, FitError> {
        match &self.feature.shape {
            Shape::Point { normal, .. } => self.point(Vector3::from(*normal)),
            Shape::Line { normal, .. } => self.line(Vector3::from(*normal)),
            Shape::Plane { normal, .. } => self.plane(Vector3::from(*normal)),
            Shape::Circle { .. } => self.circle(),
            Shape::Slot { .. } => self.slot(),
            Shape::Cylinder { .. } => self.cylinder(),
            Shape::Cone { .. } => self.cone(),
            Shape::Sphere { .. } => self.sphere(),
        }
    }

    /// The middle of all touches.
    fn point(&self, normal: Vector3<f64>) -> Result<Figure, FitError> {
        if self.tips.is_empty() {
            return Err(FitError::TooFewPoints {
                figure: fit::Figure::Plane,
                needed: 1,
                given: 0,
            });
        }
        let share = 1.0 / self.tips.iter().map(|_| 1.0).sum::<f64>();
        let mean = self.tips.iter().map(|p| Vector3::from(*p)).sum::<Vector3<f64>>() * share;
        let residuals = self
            .tips
            .iter()
            .map(|p| (Vector3::from(*p) - mean).dot(&normal))
            .collect();
        let state = FeatureState {
            at: (mean - normal * self.radius).into(),
            ..self.nominal.clone()
        };
        Ok((state, residuals))
    }

    /// Touches of a line in the plane of its direction and its normal.
    pub(super) fn in_plane(&self) -> InPlane {
        let Shape::Line { from, to, normal } = &self.feature.shape else {
            return InPlane {
                points: Vec::new(),
                along: Vector3::x(),
                normal: Vector3::y(),
            };
        };
        let end = |p: &[rust_decimal::Decimal; 3]| Vector3::from(p.map(decimal_to_f64));
        let along = (end(to) - end(from)).try_normalize(0.0).unwrap_or_else(Vector3::x);
        let (normal, middle) = (Vector3::from(*normal), Vector3::from(self.nominal.at));
        let local = |p: &[f64; 3]| {
            let d = Vector3::from(*p) - middle;
            [d.dot(&along), d.dot(&normal)]
        };
        InPlane {
            points: self.tips.iter().map(local).collect(),
            along,
            normal,
        }
    }

    fn line(&self, normal: Vector3<f64>) -> Result<Figure, FitError> {
        let seen = self.in_plane();
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::line2d(&seen.points)?;
        // The direction that runs as the nominal does.
        let sign = if found.direction[0] < 0.0 { -1.0 } else { 1.0 };
        let slope = (sign * found.direction[1]).atan2(sign * found.direction[0]);
        // The tip stands off along the line's own normal; taken off, the line is read at mid-length.
        let height = found.point[1] - found.point[0] * slope.tan() - self.radius / slope.cos();
        // Turning from the direction to the normal is counter-clockwise in plan view, or clockwise.
        let turning = seen.along.cross(&normal).z;
        let state = FeatureState {
            at: (Vector3::from(self.nominal.at) + normal * height).into(),
            angle: self.nominal.angle + turning * slope.to_degrees(),
            direction: (normal * slope.cos() - seen.along * slope.sin()).into(),
            ..self.nominal.clone()
        };
        Ok((state, residuals))
    }

    fn plane(&self, normal: Vector3<f64>) -> Result<Figure, FitError> {
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::plane(self.tips)?;
        let upright = Vector3::from(found.normal);
        let out = if upright.dot(&normal) < 0.0 { -upright } else { upright };
        let surface = Vector3::from(found.point) - out * self.radius;
        let at = Vector3::from(self.nominal.at);
        // Where the nominal's normal through the middle of the face meets the plane.
        let height = out.dot(&(surface - at)) / out.dot(&normal);
        let state = FeatureState {
            at: (at + normal * height).into(),
            direction: out.into(),
            ..self.nominal.clone()
        };
        Ok((state, residuals))
    }

    fn circle(&self) -> Result<Figure, FitError> {
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::circle2d(&self.plan())?;
        let state = FeatureState {
            at: [found.centre[0], found.centre[1], self.nominal.at[2]],
            diameter: 2.0 * (found.radius + self.added()),
            ..self.nominal.clone()
        };
        Ok((state, residuals))
    }

    fn slot(&self) -> Result<Figure, FitError> {
        let n = self.nominal;
        let (sin, cos) = n.angle.to_radians().sin_cos();
        let nominal = fit::Slot {
            centre: [n.at[0], n.at[1]],
            direction: [cos, sin],
            half_length: 0.5 * (n.length - n.width),
            radius: 0.5 * n.width - self.added(),
        };
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::slot(&self.plan(), Some(&nominal))?;
        let (d, along) = (Vector2::from(found.direction), Vector2::new(cos, sin));
        let d = if d.dot(&along) < 0.0 { -d } else { d };
        let turn = (along.x * d.y - along.y * d.x).atan2(along.dot(&d));
        let both = 2.0 * self.added();
        let state = FeatureState {
            at: [found.centre[0], found.centre[1], n.at[2]],
            length: found.length() + both,
            width: found.width() + both,
            angle: n.angle + turn.to_degrees(),
            ..n.clone()
        };
        Ok((state, residuals))
    }

    /// Where an axis meets the plane through the nominal place across the nominal axis.
    fn meets(&self, point: [f64; 3], direction: Vector3<f64>) -> Vector3<f64> {
        let (at, across) = (Vector3::from(self.nominal.at), Vector3::from(self.nominal.direction));
        let point = Vector3::from(point);
        point + direction * (across.dot(&(at - point)) / across.dot(&direction))
    }

    fn cylinder(&self) -> Result<Figure, FitError> {
        let n = self.nominal;
        let nominal = fit::Cylinder {
            point: n.at,
            direction: n.direction,
            radius: 0.5 * n.diameter - self.added(),
        };
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::cylinder(self.tips, Some(&nominal))?;
        let direction = self.as_nominal(found.direction);
        let state = FeatureState {
            at: self.meets(found.point, direction).into(),
            direction: direction.into(),
            diameter: 2.0 * (found.radius + self.added()),
            ..n.clone()
        };
        Ok((state, residuals))
    }

    fn as_nominal(&self, direction: [f64; 3]) -> Vector3<f64> {
        let found = Vector3::from(direction);
        if found.dot(&Vector3::from(self.nominal.direction)) < 0.0 {
            -found
        } else {
            found
        }
    }

    fn cone(&self) -> Result<Figure, FitError> {
        let n = self.nominal;
        let half_angle = (0.5 * n.angle).to_radians();
        let (up, at) = (self.opening(), Vector3::from(n.at));
        let nominal = fit::Cone {
            point: at.into(),
            direction: up.into(),
            radius: 0.5 * n.diameter - self.added() / half_angle.cos(),
            half_angle,
        };
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::cone(self.tips, Some(&nominal))?;
        let opening = Vector3::from(found.direction);
        let place = self.meets(found.point, opening);
        let along = opening.dot(&(place - Vector3::from(found.point)));
        let between = found.radius + along * found.half_angle.tan();
        let state = FeatureState {
            at: place.into(),
            direction: self.as_nominal(found.direction).into(),
            angle: (2.0 * found.half_angle).to_degrees(),
            // Parallel to the surface by the tip's radius, which is more across the axis.
            diameter: 2.0 * (between + self.added() / found.half_angle.cos()),
            ..n.clone()
        };
        Ok((state, residuals))
    }

    /// The direction in which a cone opens: a hole out of the material, a boss into it. An axis that points down is
    /// turned up first.
    fn opening(&self) -> Vector3<f64> {
        let axis = Vector3::from(self.nominal.direction);
        let up = if axis.z < 0.0 { -axis } else { axis };
        if self.feature.side == Some(Side::Outside) {
            -up
        } else {
            up
        }
    }

    fn sphere(&self) -> Result<Figure, FitError> {
        let fit::Fit {
            figure: found,
            residuals,
            ..
        } = fit::sphere(self.tips)?;
        let state = FeatureState {
            at: found.centre,
            diameter: 2.0 * (found.radius + self.added()),
            ..self.nominal.clone()
        };
        Ok((state, residuals))
    }
}
