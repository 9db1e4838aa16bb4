//! The picture of what was off: the plan view, and at each feature an arrow from where it should be towards where it
//! was found, so many times enlarged. As reported in ink, after correction in pencil: a full line and a full head, a
//! dashed line and an open head, so that it is the same in black. Arrows that are all alike say "the origin is off".

use super::lettering::{self, Hand};
use super::links::Notes;
use super::paper::{Area, Point, direction, distance, shifted};
use super::sheet::Sheet;
use super::svg::{LETTER, Stands, Svg, n, polyline};
use super::view::{Composed, Wanted, finished};
use super::{DrawingOptions, Picture};
use crate::exercise::model::{Characteristic, Exercise};
use crate::units::{LengthUnit, decimal_from_f64, show_signed};

/// Length of the longest arrow on paper, about.
const LONGEST: f64 = 15.0;
/// What is shorter than this on paper is drawn as a dot.
const DOT: f64 = 1.4;
/// Height of a line of the key.
const KEY_LINE: f64 = 7.0;
/// Length of a sample in the key.
const SAMPLE: f64 = 11.0;

/// How far one feature was off in plan view, in the unit of the exercise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Index of the feature.
    pub feature: usize,
    /// Along X.
    pub dx: f64,
    /// Along Y.
    pub dy: f64,
    /// Whether it takes a characteristic out of its limits.
    pub outside: bool,
}

/// A value other than a place that was off, as text beside its balloon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remark {
    /// Index of the characteristic.
    pub characteristic: usize,
    /// How much, in the unit of the characteristic.
    pub by: f64,
    /// Whether it is out of its limits.
    pub outside: bool,
}

/// What a picture shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DeviationSet {
    /// As the pair reported.
    pub reported: Vec<Deviation>,
    /// After the faults that explain it are taken out; empty where nothing is corrected.
    pub corrected: Vec<Deviation>,
    /// Sizes and heights that are off.
    pub remarks: Vec<Remark>,
}

/// Draws the plan view with deviations; the magnification and a scale bar stand below it.
#[must_use]
pub fn deviations(exercise: &Exercise, set: &DeviationSet, options: &DrawingOptions) -> Picture {
    let enlarged = Enlarged::of(exercise, set);
    let key_height = enlarged.key_height();
    let room = [options.room_mm[0], options.room_mm[1] - key_height];
    let notes = notes(exercise, set);
    let arrows = |sheet: &Sheet, places: &[Point]| enlarged.areas(set, sheet, places);
    let composed = Composed::of(
        exercise,
        &Wanted {
            room,
            balloons: true,
            notes: &notes,
            arrows: &arrows,
        },
    );
    let mut out = Svg::default();
    out.open("g", "class=\"d-back in-faded\"");
    composed.draw(
        &mut out,
        exercise,
        &DrawingOptions {
            touches: false,
            ..options.clone()
        },
    );
    out.close("g");
    for (deviations, hand) in [(&set.corrected, Line::Pencil), (&set.reported, Line::Ink)] {
        for d in deviations {
            if let Some(place) = composed.plan.places.get(d.feature) {
                let from = composed.sheet.at(place.middle());
                draw_arrow(&mut out, from, enlarged.tip(from, d), hand, d.outside);
            }
        }
    }
    let mut extent = composed.extent();
    let key = enlarged.draw_key(&mut out, set, [extent.min[0] + 1.0, extent.max[1] + 1.0]);
    extent = extent.joined(key);
    let title = format!(
        "Plan view of {} with deviations, drawn {}",
        exercise.title,
        enlarged.stated()
    );
    finished(
        &composed,
        &out.into_text(),
        extent,
        &composed.lettering(),
        &title,
        "plan off",
    )
}

/// How a deviation is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Line {
    Ink,
    Pencil,
}

/// The magnification of deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Enlarged {
    /// Paper over part.
    factor: f64,
    unit: LengthUnit,
    /// Lines of the key.
    lines: usize,
}

impl Enlarged {
    /// The largest of 1, 2, 5, 10, ... at which no arrow is longer than it should be; 1000 where nothing is off.
    fn of(exercise: &Exercise, set: &DeviationSet) -> Self {
        let unit = exercise.units;
        let largest = set
            .reported
            .iter()
            .chain(&set.corrected)
            .map(|d| unit.to_mm_f64(d.dx.hypot(d.dy)))
            .filter(|d| d.is_finite())
            .fold(0.0, f64::max);
        let mut factor = 1.0;
        for power in [1.0, 10.0, 100.0, 1000.0] {
            for step in [1.0, 2.0, 5.0] {
                if power * step <= 1000.0 && power * step * largest <= LONGEST {
                    factor = power * step;
                }
            }
        }
        let kinds = usize::from(!set.reported.is_empty()) + usize::from(!set.corrected.is_empty());
        Self {
            factor,
            unit,
            lines: 1 + kinds.min(1),
        }
    }

    fn stated(&self) -> String {
        format!("{}:1", n(self.factor))
    }

    fn key_height(&self) -> f64 {
        super::paper::count(self.lines) * KEY_LINE + 2.0
    }

    fn tip(&self, from: Point, d: &Deviation) -> Point {
        let long = |v: f64| self.unit.to_mm_f64(v) * self.factor;
        let (dx, dy) = (long(d.dx), long(d.dy));
        if dx.is_finite() && dy.is_finite() {
            shifted(from, [dx, -dy])
        } else {
            from
        }
    }

    /// Boxes of the arrows, which balloons and leaders keep off.
    fn areas(&self, set: &DeviationSet, sheet: &Sheet, places: &[Point]) -> Vec<Area> {
        let all = set.reported.iter().chain(&set.corrected);
        all.filter_map(|d| {
            let from = sheet.at(*places.get(d.feature)?);
            Some(Area::of([from, self.tip(from, d)]).grown(1.0))
        })
        .collect()
    }

    /// The length that the scale bar stands for, in micrometres or thousandths of an inch: 1, 2 or 5 times a power of
    /// ten, at which the bar is 8 to 20 mm long; and its length on paper.
    fn bar(&self) -> (f64, f64) {
        let small = self.unit.to_mm_f64(1e-3) * self.factor;
        let mut best = (1.0, small);
        for power in [0.1, 1.0, 10.0, 100.0, 1000.0, 10000.0] {
            for step in [1.0, 2.0, 5.0] {
                if power * step * small <= 20.0 {
                    best = (power * step, power * step * small);
                }
            }
        }
        best
    }

    /// Scale bar and samples of the arrows; gives their box.
    fn draw_key(&self, out: &mut Svg, set: &DeviationSet, at: Point) -> Area {
        let (stands_for, long) = self.bar();
        let unit = small_unit(self.unit);
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
        let text = format!("{} {unit}, deviations {}", n(stands_for), self.stated());
        let mut area = Area::of([at, end]).joined(words(out, [end[0] + 2.5, y], &text));
        let mut x = at[0];
        let y = y + KEY_LINE;
        let any_outside = set.reported.iter().chain(&set.corrected).any(|d| d.outside);
        let samples = [
            (!set.reported.is_empty(), Line::Ink, false, "as reported"),
            (!set.corrected.is_empty(), Line::Pencil, false, "after correction"),
            (any_outside, Line::Ink, true, "outside the limits"),
        ];
        for (shown, hand, outside, text) in samples {
            if shown {
                draw_arrow(out, [x, y], [x + SAMPLE, y], hand, outside);
                let box_of_text = words(out, [x + SAMPLE + 2.0, y], text);
                area = area.joined(box_of_text).joined(Area::around([x, y], 0.0, KEY_LINE));
                x = box_of_text.max[0] + 6.0;
            }
        }
        out.close("g");
        area.grown(1.0)
    }
}

/// Words from a place to the right, and their box.
fn words(out: &mut Svg, at: Point, text: &str) -> Area {
    out.letters(at, Stands::Start, Hand::Words, text);
    let width = lettering::width(text, Hand::Words, LETTER);
    Area::of([[at[0], at[1] - LETTER * 0.6], [at[0] + width, at[1] + LETTER * 0.6]])
}

fn draw_arrow(out: &mut Svg, from: Point, tip: Point, hand: Line, outside: bool) {
    let class = match hand {
        Line::Ink => "dv-reported",
        Line::Pencil => "dv-corrected in-pencil",
    };
    let heavy = if outside { 1.1 } else { 0.5 };
    out.open("g", &format!("class=\"{class}\""));
    let long = distance(from, tip);
    if long < DOT {
        let fill = if hand == Line::Ink { "currentColor" } else { "none" };
        out.raw(&format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"1\" fill=\"{fill}\" stroke=\"currentColor\" stroke-width=\"0.4\"/>",
            n(tip[0]),
            n(tip[1])
        ));
    } else {
        let head = (if outside { 4.0_f64 } else { 3.2 }).min(long * 0.7);
        let d = direction(from, tip);
        let shaft_end = match hand {
            Line::Ink => shifted(tip, [-d[0] * head * 0.8, -d[1] * head * 0.8]),
            Line::Pencil => tip,
        };
        let dashes = if hand == Line::Pencil {
            " stroke-dasharray=\"1.6 0.9\""
        } else {
            ""
        };
        out.raw(&format!(
            "<path d=\"{}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"{dashes}/>",
            polyline(&[from, shaft_end], false),
            n(heavy)
        ));
        match hand {
            Line::Ink => out.raw(&wide_head(tip, d, head, true)),
            Line::Pencil => out.raw(&wide_head(tip, d, head, false)),
        }
        if hand == Line::Ink {
            out.raw(&super::svg::dot(from, false));
        }
    }
    out.close("g");
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

/// What shops call a thousandth of the unit.
const fn small_unit(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Mm => "µm",
        LengthUnit::Inch => "thou",
    }
}

fn notes(exercise: &Exercise, set: &DeviationSet) -> Notes {
    let text = |r: &Remark| {
        Some((
            r.characteristic,
            said(exercise, exercise.characteristics.get(r.characteristic)?, r)?,
        ))
    };
    set.remarks.iter().filter_map(text).collect()
}

/// `12 +31 µm`, `12 +1.2 thou out`, `14 -0.05°`.
fn said(exercise: &Exercise, c: &Characteristic, remark: &Remark) -> Option<String> {
    let out = if remark.outside { " out" } else { "" };
    let amount = if c.of.is_angle() {
        format!("{}°", show_signed(decimal_from_f64(remark.by)?, exercise.decimals))
    } else {
        let places = exercise.decimals.saturating_sub(3);
        format!(
            "{} {}",
            show_signed(decimal_from_f64(remark.by * 1e3)?, places),
            small_unit(exercise.units)
        )
    };
    Some(format!("{} {amount}{out}", c.no))
}
