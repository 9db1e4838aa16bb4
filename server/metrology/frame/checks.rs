//! What makes a frame weaker than it could be, said with numbers. Limits are choices of ours.

use std::fmt;

use nalgebra::Vector3;

use super::covariance::groups;
use super::{Datums, Hit, Rigid};

/// A weakness of a frame. Lengths in the unit of the hits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FrameCheck {
    /// Hits of the primary datum near one line.
    NearlyCollinear {
        /// Extent along the line.
        length: f64,
        /// Extent across it, in the plane.
        width: f64,
    },
    /// Two hits of a datum close together.
    CloseTogether {
        /// Primary or secondary.
        datum: &'static str,
        /// Their distance.
        distance: f64,
        /// Extent of all hits of the frame.
        extent: f64,
    },
    /// A secondary line, or a line of two holes, that is short beside the part.
    ShortBase {
        /// Length that gives the direction.
        base: f64,
        /// Extent of all hits of the frame.
        extent: f64,
    },
    /// Secondary hits that rise more than they run.
    SteepSecondary {
        /// Angle between the line of the hits and the primary normal, degrees.
        degrees: f64,
    },
    /// A tertiary hit that came from the other side than the part's axes say.
    WrongSide {
        /// How many hits.
        hits: usize,
    },
}

impl fmt::Display for FrameCheck {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FrameCheck::NearlyCollinear { length, width } => write!(
                f,
                "primary datum: the hits are {length:.1} long and only {width:.1} wide, so the tilt across is weakly held; spread them"
            ),
            FrameCheck::CloseTogether {
                datum,
                distance,
                extent,
            } => write!(
                f,
                "{datum} datum: two hits are {distance:.1} apart, on a part of {extent:.1}; take them further apart"
            ),
            FrameCheck::ShortBase { base, extent } => write!(
                f,
                "the direction in the plane comes from a base of {base:.1}, on a part of {extent:.1}: an error there grows {:.0} times",
                extent / base
            ),
            FrameCheck::SteepSecondary { degrees } => write!(
                f,
                "secondary datum: the line of its hits stands at {degrees:.0} degrees to the primary normal; take them at one height"
            ),
            FrameCheck::WrongSide { hits } => write!(
                f,
                "tertiary datum: hits that travel out of the material: {hits}; check the side, or the letter of the datum"
            ),
        }
    }
}

const NARROW: f64 = 0.1;
const CLOSE: f64 = 0.05;
const SHORT: f64 = 0.25;
const STEEP_DEGREES: f64 = 30.0;

pub(super) fn checks(datums: &Datums<'_>, frame: &Rigid) -> Vec<FrameCheck> {
    let all = groups(datums).map(|hits| {
        hits.iter()
            .map(|hit| Vector3::from(frame.to_part(hit.tip)))
            .collect::<Vec<_>>()
    });
    let extent = reach(&all.concat());
    let normal = match datums {
        Datums::Faces { primary, .. } | Datums::TwoHoles { primary, .. } | Datums::LineHole { primary, .. } => {
            Vector3::ith(primary.axis.index(), 1.0)
        }
    };
    let mut found = Vec::new();
    found.extend(narrow(&all[0], &normal));
    found.extend(close("primary", &all[0], extent));
    let base = match datums {
        Datums::TwoHoles { .. } => {
            let middle = |points: &[Vector3<f64>]| {
                points.iter().sum::<Vector3<f64>>() / crate::metrology::fit::count(points.len())
            };
            (middle(&all[1]) - middle(&all[2])).norm()
        }
        Datums::Faces { .. } | Datums::LineHole { .. } => {
            let flat: Vec<Vector3<f64>> = all[1].iter().map(|p| p - normal * p.dot(&normal)).collect();
            let base = reach(&flat);
            let rise = reach(&all[1].iter().map(|p| normal * p.dot(&normal)).collect::<Vec<_>>());
            let degrees = base.atan2(rise).to_degrees();
            if degrees < STEEP_DEGREES {
                found.push(FrameCheck::SteepSecondary { degrees });
            }
            found.extend(close("secondary", &flat, extent));
            base
        }
    };
    if base < SHORT * extent {
        found.push(FrameCheck::ShortBase { base, extent });
    }
    if let Datums::Faces { tertiary, .. } = datums {
        let out = frame.rotation.row(tertiary.axis.index()).transpose() * if tertiary.outward { 1.0 } else { -1.0 };
        let wrong = |hit: &&Hit| {
            hit.approach
                .is_some_and(|approach| Vector3::from(approach).dot(&out) > 0.0)
        };
        let hits = tertiary.hits.iter().filter(wrong).count();
        if hits > 0 {
            found.push(FrameCheck::WrongSide { hits });
        }
    }
    found
}

/// Largest distance between any two points, by their widest axis: within a factor of the root of three.
fn reach(points: &[Vector3<f64>]) -> f64 {
    let Some(first) = points.first() else { return 0.0 };
    let (low, high) = points
        .iter()
        .fold((*first, *first), |(low, high), p| (low.inf(p), high.sup(p)));
    (high - low).norm()
}

fn narrow(points: &[Vector3<f64>], normal: &Vector3<f64>) -> Option<FrameCheck> {
    let (a, b) = furthest(points)?;
    let along = (b - a).try_normalize(0.0)?;
    let side = normal.cross(&along);
    let heights = points.iter().map(|p| (p - a).dot(&side));
    let (low, high) = heights.fold((0.0_f64, 0.0_f64), |(low, high), h| (low.min(h), high.max(h)));
    let (length, width) = ((b - a).norm(), high - low);
    (width < NARROW * length).then_some(FrameCheck::NearlyCollinear { length, width })
}

/// Two points far apart: the furthest from the first, and the furthest from that.
fn furthest(points: &[Vector3<f64>]) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let from = |p: &Vector3<f64>| {
        points
            .iter()
            .copied()
            .max_by(|a, b| (a - p).norm_squared().total_cmp(&(b - p).norm_squared()))
    };
    let a = from(points.first()?)?;
    Some((a, from(&a)?))
}

/// The nearest two of a datum's hits, where that is near. Datums have few hits; a scan of many would be no check.
fn close(datum: &'static str, points: &[Vector3<f64>], extent: f64) -> Option<FrameCheck> {
    const MOST: usize = 200;
    if points.len() > MOST {
        return None;
    }
    let pairs = points
        .iter()
        .enumerate()
        .flat_map(|(i, a)| points[i + 1..].iter().map(move |b| (a - b).norm()));
    let distance = pairs.fold(f64::INFINITY, f64::min);
    (distance < CLOSE * extent).then_some(FrameCheck::CloseTogether {
        datum,
        distance,
        extent,
    })
}
