//! Writing SVG: presentation attributes and classes only, never a style, so that it passes a strict
//! Content-Security-Policy and is complete without the sheet's CSS.

use std::fmt::Write;

use super::lettering::{self, Hand};
use super::paper::Point;

/// Wide line of ISO 128-2, line group 0.5, in millimetres.
pub(super) const WIDE: f64 = 0.5;
/// Narrow line of the same group.
pub(super) const NARROW: f64 = 0.25;
/// Letter size: capitals are 3 mm high, and 16 px on a screen at 96 px to the inch.
pub(super) const LETTER: f64 = 4.25;

/// Types of line (ISO 128-2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Line {
    /// Continuous wide (01.2): outlines and edges in sight.
    Edge,
    /// Dashed narrow (02.1): edges out of sight.
    Hidden,
    /// Long-dashed dotted narrow (04.1): centre lines.
    Centre,
    /// Continuous narrow (01.1): leaders, extension and dimension lines.
    Thin,
}

impl Line {
    const fn class(self) -> &'static str {
        match self {
            Self::Edge => "d-edge",
            Self::Hidden => "d-hidden",
            Self::Centre => "d-centre",
            Self::Thin => "d-thin",
        }
    }

    /// Width and dashes. Dashes are 12 d and 3 d, long dashes 24 d, with d the width (ISO 128-2); shortened by half,
    /// so that the small circles of plates show them.
    const fn looks(self) -> (f64, Option<&'static str>) {
        match self {
            Self::Edge => (WIDE, None),
            Self::Hidden => (NARROW, Some("2 .8")),
            Self::Centre => (NARROW, Some("3 .7 .4 .7")),
            Self::Thin => (NARROW, None),
        }
    }
}

/// A number for an attribute: at most three places, no exponent, no negative zero.
pub(super) fn n(value: f64) -> String {
    let text = format!("{:.3}", if value.is_finite() { value } else { 0.0 });
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" {
        "0".to_owned()
    } else {
        short.to_owned()
    }
}

/// Text that is safe in an element and in a double-quoted attribute.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(c),
        }
    }
    out
}

/// An SVG being written.
#[derive(Debug, Default)]
pub(super) struct Svg {
    text: String,
}

/// Where a text stands beside its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stands {
    /// From the place to the right.
    Start,
    /// Over the place.
    Middle,
}

impl Svg {
    /// Raw markup made elsewhere in this module's family.
    pub(super) fn raw(&mut self, markup: &str) {
        self.text.push_str(markup);
        self.text.push('\n');
    }

    /// Opens an element; `attributes` is markup.
    pub(super) fn open(&mut self, name: &str, attributes: &str) {
        let blank = if attributes.is_empty() { "" } else { " " };
        self.raw(&format!("<{name}{blank}{attributes}>"));
    }

    pub(super) fn close(&mut self, name: &str) {
        self.raw(&format!("</{name}>"));
    }

    /// A stroke through these places.
    pub(super) fn path(&mut self, line: Line, data: &str) {
        let (width, dashes) = line.looks();
        let dashes = dashes.map_or_else(String::new, |d| format!(" stroke-dasharray=\"{d}\""));
        self.raw(&format!(
            "<path class=\"{}\" d=\"{data}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"{dashes}/>",
            line.class(),
            n(width)
        ));
    }

    /// A closed contour that covers what lies behind it.
    pub(super) fn filled(&mut self, line: Option<Line>, data: &str) {
        let stroke = line.map_or_else(String::new, |l| {
            format!(" stroke=\"currentColor\" stroke-width=\"{}\"", n(l.looks().0))
        });
        let class = line.map_or("", Line::class);
        self.raw(&format!(
            "<path class=\"{class} paper\" d=\"{data}\" fill=\"white\"{stroke}/>"
        ));
    }

    /// Lettering whose figures are centred in height on `at`.
    pub(super) fn letters(&mut self, at: Point, stands: Stands, hand: Hand, text: &str) {
        self.letters_of(LETTER, at, stands, hand, text);
    }

    /// The same in another size.
    pub(super) fn letters_of(&mut self, size: f64, at: Point, stands: Stands, hand: Hand, text: &str) {
        let anchor = match stands {
            Stands::Start => "",
            Stands::Middle => " text-anchor=\"middle\"",
        };
        let (class, family) = match hand {
            Hand::Figures => ("", "monospace"),
            Hand::Words => (" class=\"words\"", "sans-serif"),
        };
        let weight = if hand == Hand::Figures {
            " font-weight=\"500\""
        } else {
            ""
        };
        self.raw(&format!(
            "<text{class} x=\"{}\" y=\"{}\" font-family=\"{family}\" font-size=\"{}\"{weight} fill=\"currentColor\"{anchor}>{}</text>",
            n(at[0]),
            n(at[1] + lettering::capital(size) / 2.0),
            n(size),
            escaped(text)
        ));
    }

    pub(super) fn into_text(self) -> String {
        self.text
    }
}

/// Path data through these places.
pub(super) fn polyline(points: &[Point], closed: bool) -> String {
    let mut data = String::new();
    for (i, p) in points.iter().enumerate() {
        let command = if i == 0 { 'M' } else { 'L' };
        // Writing to a string cannot fail.
        let _ = write!(data, "{command}{} {}", n(p[0]), n(p[1]));
    }
    if closed {
        data.push('Z');
    }
    data
}

/// Path data of a whole circle.
pub(super) fn circle_data(middle: Point, radius: f64) -> String {
    let r = n(radius);
    format!(
        "M{} {}a{r} {r} 0 1 0 {} 0a{r} {r} 0 1 0 {} 0Z",
        n(middle[0] - radius),
        n(middle[1]),
        n(2.0 * radius),
        n(-2.0 * radius)
    )
}

/// A filled arrowhead with its tip at `tip`, coming from `from` (ISO 129-1: filled; 20 degrees).
pub(super) fn arrowhead(tip: Point, from: Point, length: f64) -> String {
    let d = super::paper::direction(from, tip);
    let half = length * 0.1763; // tan 10 degrees
    let back = [tip[0] - d[0] * length, tip[1] - d[1] * length];
    let corners = [
        tip,
        [back[0] - d[1] * half, back[1] + d[0] * half],
        [back[0] + d[1] * half, back[1] - d[0] * half],
    ];
    format!("<path d=\"{}\" fill=\"currentColor\"/>", polyline(&corners, true))
}

/// A leader's dot within a surface; `hollow` for a surface that is out of sight.
pub(super) fn dot(at: Point, hollow: bool) -> String {
    let (radius, fill) = if hollow {
        (0.9, "none\" stroke=\"currentColor\" stroke-width=\"0.25")
    } else {
        (0.75, "currentColor")
    };
    format!(
        "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\"/>",
        n(at[0]),
        n(at[1]),
        n(radius)
    )
}
