use std::fmt;

use thiserror::Error;

/// The figures that can be fitted, for messages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// A line in the plane.
    Line2d,
    /// A line in space.
    Line3d,
    /// A plane.
    Plane,
    /// A circle in the plane.
    Circle2d,
    /// A circle in space.
    Circle3d,
    /// A sphere.
    Sphere,
    /// A cylinder.
    Cylinder,
    /// A cone.
    Cone,
    /// An obround slot in the plane.
    Slot,
    /// A pair of parallel lines with one direction.
    ParallelLines,
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Figure::Line2d => "a line",
            Figure::Line3d => "a line in space",
            Figure::Plane => "a plane",
            Figure::Circle2d => "a circle",
            Figure::Circle3d => "a circle in space",
            Figure::Sphere => "a sphere",
            Figure::Cylinder => "a cylinder",
            Figure::Cone => "a cone",
            Figure::Slot => "a slot",
            Figure::ParallelLines => "a pair of parallel lines",
        })
    }
}

/// Why points do not give a figure. Lengths in messages are in the unit of the points.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FitError {
    /// Fewer points than the figure has to have.
    #[error("{figure} needs at least {needed} points, {given} given")]
    TooFewPoints {
        /// What was to be fitted.
        figure: Figure,
        /// The least number of points.
        needed: usize,
        /// The number of points given.
        given: usize,
    },
    /// A coordinate is not a number, or infinite.
    #[error("point {} has {value} as its {axis}: every coordinate must be a finite number", index + 1)]
    NotFinite {
        /// Position in the slice, from zero; the message counts from one.
        index: usize,
        /// Name of the coordinate.
        axis: char,
        /// The value found.
        value: f64,
    },
    /// A coordinate beyond what the arithmetic can carry.
    #[error("point {} has {axis} = {value:e}: coordinates up to {limit:e} can be worked with", index + 1)]
    TooLarge {
        /// Position in the slice, from zero; the message counts from one.
        index: usize,
        /// Name of the coordinate.
        axis: char,
        /// The value found.
        value: f64,
        /// The largest allowed.
        limit: f64,
    },
    /// All points are the same as far as their digits go.
    #[error(
        "all {given} points lie within {spread:.1e} of one another, at coordinates up to {largest:.6}: {figure} needs points that are apart"
    )]
    Coincident {
        /// What was to be fitted.
        figure: Figure,
        /// The number of points given.
        given: usize,
        /// Largest distance from their middle along an axis.
        spread: f64,
        /// Largest coordinate by size.
        largest: f64,
    },
    /// The points lie on a straight line.
    #[error(
        "the {given} points lie on a straight line ({width:.1e} wide, {length:.6} long): {figure} needs points off that line"
    )]
    Collinear {
        /// What was to be fitted.
        figure: Figure,
        /// The number of points given.
        given: usize,
        /// Root mean square distance from the line.
        width: f64,
        /// Largest distance from the middle.
        length: f64,
    },
    /// The points lie in one plane.
    #[error(
        "the {given} points lie in one plane (within {thickness:.1e}, {length:.6} across): {figure} needs points off it"
    )]
    Coplanar {
        /// What was to be fitted.
        figure: Figure,
        /// The number of points given.
        given: usize,
        /// Root mean square distance from the plane.
        thickness: f64,
        /// Largest distance from the middle.
        length: f64,
    },
    /// An arc too short for its diameter.
    #[error(
        "the {given} points span {degrees:.1} degrees of arc: diameter known to +/- {uncertainty:.2} only, with points good to {noise:?}; take points further round"
    )]
    ShortArc {
        /// The number of points given.
        given: usize,
        /// Arc from the first point to the last, degrees.
        degrees: f64,
        /// Standard uncertainty of the diameter.
        uncertainty: f64,
        /// Standard deviation of one point that it belongs to.
        noise: f64,
    },
    /// A parameter that the points leave loose.
    #[error(
        "the {given} points do not fix {figure}: {quantity} known to +/- {uncertainty:.2} only, with points good to {noise:?}; spread the points further over the surface"
    )]
    Loose {
        /// What was to be fitted.
        figure: Figure,
        /// The number of points given.
        given: usize,
        /// The parameter, in words, with its unit if it is an angle.
        quantity: &'static str,
        /// Its standard uncertainty.
        uncertainty: f64,
        /// Standard deviation of one point that it belongs to.
        noise: f64,
    },
    /// A cone that is no different from a cylinder.
    #[error(
        "the {given} points could as well lie on a cylinder: half angle {half_angle:.1e} degrees +/- {uncertainty:.1e}, so a cone has no apex here"
    )]
    NoApex {
        /// The number of points given.
        given: usize,
        /// The half angle found, degrees.
        half_angle: f64,
        /// Its standard uncertainty, degrees.
        uncertainty: f64,
    },
    /// The points leave parameters free altogether.
    #[error(
        "the {given} points fix {rank} of the {parameters} parameters of {figure}: spread the points over more of the surface"
    )]
    RankDeficient {
        /// What was to be fitted.
        figure: Figure,
        /// The number of points given.
        given: usize,
        /// How many independent combinations of parameters the points fix.
        rank: usize,
        /// How many parameters the figure has.
        parameters: usize,
    },
    /// No start led to a minimum.
    #[error(
        "no {} comes near the {given} points: the last of {steps} steps still moved it by {step:.1e}; check that the points belong to one surface", figure_name(*figure)
    )]
    NoConvergence {
        /// What was to be fitted.
        figure: Figure,
        /// The number of points given.
        given: usize,
        /// Steps taken.
        steps: usize,
        /// Size of the last step relative to the points' extent.
        step: f64,
    },
    /// A zone that very many contact sets share.
    #[error("the {given} points fit so many zones alike that the best cannot be told from the others")]
    TooAlike {
        /// The number of points given.
        given: usize,
    },
    /// No circle has its centre among points that it touches.
    #[error(
        "the {given} points hold no inscribed circle: from every place among them it slips out to one side; take points all round"
    )]
    NothingInscribed {
        /// The number of points given.
        given: usize,
    },
}

fn figure_name(figure: Figure) -> String {
    let name = figure.to_string();
    name.strip_prefix("a ").map_or(name.clone(), str::to_owned)
}
