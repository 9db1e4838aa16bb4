//! A line of a drawing's text: balloons, and beside them a dimension or a tolerance frame. It lies level, or is turned to be
//! read from the right (ISO 129-1).

use super::glyphs::{Glyph, boxed};
use super::lettering::{self, Hand};
use super::paper::{Area, Point, count, shifted};
use super::svg::{Svg, n};

/// Letter size of dimensions: capitals are 2.5 mm high, the least of ISO 3098-1.
pub(super) const NOTE: f64 = 3.6;
/// Diameter of a balloon beside a dimension.
pub(super) const SMALL_BALLOON: f64 = 6.4;
/// From row to row.
const PITCH: f64 = 6.8;
/// The same where two deviations stand one above the other.
const TALL: f64 = 8.6;
/// Between the two deviations.
const LEADING: f64 = 3.4;
/// Height of a tolerance frame.
const FRAME: f64 = 5.6;
/// Between two pieces.
const GAP: f64 = 0.8;
/// Left and right of the text in a box.
const INSET: f64 = 0.75;

/// A piece of a row.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Piece {
    /// Figures.
    Text(String),
    /// Words.
    Words(String),
    /// A symbol.
    Mark(Glyph),
    /// Upper over lower.
    Stack([String; 2]),
    /// The cells of a tolerance frame.
    Frame(Vec<Vec<Self>>),
    /// A letter in a ring, as M for maximum material (ISO 2692).
    Ringed(&'static str),
}

impl Piece {
    fn width(&self) -> f64 {
        match self {
            Self::Text(text) => lettering::width(text, Hand::Figures, NOTE),
            Self::Words(text) => lettering::width(text, Hand::Words, NOTE),
            Self::Mark(glyph) => glyph.width(),
            Self::Stack(lines) => lines
                .iter()
                .map(|l| lettering::width(l, Hand::Figures, NOTE))
                .fold(0.0, f64::max),
            Self::Frame(cells) => cells.iter().map(|c| cell_width(c)).sum(),
            Self::Ringed(_) => 4.2,
        }
    }

    fn draw(&self, out: &mut Svg, at: Point) {
        match self {
            Self::Text(text) => out.note(at, Hand::Figures, &[text]),
            Self::Words(text) => out.note(at, Hand::Words, &[text]),
            Self::Mark(glyph) => glyph.draw(out, shifted(at, [glyph.width() / 2.0, 0.0])),
            Self::Stack([upper, lower]) => out.note(at, Hand::Figures, &[upper, lower]),
            Self::Frame(cells) => {
                let mut x = at[0];
                for cell in cells {
                    let width = cell_width(cell);
                    boxed(out, [x, at[1]], [width, FRAME]);
                    draw_run(out, cell, [x + INSET, at[1]]);
                    x += width;
                }
            }
            Self::Ringed(letter) => {
                out.raw(&format!(
                    "<circle cx=\"{}\" cy=\"{}\" r=\"1.95\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"0.25\"/>",
                    n(at[0] + 2.1),
                    n(at[1])
                ));
                let aside = (4.2 - lettering::width(letter, Hand::Figures, NOTE)) / 2.0;
                out.note(shifted(at, [aside, 0.0]), Hand::Figures, &[letter]);
            }
        }
    }
}

fn cell_width(cell: &[Piece]) -> f64 {
    run_width(cell) + 2.0 * INSET
}

fn run_width(run: &[Piece]) -> f64 {
    run.iter().map(Piece::width).sum::<f64>() + GAP * count(run.len().saturating_sub(1))
}

fn draw_run(out: &mut Svg, run: &[Piece], at: Point) {
    let mut x = at[0];
    for piece in run {
        piece.draw(out, [x, at[1]]);
        x += piece.width() + GAP;
    }
}

/// Width of a balloon beside a dimension.
pub(super) fn small_balloon_width(label: &str) -> f64 {
    let text = lettering::width(label, Hand::Figures, NOTE);
    if text <= SMALL_BALLOON - 1.7 {
        SMALL_BALLOON
    } else {
        text + 3.2
    }
}

/// A row before it is placed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Row {
    /// Balloon numbers.
    pub(super) nos: Vec<String>,
    /// What stands beside them.
    pub(super) run: Vec<Piece>,
}

/// Which end of a row its balloons are at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ball {
    /// Before the text.
    First,
    /// After it.
    Last,
}

/// A row in its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PlacedRow {
    /// One for each balloon.
    pub(super) balloons: Vec<(String, Area)>,
    /// Where the text starts, halfway up.
    at: Point,
    turned: bool,
    run: Vec<Piece>,
    /// The box of the text; without extent where there is none.
    pub(super) text: Area,
    nos: Vec<String>,
}

impl Row {
    /// Length along the text.
    pub(super) fn length(&self, turned: bool) -> f64 {
        self.balls(turned) + self.gap() + run_width(&self.run)
    }

    /// Balloons take their width in a level row and their height in a turned one; the larger is allowed for.
    fn balls(&self, turned: bool) -> f64 {
        let of = |no: &String| if turned { SMALL_BALLOON } else { small_balloon_width(no) };
        self.nos.iter().map(|no| of(no) + 0.5).sum::<f64>() - if self.nos.is_empty() { 0.0 } else { 0.5 }
    }

    fn gap(&self) -> f64 {
        if self.nos.is_empty() || self.run.is_empty() {
            0.0
        } else {
            1.0
        }
    }

    /// Height across the text; in a turned row a long number needs more.
    pub(super) fn height(&self, turned: bool) -> f64 {
        let tall = self.run.iter().any(|p| matches!(p, Piece::Stack(_)));
        let own = if tall { TALL } else { PITCH };
        let widest = self.nos.iter().map(|no| small_balloon_width(no)).fold(0.0, f64::max);
        if turned { own.max(widest + 0.6) } else { own }
    }

    /// The row within `area`, level.
    pub(super) fn level(&self, area: Area, ball: Ball) -> PlacedRow {
        let middle = area.middle()[1];
        let run = run_width(&self.run);
        let length = self.length(false);
        let start = if ball == Ball::First {
            area.min[0]
        } else {
            area.max[0] - length
        };
        let text_at = if ball == Ball::First {
            start + length - run
        } else {
            start
        };
        let mut x = if ball == Ball::First {
            start
        } else {
            start + run + self.gap()
        };
        let mut balloons = Vec::with_capacity(self.nos.len());
        for no in &self.nos {
            let width = small_balloon_width(no);
            let middle = [x + width / 2.0, middle];
            balloons.push((no.clone(), Area::around(middle, width, SMALL_BALLOON)));
            x += width + 0.5;
        }
        self.placed(balloons, [text_at, middle], false, run)
    }

    /// The row within `area`, turned to be read from the right: it runs upwards.
    pub(super) fn upright(&self, area: Area, ball: Ball) -> PlacedRow {
        let middle = area.middle()[0];
        let run = run_width(&self.run);
        let length = self.length(true);
        // Text faces the drawing; what is left over is at the far end.
        let low = if ball == Ball::First {
            area.min[1] + length
        } else {
            area.max[1]
        };
        let (text_at, mut y) = if ball == Ball::First {
            (low - length + run, low)
        } else {
            (low, low - run - self.gap())
        };
        let mut balloons = Vec::with_capacity(self.nos.len());
        for no in &self.nos {
            let at = [middle, y - SMALL_BALLOON / 2.0];
            balloons.push((no.clone(), Area::around(at, small_balloon_width(no), SMALL_BALLOON)));
            y -= SMALL_BALLOON + 0.5;
        }
        self.placed(balloons, [middle, text_at], true, run)
    }

    fn placed(&self, balloons: Vec<(String, Area)>, at: Point, turned: bool, run: f64) -> PlacedRow {
        let high = (self.height(false) - 1.4).max(0.0) / 2.0;
        let text = if self.run.is_empty() {
            Area { min: at, max: at }
        } else if turned {
            Area {
                min: [at[0] - high, at[1] - run],
                max: [at[0] + high, at[1]],
            }
        } else {
            Area {
                min: [at[0], at[1] - high],
                max: [at[0] + run, at[1] + high],
            }
        };
        PlacedRow {
            balloons,
            at,
            turned,
            run: self.run.clone(),
            text,
            nos: self.nos.clone(),
        }
    }
}

impl PlacedRow {
    /// Writes the text; balloons are written by who places them.
    pub(super) fn draw_text(&self, out: &mut Svg) {
        if self.run.is_empty() {
            return;
        }
        let data = if self.nos.is_empty() {
            String::new()
        } else {
            format!(" data-b=\"{}\"", super::svg::escaped(&self.nos.join(" ")))
        };
        let turn = if self.turned {
            format!(
                " transform=\"translate({} {}) rotate(-90)\"",
                n(self.at[0]),
                n(self.at[1])
            )
        } else {
            String::new()
        };
        out.open("g", &format!("class=\"d-value\"{data}{turn}"));
        draw_run(out, &self.run, if self.turned { [0.0; 2] } else { self.at });
        out.close("g");
    }

    /// The whole row moved on paper.
    pub(super) fn move_by(&mut self, by: Point) {
        self.at = shifted(self.at, by);
        let moved = |a: Area| Area {
            min: shifted(a.min, by),
            max: shifted(a.max, by),
        };
        self.text = moved(self.text);
        for (_, area) in &mut self.balloons {
            *area = moved(*area);
        }
    }

    /// The middle of the row.
    pub(super) fn middle(&self) -> Point {
        self.boxes()
            .into_iter()
            .reduce(Area::joined)
            .map_or(self.at, Area::middle)
    }

    /// The X of its right end (`towards` 1) or left end (-1), a little off what is written.
    pub(super) fn facing(&self, towards: f64) -> f64 {
        let all = self.boxes().into_iter().reduce(Area::joined).unwrap_or(self.text);
        if towards > 0.0 {
            all.max[0] + 0.8
        } else {
            let off = if self.balloons.is_empty() { 0.8 } else { 0.0 };
            all.min[0] - off
        }
    }

    /// Where a leader starts below its balloon, or above it; of a row without one at the start of its text.
    pub(super) fn foot(&self, is_below: bool) -> Point {
        let first = self.balloons.first().map_or(self.text, |b| b.1);
        let x = if self.balloons.is_empty() {
            first.min[0] + 1.3
        } else {
            first.middle()[0]
        };
        [x, if is_below { first.max[1] } else { first.min[1] }]
    }

    /// The boxes of all that is lettered.
    pub(super) fn boxes(&self) -> Vec<Area> {
        let mut boxes: Vec<Area> = self.balloons.iter().map(|b| b.1).collect();
        if !self.run.is_empty() {
            boxes.push(self.text);
        }
        boxes
    }
}

impl Svg {
    /// A text of one or two lines from `at` to the right, its figures centred in height on it.
    fn note(&mut self, at: Point, hand: Hand, lines: &[&str]) {
        let (class, family) = match hand {
            Hand::Figures => ("", "monospace\" font-weight=\"500"),
            Hand::Words => (" class=\"words\"", "sans-serif"),
        };
        let half = lettering::capital(NOTE) / 2.0;
        let up = LEADING / 2.0 * count(lines.len() - 1);
        let text = match lines {
            [one] => super::svg::escaped(one),
            _ => {
                let line = |(i, l): (usize, &&str)| {
                    let dy = if i == 0 {
                        String::new()
                    } else {
                        format!(" dy=\"{}\"", n(LEADING))
                    };
                    format!("<tspan x=\"{}\"{dy}>{}</tspan>", n(at[0]), super::svg::escaped(l))
                };
                lines.iter().enumerate().map(line).collect()
            }
        };
        self.raw(&format!(
            "<text{class} x=\"{}\" y=\"{}\" font-family=\"{family}\" font-size=\"{}\" fill=\"currentColor\">{text}</text>",
            n(at[0]),
            n(at[1] + half - up),
            n(NOTE)
        ));
    }
}
