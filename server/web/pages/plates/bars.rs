//! An uncertainty budget as bars: one for each source, the combined one below, in ink alone.

use std::fmt::Write;

use crate::units::show_f64;

const WIDTH: f64 = 640.0;
const LABEL: f64 = 230.0;
const FIGURE: f64 = 90.0;
const LINE: f64 = 26.0;

/// The bars as SVG. Names are ours, figures are numbers: nothing in it was typed by anybody.
#[must_use]
pub(super) fn bars(parts: &[(&str, f64)], combined: f64, places: u32) -> String {
    let all: Vec<(&str, f64)> = parts.iter().copied().chain([("combined", combined)]).collect();
    let largest = all.iter().map(|(_, u)| *u).fold(0.0, f64::max);
    let room = WIDTH - LABEL - FIGURE;
    let mut svg = String::new();
    let mut y = 4.0;
    let mut body = String::new();
    for (i, (name, u)) in all.iter().enumerate() {
        let width = if largest > 0.0 { u / largest * room } else { 0.0 };
        let last = i + 1 == all.len();
        if last {
            y += 6.0;
            let line = y - 3.0;
            // Writing to a text cannot fail.
            let _ = write!(
                body,
                "<path d=\"M0 {line:.0}H{WIDTH:.0}\" stroke=\"currentColor\" stroke-width=\"1\"/>"
            );
        }
        let fill = if last { "currentColor" } else { "none" };
        let (top, base, end) = (y + 4.0, y + 17.0, LABEL + width + 8.0);
        let _ = write!(
            body,
            "<text x=\"0\" y=\"{base:.1}\" fill=\"currentColor\">{name}</text>\
             <rect x=\"{LABEL:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"16\" fill=\"{fill}\" stroke=\"currentColor\" \
             stroke-width=\"1.5\"/>\
             <text x=\"{end:.1}\" y=\"{base:.1}\" fill=\"currentColor\">{}</text>",
            show_f64(*u, places),
        );
        y += LINE;
    }
    let height = y + 4.0;
    let _ = write!(
        svg,
        "<svg viewBox=\"0 0 {WIDTH:.0} {height:.0}\" role=\"img\" aria-label=\"Standard uncertainties as bars\" \
         font-size=\"15\" xmlns=\"http://www.w3.org/2000/svg\">{body}</svg>"
    );
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_bar_fills_the_room_and_others_are_in_proportion() {
        let svg = bars(&[("machine", 0.003), ("tip", 0.0015)], 0.006, 4);
        // 640 less 230 for names and 90 for figures: 320 for 0.006.
        for part in [
            "width=\"320.0\"",
            "width=\"160.0\"",
            "width=\"80.0\"",
            ">0.0030<",
            ">combined<",
        ] {
            assert!(svg.contains(part), "{part}: {svg}");
        }
        assert!(bars(&[], 0.0, 3).contains("width=\"0.0\""));
    }
}
