//! The section on paper: heights as running dimensions at its left, heights between faces at its right, each row at the end of
//! a line of its own, so that no two can meet.

use super::block::Side;
use super::paper::{Area, Point, shifted};
use super::plan::{Form, Plan};
use super::ring::spread;
use super::row::{Ball, Piece, PlacedRow, Row};
use super::section::{Fill, Section, heights};
use super::sheet::Sheet;
use super::svg::{Line, Svg, polyline};
use super::symbols;
use super::tilt::Tilt;
use super::wording;
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Axis, Exercise, Owner, Quantity, Shape};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// From the section to the rows at its left.
const LANE: f64 = 9.0;
/// From the section to the first dimension line at its right, and from one to the next.
const STEP: f64 = 6.0;
/// From the section to the rows above and below it.
const OVER: f64 = 7.0;
/// Between hatch lines.
const HATCH: f64 = 2.6;

/// What a row beside the section is of.
#[derive(Debug, Clone)]
enum Of {
    /// A height, at the left, whose line starts at an X.
    Height { z: f64, x: f64 },
    /// Between two heights, at the right, with the X of the dimension line on paper.
    Span { z: [f64; 2], x: [f64; 2], line: f64 },
    /// The angle of a slanted face.
    Tilt(Tilt),
}

/// A row before it is placed.
#[derive(Debug, Clone)]
struct Beside {
    row: Row,
    of: Of,
}

/// The exercise as a section sees it: as it is, or turned for the section across.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cut<'a> {
    pub(super) exercise: &'a Exercise,
    pub(super) plan: &'a Plan,
    pub(super) states: &'a [FeatureState],
}

/// The section with its rows laid out; `[0, 0]` is where the plan has it along X, and the top of everything along Y.
#[derive(Debug, Clone)]
pub(super) struct Elevation {
    pub(super) section: Section,
    /// Whether it is the one along Y.
    pub(super) is_across: bool,
    sheet: Sheet,
    rows: Vec<(Of, PlacedRow)>,
    pub(super) extent: Area,
    /// Box of the letters above it.
    pub(super) title: Area,
    /// Characteristics that are said here.
    pub(super) said: Vec<usize>,
}

impl Elevation {
    /// The section at the scale of the plan.
    pub(super) fn of(cut: Cut, sheet: &Sheet, letters: &wording::Letters) -> Option<Self> {
        let gap = 3.0 / sheet.long(1.0);
        let section = Section::of(cut.exercise, cut.plan, cut.states, gap)?;
        let mut said = Vec::new();
        let mut rows = lefts(cut, &section, true, &mut said);
        rows.extend(rights(cut, &section, letters, &mut said));
        Some(Self::laid_out(cut, section, sheet, rows, letters, said, false))
    }

    /// The section across, of the turned part; what `first` says, the one along X where there is one, is not said again.
    pub(super) fn across(cut: Cut, sheet: &Sheet, letters: &wording::Letters, first: Option<&Self>) -> Option<Self> {
        let gap = 3.0 / sheet.long(1.0);
        let section = Section::across(cut.exercise, cut.plan, cut.states, gap)?;
        let mut said = first.map_or_else(Vec::new, |f| f.said.clone());
        let mut rows = lefts(cut, &section, first.is_none(), &mut said);
        if first.is_none() {
            rows.extend(rights(cut, &section, letters, &mut said));
        }
        Some(Self::laid_out(cut, section, sheet, rows, letters, said, true))
    }

    fn laid_out(
        cut: Cut,
        section: Section,
        sheet: &Sheet,
        mut rows: Vec<Beside>,
        letters: &wording::Letters,
        mut said: Vec<usize>,
        is_across: bool,
    ) -> Self {
        let top = sheet.at([0.0, section.extent.max[1]])[1];
        let own = sheet.moved([0.0, -top]);
        let body = own.area(section.extent);
        rows.extend(tilts(cut, &section, &own, letters, &mut said));
        let rows = placed(rows, &own, body);
        let boxes = || rows.iter().flat_map(|r| r.1.boxes());
        let highest = boxes().map(|b| b.min[1]).fold(body.min[1] - 2.5, f64::min);
        let title = Area::around([body.middle()[0], highest - 4.0], 14.0, 5.4);
        let arcs = rows.iter().filter_map(|r| match &r.0 {
            Of::Tilt(tilt) => tilt.area(),
            _ => None,
        });
        let extent = boxes().chain(arcs).fold(body.grown(2.5).joined(title), Area::joined);
        Self {
            section,
            is_across,
            sheet: own,
            rows,
            extent,
            title,
            said,
        }
        .lowered(-extent.min[1])
    }

    /// Everything moved down the paper.
    pub(super) fn lowered(mut self, by: f64) -> Self {
        let by = [0.0, by];
        self.sheet = self.sheet.moved(by);
        self.extent = moved(self.extent, by);
        self.title = moved(self.title, by);
        for (of, row) in &mut self.rows {
            row.move_by(by);
            if let Of::Tilt(tilt) = of {
                tilt.move_by(by);
            }
        }
        self
    }

    /// Where the lines of heights turn aside.
    fn lane(&self, body: Area) -> f64 {
        let all: Vec<&Of> = self.rows.iter().map(|r| &r.0).collect();
        body.min[0] - 2.0 - reach(&all, Side::Left, body)
    }

    /// All rows.
    pub(super) fn rows(&self) -> impl Iterator<Item = &PlacedRow> {
        self.rows.iter().map(|r| &r.1)
    }

    /// Writes lines, hatching and text; balloons are left to the caller.
    pub(super) fn draw(&self, out: &mut Svg, letter: char) {
        out.open("g", "class=\"d-section\"");
        for shown in &self.section.shown {
            let data = symbols::data_of(&shown.form, &self.sheet);
            match (shown.fill, shown.line) {
                (Fill::Open, Some(Line::Centre)) => symbols::draw_centre(out, &shown.form, &self.sheet),
                (Fill::Open, Some(line)) => out.path(line, &data),
                (Fill::Open, None) => {}
                (Fill::Paper | Fill::Hatched, line) => out.filled(line, &data),
            }
            if let (Fill::Hatched, Form::Chain { points, .. }) = (shown.fill, &shown.form) {
                let corners: Vec<Point> = points.iter().map(|p| self.sheet.at(*p)).collect();
                out.path(Line::Thin, &hatching(&corners));
            }
        }
        out.close("g");
        out.letters(
            self.title.middle(),
            super::svg::Stands::Middle,
            super::lettering::Hand::Figures,
            &format!("{letter}\u{2013}{letter}"),
        );
        let body = self.sheet.area(self.section.extent);
        let lane = self.lane(body);
        for (of, row) in &self.rows {
            match of {
                Of::Height { z, x } => {
                    let from = self.sheet.at([*x, *z]);
                    let to = [row.facing(1.0), row.middle()[1]];
                    let bend = [lane, from[1]];
                    out.path(
                        Line::Thin,
                        &polyline(&[shifted(from, [-1.0, 0.0]), bend, [to[0] + 1.5, to[1]], to], false),
                    );
                }
                Of::Span { z, x, line } => {
                    let ends = [0, 1].map(|i| self.sheet.at([x[i], z[i]]));
                    let feet = ends.map(|e| [*line, e[1]]);
                    for (end, foot) in ends.iter().zip(feet) {
                        out.path(
                            Line::Thin,
                            &polyline(&[shifted(*end, [1.0, 0.0]), shifted(foot, [1.5, 0.0])], false),
                        );
                    }
                    symbols::span(out, feet[0], feet[1]);
                    let to = [row.facing(-1.0), row.middle()[1]];
                    let middle = [*line, f64::midpoint(feet[0][1], feet[1][1])];
                    out.path(Line::Thin, &polyline(&[middle, [to[0] - 1.5, to[1]], to], false));
                }
                Of::Tilt(tilt) => tilt.draw(out, row),
            }
        }
        for row in self.rows() {
            row.draw_text(out);
        }
    }
}

/// How far the arcs of angles reach beyond the section at one side.
fn reach(rows: &[&Of], side: Side, body: Area) -> f64 {
    let own = rows.iter().filter_map(|of| match of {
        Of::Tilt(tilt) if tilt.side == side => Some(tilt.reach(body)),
        _ => None,
    });
    own.fold(0.0, f64::max)
}

fn moved(area: Area, by: Point) -> Area {
    Area {
        min: shifted(area.min, by),
        max: shifted(area.max, by),
    }
}

/// Heights of single features that the section shows; with none, zero stands there only where it `is_first`.
fn lefts(cut: Cut, section: &Section, is_first: bool, said: &mut Vec<usize>) -> Vec<Beside> {
    let Cut { exercise, states, .. } = cut;
    let left = section.extent.min[0];
    let mut out: Vec<Height> = vec![Height {
        row: Row {
            nos: Vec::new(),
            run: vec![
                Piece::Text("Z".to_owned()),
                Piece::Mark(super::glyphs::Glyph::Up),
                Piece::Text("0".to_owned()),
            ],
        },
        z: 0.0,
        x: section.edge(0.0, left).map_or(left, |e| e.x[0]),
    }];
    for (i, c) in exercise.characteristics.iter().enumerate() {
        let (Quantity::Z, Owner::Feature(f)) = (c.of, c.owner) else {
            continue;
        };
        let Some(state) = states.get(f) else { continue };
        let Some(edge) = section.edge(state.at[2], state.at[0]).filter(|_| !said.contains(&i)) else {
            continue;
        };
        let row = Row {
            nos: vec![c.no.to_string()],
            run: wording::dimension(exercise, wording::Say::Classes, c),
        };
        said.push(i);
        let same = |h: &&mut Height| h.row.run == row.run && (h.z - state.at[2]).abs() < 1e-9;
        if let Some(known) = out.iter_mut().find(same) {
            known.row.nos.extend(row.nos);
        } else {
            out.push(Height {
                row,
                z: state.at[2],
                x: edge.x[0].min(state.at[0]),
            });
        }
    }
    out.sort_by(|a, b| b.z.total_cmp(&a.z));
    if out.len() == 1 && !is_first {
        return Vec::new();
    }
    let beside = |h: Height| Beside {
        row: h.row,
        of: Of::Height { z: h.z, x: h.x },
    };
    out.into_iter().map(beside).collect()
}

/// Distances along Z, and the thickness where none says it.
fn rights(cut: Cut, section: &Section, letters: &wording::Letters, said: &mut Vec<usize>) -> Vec<Beside> {
    let Cut { exercise, states, .. } = cut;
    let thickness = decimal_to_f64(exercise.body.thickness);
    let right = section.extent.max[0];
    let mut out = Vec::new();
    let mut whole = exercise
        .characteristics
        .iter()
        .any(|c| matches!((c.of, c.owner), (Quantity::Z, Owner::Feature(f)) if states.get(f).is_some_and(|s| (s.at[2] + thickness).abs() < 1e-9)));
    for (i, c) in exercise.characteristics.iter().enumerate() {
        let (Quantity::Distance, Owner::Between(b)) = (c.of, c.owner) else {
            continue;
        };
        let Some(pair) = exercise.between.get(b) else { continue };
        let Some(z) = along_z(exercise, states, pair.features, c.along) else {
            continue;
        };
        let edge = |z: f64, f: usize| {
            section
                .edge(z, states.get(f).map_or(right, |s| s.at[0]))
                .map_or(right, |e| e.x[1])
        };
        said.push(i);
        whole |= ((z[0] - z[1]).abs() - thickness).abs() < 1e-9;
        out.push(Span {
            row: wording::row(exercise, letters, wording::Say::Limits, c),
            z,
            x: [edge(z[0], pair.features[0]), edge(z[1], pair.features[1])],
        });
    }
    if !whole {
        let shown =
            decimal_from_f64(thickness).map_or_else(String::new, |t| wording::nominal(exercise, t, Quantity::Z));
        out.push(Span {
            row: Row {
                nos: Vec::new(),
                run: vec![Piece::Text(shown)],
            },
            z: [0.0, -thickness],
            x: [0.0, -thickness].map(|z| section.edge(z, right).map_or(right, |e| e.x[1])),
        });
    }
    out.sort_by(|a, b| (a.z[0] - a.z[1]).abs().total_cmp(&(b.z[0] - b.z[1]).abs()));
    let beside = |s: Span| Beside {
        row: s.row,
        of: Of::Span {
            z: s.z,
            x: s.x,
            line: 0.0,
        },
    };
    out.into_iter().map(beside).collect()
}

/// A row at the left: what it says, the height, and where its extension line starts.
#[derive(Debug, Clone)]
struct Height {
    row: Row,
    z: f64,
    x: f64,
}

/// A row at the right: between two heights.
#[derive(Debug, Clone)]
struct Span {
    row: Row,
    z: [f64; 2],
    x: [f64; 2],
}

/// Angles of the slanted faces that face along the section.
fn tilts(cut: Cut, section: &Section, sheet: &Sheet, letters: &wording::Letters, said: &mut Vec<usize>) -> Vec<Beside> {
    let mut out = Vec::new();
    for slant in &section.slants {
        let Some(n) = cut.states.get(slant.feature).map(|s| s.direction) else {
            continue;
        };
        if n[0].abs() < n[1].abs() {
            continue;
        }
        for (i, c) in cut.exercise.characteristics.iter().enumerate() {
            if c.of != Quantity::Angle || c.owner != Owner::Feature(slant.feature) || said.contains(&i) {
                continue;
            }
            let datum = c.datum.and_then(|d| cut.exercise.datum_frame.by_letter(d));
            let is_true = n[1].abs() < 1e-6 && datum.is_some_and(|d| d.sets == Axis::Z);
            said.push(i);
            out.push(Beside {
                row: wording::row(cut.exercise, letters, wording::Say::Classes, c),
                of: Of::Tilt(Tilt::of(slant, is_true, section.extent, sheet)),
            });
        }
    }
    out
}

fn along_z(exercise: &Exercise, states: &[FeatureState], pair: [usize; 2], along: Option<Axis>) -> Option<[f64; 2]> {
    if along == Some(Axis::Z) {
        let z = |i: usize| states.get(i).map(|s| s.at[2]);
        return Some([z(pair[0])?, z(pair[1])?]);
    }
    let _: &Shape = exercise.features.get(pair[0]).map(|f| &f.shape)?;
    heights(exercise, states, pair)
}

/// All rows in their places: at the left and the right from the top down, above and below from the left on.
fn placed(rows: Vec<Beside>, sheet: &Sheet, body: Area) -> Vec<(Of, PlacedRow)> {
    let all: Vec<&Of> = rows.iter().map(|r| &r.of).collect();
    let [left, right] = [Side::Left, Side::Right].map(|side| reach(&all, side, body));
    let (mut beside, mut over): (Vec<Beside>, Vec<Beside>) = rows
        .into_iter()
        .partition(|r| matches!(r.of.side(), Side::Left | Side::Right));
    let mut line = body.max[0] + right;
    for row in &mut beside {
        if let Of::Span { line: own, .. } = &mut row.of {
            line += STEP;
            *own = line;
        }
    }
    // From the top down, so that their lines do not cross.
    beside.sort_by(|a, b| a.of.middle(sheet)[1].total_cmp(&b.of.middle(sheet)[1]));
    over.sort_by(|a, b| a.of.middle(sheet)[0].total_cmp(&b.of.middle(sheet)[0]));
    let mut out = Vec::new();
    for side in [Side::Left, Side::Right] {
        let own: Vec<Beside> = beside.iter().filter(|r| r.of.side() == side).cloned().collect();
        let edge = if side == Side::Left {
            body.min[0] - left - LANE
        } else {
            line + LANE - 1.0
        };
        out.extend(in_column(own, side, edge, sheet));
    }
    let boxes = || out.iter().flat_map(|r: &(Of, PlacedRow)| r.1.boxes());
    let high = boxes().map(|b| b.min[1]).fold(body.min[1] - OVER, f64::min);
    let low = boxes().map(|b| b.max[1]).fold(body.max[1] + OVER, f64::max);
    for (side, edge) in [(Side::Top, high), (Side::Bottom, low)] {
        let own: Vec<Beside> = over.iter().filter(|r| r.of.side() == side).cloned().collect();
        out.extend(in_line(own, side, edge, sheet));
    }
    out
}

fn in_column(rows: Vec<Beside>, side: Side, edge: f64, sheet: &Sheet) -> Vec<(Of, PlacedRow)> {
    let lengths: Vec<f64> = rows.iter().map(|r| r.row.height(false)).collect();
    let wish = |(r, l): (&Beside, &f64)| r.of.middle(sheet)[1] - l / 2.0;
    let wishes: Vec<f64> = rows.iter().zip(&lengths).map(wish).collect();
    let starts = spread(&wishes, &lengths, -1e6, 1e6);
    let place = |((r, start), long): ((Beside, f64), f64)| {
        let wide = r.row.length(false);
        let left = if side == Side::Left { edge - wide } else { edge };
        let area = Area {
            min: [left, start],
            max: [left + wide, start + long],
        };
        let row = r.row.level(area, Ball::First);
        (r.of, row)
    };
    rows.into_iter().zip(starts).zip(lengths).map(place).collect()
}

fn in_line(rows: Vec<Beside>, side: Side, edge: f64, sheet: &Sheet) -> Vec<(Of, PlacedRow)> {
    let lengths: Vec<f64> = rows.iter().map(|r| r.row.length(false) + 2.0).collect();
    // The leader starts at the balloon.
    let wishes: Vec<f64> = rows.iter().map(|r| r.of.middle(sheet)[0] - 3.2).collect();
    let starts = spread(&wishes, &lengths, -1e6, 1e6);
    let place = |((r, start), long): ((Beside, f64), f64)| {
        let high = r.row.height(false);
        let top = if side == Side::Top { edge - high } else { edge };
        let area = Area {
            min: [start, top],
            max: [start + long - 2.0, top + high],
        };
        let row = r.row.level(area, Ball::First);
        (r.of, row)
    };
    rows.into_iter().zip(starts).zip(lengths).map(place).collect()
}

impl Of {
    fn side(&self) -> Side {
        match self {
            Self::Height { .. } => Side::Left,
            Self::Span { .. } => Side::Right,
            Self::Tilt(tilt) => tilt.side,
        }
    }

    /// What the row should stand beside, on paper.
    fn middle(&self, sheet: &Sheet) -> Point {
        match self {
            Self::Height { z, x } => sheet.at([*x, *z]),
            Self::Span { z, x, .. } => sheet.at([x[1], f64::midpoint(z[0], z[1])]),
            Self::Tilt(tilt) => tilt.pointed_at(),
        }
    }
}

/// Lines at 45 degrees within a polygon on paper (even-odd), as path data.
fn hatching(corners: &[Point]) -> String {
    let ends: Vec<(Point, Point)> = super::paper::sides(corners).collect();
    // Lines of constant x + y.
    let sum = |p: &Point| p[0] + p[1];
    let (low, high) = corners.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| {
        (l.min(sum(p)), h.max(sum(p)))
    });
    let step = HATCH * std::f64::consts::SQRT_2;
    let mut data = String::new();
    let mut at = low + step / 2.0;
    while at < high {
        let mut met: Vec<Point> = ends
            .iter()
            .filter(|(a, b)| (sum(a) > at) != (sum(b) > at))
            .map(|(a, b)| super::paper::along(*a, *b, (at - sum(a)) / (sum(b) - sum(a))))
            .collect();
        met.sort_by(|a, b| a[0].total_cmp(&b[0]));
        for pair in met.chunks_exact(2) {
            data.push_str(&polyline(pair, false));
        }
        at += step;
    }
    data
}
