//! The drawing of an exercise, as SVG made from the model: no file, no clock, no font of the machine it runs on.
//!
//! `plan_view` draws the whole plate from above, or a cut-out of it around one characteristic; `deviations` draws
//! what was off as arrows on it; `place_rule` draws one value between its limits. Lines and leaders follow ISO 128
//! and ISO 129-1, datum letters ISO 5459, scales ISO 5455, as far as plates need them.
//!
//! SVG lengths are millimetres of paper, so that a print is at the scale that the picture states. There are
//! presentation attributes and classes and no styles: a strict Content-Security-Policy lets it through, and without any
//! style sheet it is complete in black.

mod arrows;
mod block;
mod cut;
mod cutout;
mod deviations;
mod dimension;
mod elevation;
mod enlarged;
mod faces;
mod full;
mod glyphs;
mod improve;
mod lettering;
mod links;
mod ordinates;
mod paper;
mod place_rule;
mod plan;
mod relief;
mod ring;
mod row;
mod scale;
mod section;
mod sheet;
mod svg;
mod symbols;
mod target;
#[cfg(test)]
mod tests;
mod tilt;
mod turned;
mod view;
mod wording;

pub use deviations::{Deviation, DeviationSet, Remark, deviations};
pub use place_rule::{PlaceRule, mark_rule, place_rule};
pub use scale::Scale;
pub use view::{drawing_pages, plan_view};

/// How a drawing is made.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawingOptions {
    /// Largest width and height of the picture in millimetres; the scale is the largest that fits.
    pub room_mm: [f64; 2],
    /// What is shown.
    pub view: View,
    /// Balloons lead to `#c-NO` and have the id `b-NO`. Off where a page shows a second drawing, or has no table.
    pub linked: bool,
    /// Crosses where the datum faces are to be touched.
    pub touches: bool,
    /// Dimensions, tolerances and the sections; without them balloons alone, which is what a small view can hold.
    pub dimensions: bool,
}

/// What is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum View {
    /// The whole plate with all balloons.
    Whole,
    /// What lies around the characteristic with this index, with its balloon alone.
    Around(usize),
}

impl DrawingOptions {
    /// The whole plate with its balloons alone, legible on a phone.
    #[must_use]
    pub const fn screen() -> Self {
        Self {
            room_mm: [200.0, 165.0],
            view: View::Whole,
            linked: true,
            touches: true,
            dimensions: false,
        }
    }

    /// The dimensioned drawing on a wide screen.
    #[must_use]
    pub const fn desk() -> Self {
        Self {
            room_mm: [262.0, 240.0],
            dimensions: true,
            ..Self::screen()
        }
    }

    /// The dimensioned drawing on a page of its own, A4 across.
    #[must_use]
    pub const fn a4_across() -> Self {
        Self {
            room_mm: [271.0, 168.0],
            linked: false,
            ..Self::desk()
        }
    }

    /// The dimensioned drawing on a page of its own, Letter across.
    #[must_use]
    pub const fn letter_across() -> Self {
        Self {
            room_mm: [258.0, 174.0],
            ..Self::a4_across()
        }
    }

    /// The cut-out beside one number at the machine.
    #[must_use]
    pub const fn around(characteristic: usize) -> Self {
        Self {
            room_mm: [86.0, 52.0],
            view: View::Around(characteristic),
            linked: false,
            touches: false,
            dimensions: false,
        }
    }
}

/// A finished picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// The whole `svg` element.
    pub svg: String,
    /// For the title block.
    pub scale: Scale,
    /// Width and height on paper.
    pub size_mm: [f64; 2],
    /// Where the plate lies in the picture.
    pub plate: PaperBox,
    /// Where numbers, letters and texts beside the plate lie; no two of these boxes meet, and none comes onto the plate.
    pub lettering: Vec<PaperBox>,
}

/// A box on paper, in millimetres, x to the right and y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaperBox {
    /// Upper left corner.
    pub min: [f64; 2],
    /// Lower right corner.
    pub max: [f64; 2],
}
