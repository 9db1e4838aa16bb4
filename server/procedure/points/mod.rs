//! Probed points of a plate that exists as numbers only: tip centres of every touch of its datums and features.
//!
//! The part lies on the machine turned and off by whatever the setting says; the surfaces are where the plate's features
//! truly are, with their form and orientation; the tip stands off each surface by its radius, on the air's side; each
//! touch has the machine's repeatability along the surface normal. Datum faces are ideal, so that the frame is exactly
//! the one in which the features are given.

mod pairs;
mod pattern;
mod surface;

use super::reads::cross;
use super::sampler::Sampler;
use crate::exercise::geometry::{self, FeatureState, dot};
use crate::exercise::model::{Datum, Exercise};
use crate::exercise::plate::{self, Plate};
use crate::metrology::frame::Hit;
use crate::report::write_csv::{WriteError, WrittenPoint, points_csv};
use crate::units::{LengthUnit, Reading, decimal_to_f64};

/// How the part lies on the machine: machine = Rz(angle) Ry(tilt) Rx(tilt) part + offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Turn about Z in degrees, counter-clockwise.
    pub angle_deg: f64,
    /// Tilts about x and y in degrees.
    pub tilt_deg: [f64; 2],
    /// Where the part frame's origin is, in the machine's frame and the exercise's unit.
    pub offset: [f64; 3],
}

impl Setting {
    /// A part clamped by eye: turned by up to 6 degrees, out of level by up to 0.05, somewhere on the table.
    #[must_use]
    pub fn by_eye(units: LengthUnit, sampler: &mut Sampler) -> Self {
        let mut within = |low: f64, high: f64| low + (high - low) * sampler.uniform();
        let mm = [within(150.0, 450.0), within(100.0, 350.0), within(-420.0, -380.0)];
        Self {
            angle_deg: within(-6.0, 6.0),
            tilt_deg: [within(-0.05, 0.05), within(-0.05, 0.05)],
            offset: mm.map(|v| units.from_mm_f64(v)),
        }
    }

    fn rows(&self) -> [[f64; 3]; 3] {
        let (sz, cz) = self.angle_deg.to_radians().sin_cos();
        let (sx, cx) = self.tilt_deg[0].to_radians().sin_cos();
        let (sy, cy) = self.tilt_deg[1].to_radians().sin_cos();
        // Columns of Ry Rx, then turned about Z.
        let level = [[cy, sy * sx, sy * cx], [0.0, cx, -sx], [-sy, cy * sx, cy * cx]];
        [
            [0, 1, 2].map(|j| cz * level[0][j] - sz * level[1][j]),
            [0, 1, 2].map(|j| sz * level[0][j] + cz * level[1][j]),
            level[2],
        ]
    }

    fn turn(rows: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
        rows.map(|row| dot(row, v))
    }
}

/// One touch.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbedPoint {
    /// Feature key or datum letter.
    pub feature: String,
    /// Tip centre in the machine's frame.
    pub tip: [f64; 3],
    /// Unit direction from the surface towards the tip, in the machine's frame.
    pub direction: [f64; 3],
}

/// A place on a surface in the part frame, and the outward normal of the material there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Touch {
    pub(super) at: [f64; 3],
    pub(super) normal: [f64; 3],
}

impl Touch {
    /// The tip's centre, this far off the surface.
    pub(super) fn off(&self, by: f64) -> [f64; 3] {
        [0, 1, 2].map(|i| self.at[i] + self.normal[i] * by)
    }

    /// The same with the direction of travel.
    pub(super) fn hit(&self, off: f64) -> Hit {
        Hit {
            tip: self.off(off),
            approach: Some(self.normal.map(|n| -n)),
        }
    }
}

/// All touches that an exercise asks for.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Touches {
    /// Of the datums, in their order.
    pub(super) datums: Vec<Vec<Touch>>,
    /// Of the features, in the order of the file.
    pub(super) features: Vec<Vec<Touch>>,
}

/// The touches of features in these states, each as often as the exercise asks.
pub(super) fn touches(exercise: &Exercise, nominal: &[FeatureState], states: &[FeatureState]) -> Touches {
    let of_datum = |datum: &Datum| {
        let (axis, sign) = datum.face.normal();
        let mut normal = [0.0; 3];
        normal[axis.index()] = sign;
        let touch = |t| Touch {
            at: datum.touch_point(t),
            normal,
        };
        datum.touches.iter().map(touch).collect()
    };
    let reach = decimal_to_f64(exercise.measurement.tip_diameter);
    let of_feature = |(i, ((feature, nominal), state))| {
        let datum = geometry::datum_normal(&exercise.datum_frame, surface::datum_of(exercise, i));
        let true_surface = surface::Surface {
            feature,
            nominal,
            state,
            datum,
            reach,
        };
        true_surface.touches()
    };
    let features = exercise.features.iter().zip(nominal).zip(states);
    let mut features: Vec<Vec<Touch>> = features.enumerate().map(of_feature).collect();
    pairs::orient(exercise, nominal, states, &mut features);
    Touches {
        datums: exercise.datum_frame.all().into_iter().map(of_datum).collect(),
        features,
    }
}

/// All touches of a plate: the datums in their order, then the features in the order of the file, each as often as the
/// exercise asks. `noise` is a factor on the declared repeatability. Draws one number per touch.
#[must_use]
pub fn probed_points(
    exercise: &Exercise,
    plate: &Plate,
    setting: &Setting,
    noise: f64,
    sampler: &mut Sampler,
) -> Vec<ProbedPoint> {
    let nominal = geometry::nominal_states(exercise);
    let all = touches(exercise, &nominal, &plate::true_states(exercise, plate));
    let letters = exercise.datum_frame.all().into_iter().map(|d| d.letter.to_string());
    let keys = exercise.features.iter().map(|f| f.key.to_string());
    let named = letters.chain(keys).zip(all.datums.iter().chain(&all.features));
    let rows = setting.rows();
    let radius = decimal_to_f64(exercise.measurement.tip_diameter) / 2.0;
    let repeatability = decimal_to_f64(exercise.measurement.repeatability) * noise;
    let mut probe = |feature: &str, touch: &Touch| {
        let turned = Setting::turn(&rows, touch.off(radius + repeatability * sampler.normal()));
        ProbedPoint {
            feature: feature.to_owned(),
            tip: [0, 1, 2].map(|i| turned[i] + setting.offset[i]),
            direction: Setting::turn(&rows, touch.normal),
        }
    };
    let mut points = Vec::new();
    for (name, touches) in named {
        points.extend(touches.iter().map(|touch| probe(&name, touch)));
    }
    points
}

/// Places behind the point of a direction.
const DIRECTION_PLACES: u32 = 6;

/// A table of probed points: `feature,x,y,z,i,j,k`, coordinates with one place more than the exercise's reports.
///
/// # Errors
/// When the table cannot be written, which does not happen in memory.
pub fn table(points: &[ProbedPoint], decimals: u32) -> Result<String, WriteError> {
    let text = |v: f64, places: u32| Reading::from_f64(v, places).map_or_else(String::new, |r| r.to_string());
    let cells: Vec<[String; 6]> = points
        .iter()
        .map(|p| {
            let [x, y, z] = p.tip.map(|v| text(v, decimals + 1));
            let [i, j, k] = p.direction.map(|v| text(v, DIRECTION_PLACES));
            [x, y, z, i, j, k]
        })
        .collect();
    let rows: Vec<WrittenPoint<'_>> = points
        .iter()
        .zip(&cells)
        .map(|(p, [x, y, z, i, j, k])| WrittenPoint {
            feature: &p.feature,
            xyz: [x, y, z],
            ijk: Some([i, j, k]),
        })
        .collect();
    points_csv(&rows)
}

/// A vector turned about a unit axis by an angle in radians (Rodrigues' rotation formula).
fn turned_about(v: [f64; 3], axis: [f64; 3], angle: f64) -> [f64; 3] {
    let (sin, cos) = angle.sin_cos();
    let (c, d) = (cross(axis, v), dot(axis, v) * (1.0 - cos));
    [0, 1, 2].map(|i| v[i] * cos + c[i] * sin + axis[i] * d)
}

#[cfg(test)]
mod tests;
