//! Symbols: balloons, datum letters, touches, the directions of X and Y.

use super::block::{Cell, Leader, Placed};
use super::lettering::{self, Hand};
use super::paper::{Area, Point, shifted};
use super::plan::{Drawn, Form};
use super::sheet::Sheet;
use super::svg::{self, LETTER, Line, Stands, Svg, arrowhead, escaped, n, polyline};
use super::target::End;

/// Length of an arrowhead.
pub(super) const HEAD: f64 = 2.8;
/// Of the X and Y arrows.
const AXIS: f64 = 9.0;
/// From the outline to the X and Y arrows.
const AXIS_OFF: f64 = 4.75;

/// Path data of a form on paper.
pub(super) fn data_of(form: &Form, sheet: &Sheet) -> String {
    match form {
        Form::Chain { points, closed } => {
            let on_paper: Vec<Point> = points.iter().map(|p| sheet.at(*p)).collect();
            polyline(&on_paper, *closed)
        }
        Form::Circle { middle, radius } => svg::circle_data(sheet.at(*middle), sheet.long(*radius)),
        Form::Obround {
            middle,
            length,
            width,
            angle,
        } => {
            let (sin, cos) = angle.to_radians().sin_cos();
            let (reach, half) = ((length - width) / 2.0, width / 2.0);
            let corner = |along: f64, across: f64| {
                sheet.at(shifted(
                    *middle,
                    [along * cos - across * sin, along * sin + across * cos],
                ))
            };
            let (a, b, c, d) = (
                corner(-reach, -half),
                corner(reach, -half),
                corner(reach, half),
                corner(-reach, half),
            );
            let r = n(sheet.long(half));
            format!(
                "M{} {}L{} {}A{r} {r} 0 0 0 {} {}L{} {}A{r} {r} 0 0 0 {} {}Z",
                n(a[0]),
                n(a[1]),
                n(b[0]),
                n(b[1]),
                n(c[0]),
                n(c[1]),
                n(d[0]),
                n(d[1]),
                n(a[0]),
                n(a[1])
            )
        }
    }
}

/// A line of the drawing. Centre lines reach a little beyond what they are the middle of.
pub(super) fn draw(out: &mut Svg, drawn: &Drawn, sheet: &Sheet) {
    if drawn.line == Line::Centre {
        draw_centre(out, &drawn.form, sheet);
    } else {
        out.path(drawn.line, &data_of(&drawn.form, sheet));
    }
}

/// Half a centre line, from the middle outwards.
pub(super) fn draw_centre(out: &mut Svg, form: &Form, sheet: &Sheet) {
    if let Form::Chain { points, .. } = form
        && let [from, to] = points.as_slice()
    {
        let (a, b) = (sheet.at(*from), sheet.at(*to));
        let d = super::paper::direction(a, b);
        let end = shifted(b, [d[0] * 2.0, d[1] * 2.0]);
        out.path(Line::Centre, &polyline(&[a, end], false));
    }
}

/// A leader with its end.
pub(super) fn leader(out: &mut Svg, leader: &Leader, nos: &str) {
    out.open("g", &format!("class=\"d-leader\" data-b=\"{}\"", escaped(nos)));
    out.path(Line::Thin, &polyline(&[leader.from, leader.to], false));
    match leader.end {
        End::Arrow => out.raw(&arrowhead(leader.to, leader.from, HEAD)),
        End::Dot { unseen } => out.raw(&svg::dot(leader.to, unseen)),
        End::Plain => {}
        End::Triangle { outward } => {
            let foot = shifted(
                leader.to,
                [
                    -outward[0] * super::block::TRIANGLE,
                    -outward[1] * super::block::TRIANGLE,
                ],
            );
            triangle(out, leader.to, foot);
        }
    }
    out.close("g");
}

/// The filled triangle of a datum: its tip, and the middle of the base (ISO 5459).
pub(super) fn triangle(out: &mut Svg, tip: Point, base: Point) {
    let half = [(base[1] - tip[1]) * 0.58, (tip[0] - base[0]) * 0.58];
    let corners = [tip, shifted(base, half), shifted(base, [-half[0], -half[1]])];
    out.raw(&format!(
        "<path d=\"{}\" fill=\"currentColor\"/>",
        polyline(&corners, true)
    ));
}

/// A balloon: a circle, or a longer ring for long numbers, with its number.
pub(super) fn balloon(out: &mut Svg, cell: &Cell, linked: bool, name: &str) {
    balloon_of(LETTER, out, cell, linked, name);
}

/// The same in another size.
pub(super) fn balloon_of(size: f64, out: &mut Svg, cell: &Cell, linked: bool, name: &str) {
    let no = escaped(&cell.label);
    if linked {
        out.open(
            "a",
            &format!(
                "class=\"d-balloon\" id=\"b-{no}\" href=\"#c-{no}\" aria-label=\"{}\"",
                escaped(name)
            ),
        );
    } else {
        out.open("g", "class=\"d-balloon in-dye\"");
    }
    let a = cell.area;
    out.raw(&format!(
        "<rect class=\"d-ring paper\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"{}\" fill=\"white\" stroke=\"currentColor\" stroke-width=\"0.35\"/>",
        n(a.min[0]),
        n(a.min[1]),
        n(a.width()),
        n(a.height()),
        n(a.height() / 2.0)
    ));
    out.letters_of(size, a.middle(), Stands::Middle, Hand::Figures, &cell.label);
    out.close(if linked { "a" } else { "g" });
}

/// A datum letter in its box.
pub(super) fn datum(out: &mut Svg, placed: &Placed) {
    for cell in &placed.cells {
        let a = cell.area;
        out.raw(&format!(
            "<rect class=\"paper\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"white\" stroke=\"currentColor\" stroke-width=\"0.35\"/>",
            n(a.min[0]),
            n(a.min[1]),
            n(a.width()),
            n(a.height())
        ));
        out.letters(a.middle(), Stands::Middle, Hand::Figures, &cell.label);
    }
    if let Some((tip, base)) = placed.triangle {
        triangle(out, tip, base);
    }
}

/// Where to touch: a small cross.
pub(super) fn touch(out: &mut Svg, at: Point) {
    let s = 1.1;
    let data = format!(
        "M{} {}l{s} {s}M{} {}l{s} -{s}",
        n(at[0] - s / 2.0),
        n(at[1] - s / 2.0),
        n(at[0] - s / 2.0),
        n(at[1] + s / 2.0)
    );
    out.raw(&format!(
        "<path class=\"d-touch\" d=\"{data}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.35\"/>"
    ));
}

/// One of the two directions: where it starts on paper, which way it goes, its letter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct AxisMark {
    foot: Point,
    way: Point,
    /// Line from the outline to the foot.
    extension_from: Point,
    at_zero: bool,
    letter: &'static str,
}

impl AxisMark {
    /// The marks of X, below the drawing, and of Y, at its left: each starts where its coordinate is zero, as running
    /// dimensions from a common origin do (ISO 129-1). Where zero is off the plate the mark stands at the nearest end
    /// and has no ring.
    pub(super) fn both(sheet: &Sheet, body: Area) -> [Self; 2] {
        let zero = sheet.at([0.0; 2]);
        let x = zero[0].clamp(body.min[0], body.max[0]);
        let y = zero[1].clamp(body.min[1], body.max[1]);
        [
            Self {
                foot: [x, body.max[1] + AXIS_OFF],
                way: [1.0, 0.0],
                extension_from: [x, body.max[1] + 1.0],
                at_zero: (x - zero[0]).abs() < 0.01,
                letter: "X",
            },
            Self {
                foot: [body.min[0] - AXIS_OFF, y],
                way: [0.0, -1.0],
                extension_from: [body.min[0] - 1.0, y],
                at_zero: (y - zero[1]).abs() < 0.01,
                letter: "Y",
            },
        ]
    }

    fn tip(&self) -> Point {
        shifted(self.foot, [self.way[0] * AXIS, self.way[1] * AXIS])
    }

    fn letter_at(&self) -> Point {
        shifted(self.tip(), [self.way[0] * 3.0, self.way[1] * 3.0])
    }

    /// The box of its letter.
    pub(super) fn letter_box(&self) -> Area {
        Area::around(
            self.letter_at(),
            lettering::width(self.letter, Hand::Figures, LETTER) + 0.6,
            lettering::capital(LETTER) + 0.8,
        )
    }

    /// The box of all of it.
    pub(super) fn area(&self) -> Area {
        Area::of([self.foot, self.tip()]).grown(1.2).joined(self.letter_box())
    }

    pub(super) fn draw(&self, out: &mut Svg) {
        out.open("g", "class=\"d-axis\"");
        out.path(Line::Thin, &polyline(&[self.extension_from, self.foot], false));
        out.path(Line::Thin, &polyline(&[self.foot, self.tip()], false));
        out.raw(&arrowhead(self.tip(), self.foot, HEAD));
        if self.at_zero {
            out.raw(&format!(
                "<circle class=\"paper\" cx=\"{}\" cy=\"{}\" r=\"0.9\" fill=\"white\" stroke=\"currentColor\" stroke-width=\"0.25\"/>",
                n(self.foot[0]),
                n(self.foot[1])
            ));
        }
        out.letters(self.letter_at(), Stands::Middle, Hand::Figures, self.letter);
        out.close("g");
    }
}

/// A dimension line; its arrows come from outside where there is no room between.
pub(super) fn span(out: &mut Svg, a: Point, b: Point) {
    let way = super::paper::direction(a, b);
    let short = super::paper::distance(a, b) < 2.6 * HEAD;
    let reach = if short { HEAD + 1.5 } else { 0.0 };
    let from = shifted(a, [-way[0] * reach, -way[1] * reach]);
    let to = shifted(b, [way[0] * reach, way[1] * reach]);
    out.path(Line::Thin, &polyline(&[from, to], false));
    let (at_a, at_b) = if short { (from, to) } else { (b, a) };
    out.raw(&arrowhead(a, at_a, HEAD));
    out.raw(&arrowhead(b, at_b, HEAD));
}
