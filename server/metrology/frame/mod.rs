//! The datum frame: from probed tip centres to the rigid movement that carries machine coordinates into the part's.
//!
//! Datums are least-squares planes and lines (Gaussian association). That is common coordinate-measuring practice, not
//! the default of ISO 5459, which takes tangent surfaces outside the material (from memory, unconfirmed).

mod align;
mod checks;
mod covariance;

use nalgebra::{Matrix3, Vector3};
use thiserror::Error;

pub use checks::FrameCheck;

use super::fit::{Covariance, FitError};
use super::tip::TipError;

/// A probed point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// Centre of the tip, machine coordinates.
    pub tip: [f64; 3],
    /// Direction of travel, into the material; only its side counts, never its length.
    pub approach: Option<[f64; 3]>,
}

/// An axis of the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// To the right.
    X,
    /// Away from the person.
    Y,
    /// Up.
    Z,
}

/// A flat datum surface: the hits on it, and the coordinate that it defines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface<'a> {
    /// Hits on it.
    pub hits: &'a [Hit],
    /// The axis across it.
    pub axis: Axis,
    /// Whether its normal out of the material points along the axis (top, right, back) or against it.
    pub outward: bool,
    /// Its coordinate along the axis.
    pub at: f64,
}

impl<'a> Surface<'a> {
    /// The top face at z = 0.
    #[must_use]
    pub fn top(hits: &'a [Hit]) -> Self {
        Surface {
            hits,
            axis: Axis::Z,
            outward: true,
            at: 0.0,
        }
    }

    /// The left face at x = 0.
    #[must_use]
    pub fn left(hits: &'a [Hit]) -> Self {
        Surface {
            hits,
            axis: Axis::X,
            outward: false,
            at: 0.0,
        }
    }

    /// The front face at y = 0.
    #[must_use]
    pub fn front(hits: &'a [Hit]) -> Self {
        Surface {
            hits,
            axis: Axis::Y,
            outward: false,
            at: 0.0,
        }
    }
}

/// A datum hole across the primary surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hole<'a> {
    /// Hits in it, three or more.
    pub hits: &'a [Hit],
    /// Where its centre lies, in the two part coordinates other than the primary's, in the order x, y, z.
    pub at: [f64; 2],
}

/// What a frame is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Datums<'a> {
    /// 3-2-1: plane from three or more hits, line from two or more, point from one or more.
    Faces {
        /// Levels the part.
        primary: Surface<'a>,
        /// Turns it.
        secondary: Surface<'a>,
        /// Places it along the third axis.
        tertiary: Surface<'a>,
    },
    /// Plane, then two holes: the first is the origin, the second gives the direction.
    TwoHoles {
        /// Levels the part.
        primary: Surface<'a>,
        /// Places it.
        origin: Hole<'a>,
        /// Turns it.
        toward: Hole<'a>,
    },
    /// Plane, then line for the direction, then hole for the place.
    LineHole {
        /// Levels the part.
        primary: Surface<'a>,
        /// Turns it.
        secondary: Surface<'a>,
        /// Places it.
        origin: Hole<'a>,
    },
}

/// A rigid movement: `p_part = rotation * p_machine + translation`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rigid {
    /// Rows are the part's axes in machine coordinates, right-handed.
    pub rotation: Matrix3<f64>,
    /// Part coordinates of the machine's origin.
    pub translation: Vector3<f64>,
}

impl Rigid {
    /// A machine point in part coordinates.
    #[must_use]
    pub fn to_part(&self, machine: [f64; 3]) -> [f64; 3] {
        (self.rotation * Vector3::from(machine) + self.translation).into()
    }

    /// A part point in machine coordinates.
    #[must_use]
    pub fn to_machine(&self, part: [f64; 3]) -> [f64; 3] {
        self.rotation.tr_mul(&(Vector3::from(part) - self.translation)).into()
    }
}

/// A datum frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Machine to part.
    pub movement: Rigid,
    /// Covariance for unit noise of every coordinate of every hit: shift of the part's origin in x, y, z of the part,
    /// and turns about those axes, radians. A part point p then moves by shift + turn x p.
    pub covariance: Covariance<6>,
    /// Flatness of the primary's hits: largest minus smallest distance from its plane.
    pub primary_form: f64,
    /// Straightness of the secondary's hits about its line; none where holes give the direction.
    pub secondary_form: Option<f64>,
    /// Measured distance of two datum holes less what `at` says; none without two holes.
    pub hole_distance_error: Option<f64>,
    /// What makes this frame weaker than it could be.
    pub checks: Vec<FrameCheck>,
}

impl Frame {
    /// Covariance that the frame alone gives a part point, for unit noise.
    #[must_use]
    pub fn point_covariance(&self, part: [f64; 3]) -> Matrix3<f64> {
        let lever = -Vector3::from(part).cross_matrix();
        let c = &self.covariance.matrix;
        let block = |row: usize, column: usize| Matrix3::from_fn(|i, j| c[row + i][column + j]);
        let mixed = block(0, 3) * lever.transpose();
        block(0, 0) + mixed + mixed.transpose() + lever * block(3, 3) * lever.transpose()
    }
}

/// Why hits give no frame.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FrameError {
    /// A datum that its hits do not determine.
    #[error("{datum} datum: {problem}")]
    Datum {
        /// Primary, secondary or tertiary, or which hole.
        datum: &'static str,
        /// What is wrong.
        problem: FitError,
    },
    /// A side that cannot be told.
    #[error("{datum} datum: {problem}")]
    Side {
        /// Primary, secondary or tertiary.
        datum: &'static str,
        /// What is wrong.
        problem: TipError,
    },
    /// No hits at all.
    #[error("{datum} datum: no hits given")]
    NoHits {
        /// Primary, secondary or tertiary.
        datum: &'static str,
    },
    /// A line that stands on the primary plane.
    #[error(
        "secondary datum: its points rise {rise:.3} along the normal of the primary plane and only {run:.3} across it, so they give no direction in that plane; take them side by side"
    )]
    SecondaryUpright {
        /// Extent along the primary normal.
        rise: f64,
        /// Extent in the primary plane.
        run: f64,
    },
    /// A nominal coordinate that is not a number.
    #[error("{datum} datum: the coordinate that it sets must be a finite number")]
    Coordinate {
        /// Primary, secondary or tertiary, or which hole.
        datum: &'static str,
    },
    /// Two surfaces for one axis.
    #[error("two datums set the same axis: the three must set x, y and z, each once")]
    SameAxis,
    /// Two holes without a direction between them.
    #[error("the two datum holes are given the same place: their centres must be apart in the part")]
    SamePlace,
    /// A tip radius that cannot be.
    #[error(transparent)]
    Tip(#[from] TipError),
}

/// The frame that hits give with a tip of this radius.
///
/// # Errors
/// Datums that their hits do not determine, sides that cannot be told, datums that contradict one another.
pub fn frame(datums: &Datums<'_>, tip_radius: f64) -> Result<Frame, FrameError> {
    super::tip::usable(tip_radius)?;
    let found = align::align(datums, tip_radius)?;
    Ok(Frame {
        movement: found.movement,
        covariance: covariance::covariance(datums, tip_radius, &found.movement)?,
        primary_form: found.primary_form,
        secondary_form: found.secondary_form,
        hole_distance_error: found.hole_distance_error,
        checks: checks::checks(datums, &found.movement),
    })
}

#[cfg(test)]
mod tests {
    use nalgebra::Rotation3;

    use super::*;

    /// Tip centres over part points of a plate, tip radius 1, in a machine where the plate is turned and shifted.
    fn seen(part: &[([f64; 3], [f64; 3])], with_approach: bool) -> Vec<Hit> {
        let machine = machine();
        part.iter()
            .map(|(tip, approach)| Hit {
                tip: machine.to_machine(*tip),
                approach: with_approach.then(|| machine.rotation.tr_mul(&Vector3::from(*approach)).into()),
            })
            .collect()
    }

    fn machine() -> Rigid {
        let rotation = Rotation3::from_euler_angles(0.1, -0.2, 2.9).into_inner();
        Rigid {
            rotation,
            translation: Vector3::new(-300.0, 120.0, 45.0),
        }
    }

    const DOWN: [f64; 3] = [0.0, 0.0, -1.0];
    const TOP: [([f64; 3], [f64; 3]); 3] = [
        ([10.0, 10.0, 1.0], DOWN),
        ([110.0, 12.0, 1.0], DOWN),
        ([60.0, 70.0, 1.0], DOWN),
    ];
    const RIGHTWARD: [f64; 3] = [1.0, 0.0, 0.0];
    const LEFT: [([f64; 3], [f64; 3]); 2] = [([-1.0, 10.0, -4.0], RIGHTWARD), ([-1.0, 70.0, -8.0], RIGHTWARD)];
    const FRONT: [([f64; 3], [f64; 3]); 1] = [([50.0, -1.0, -5.0], [0.0, 1.0, 0.0])];

    fn around(x: f64, y: f64) -> Vec<([f64; 3], [f64; 3])> {
        [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)]
            .map(|(c, s)| ([x + 4.0 * c, y + 4.0 * s, -5.0], [c, s, 0.0]))
            .to_vec()
    }

    fn check(datums: &Datums<'_>) -> Frame {
        let found = frame(datums, 1.0).unwrap();
        let wanted = machine();
        assert!((found.movement.rotation - wanted.rotation).norm() < 1e-13, "{found:?}");
        assert!(
            (found.movement.translation - wanted.translation).norm() < 1e-11,
            "{found:?}"
        );
        found
    }

    #[test]
    fn exact_points_give_the_exact_frame() {
        for with_approach in [true, false] {
            let [top, left, front] = [&TOP[..], &LEFT[..], &FRONT[..]].map(|part| seen(part, with_approach));
            let [first, second] = [around(20.0, 30.0), around(95.0, 60.0)].map(|part| seen(&part, with_approach));
            let (primary, secondary, tertiary) = (Surface::top(&top), Surface::left(&left), Surface::front(&front));
            let origin = Hole {
                hits: &first,
                at: [20.0, 30.0],
            };
            let toward = Hole {
                hits: &second,
                at: [95.0, 60.0],
            };
            let faces = check(&Datums::Faces {
                primary,
                secondary,
                tertiary,
            });
            assert_eq!(faces.checks, []);
            let holes = check(&Datums::TwoHoles {
                primary,
                origin,
                toward,
            });
            assert!(holes.hole_distance_error.unwrap().abs() < 1e-12, "{holes:?}");
            check(&Datums::LineHole {
                primary,
                secondary,
                origin,
            });
        }
    }

    #[test]
    fn other_faces_set_other_axes() {
        // Lying on its front: y from below, z from the left of what is seen, x from a single hit on the right face.
        let part_front = [
            ([10.0, -1.0, -5.0], [0.0, 1.0, 0.0]),
            ([90.0, -1.0, -9.0], [0.0, 1.0, 0.0]),
            ([50.0, -1.0, -2.0], [0.0, 1.0, 0.0]),
        ];
        let right = [([121.0, 30.0, -5.0], [-1.0, 0.0, 0.0])];
        let [front, top, right] = [seen(&part_front, true), seen(&TOP[..2], true), seen(&right, true)];
        check(&Datums::Faces {
            primary: Surface::front(&front),
            secondary: Surface::top(&top),
            tertiary: Surface {
                hits: &right,
                axis: Axis::X,
                outward: true,
                at: 120.0,
            },
        });
    }

    #[test]
    fn covariance_by_hand() {
        // Square to the machine, hits so placed that each parameter has a sum of its own. Height: four corners of a
        // square of side 2a about the origin: 1/4; turns about x and y: 1 / (4 a^2). Turn about z: two hits 2b apart
        // at x = 0: 1 / (2 b^2). Shift in x: 1/2; in y: 1 for the front hit, which lies at x = 0.
        let (a, b) = (50.0, 40.0);
        let hit = |x: f64, y: f64, z: f64, approach| Hit {
            tip: [x, y, z],
            approach: Some(approach),
        };
        let top = [(a, a), (-a, a), (-a, -a), (a, -a)].map(|(x, y)| hit(x, y, 0.0, DOWN));
        let left = [b, -b].map(|y| hit(0.0, y, 0.0, RIGHTWARD));
        let front = [hit(0.0, 0.0, 0.0, [0.0, 1.0, 0.0])];
        let datums = Datums::Faces {
            primary: Surface::top(&top),
            secondary: Surface::left(&left),
            tertiary: Surface::front(&front),
        };
        let found = frame(&datums, 0.0).unwrap();
        let expected = [0.5, 1.0, 0.25, 1e-4, 1e-4, 1.0 / 3200.0];
        for (i, row) in found.covariance.matrix.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                let wanted = if i == j { expected[i] } else { 0.0 };
                assert!((value - wanted).abs() < 1e-8, "{i} {j}: {found:?}");
            }
        }
        // A point 100 along x: y gains 100^2 / 3200, z 100^2 * 1e-4.
        let at = found.point_covariance([100.0, 0.0, 0.0]);
        assert!(
            (at[(1, 1)] - 4.125).abs() < 1e-6 && (at[(2, 2)] - 1.25).abs() < 1e-6,
            "{at}"
        );
    }

    #[test]
    fn weaknesses_are_said() {
        let thin = [
            ([10.0, 10.0, 1.0], DOWN),
            ([110.0, 12.0, 1.0], DOWN),
            ([60.0, 13.0, 1.0], DOWN),
        ];
        let short = [([-1.0, 10.0, -2.0], RIGHTWARD), ([-1.0, 13.0, -16.0], RIGHTWARD)];
        let wrong = [([50.0, -1.0, -5.0], [0.0, -1.0, 0.0])];
        let [top, left, front] = [seen(&thin, true), seen(&short, true), seen(&wrong, true)];
        let datums = Datums::Faces {
            primary: Surface::top(&top),
            secondary: Surface::left(&left),
            tertiary: Surface::front(&front),
        };
        let said: Vec<String> = frame(&datums, 1.0)
            .unwrap()
            .checks
            .iter()
            .map(ToString::to_string)
            .collect();
        insta::assert_snapshot!(said[0], @"primary datum: the hits are 100.0 long and only 2.0 wide, so the tilt across is weakly held; spread them");
        insta::assert_snapshot!(said[1], @"secondary datum: the line of its hits stands at 12 degrees to the primary normal; take them at one height");
        insta::assert_snapshot!(said[2], @"secondary datum: two hits are 3.0 apart, on a part of 113.2; take them further apart");
        insta::assert_snapshot!(said[3], @"the direction in the plane comes from a base of 3.0, on a part of 113.2: an error there grows 38 times");
        insta::assert_snapshot!(said[4], @"tertiary datum: hits that travel out of the material: 1; check the side, or the letter of the datum");
    }

    #[test]
    fn says_what_is_wrong() {
        let [top, left, front] = [seen(&TOP, true), seen(&LEFT, true), seen(&FRONT, true)];
        let fails = |primary, secondary, tertiary, radius: f64| {
            frame(
                &Datums::Faces {
                    primary,
                    secondary,
                    tertiary,
                },
                radius,
            )
            .unwrap_err()
            .to_string()
        };
        let (t, l, f) = (Surface::top(&top), Surface::left(&left), Surface::front(&front));
        insta::assert_snapshot!(fails(Surface::top(&top[..2]), l, f, 1.0), @"primary datum: a plane needs at least 3 points, 2 given");
        insta::assert_snapshot!(fails(t, Surface::left(&left[..1]), f, 1.0), @"secondary datum: a line needs at least 2 points, 1 given");
        insta::assert_snapshot!(fails(t, l, Surface::front(&[]), 1.0), @"tertiary datum: no hits given");
        let nowhere = [Hit {
            tip: [1.0, f64::NAN, 2.0],
            approach: None,
        }];
        insta::assert_snapshot!(fails(t, l, Surface::front(&nowhere), 1.0), @"tertiary datum: point 1 has NaN as its y: every coordinate must be a finite number");
        insta::assert_snapshot!(fails(t, l, Surface { at: f64::NAN, ..f }, 1.0), @"tertiary datum: the coordinate that it sets must be a finite number");
        insta::assert_snapshot!(fails(t, l, l, 1.0), @"two datums set the same axis: the three must set x, y and z, each once");
        insta::assert_snapshot!(fails(t, l, f, f64::INFINITY), @"tip radius inf: it must be zero or more, and finite");
        let upright = seen(
            &[([-1.0, 10.0, -4.0], RIGHTWARD), ([-1.0, 10.0, -14.0], RIGHTWARD)],
            true,
        );
        insta::assert_snapshot!(fails(t, Surface::left(&upright), f, 1.0), @"secondary datum: its points rise 10.000 along the normal of the primary plane and only 0.000 across it, so they give no direction in that plane; take them side by side");
        let same = Hole {
            hits: &seen(&around(20.0, 30.0), true),
            at: [20.0, 30.0],
        };
        let twice = Datums::TwoHoles {
            primary: t,
            origin: same,
            toward: same,
        };
        insta::assert_snapshot!(frame(&twice, 1.0).unwrap_err(), @"the two datum holes are given the same place: their centres must be apart in the part");
    }
}
