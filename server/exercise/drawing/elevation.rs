//! The section on paper: heights as running dimensions at its left, heights between faces at its right, each row at the end of
//! a line of its own, so that no two can meet.

use super::paper::{Area, Point, shifted};
use super::plan::{Form, Plan};
use super::ring::spread;
use super::row::{Ball, Piece, PlacedRow, Row};
use super::section::{Fill, Section, heights};
use super::sheet::Sheet;
use super::svg::{Line, Svg, polyline};
use super::symbols;
use super::wording;
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Axis, Exercise, Owner, Quantity, Shape};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// From the section to the rows at its left.
const LANE: f64 = 9.0;
/// From the section to the first dimension line at its right, and from one to the next.
const STEP: f64 = 6.0;
/// Between hatch lines.
const HATCH: f64 = 2.6;

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

/// The section with its rows laid out; `[0, 0]` is where the plan has it along X, and the top of everything along Y.
#[derive(Debug, Clone)]
pub(super) struct Elevation {
    pub(super) section: Section,
    sheet: Sheet,
    left: Vec<(Height, PlacedRow)>,
    right: Vec<(Span, f64, PlacedRow)>,
    pub(super) extent: Area,
    /// Box of the letters above it.
    pub(super) title: Area,
    /// Characteristics that are said here.
    pub(super) said: Vec<usize>,
}

impl Elevation {
    /// The section at the scale of the plan.
    pub(super) fn of(
        exercise: &Exercise,
        plan: &Plan,
        states: &[FeatureState],
        sheet: &Sheet,
        letters: &wording::Letters,
    ) -> Option<Self> {
        let gap = 3.0 / sheet.long(1.0);
        let section = Section::of(exercise, plan, states, gap)?;
        let mut said = Vec::new();
        let left = lefts(exercise, states, &section, &mut said);
        let right = rights(exercise, states, &section, letters, &mut said);
        let top = sheet.at([0.0, section.extent.max[1]])[1];
        let own = sheet.moved([0.0, -top]);
        let body = own.area(section.extent);
        let left = placed_left(left, &own, body);
        let right = placed_right(right, &own, body);
        let boxes = || {
            left.iter()
                .flat_map(|l| l.1.boxes())
                .chain(right.iter().flat_map(|r| r.2.boxes()))
        };
        let highest = boxes().map(|b| b.min[1]).fold(body.min[1] - 2.5, f64::min);
        let title = Area::around([body.middle()[0], highest - 4.0], 14.0, 5.4);
        let extent = boxes().fold(body.grown(2.5).joined(title), Area::joined);
        Some(
            Self {
                section,
                sheet: own,
                left,
                right,
                extent,
                title,
                said,
            }
            .lowered(-extent.min[1]),
        )
    }

    /// Everything moved down the paper.
    pub(super) fn lowered(mut self, by: f64) -> Self {
        let by = [0.0, by];
        self.sheet = self.sheet.moved(by);
        self.extent = moved(self.extent, by);
        self.title = moved(self.title, by);
        for row in self
            .left
            .iter_mut()
            .map(|l| &mut l.1)
            .chain(self.right.iter_mut().map(|r| &mut r.2))
        {
            row.move_by(by);
        }
        self
    }

    /// All rows.
    pub(super) fn rows(&self) -> impl Iterator<Item = &PlacedRow> {
        self.left.iter().map(|l| &l.1).chain(self.right.iter().map(|r| &r.2))
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
        for (height, row) in &self.left {
            let from = self.sheet.at([height.x, height.z]);
            let to = [row.facing(1.0), row.middle()[1]];
            let bend = [body.min[0] - 2.0, from[1]];
            out.path(
                Line::Thin,
                &polyline(&[shifted(from, [-1.0, 0.0]), bend, [to[0] + 1.5, to[1]], to], false),
            );
        }
        for (span, x, row) in &self.right {
            let ends = [0, 1].map(|i| self.sheet.at([span.x[i], span.z[i]]));
            let feet = ends.map(|e| [*x, e[1]]);
            for (end, foot) in ends.iter().zip(feet) {
                out.path(
                    Line::Thin,
                    &polyline(&[shifted(*end, [1.0, 0.0]), shifted(foot, [1.5, 0.0])], false),
                );
            }
            symbols::span(out, feet[0], feet[1]);
            let to = [row.facing(-1.0), row.middle()[1]];
            let middle = [*x, f64::midpoint(feet[0][1], feet[1][1])];
            out.path(Line::Thin, &polyline(&[middle, [to[0] - 1.5, to[1]], to], false));
        }
        for row in self.rows() {
            row.draw_text(out);
        }
    }
}

fn moved(area: Area, by: Point) -> Area {
    Area {
        min: shifted(area.min, by),
        max: shifted(area.max, by),
    }
}

/// Heights of single features that the section shows.
fn lefts(exercise: &Exercise, states: &[FeatureState], section: &Section, said: &mut Vec<usize>) -> Vec<Height> {
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
        x: section.extent.min[0],
    }];
    for (i, c) in exercise.characteristics.iter().enumerate() {
        let (Quantity::Z, Owner::Feature(f)) = (c.of, c.owner) else {
            continue;
        };
        let Some(state) = states.get(f) else { continue };
        let Some(edge) = section.edge(state.at[2], state.at[0]) else {
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
    out
}

/// Distances along Z, and the thickness where none says it.
fn rights(
    exercise: &Exercise,
    states: &[FeatureState],
    section: &Section,
    letters: &wording::Letters,
    said: &mut Vec<usize>,
) -> Vec<Span> {
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
            x: [right, right],
        });
    }
    out.sort_by(|a, b| (a.z[0] - a.z[1]).abs().total_cmp(&(b.z[0] - b.z[1]).abs()));
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

fn placed_left(heights: Vec<Height>, sheet: &Sheet, body: Area) -> Vec<(Height, PlacedRow)> {
    let lengths: Vec<f64> = heights.iter().map(|h| h.row.height(false)).collect();
    let wishes: Vec<f64> = heights
        .iter()
        .zip(&lengths)
        .map(|(h, l)| sheet.at([0.0, h.z])[1] - l / 2.0)
        .collect();
    let starts = spread(&wishes, &lengths, -1e6, 1e6);
    let right = body.min[0] - LANE;
    let place = |((h, start), long): ((Height, f64), f64)| {
        let area = Area {
            min: [right - h.row.length(false), start],
            max: [right, start + long],
        };
        let row = h.row.level(area, Ball::First);
        (h, row)
    };
    heights.into_iter().zip(starts).zip(lengths).map(place).collect()
}

fn placed_right(spans: Vec<Span>, sheet: &Sheet, body: Area) -> Vec<(Span, f64, PlacedRow)> {
    let count = super::paper::count(spans.len());
    let left = body.max[0] + STEP * count + LANE - 1.0;
    let mut lines: Vec<(Span, f64)> = Vec::with_capacity(spans.len());
    let mut x = body.max[0];
    for span in spans {
        x += STEP;
        lines.push((span, x));
    }
    // From the top down, so that their lines do not cross.
    let middle = |s: &Span| f64::midpoint(s.z[0], s.z[1]);
    lines.sort_by(|a, b| middle(&b.0).total_cmp(&middle(&a.0)));
    let lengths: Vec<f64> = lines.iter().map(|(s, _)| s.row.height(false)).collect();
    let wishes: Vec<f64> = lines
        .iter()
        .zip(&lengths)
        .map(|((s, _), l)| sheet.at([0.0, middle(s)])[1] - l / 2.0)
        .collect();
    let starts = spread(&wishes, &lengths, -1e6, 1e6);
    let place = |(((s, x), start), long): (((Span, f64), f64), f64)| {
        let area = Area {
            min: [left, start],
            max: [left + s.row.length(false), start + long],
        };
        let row = s.row.level(area, Ball::First);
        (s, x, row)
    };
    lines.into_iter().zip(starts).zip(lengths).map(place).collect()
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
