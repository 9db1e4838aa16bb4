//! Arrows of deviations and their key: as reported in ink, after correction in pencil. A full line with a full head and
//! a dashed one with an open head are told apart in black as well.

use super::deviations::DeviationSet;
use super::enlarged::{Arrow, Enlarged, is_dot};
use super::lettering;
use super::paper::{Area, Point, along, direction, distance, shifted};
use super::svg::{self, LETTER, Stands, Svg, n, polyline};

/// Height of a line of the key.
const KEY_LINE: f64 = 7.0;
/// Length of a sample in the key.
const SAMPLE: f64 = 11.0;

/// How an arrow is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hand {
    /// As reported.
    Ink,
    /// After correction.
    Pencil,
}

/// Draws an arrow; heavy where it takes something out of its limits. What is too short to be an arrow is a dot.
pub(super) fn draw_arrow(out: &mut Svg, arrow: &Arrow, hand: Hand, outside: bool) {
    let class = match hand {
        Hand::Ink => "dv-reported",
        Hand::Pencil => "dv-corrected in-pencil",
    };
    out.open("g", &format!("class=\"{class}\""));
    if is_dot(arrow) {
        let fill = if hand == Hand::Ink { "currentColor" } else { "none" };
        out.raw(&format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"1\" fill=\"{fill}\" stroke=\"currentColor\" stroke-width=\"0.4\"/>",
            n(arrow.tip[0]),
            n(arrow.tip[1])
        ));
    } else {
        draw_shaft(out, arrow, hand, outside);
    }
    out.close("g");
}

fn draw_shaft(out: &mut Svg, arrow: &Arrow, hand: Hand, outside: bool) {
    let (from, tip) = (arrow.from, arrow.tip);
    let head = (if outside { 4.0_f64 } else { 3.2 }).min(distance(from, tip) * 0.7);
    let d = direction(from, tip);
    let end = match hand {
        Hand::Ink => shifted(tip, [-d[0] * head * 0.8, -d[1] * head * 0.8]),
        Hand::Pencil => tip,
    };
    let width = n(if outside { 1.1 } else { 0.5 });
    let dashes = if hand == Hand::Pencil {
        " stroke-dasharray=\"1.6 0.9\""
    } else {
        ""
    };
    let parts = if arrow.broken {
        vec![[0.0, 0.4], [0.55, 1.0]]
    } else {
        vec![[0.0, 1.0]]
    };
    for [a, b] in parts {
        let data = polyline(&[along(from, end, a), along(from, end, b)], false);
        out.raw(&format!(
            "<path d=\"{data}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{width}\"{dashes}/>"
        ));
        if arrow.broken {
            // A slanted stroke at either side of the gap.
            let gap = along(from, end, if a > 0.0 { a } else { b });
            let slant = [d[0] * 0.8 - d[1] * 1.8, d[1] * 0.8 + d[0] * 1.8];
            let data = polyline(&[shifted(gap, slant), shifted(gap, [-slant[0], -slant[1]])], false);
            out.raw(&format!(
                "<path d=\"{data}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.5\"/>"
            ));
        }
    }
    out.raw(&wide_head(tip, d, head, hand == Hand::Ink));
    if hand == Hand::Ink {
        out.raw(&svg::dot(from, false));
    }
}

/// A head of 40 degrees, wider than the one of a leader; filled or open.
fn wide_head(tip: Point, d: Point, length: f64, filled: bool) -> String {
    let half = length * 0.364; // tan 20 degrees
    let back = [tip[0] - d[0] * length, tip[1] - d[1] * length];
    let corners = [
        [back[0] - d[1] * half, back[1] + d[0] * half],
        tip,
        [back[0] + d[1] * half, back[1] - d[0] * half],
    ];
    let data = polyline(&corners, filled);
    if filled {
        format!("<path d=\"{data}\" fill=\"currentColor\"/>")
    } else {
        format!("<path d=\"{data}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.5\"/>")
    }
}

/// Height of the key on paper.
pub(super) fn key_height(set: &DeviationSet) -> f64 {
    let samples = !set.reported.is_empty() || !set.corrected.is_empty();
    KEY_LINE * if samples { 2.0 } else { 1.0 } + 2.0
}

/// Scale bar and samples of the arrows; gives their box.
pub(super) fn draw_key(out: &mut Svg, enlarged: &Enlarged, set: &DeviationSet, at: Point) -> Area {
    let (stands_for, long) = enlarged.bar();
    let y = at[1] + KEY_LINE / 2.0;
    let end = [at[0] + long, y];
    out.open("g", "class=\"d-key\"");
    let bar = format!(
        "M{x} {t}V{b}M{x} {y}H{e}M{e} {t}V{b}",
        x = n(at[0]),
        e = n(end[0]),
        t = n(y - 1.5),
        b = n(y + 1.5),
        y = n(y)
    );
    out.raw(&format!(
        "<path d=\"{bar}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.5\"/>"
    ));
    let text = format!("{stands_for}, deviations {}", enlarged.stated());
    let mut area = Area::of([at, end]).joined(words(out, [end[0] + 2.5, y], &text));
    let mut x = at[0];
    let y = y + KEY_LINE;
    let all = || set.reported.iter().chain(&set.corrected);
    let samples = [
        (!set.reported.is_empty(), Hand::Ink, [false, false], "as reported"),
        (
            !set.corrected.is_empty(),
            Hand::Pencil,
            [false, false],
            "after correction",
        ),
        (all().any(|d| d.outside), Hand::Ink, [true, false], "outside the limits"),
        (
            all().any(|d| enlarged.is_gross(d)),
            Hand::Ink,
            [false, true],
            "longer than drawn",
        ),
    ];
    for (_, hand, [outside, broken], text) in samples.into_iter().filter(|s| s.0) {
        draw_arrow(
            out,
            &Arrow {
                from: [x, y],
                tip: [x + SAMPLE, y],
                broken,
            },
            hand,
            outside,
        );
        let box_of_text = words(out, [x + SAMPLE + 2.0, y], text);
        area = area.joined(box_of_text).joined(Area::around([x, y], 0.0, KEY_LINE));
        x = box_of_text.max[0] + 6.0;
    }
    out.close("g");
    area.grown(1.0)
}

/// Words from a place to the right, and their box.
fn words(out: &mut Svg, at: Point, text: &str) -> Area {
    out.letters(at, Stands::Start, lettering::Hand::Words, text);
    let width = lettering::width(text, lettering::Hand::Words, LETTER);
    Area::of([[at[0], at[1] - LETTER * 0.6], [at[0] + width, at[1] + LETTER * 0.6]])
}
