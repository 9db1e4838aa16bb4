//! Symbols that stand in a line of text: those of sizes and depth (ISO 129-1), of geometrical tolerances (ISO 1101), and the
//! two directions. They are drawn, so that no font has to have them.

use super::paper::{Point, shifted};
use super::svg::{Svg, n};

/// A symbol.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Glyph {
    /// Before a diameter.
    Diameter,
    /// Before the depth of a hole or slot.
    Depth,
    /// Position.
    Position,
    /// Straightness.
    Straightness,
    /// Flatness.
    Flatness,
    /// Roundness.
    Roundness,
    /// Cylindricity.
    Cylindricity,
    /// Profile of a surface, for the form of a sphere.
    Profile,
    /// Parallelism.
    Parallelism,
    /// Perpendicularity.
    Perpendicularity,
    /// Coaxiality.
    Coaxiality,
    /// An arrow across the text, towards what would be its foot.
    Across,
    /// An arrow across the text, towards what would be its head.
    Up,
    /// A triangle, as a datum has it.
    Triangle,
}

impl Glyph {
    /// Width on paper.
    pub(super) const fn width(self) -> f64 {
        match self {
            Self::Diameter | Self::Perpendicularity | Self::Position | Self::Roundness | Self::Coaxiality => 3.2,
            Self::Depth | Self::Triangle => 2.6,
            Self::Straightness | Self::Profile => 3.4,
            Self::Flatness | Self::Cylindricity | Self::Parallelism => 3.8,
            Self::Across | Self::Up => 2.0,
        }
    }

    /// Path data around `[0, 0]`, one path for strokes and one for what is filled.
    fn data(self) -> (String, &'static str) {
        let ring = |r: f64| {
            format!(
                "M{} 0a{r} {r} 0 1 0 {} 0a{r} {r} 0 1 0 {} 0Z",
                n(-r),
                n(2.0 * r),
                n(-2.0 * r)
            )
        };
        match self {
            Self::Diameter => (format!("{}M-1.4 1.6L1.4 -1.6", ring(1.15)), ""),
            Self::Depth => ("M-1.1 -1.3H1.1M0 -1.3V.4".to_owned(), "M0 1.4L-.55 -.1H.55Z"),
            Self::Position => (format!("{}M-1.6 0H1.6M0 -1.6V1.6", ring(1.1)), ""),
            Self::Straightness => ("M-1.7 0H1.7".to_owned(), ""),
            Self::Flatness => ("M-1.8 1L-.8 -1H1.8L.8 1Z".to_owned(), ""),
            Self::Roundness => (ring(1.35), ""),
            Self::Cylindricity => (format!("{}M-1.8 1.6L-.6 -1.6M.6 1.6L1.8 -1.6", ring(0.95)), ""),
            Self::Profile => ("M-1.6 .8A1.6 1.6 0 0 1 1.6 .8Z".to_owned(), ""),
            Self::Parallelism => ("M-1.5 1.5L-.1 -1.5M.1 1.5L1.5 -1.5".to_owned(), ""),
            Self::Perpendicularity => ("M-1.5 1.3H1.5M0 1.3V-1.5".to_owned(), ""),
            Self::Coaxiality => (format!("{}{}", ring(1.45), ring(0.75)), ""),
            Self::Across => ("M0 -2.2V0".to_owned(), "M0 2.3L-.6 -.3H.6Z"),
            Self::Up => ("M0 2.2V0".to_owned(), "M0 -2.3L-.6 .3H.6Z"),
            Self::Triangle => (String::new(), "M-1.3 1.2L0 -1.1L1.3 1.2Z"),
        }
    }

    /// Draws it with its middle at `at`.
    pub(super) fn draw(self, out: &mut Svg, at: Point) {
        let (strokes, filled) = self.data();
        let place = format!("transform=\"translate({} {})\"", n(at[0]), n(at[1]));
        if !strokes.is_empty() {
            out.raw(&format!(
                "<path {place} d=\"{strokes}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.3\"/>"
            ));
        }
        if !filled.is_empty() {
            out.raw(&format!("<path {place} d=\"{filled}\" fill=\"currentColor\"/>"));
        }
    }
}

/// A box around text: of a theoretically exact dimension, a datum letter, a cell of a tolerance frame (ISO 1101).
pub(super) fn boxed(out: &mut Svg, from: Point, size: Point) {
    let at = shifted(from, [0.0, -size[1] / 2.0]);
    out.raw(&format!(
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.25\"/>",
        n(at[0]),
        n(at[1]),
        n(size[0]),
        n(size[1])
    ));
}
