//! What stands around the drawing: the balloons of one feature side by side, with lines of text below them, or a datum
//! letter in its box.

use super::lettering::{self, Hand};
use super::paper::{Area, Point, along, count, direction, distance, nearest_share, shifted};
use super::row::{Ball, PlacedRow, Row, SMALL_BALLOON};
use super::svg::LETTER;
use super::target::{End, Target};

/// Diameter of a balloon and its share of the row.
pub(super) const BALLOON: f64 = 8.0;
/// Side of a datum box.
pub(super) const DATUM_BOX: f64 = 7.0;
/// Height of the datum triangle.
pub(super) const TRIANGLE: f64 = 3.0;
/// Between two balloons of a block.
const GAP: f64 = 0.6;
/// Height of a line of text.
pub(super) const TEXT_LINE: f64 = 5.4;
/// Balloons side by side.
const IN_A_ROW: usize = 3;
/// How far beside an edge a balloon stands that the edge runs towards.
const BESIDE: f64 = 9.0;
/// Largest angle of a leader to the perpendicular where it leaves its balloon, as a tangent.
const SLANT: f64 = 1.4;

/// A side of the drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Side {
    Top,
    Right,
    Bottom,
    Left,
}

impl Side {
    pub(super) const ALL: [Self; 4] = [Self::Top, Self::Right, Self::Bottom, Self::Left];

    pub(super) const fn index(self) -> usize {
        match self {
            Self::Top => 0,
            Self::Right => 1,
            Self::Bottom => 2,
            Self::Left => 3,
        }
    }

    /// Towards the drawing.
    pub(super) const fn inward(self) -> Point {
        match self {
            Self::Top => [0.0, 1.0],
            Self::Right => [-1.0, 0.0],
            Self::Bottom => [0.0, -1.0],
            Self::Left => [1.0, 0.0],
        }
    }

    /// Which coordinate runs along the side.
    pub(super) const fn axis(self) -> usize {
        match self {
            Self::Top | Self::Bottom => 0,
            Self::Left | Self::Right => 1,
        }
    }
}

/// What a block shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shows {
    Balloons,
    Datum,
    /// Dimensions and tolerance frames of a feature, each with its balloon.
    Rows,
    /// One coordinate, along its extension line.
    Ordinate,
}

/// A block before it is placed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Block {
    pub(super) shows: Shows,
    /// Numbers or the letter.
    pub(super) labels: Vec<String>,
    /// Lines of text.
    pub(super) notes: Vec<String>,
    /// Dimensions; of an ordinate one.
    pub(super) rows: Vec<Row>,
    /// What its leaders end on.
    pub(super) targets: Vec<Target>,
    /// The side that it must be on.
    pub(super) side: Option<Side>,
}

/// Width of a balloon: round for short numbers, longer for long ones.
pub(super) fn balloon_width(label: &str) -> f64 {
    let text = lettering::width(label, Hand::Figures, LETTER);
    if text <= BALLOON - 2.2 { BALLOON } else { text + 4.0 }
}

impl Block {
    fn rows(&self) -> impl Iterator<Item = &[String]> {
        self.labels.chunks(IN_A_ROW)
    }

    fn row_width(row: &[String]) -> f64 {
        row.iter().map(|l| balloon_width(l) + GAP).sum::<f64>() - GAP
    }

    /// Width and height on paper, whichever side it comes to.
    pub(super) fn size(&self) -> [f64; 2] {
        if self.shows == Shows::Datum {
            let side = DATUM_BOX + if self.needs_own_triangle() { TRIANGLE } else { 0.0 };
            return [side, side];
        }
        if let (Shows::Ordinate, Some(row)) = (self.shows, self.rows.first()) {
            return if self.is_turned() {
                [row.height(true), row.length(true)]
            } else {
                [row.length(false), row.height(false)]
            };
        }
        if self.shows == Shows::Rows {
            let width = self.rows.iter().map(|r| r.length(false)).fold(0.0, f64::max);
            return [width, self.rows.iter().map(|r| r.height(false)).sum()];
        }
        let notes = self
            .notes
            .iter()
            .map(|t| lettering::width(t, Hand::Figures, LETTER) + 1.0);
        let width = self.rows().map(Self::row_width).chain(notes).fold(0.0, f64::max);
        let rows = count(self.rows().count());
        [
            width,
            rows * (BALLOON + GAP) - GAP + count(self.notes.len()) * TEXT_LINE,
        ]
    }

    /// Whether its text runs upwards.
    fn is_turned(&self) -> bool {
        self.shows == Shows::Ordinate && self.side.is_some_and(|s| s.axis() == 0)
    }

    /// A datum that is seen face on has its triangle at its box and a dot on the face.
    fn needs_own_triangle(&self) -> bool {
        self.shows == Shows::Datum && self.targets.iter().any(|t| matches!(t, Target::Spots { .. }))
    }

    /// The middle of all that it points at, for a place on `side`: beside an edge that runs towards the side, so that
    /// the leader does not come along it.
    pub(super) fn wish(&self, side: Side) -> Point {
        let mut sum = [0.0; 2];
        for t in &self.targets {
            sum = shifted(sum, t.middle());
            if t.flatness(shifted(
                t.middle(),
                [-100.0 * side.inward()[0], -100.0 * side.inward()[1]],
            )) > 0.5
            {
                sum[side.axis()] += BESIDE;
            }
        }
        let n = count(self.targets.len().max(1));
        [sum[0] / n, sum[1] / n]
    }

    /// From the start of the block along its side to the balloon that should stand opposite to the target.
    pub(super) fn lead(&self, side: Side) -> f64 {
        let [width, height] = self.size();
        if self.shows == Shows::Rows {
            return if side.axis() == 1 {
                self.rows.first().map_or(0.0, |r| r.height(false)) / 2.0
            } else {
                SMALL_BALLOON / 2.0
            };
        }
        if self.shows != Shows::Balloons || self.labels.is_empty() {
            return [width, height][side.axis()] / 2.0;
        }
        if side.axis() == 1 {
            let middle = count((self.rows().count() - 1) / 2);
            return middle * (BALLOON + GAP) + BALLOON / 2.0;
        }
        let facing = if side == Side::Top {
            self.rows().last()
        } else {
            self.rows().next()
        };
        let row = facing.unwrap_or(&[]);
        let before: f64 = row
            .iter()
            .take((row.len() - 1) / 2)
            .map(|l| balloon_width(l) + GAP)
            .sum();
        let own = row.get((row.len() - 1) / 2).map_or(0.0, |l| balloon_width(l));
        (width - Self::row_width(row)) / 2.0 + before + own / 2.0
    }
}

/// How far a place lies in a direction.
fn towards(p: Point, direction: Point) -> f64 {
    p[0] * direction[0] + p[1] * direction[1]
}

/// A leader on paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leader {
    pub(super) from: Point,
    pub(super) to: Point,
    pub(super) end: End,
}

/// A balloon or datum box on paper.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cell {
    pub(super) label: String,
    pub(super) area: Area,
}

/// A line of text on paper.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Note {
    pub(super) text: String,
    pub(super) area: Area,
}

/// A block in its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub(super) cells: Vec<Cell>,
    pub(super) notes: Vec<Note>,
    pub(super) leaders: Vec<Leader>,
    /// Dimensions.
    pub(super) rows: Vec<PlacedRow>,
    /// Triangle of a datum seen face on: tip at the box, middle of the base.
    pub(super) triangle: Option<(Point, Point)>,
}

/// Where the balloons or the box of a block come to lie.
struct Cells {
    areas: Vec<Area>,
    triangle: Option<(Point, Point)>,
}

impl Block {
    /// The block laid out within `area`, which has its size, on `side`.
    pub(super) fn laid(&self, area: Area, side: Side) -> Placed {
        let cells = self.cells(area, side);
        Placed {
            leaders: self.leaders_from(&cells, side),
            rows: self.placed_rows(area, side),
            notes: self.note_areas(area, side),
            triangle: cells.triangle,
            cells: self
                .labels
                .iter()
                .cloned()
                .zip(cells.areas)
                .map(|(label, area)| Cell { label, area })
                .collect(),
        }
    }

    /// Its leaders alone.
    pub(super) fn leaders(&self, area: Area, side: Side) -> Vec<Leader> {
        self.leaders_from(&self.cells(area, side), side)
    }

    fn cells(&self, area: Area, side: Side) -> Cells {
        match self.shows {
            Shows::Datum => self.datum_cell(area, side),
            Shows::Balloons => self.balloon_cells(area, side),
            Shows::Ordinate => Cells {
                areas: vec![area],
                triangle: None,
            },
            Shows::Rows => Cells {
                areas: self.anchors(area, side),
                triangle: None,
            },
        }
    }

    /// The rows of text, balloons towards the drawing where they can be; of an ordinate the text towards it.
    fn placed_rows(&self, area: Area, side: Side) -> Vec<PlacedRow> {
        if self.shows == Shows::Ordinate {
            let ball = if matches!(side, Side::Left | Side::Bottom) {
                Ball::First
            } else {
                Ball::Last
            };
            let placed = |r: &Row| {
                if self.is_turned() {
                    r.upright(area, ball)
                } else {
                    r.level(area, ball)
                }
            };
            return self.rows.iter().map(placed).collect();
        }
        let ball = if side == Side::Left { Ball::Last } else { Ball::First };
        let mut y = area.min[1];
        let mut placed = Vec::with_capacity(self.rows.len());
        for row in &self.rows {
            let lower = y + row.height(false);
            let own = Area {
                min: [area.min[0], y],
                max: [area.max[0], lower],
            };
            placed.push(row.level(own, ball));
            y = lower;
        }
        placed
    }

    /// Where leaders may start: the balloons of the row that faces the drawing, or its text.
    fn anchors(&self, area: Area, side: Side) -> Vec<Area> {
        let rows = self.placed_rows(area, side);
        let facing = if side == Side::Top { rows.last() } else { rows.first() };
        let Some(row) = facing else { return vec![area] };
        if !row.balloons.is_empty() {
            return row.balloons.iter().map(|b| b.1).collect();
        }
        let text = row.text;
        let middle = match side {
            Side::Left => [text.max[0], text.middle()[1]],
            Side::Right => [text.min[0], text.middle()[1]],
            Side::Top => [text.min[0] + 1.3, text.max[1] - 0.2],
            Side::Bottom => [text.min[0] + 1.3, text.min[1] + 0.2],
        };
        vec![Area::around(middle, 2.0, 2.0)]
    }

    fn datum_cell(&self, area: Area, side: Side) -> Cells {
        let inward = side.inward();
        let away = if self.needs_own_triangle() { TRIANGLE / 2.0 } else { 0.0 };
        let at = shifted(area.middle(), [-inward[0] * away, -inward[1] * away]);
        let triangle = self.needs_own_triangle().then(|| {
            let tip = shifted(at, [inward[0] * DATUM_BOX / 2.0, inward[1] * DATUM_BOX / 2.0]);
            (tip, shifted(tip, [inward[0] * TRIANGLE, inward[1] * TRIANGLE]))
        });
        Cells {
            areas: vec![Area::around(at, DATUM_BOX, DATUM_BOX)],
            triangle,
        }
    }

    fn notes_height(&self) -> f64 {
        count(self.notes.len()) * TEXT_LINE
    }

    /// Text lies on the far side of the balloons, seen from the drawing, or below them at its sides.
    fn balloon_cells(&self, area: Area, side: Side) -> Cells {
        let mut areas = Vec::with_capacity(self.labels.len());
        let mut y = area.min[1] + if side == Side::Top { self.notes_height() } else { 0.0 };
        for row in self.rows() {
            let mut x = start_of(Self::row_width(row), area, side);
            for label in row {
                let width = balloon_width(label);
                areas.push(Area {
                    min: [x, y],
                    max: [x + width, y + BALLOON],
                });
                x += width + GAP;
            }
            y += BALLOON + GAP;
        }
        Cells { areas, triangle: None }
    }

    fn note_areas(&self, area: Area, side: Side) -> Vec<Note> {
        let mut y = if side == Side::Top {
            area.min[1]
        } else {
            area.max[1] - self.notes_height()
        };
        let mut notes = Vec::with_capacity(self.notes.len());
        for text in &self.notes {
            let width = lettering::width(text, Hand::Figures, LETTER);
            let x = start_of(width, area, side);
            notes.push(Note {
                text: text.clone(),
                area: Area {
                    min: [x, y],
                    max: [x + width, y + TEXT_LINE],
                },
            });
            y += TEXT_LINE;
        }
        notes
    }

    fn leaders_from(&self, cells: &Cells, side: Side) -> Vec<Leader> {
        let mut leaders: Vec<Leader> = Vec::with_capacity(self.targets.len());
        for target in &self.targets {
            let taken: Vec<Point> = leaders.iter().map(|l| l.to).collect();
            let leader = self.leader(cells, side, &target.apart_from(&taken));
            leaders.push(leader);
        }
        leaders
    }

    /// The leader from the nearest balloon of the row or column that faces the drawing.
    fn leader(&self, cells: &Cells, side: Side, target: &Target) -> Leader {
        let inward = side.inward();
        let from_here = |from: Point| {
            let (to, end) = target.end(from);
            Leader { from, to, end }
        };
        if let Some((_, base)) = cells.triangle {
            return from_here(base);
        }
        let facing = |a: &Area| towards(a.min, inward).max(towards(a.max, inward));
        let foremost = cells.areas.iter().map(facing).fold(f64::NEG_INFINITY, f64::max);
        let mut best: Option<Leader> = None;
        for area in cells.areas.iter().filter(|a| facing(a) > foremost - 0.1) {
            let leader = if self.shows == Shows::Ordinate {
                let half = [area.width() / 2.0, area.height() / 2.0];
                from_here(shifted(area.middle(), [inward[0] * half[0], inward[1] * half[1]]))
            } else if self.shows == Shows::Datum {
                from_here(shifted(
                    area.middle(),
                    [inward[0] * DATUM_BOX / 2.0, inward[1] * DATUM_BOX / 2.0],
                ))
            } else {
                balloon_leader(*area, side, target)
            };
            if best.is_none_or(|b| distance(leader.from, leader.to) < distance(b.from, b.to)) {
                best = Some(leader);
            }
        }
        best.unwrap_or(Leader {
            from: [0.0; 2],
            to: [0.0; 2],
            end: End::Plain,
        })
    }
}

/// Where something of this width starts in a block: in its middle, or at the side that faces the drawing.
fn start_of(width: f64, area: Area, side: Side) -> f64 {
    match side {
        Side::Top | Side::Bottom => area.middle()[0] - width / 2.0,
        Side::Left => area.max[0] - width,
        Side::Right => area.min[0],
    }
}

/// A leader from the edge of a balloon.
fn balloon_leader(balloon: Area, side: Side, target: &Target) -> Leader {
    let inward = side.inward();
    let middle = balloon.middle();
    let radius = balloon.height().min(balloon.width()) / 2.0;
    let reach = balloon.width() / 2.0 - radius;
    let (a, b) = (shifted(middle, [-reach, 0.0]), shifted(middle, [reach, 0.0]));
    let (first, _) = target.end(middle);
    let spine = along(a, b, nearest_share(first, a, b));
    let d = direction(spine, first);
    // Not more slanted than SLANT, so that it leaves the block by the side that faces the drawing.
    let across = [inward[1], -inward[0]];
    let (ahead, aside) = (towards(d, inward), towards(d, across));
    let aside = if ahead > 0.0 {
        (aside / ahead).clamp(-SLANT, SLANT)
    } else {
        SLANT * aside.signum()
    };
    let length = 1.0_f64.hypot(aside);
    let out = [0, 1].map(|i| (inward[i] + aside * across[i]) / length);
    let from = shifted(spine, [out[0] * radius, out[1] * radius]);
    let (to, end) = target.end(from);
    Leader { from, to, end }
}
