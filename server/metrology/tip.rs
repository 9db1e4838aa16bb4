//! Tip compensation. A machine reports the centre of its ball tip; the surface lies a tip radius further on, along the
//! surface's normal. So a figure is fitted to tip centres, then moved by the radius along the normal of the fit. Approach
//! vectors only say on which side the material is: compensating along them would leave a cosine error.

use nalgebra::Vector3;
use thiserror::Error;

use super::fit::{
    self, Circle3, Fit, FitError, Line2, ParallelLines, Plane, Sphere, circle3d, line2d, parallel_lines, plane,
};

/// Which side of a surface the tip was on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// In a hole, a bore, a groove: material lies outside the tip centres.
    Inside,
    /// Around a boss, a ball, a rail: material lies inside the tip centres.
    Outside,
}

impl Side {
    /// What a tip adds to a size between tip centres.
    #[must_use]
    pub fn size(self, between_tip_centres: f64, tip_radius: f64) -> f64 {
        match self {
            Side::Inside => between_tip_centres + 2.0 * tip_radius,
            Side::Outside => between_tip_centres - 2.0 * tip_radius,
        }
    }

    /// The side that directions of travel show: away from the centre, the tip was inside.
    ///
    /// # Errors
    /// Directions that are missing, or that disagree.
    pub fn from_approach<const D: usize>(
        points: &[[f64; D]],
        approach: &[[f64; D]],
        centre: [f64; D],
    ) -> Result<Self, TipError> {
        let outward = points
            .iter()
            .zip(approach)
            .map(|(p, a)| (0..D).map(|i| (p[i] - centre[i]) * a[i]).sum::<f64>());
        let (inside, outside) = outward.fold((0, 0), |(i, o), dot| {
            (i + i32::from(dot > 0.0), o + i32::from(dot < 0.0))
        });
        match (inside, outside) {
            (1.., 0) => Ok(Side::Inside),
            (0, 1..) => Ok(Side::Outside),
            _ => Err(TipError::MixedApproach { inside, outside }),
        }
    }
}

/// Why tip centres do not give a surface.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TipError {
    /// A radius that cannot be.
    #[error("tip radius {radius}: it must be zero or more, and finite")]
    Radius {
        /// The value given.
        radius: f64,
    },
    /// A tip as large as what it went round.
    #[error("tip centres {between:.6} apart cannot lie around a surface with a tip of radius {radius}")]
    TooLarge {
        /// Size between tip centres.
        between: f64,
        /// Radius of the tip.
        radius: f64,
    },
    /// Hits that came from both sides.
    #[error("{inside} hits travel away from the centre and {outside} towards it: all must come from one side")]
    MixedApproach {
        /// Hits away from the centre.
        inside: i32,
        /// Hits towards it.
        outside: i32,
    },
    /// Hits that slid along the surface.
    #[error(
        "the approach does not tell the side: its mean is {cosine:.2} along the normal of the surface, and must be 0.1 at least either way"
    )]
    Sliding {
        /// Mean component of the approach along the normal.
        cosine: f64,
    },
    /// The tip centres do not determine the figure.
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// A round surface from tip centres.
#[derive(Debug, Clone, PartialEq)]
pub struct Round<F, const N: usize> {
    /// The fit to the tip centres.
    pub fit: Fit<F, N>,
    /// Diameter between tip centres.
    pub tip_centre_diameter: f64,
    /// Diameter of the surface.
    pub diameter: f64,
}

/// A flat surface from tip centres.
#[derive(Debug, Clone, PartialEq)]
pub struct Flat<F, const N: usize, const D: usize> {
    /// The fit to the tip centres.
    pub fit: Fit<F, N>,
    /// Unit normal out of the material.
    pub outward: [f64; D],
    /// Offset of the tip centres along `outward`.
    pub tip_centre_offset: f64,
    /// Offset of the surface along `outward`.
    pub offset: f64,
    /// A point of the surface: below the mean of the tip centres.
    pub point: [f64; D],
}

/// Two parallel sides from tip centres.
#[derive(Debug, Clone, PartialEq)]
pub struct Width {
    /// The fit to the tip centres of both sides.
    pub fit: Fit<ParallelLines, 3>,
    /// Distance between tip centres.
    pub tip_centre_width: f64,
    /// Distance between the sides.
    pub width: f64,
}

/// Fails on a radius that is negative, not finite, or beyond all coordinates.
pub(in crate::metrology) fn usable(radius: f64) -> Result<(), TipError> {
    if (0.0..=fit::LARGEST).contains(&radius) {
        Ok(())
    } else {
        Err(TipError::Radius { radius })
    }
}

fn sized(between: f64, radius: f64, side: Side) -> Result<f64, TipError> {
    let size = side.size(between, radius);
    if size > 0.0 {
        Ok(size)
    } else {
        Err(TipError::TooLarge { between, radius })
    }
}

/// A bore or boss from tip centres on it: circle in the plane of the hits, then the tip's diameter.
///
/// # Errors
/// As [`circle3d`], and a radius that cannot be.
pub fn round(points: &[[f64; 3]], tip_radius: f64, side: Side) -> Result<Round<Circle3, 6>, TipError> {
    usable(tip_radius)?;
    let fit = circle3d(points)?;
    let tip_centre_diameter = 2.0 * fit.figure.radius;
    let diameter = sized(tip_centre_diameter, tip_radius, side)?;
    Ok(Round {
        fit,
        tip_centre_diameter,
        diameter,
    })
}

/// A ball or socket from tip centres around it.
///
/// # Errors
/// As [`fit::sphere`], and a radius that cannot be.
pub fn ball(points: &[[f64; 3]], tip_radius: f64, side: Side) -> Result<Round<Sphere, 4>, TipError> {
    usable(tip_radius)?;
    let fit = fit::sphere(points)?;
    let tip_centre_diameter = 2.0 * fit.figure.radius;
    let diameter = sized(tip_centre_diameter, tip_radius, side)?;
    Ok(Round {
        fit,
        tip_centre_diameter,
        diameter,
    })
}

/// A face from tip centres on it and their directions of travel.
///
/// # Errors
/// As [`plane`], a radius that cannot be, or an approach that does not tell the side.
pub fn face(points: &[[f64; 3]], approach: &[[f64; 3]], tip_radius: f64) -> Result<Flat<Plane, 3, 3>, TipError> {
    usable(tip_radius)?;
    let fit = plane(points)?;
    let outward = against(fit.figure.normal, approach)?;
    let tip_centre_offset = Vector3::from(outward).dot(&Vector3::from(fit.figure.point));
    let point = std::array::from_fn(|i| fit.figure.point[i] - tip_radius * outward[i]);
    Ok(Flat {
        fit,
        outward,
        tip_centre_offset,
        offset: tip_centre_offset - tip_radius,
        point,
    })
}

/// An edge in the plane from tip centres along it and their directions of travel.
///
/// # Errors
/// As [`line2d`], a radius that cannot be, or an approach that does not tell the side.
pub fn edge(points: &[[f64; 2]], approach: &[[f64; 2]], tip_radius: f64) -> Result<Flat<Line2, 2, 2>, TipError> {
    usable(tip_radius)?;
    let fit = line2d(points)?;
    let outward = against(fit.figure.normal(), approach)?;
    let tip_centre_offset = outward[0] * fit.figure.point[0] + outward[1] * fit.figure.point[1];
    let point = std::array::from_fn(|i| fit.figure.point[i] - tip_radius * outward[i]);
    Ok(Flat {
        fit,
        outward,
        tip_centre_offset,
        offset: tip_centre_offset - tip_radius,
        point,
    })
}

/// The width of a groove or a rail from tip centres on both sides: one direction for both.
///
/// # Errors
/// As [`parallel_lines`], and a radius that cannot be.
pub fn width(first: &[[f64; 2]], second: &[[f64; 2]], tip_radius: f64, side: Side) -> Result<Width, TipError> {
    usable(tip_radius)?;
    let fit = parallel_lines(first, second)?;
    let tip_centre_width = fit.figure.distance();
    let width = sized(tip_centre_width, tip_radius, side)?;
    Ok(Width {
        fit,
        tip_centre_width,
        width,
    })
}

/// A normal turned against directions of travel, so that it points out of the material.
pub(in crate::metrology) fn against<const D: usize>(
    normal: [f64; D],
    approach: &[[f64; D]],
) -> Result<[f64; D], TipError> {
    let along = |a: &[f64; D]| {
        let length = a.iter().map(|c| c * c).sum::<f64>().sqrt();
        if length > 0.0 {
            (0..D).map(|i| a[i] * normal[i]).sum::<f64>() / length
        } else {
            0.0
        }
    };
    let given = fit::count(approach.len().max(1));
    let cosine = approach.iter().map(along).sum::<f64>() / given;
    if cosine.abs() >= 0.1 {
        return Ok(if cosine > 0.0 { normal.map(|c| -c) } else { normal });
    }
    Err(TipError::Sliding { cosine })
}

#[cfg(test)]
mod tests {
    use super::*;

    const TURNS: [[f64; 3]; 4] = [[9.0, 0.0, 0.0], [0.0, 9.0, 0.0], [-9.0, 0.0, 0.0], [0.0, -9.0, 0.0]];

    #[test]
    fn a_bore_gains_the_tip_and_a_boss_loses_it() {
        let check = |side, expected: f64| {
            let found = round(&TURNS, 1.0, side).unwrap();
            assert!(
                (found.diameter - expected).abs() < 1e-14,
                "{side:?}: {}",
                found.diameter
            );
        };
        check(Side::Inside, 20.0);
        check(Side::Outside, 16.0);
    }

    #[test]
    fn the_approach_tells_the_side() {
        let outward = TURNS.map(|p| p.map(|c| c / 9.0));
        let inward = outward.map(|p| p.map(|c| -c));
        assert_eq!(Side::from_approach(&TURNS, &outward, [0.0; 3]), Ok(Side::Inside));
        assert_eq!(Side::from_approach(&TURNS, &inward, [0.0; 3]), Ok(Side::Outside));
        let mixed = [outward[0], outward[1], inward[2], inward[3]];
        insta::assert_snapshot!(Side::from_approach(&TURNS, &mixed, [0.0; 3]).unwrap_err(), @"2 hits travel away from the centre and 2 towards it: all must come from one side");
    }

    #[test]
    fn a_face_moves_into_the_material() {
        let top = [[0.0, 0.0, 5.0], [10.0, 0.0, 5.0], [0.0, 10.0, 5.0]];
        let down = face(&top, &[[0.0, 0.0, -1.0]; 3], 1.5).unwrap();
        assert!((down.point[2] - 3.5).abs() < 1e-15 && down.outward[2] > 0.0, "{down:?}");
        let up = face(&top, &[[0.1, 0.0, 2.0]; 3], 1.5).unwrap();
        assert!((up.point[2] - 6.5).abs() < 1e-15 && up.outward[2] < 0.0, "{up:?}");
        assert!((up.offset + 6.5).abs() < 1e-15, "{up:?}");
    }

    #[test]
    fn says_what_is_wrong() {
        insta::assert_snapshot!(round(&TURNS, -1.0, Side::Inside).unwrap_err(), @"tip radius -1: it must be zero or more, and finite");
        insta::assert_snapshot!(round(&TURNS, f64::NAN, Side::Inside).unwrap_err(), @"tip radius NaN: it must be zero or more, and finite");
        insta::assert_snapshot!(round(&TURNS, 9.5, Side::Outside).unwrap_err(), @"tip centres 18.000000 apart cannot lie around a surface with a tip of radius 9.5");
        insta::assert_snapshot!(round(&TURNS[..2], 1.0, Side::Inside).unwrap_err(), @"a circle in space needs at least 3 points, 2 given");
        insta::assert_snapshot!(edge(&[[0.0, 0.0], [5.0, 0.0]], &[[1.0, 0.0]; 2], 1.0).unwrap_err(), @"the approach does not tell the side: its mean is 0.00 along the normal of the surface, and must be 0.1 at least either way");
    }
}
