//! How noise of the hits moves the frame, by moving each coordinate of each hit a little either way.

use nalgebra::{Matrix3, Vector3};

use super::align::align;
use super::{Datums, FrameError, Hit, Hole, Rigid, Surface};
use crate::metrology::fit::Covariance;

/// Movement of a hit as a share of the extent of all hits: the frame bends by its square, rounding by its inverse.
const STEP: f64 = 1e-5;

/// Shift of the part's origin and turn about the part's axes, for unit noise.
pub(super) fn covariance(datums: &Datums<'_>, tip_radius: f64, frame: &Rigid) -> Result<Covariance<6>, FrameError> {
    let groups = groups(datums);
    let mut owned: [Vec<Hit>; 3] = groups.map(<[Hit]>::to_vec);
    let step = STEP * extent(&groups);
    let mut matrix = [[0.0; 6]; 6];
    for group in 0..3 {
        for index in 0..groups[group].len() {
            for axis in 0..3 {
                let still = owned[group][index].tip[axis];
                let mut moved = [[0.0; 6]; 2];
                for (way, moved) in [step, -step].into_iter().zip(&mut moved) {
                    owned[group][index].tip[axis] = still + way;
                    let slices = [owned[0].as_slice(), owned[1].as_slice(), owned[2].as_slice()];
                    *moved = difference(frame, &align(&with_hits(datums, slices), tip_radius)?.movement);
                }
                owned[group][index].tip[axis] = still;
                let slope: [f64; 6] = std::array::from_fn(|i| (moved[0][i] - moved[1][i]) / (2.0 * step));
                for i in 0..6 {
                    for j in 0..6 {
                        matrix[i][j] += slope[i] * slope[j];
                    }
                }
            }
        }
    }
    Ok(Covariance {
        parameters: ["shift_x", "shift_y", "shift_z", "turn_x", "turn_y", "turn_z"],
        matrix,
    })
}

/// The hits of the three datums.
pub(super) fn groups<'a>(datums: &Datums<'a>) -> [&'a [Hit]; 3] {
    match datums {
        Datums::Faces {
            primary,
            secondary,
            tertiary,
        } => [primary.hits, secondary.hits, tertiary.hits],
        Datums::TwoHoles {
            primary,
            origin,
            toward,
        } => [primary.hits, origin.hits, toward.hits],
        Datums::LineHole {
            primary,
            secondary,
            origin,
        } => [primary.hits, secondary.hits, origin.hits],
    }
}

fn with_hits<'a>(datums: &Datums<'_>, [a, b, c]: [&'a [Hit]; 3]) -> Datums<'a> {
    let surface = |s: &Surface<'_>, hits| Surface {
        hits,
        axis: s.axis,
        outward: s.outward,
        at: s.at,
    };
    let hole = |h: &Hole<'_>, hits| Hole { hits, at: h.at };
    match datums {
        Datums::Faces {
            primary,
            secondary,
            tertiary,
        } => Datums::Faces {
            primary: surface(primary, a),
            secondary: surface(secondary, b),
            tertiary: surface(tertiary, c),
        },
        Datums::TwoHoles {
            primary,
            origin,
            toward,
        } => Datums::TwoHoles {
            primary: surface(primary, a),
            origin: hole(origin, b),
            toward: hole(toward, c),
        },
        Datums::LineHole {
            primary,
            secondary,
            origin,
        } => Datums::LineHole {
            primary: surface(primary, a),
            secondary: surface(secondary, b),
            origin: hole(origin, c),
        },
    }
}

fn extent(groups: &[&[Hit]; 3]) -> f64 {
    let mut low = [f64::INFINITY; 3];
    let mut high = [f64::NEG_INFINITY; 3];
    for hit in groups.iter().copied().flatten() {
        for axis in 0..3 {
            low[axis] = low[axis].min(hit.tip[axis]);
            high[axis] = high[axis].max(hit.tip[axis]);
        }
    }
    (0..3).map(|axis| high[axis] - low[axis]).fold(0.0, f64::max)
}

/// Shift of the part's origin and turn of its axes from one frame to another near it.
fn difference(from: &Rigid, to: &Rigid) -> [f64; 6] {
    let origin = Vector3::from(from.to_machine([0.0; 3]));
    let shift = (to.rotation - from.rotation) * origin + (to.translation - from.translation);
    let turn: Matrix3<f64> = to.rotation * from.rotation.transpose();
    let [x, y, z] = [(2, 1), (0, 2), (1, 0)].map(|(i, j)| 0.5 * (turn[(i, j)] - turn[(j, i)]));
    [shift.x, shift.y, shift.z, x, y, z]
}
