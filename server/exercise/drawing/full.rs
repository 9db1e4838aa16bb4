//! The dimensioned drawing: the plan view with coordinates in lanes along two sides and everything else beside what it is of,
//! and the sections below it. All text stands outside of a ring around the plan, and each row at the end of its own line.

use super::block::{Block, Cell, Placed, Shows, Side};
use super::elevation::{Cut, Elevation};
use super::improve::TOO_LARGE;
use super::links::{Links, datum_block, key, place_target};
use super::ordinates::{Ordinate, lane};
use super::paper::{Area, Point, count, shifted};
use super::plan::{Form, Plan, area_of};
use super::ring::{Arrangement, Surroundings, place};
use super::row::{NOTE, Piece, PlacedRow, Row};
use super::scale::Scale;
use super::sheet::Sheet;
use super::svg::{Line, Svg, WIDE, arrowhead, n, polyline};
use super::symbols::{self, HEAD};
use super::target::Target;
use super::turned::{back, turned};
use super::view::{WHITE, draw_dimension, draw_plan, whole};
use super::wording::{self, Letters, Say};
use super::{DrawingOptions, PaperBox, Picture};
use crate::exercise::geometry::{FeatureState, nominal_states};
use crate::exercise::model::{Axis, Characteristic, Exercise, Owner, Quantity, Shape};

/// From the plan to the ring of blocks.
const MARGIN: f64 = 7.5;
/// The part of it in which extension lines step aside.
const STEP_ASIDE: f64 = 6.5;
/// From the plan and its blocks to the section.
const APART: f64 = 4.0;
/// How far the cutting plane reaches beyond the plate.
const BEYOND: f64 = 5.5;

/// Plan view and sections in one picture, whatever its size.
pub(super) fn dimensioned(exercise: &Exercise, options: &DrawingOptions) -> Picture {
    let full = Full::of(exercise, options.room_mm, &[Parts::Together]);
    full.picture(exercise, options, true, true)
}

/// One picture where plan view and sections fit in it together at a good scale, otherwise one for the plan and one for them.
pub(super) fn pages(exercise: &Exercise, options: &DrawingOptions) -> Vec<Picture> {
    let full = Full::of(exercise, options.room_mm, &[Parts::Together, Parts::Apart]);
    if full.parts == Parts::Together || full.elevations.is_empty() {
        return vec![full.picture(exercise, options, true, true)];
    }
    vec![
        full.picture(exercise, options, true, false),
        full.picture(exercise, options, false, true),
    ]
}

/// Whether plan view and sections share a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Parts {
    Together,
    Apart,
}

/// What does not hang on the scale.
struct Subject<'a> {
    exercise: &'a Exercise,
    states: Vec<FeatureState>,
    /// The part turned for the section across, where there is one.
    across: Option<Across>,
    letters: Letters,
    ordinates: Vec<Ordinate>,
    say: Say,
}

/// The turned part.
struct Across {
    exercise: Exercise,
    plan: Plan,
    states: Vec<FeatureState>,
}

impl Across {
    fn of(exercise: &Exercise, plan: &Plan) -> Option<Self> {
        let wanted = plan.relief.slopes().any(|(_, f)| f.faces_y());
        wanted.then(|| {
            let exercise = turned(exercise);
            Self {
                plan: Plan::of(&exercise),
                states: nominal_states(&exercise),
                exercise,
            }
        })
    }
}

impl Subject<'_> {
    /// The sections at a scale, the one along X first.
    fn elevations(&self, plan: &Plan, scale: Scale) -> Vec<Elevation> {
        let mm = self.exercise.units.mm_per_unit_f64();
        let cut = Cut {
            exercise: self.exercise,
            plan,
            states: &self.states,
        };
        let first = Elevation::of(cut, &Sheet::new(scale, mm, plan.extent), &self.letters);
        let second = self.across.as_ref().and_then(|a| {
            let cut = Cut {
                exercise: &a.exercise,
                plan: &a.plan,
                states: &a.states,
            };
            Elevation::across(
                cut,
                &Sheet::new(scale, mm, a.plan.extent),
                &self.letters,
                first.as_ref(),
            )
        });
        first.into_iter().chain(second).collect()
    }
}

/// A scale and how much is said where.
#[derive(Debug, Clone, Copy)]
struct Way {
    scale: Scale,
    parts: Parts,
    say: Say,
}

/// A letter of a cutting plane with its arrow, which points the way that the section is seen.
#[derive(Debug, Clone, Copy)]
struct Mark {
    tip: Point,
    letter: Point,
    name: char,
    is_across: bool,
}

/// A drawing that is laid out and not yet written.
#[derive(Debug, Clone)]
pub(super) struct Full {
    pub(super) plan: Plan,
    pub(super) sheet: Sheet,
    pub(super) scale: Scale,
    pub(super) blocks: Vec<Block>,
    pub(super) arrangement: Arrangement,
    /// For each ordinate, which are the first blocks, where its line starts and where it leaves the plate.
    lines: Vec<[Point; 2]>,
    origins: Vec<bool>,
    links: Links,
    pub(super) elevations: Vec<Elevation>,
    marks: Vec<Mark>,
    names: Vec<char>,
    parts: Parts,
}

impl Full {
    /// Lays the drawing out at the largest scale that keeps within the room, in one of these ways.
    fn of(exercise: &Exercise, room_mm: [f64; 2], parts: &[Parts]) -> Self {
        let plan = Plan::of(exercise);
        let states = nominal_states(exercise);
        let mut subject = Subject {
            exercise,
            letters: wording::letters(exercise),
            ordinates: Ordinate::all(exercise, &plan, &states),
            across: Across::of(exercise, &plan),
            states,
            say: Say::Limits,
        };
        let room = room_mm.map(|r| r - 2.0 * WHITE);
        let body = |s: &Scale| Sheet::new(*s, exercise.units.mm_per_unit_f64(), plan.extent).area(plan.extent);
        let small = |s: &Scale| body(s).width() < room[0] && body(s).height() < room[1];
        let large = |s: &Scale| body(s).width() > room[0] / 4.0 || body(s).height() > room[1] / 4.0;
        let mut best: Option<(f64, Way)> = None;
        let ways = Scale::all(exercise.units)
            .iter()
            .filter(|s| small(s) && large(s))
            .flat_map(|scale| parts.iter().map(move |parts| (*scale, *parts)))
            .flat_map(|(scale, parts)| [Say::Limits, Say::Classes].map(|say| Way { scale, parts, say }));
        for way in ways {
            subject.say = way.say;
            let over = Self::in_way(&subject, &plan, way, room, false).over(room);
            if best.is_none_or(|(least, _)| over < 0.8 * least) {
                best = Some((over, way));
            }
            if over <= 0.0 {
                break;
            }
        }
        let way = best.map_or(
            Way {
                scale: Scale { paper: 1, part: 1 },
                parts: Parts::Together,
                say: Say::Limits,
            },
            |b| b.1,
        );
        subject.say = way.say;
        Self::in_way(&subject, &plan, way, room, true)
    }

    fn in_way(subject: &Subject, plan: &Plan, way: Way, room: [f64; 2], careful: bool) -> Self {
        let Way { scale, parts, .. } = way;
        let exercise = subject.exercise;
        let sheet = Sheet::new(scale, exercise.units.mm_per_unit_f64(), plan.extent);
        let elevations = subject.elevations(plan, scale);
        let names = section_letters(subject, elevations.len());
        let side = |o: &Ordinate| lane(exercise, o.axis);
        let ordinates = || subject.ordinates.iter();
        let lines: Vec<[Point; 2]> = ordinates().map(|o| o.line(plan, &sheet, side(o))).collect();
        let mut blocks: Vec<Block> = ordinates().map(|o| o.block(plan, &sheet, side(o))).collect();
        let datums = exercise.datum_frame.all().map(|d| datum_block(d, plan, &sheet));
        blocks.extend(datums.map(|d| clear_of(d, &lines)));
        let mut links = Links::default();
        let said: Vec<usize> = elevations.iter().flat_map(|e| e.said.clone()).collect();
        blocks.extend(callouts(subject, plan, &sheet, &mut links, &said));
        let marked = |free: &Free| {
            let cuts = elevations.iter().zip(&names);
            cuts.flat_map(|(e, name)| marks(e, *name, plan, &sheet, free))
                .collect::<Vec<Mark>>()
        };
        let below = match parts {
            Parts::Together => elevations.iter().map(|e| e.extent.height() + APART).sum(),
            Parts::Apart => 0.0,
        };
        let around = surroundings(
            exercise,
            plan,
            &sheet,
            [room[0], room[1] - below],
            &marked(&Free::default()),
        );
        let arrangement = place(&blocks, &around, careful);
        let marks = marked(&Free {
            lines: all_lines(&blocks, &arrangement, &lines),
            texts: arrangement.placed.iter().flat_map(texts_of).collect(),
            lowest: lowest_of(&arrangement, &blocks),
        });
        let elevations = one_below_another(elevations, arrangement.extent.max[1] + APART);
        Self {
            plan: plan.clone(),
            sheet,
            scale,
            blocks,
            arrangement,
            lines,
            origins: ordinates().map(|o| o.is_origin).collect(),
            links,
            elevations,
            marks,
            names,
            parts,
        }
    }

    /// Plan view and section together.
    #[cfg(test)]
    pub(super) fn drawn(exercise: &Exercise, room_mm: [f64; 2]) -> Self {
        Self::of(exercise, room_mm, &[Parts::Together])
    }

    /// Leaders and extension lines as they are drawn, text at their last place or at their first.
    #[cfg(test)]
    pub(super) fn drawn_lines(&self) -> Vec<Vec<Point>> {
        all_lines(&self.blocks, &self.arrangement, &self.lines)
    }

    /// All balloon numbers.
    #[cfg(test)]
    pub(super) fn numbers(&self) -> Vec<String> {
        let of_blocks = self.arrangement.placed.iter().flat_map(|p| &p.rows);
        let of_section = self.elevations.iter().flat_map(Elevation::rows);
        of_blocks
            .chain(of_section)
            .flat_map(|r| r.balloons.iter().map(|b| b.0.clone()))
            .collect()
    }

    /// How much too large it is.
    fn over(&self, room: [f64; 2]) -> f64 {
        let too_much = |a: Area| (a.width() - room[0]).max(0.0) + (a.height() - room[1]).max(0.0);
        match self.parts {
            Parts::Together => too_much(self.extent(true, true)),
            Parts::Apart => too_much(self.extent(true, false)) + too_much(self.extent(false, true)),
        }
    }

    /// The box of all that is shown.
    pub(super) fn extent(&self, plan: bool, section: bool) -> Area {
        let sections = self.elevations.iter().filter(|_| section).map(|e| e.extent);
        let all = Some(self.arrangement.extent).filter(|_| plan || self.elevations.is_empty());
        all.into_iter()
            .chain(sections)
            .reduce(Area::joined)
            .unwrap_or(self.arrangement.extent)
    }

    fn picture(&self, exercise: &Exercise, options: &DrawingOptions, plan: bool, section: bool) -> Picture {
        let mut out = Svg::default();
        if plan {
            self.draw_plan(&mut out, exercise, options);
        }
        for (e, name) in self.elevations.iter().zip(&self.names).filter(|_| section) {
            e.draw(&mut out, *name);
        }
        self.draw_balloons(&mut out, exercise, options, plan, section);
        let extent = self.extent(plan, section).grown(WHITE);
        let what = match (plan, if section { self.elevations.len() } else { 0 }) {
            (true, 0) => "Plan view",
            (true, 1) => "Plan view and section",
            (true, _) => "Plan view and sections",
            (false, 0 | 1) => "Section",
            (false, _) => "Sections",
        };
        let title = format!("{what} of {}", exercise.title);
        Picture {
            svg: whole(&out.into_text(), extent, &title, "plan full"),
            scale: self.scale,
            size_mm: [extent.width(), extent.height()],
            plate: self.sheet.area(self.plan.extent).into(),
            lettering: self.lettering(plan, section).into_iter().map(PaperBox::from).collect(),
        }
    }

    /// The boxes of all lettering that is shown.
    pub(super) fn lettering(&self, plan: bool, section: bool) -> Vec<Area> {
        let mut boxes = Vec::new();
        if plan {
            for (placed, block) in self.arrangement.placed.iter().zip(&self.blocks) {
                if block.shows == Shows::Datum {
                    boxes.extend(placed.cells.iter().map(|c| c.area));
                }
                boxes.extend(placed.rows.iter().flat_map(PlacedRow::boxes));
            }
            boxes.extend(self.marks.iter().map(|m| letter_box(m.letter)));
        }
        for e in self.elevations.iter().filter(|_| section) {
            boxes.extend(e.rows().flat_map(PlacedRow::boxes).chain([e.title]));
        }
        boxes
    }

    fn draw_plan(&self, out: &mut Svg, exercise: &Exercise, options: &DrawingOptions) {
        draw_plan(&self.plan, &self.sheet, out, exercise, &[]);
        for (e, name) in self.elevations.iter().zip(&self.names) {
            self.draw_cutting_plane(out, e, *name);
        }
        if options.touches {
            for at in &self.plan.touches {
                symbols::touch(out, self.sheet.at(*at));
            }
        }
        for dimension in &self.links.dimensions {
            draw_dimension(out, dimension);
        }
        let placed = || self.blocks.iter().zip(&self.arrangement.placed);
        for ((block, at), (line, origin)) in placed().zip(self.lines.iter().zip(&self.origins)) {
            draw_extension(out, block, at, *line, *origin);
        }
        for (block, at) in placed().skip(self.lines.len()) {
            for leader in &at.leaders {
                symbols::leader(out, leader, &block.labels.join(" "));
            }
        }
        for (block, at) in placed() {
            if block.shows == Shows::Datum {
                symbols::datum(out, at);
            }
            for row in &at.rows {
                row.draw_text(out);
            }
        }
    }

    fn draw_balloons(&self, out: &mut Svg, exercise: &Exercise, options: &DrawingOptions, plan: bool, section: bool) {
        let of_plan = self.arrangement.placed.iter().flat_map(|p| &p.rows).filter(|_| plan);
        let of_section = self.elevations.iter().flat_map(Elevation::rows).filter(|_| section);
        for (no, area) in of_plan.chain(of_section).flat_map(|r| &r.balloons) {
            let named = exercise.characteristics.iter().find(|c| c.no.as_str() == no);
            let name = named.map_or_else(String::new, |c| {
                format!("Number {}: {}, {}", c.no, exercise.owner_name(c), c.of.word())
            });
            let cell = Cell {
                label: no.clone(),
                area: *area,
            };
            symbols::balloon_of(NOTE, out, &cell, options.linked, &name);
        }
    }

    /// The cutting plane: narrow dashes and dots, wide at its ends and where it steps (ISO 128-2, 04.2), with arrows in the
    /// direction of view.
    fn draw_cutting_plane(&self, out: &mut Svg, elevation: &Elevation, name: char) {
        let mut corners = corners_of(elevation, &self.sheet);
        let along = usize::from(elevation.is_across);
        let way = if elevation.is_across { -1.0 } else { 1.0 };
        if let Some(first) = corners.first_mut() {
            first[along] -= way * BEYOND;
        }
        if let Some(last) = corners.last_mut() {
            last[along] += way * BEYOND;
        }
        out.open("g", "class=\"d-cut\"");
        out.path(Line::Centre, &polyline(&corners, false));
        let wide = |a: Point, b: Point, long: f64| {
            let d = super::paper::direction(a, b);
            let long = long.min(super::paper::distance(a, b) / 2.0);
            format!(
                "<path d=\"{}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"/>",
                polyline(&[a, shifted(a, [d[0] * long, d[1] * long])], false),
                n(WIDE)
            )
        };
        for (i, pair) in corners.windows(2).enumerate() {
            let ends = [i == 0, i + 2 == corners.len()];
            out.raw(&wide(pair[0], pair[1], if ends[0] { BEYOND - 1.0 } else { 1.6 }));
            out.raw(&wide(pair[1], pair[0], if ends[1] { BEYOND - 1.0 } else { 1.6 }));
        }
        for mark in self.marks.iter().filter(|m| m.name == name) {
            let (tail, stop) = mark.tail();
            out.path(Line::Edge, &polyline(&[stop, tail], false));
            out.raw(&arrowhead(mark.tip, tail, HEAD));
            let letter = mark.name.to_string();
            out.letters(
                mark.letter,
                super::svg::Stands::Middle,
                super::lettering::Hand::Figures,
                &letter,
            );
        }
        out.close("g");
    }
}

/// Sections from a height on paper down.
fn one_below_another(elevations: Vec<Elevation>, mut top: f64) -> Vec<Elevation> {
    let place = |e: Elevation| {
        let lowered = e.lowered(top);
        top = lowered.extent.max[1] + APART;
        lowered
    };
    elevations.into_iter().map(place).collect()
}

/// The datum's triangle where no extension line leaves the plate: in the widest gap between them.
fn clear_of(mut datum: Block, lines: &[[Point; 2]]) -> Block {
    let Some(side) = datum.side else { return datum };
    let along = side.axis();
    for target in &mut datum.targets {
        let Target::Datum { from, to, .. } = target else {
            continue;
        };
        let (low, high) = (from[along].min(to[along]), from[along].max(to[along]));
        let beside = |l: &&[Point; 2]| (l[1][1 - along] - from[1 - along]).abs() < 2.0 * MARGIN;
        let parallel = |l: &&[Point; 2]| (l[0][along] - l[1][along]).abs() < 0.01;
        let mut stops: Vec<f64> = lines
            .iter()
            .filter(parallel)
            .filter(beside)
            .map(|l| l[1][along])
            .collect();
        stops.retain(|s| low < *s && *s < high);
        stops.extend([low - 2.0, high + 2.0]);
        stops.sort_by(f64::total_cmp);
        let widest = stops.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
        if let Some([a, b]) = widest {
            let inset = (0.4 * (b - a)).min(2.6);
            from[along] = (a + inset).clamp(low, high);
            to[along] = (b - inset).clamp(low, high);
        }
    }
    datum
}

fn letter_box(at: Point) -> Area {
    Area::around(at, 3.4, 5.4)
}

/// The first letters that no datum has.
fn section_letters(subject: &Subject, many: usize) -> Vec<char> {
    let frame = subject.exercise.datum_frame.all().map(|d| d.letter);
    let taken = |l: &char| frame.contains(l) || subject.letters.values().any(|v| v == l);
    let free = ('A'..='W').filter(|l| !taken(l) && !matches!(l, 'I' | 'O' | 'Q'));
    free.chain(['W', 'X']).take(many).collect()
}

/// The cutting plane on paper: from the left, or from the front.
fn corners_of(elevation: &Elevation, sheet: &Sheet) -> Vec<Point> {
    let ends = elevation.section.path.iter().flat_map(|s| [[s.from, s.y], [s.to, s.y]]);
    let place = |p| sheet.at(if elevation.is_across { back(p) } else { p });
    ends.map(place).collect()
}

impl Mark {
    /// The far end of the arrow, and the end of its shaft at the tip.
    fn tail(&self) -> (Point, Point) {
        let (along, letter) = if self.is_across { (0, 1.9) } else { (1, 2.6) };
        let mut tail = self.tip;
        tail[along] = if self.letter[along] < self.tip[along] {
            self.tip[along] + 6.0
        } else {
            self.letter[along] - letter
        };
        let mut stop = self.tip;
        stop[along] += 2.0;
        (tail, stop)
    }
}

/// What letters of cutting planes keep off: lines and texts that are there, and what lies below `lowest`.
struct Free {
    lines: Vec<Vec<Point>>,
    texts: Vec<Area>,
    lowest: f64,
}

impl Default for Free {
    fn default() -> Self {
        Self {
            lines: Vec::new(),
            texts: Vec::new(),
            lowest: f64::INFINITY,
        }
    }
}

/// Arrows and letters of a cutting plane.
fn marks(elevation: &Elevation, name: char, plan: &Plan, sheet: &Sheet, free: &Free) -> Vec<Mark> {
    let body = sheet.area(plan.extent);
    let corners = corners_of(elevation, sheet);
    let is_across = elevation.is_across;
    let (across, along) = if is_across { (1, 0) } else { (0, 1) };
    let ends = [corners.first(), corners.last()].into_iter().flatten();
    let mark = |at: &Point| {
        let mut tip = *at;
        tip[across] = if at[across] < body.middle()[across] {
            body.min[across] - (BEYOND - 1.5)
        } else {
            body.max[across] + (BEYOND - 1.5)
        };
        tip[along] += WIDE / 2.0;
        let letter = |by: f64| {
            let mut at = tip;
            at[along] += by;
            at
        };
        let crowd = |by: &f64| {
            let own = letter_box(letter(*by)).grown(0.3);
            let met = |l: &&Vec<Point>| l.windows(2).any(|p| own.is_met_by(p[0], p[1]));
            let over = free.texts.iter().any(|t| t.overlaps(own)) || own.max[1] > free.lowest;
            count(free.lines.iter().filter(met).count()) + if over { 100.0 } else { 0.0 }
        };
        // Behind the arrow, or before the line where there is no room.
        let offsets = (0..40_u32)
            .map(|i| 8.5 + 0.5 * f64::from(i))
            .chain((0..30_u32).map(|i| -4.2 - 0.5 * f64::from(i)));
        let by = offsets.min_by(|a, b| crowd(a).total_cmp(&crowd(b))).unwrap_or(8.5);
        Mark {
            tip,
            letter: letter(by),
            name,
            is_across,
        }
    };
    ends.map(mark).collect()
}

fn surroundings(exercise: &Exercise, plan: &Plan, sheet: &Sheet, room: [f64; 2], marks: &[Mark]) -> Surroundings {
    let body = sheet.area(plan.extent);
    let mut ring = body.grown(MARGIN);
    for (axis, way) in [(Axis::X, 1), (Axis::Y, 0)] {
        // Lanes need room for lines that step aside, beyond the letters of the cutting plane.
        // Below the plan the letters lie along the lane and take less of it.
        let is_cut = marks.iter().any(|m| usize::from(m.is_across) == way);
        let more = match (is_cut, way) {
            (true, 0) => BEYOND,
            (true, _) => BEYOND - 2.5,
            (false, _) => 1.0,
        };
        match lane(exercise, axis) {
            Side::Left | Side::Top => ring.min[way] -= more,
            Side::Right | Side::Bottom => ring.max[way] += more,
        }
    }
    let holes = plan
        .drawn
        .iter()
        .filter(|d| !matches!(d.form, Form::Chain { .. }))
        .map(|d| sheet.area(area_of(&d.form)));
    Surroundings {
        ring,
        keep_clear: marks.iter().map(|m| letter_box(m.letter)).collect(),
        crowded: holes.collect(),
        room,
        too_large: TOO_LARGE[0],
    }
}

/// Where the blocks below the plan start.
fn lowest_of(arrangement: &Arrangement, blocks: &[Block]) -> f64 {
    let tops = arrangement
        .placed
        .iter()
        .zip(blocks)
        .filter(|(_, b)| b.side == Some(Side::Bottom));
    tops.flat_map(|(p, _)| texts_of(p))
        .map(|a| a.min[1])
        .fold(f64::INFINITY, f64::min)
}

/// The boxes of what is written in a block.
fn texts_of(placed: &Placed) -> Vec<Area> {
    let cells = placed.cells.iter().map(|c| c.area);
    placed.rows.iter().flat_map(PlacedRow::boxes).chain(cells).collect()
}

/// Leaders and extension lines.
fn all_lines(blocks: &[Block], arrangement: &Arrangement, lines: &[[Point; 2]]) -> Vec<Vec<Point>> {
    let placed = || blocks.iter().zip(&arrangement.placed);
    let extensions = placed().zip(lines).filter_map(|((b, p), line)| extension(b, p, *line));
    let leaders = placed()
        .skip(lines.len())
        .flat_map(|(_, p)| p.leaders.iter().map(|l| vec![l.from, l.to]));
    extensions.chain(leaders).collect()
}

/// The line of a coordinate: from what it measures out of the plate, aside where others need the room, to its text.
fn extension(block: &Block, placed: &Placed, [start, at]: [Point; 2]) -> Option<Vec<Point>> {
    let (side, leader) = (block.side?, placed.leaders.first()?);
    let (along, across) = (side.axis(), 1 - side.axis());
    let inward = side.inward()[across];
    let end = leader.from;
    let (mut first, mut last) = (at, end);
    first[across] = end[across] + inward * STEP_ASIDE;
    last[across] = end[across] + inward * 1.5;
    // Text does not touch its line.
    let mut stop = end;
    stop[across] += inward * 0.6;
    Some(if (at[along] - end[along]).abs() < 0.05 {
        vec![start, stop]
    } else {
        vec![start, first, last, stop]
    })
}

fn draw_extension(out: &mut Svg, block: &Block, placed: &Placed, line: [Point; 2], is_origin: bool) {
    let (Some(side), Some(points)) = (block.side, extension(block, placed, line)) else {
        return;
    };
    out.open(
        "g",
        &format!(
            "class=\"d-leader\" data-b=\"{}\"",
            super::svg::escaped(&block.labels.join(" "))
        ),
    );
    out.path(Line::Thin, &polyline(&points, false));
    if is_origin {
        let ring = shifted(line[1], [side.inward()[0] * -1.2, side.inward()[1] * -1.2]);
        out.raw(&format!(
            "<circle class=\"paper\" cx=\"{}\" cy=\"{}\" r=\"0.9\" fill=\"white\" stroke=\"currentColor\" stroke-width=\"0.25\"/>",
            n(ring[0]),
            n(ring[1])
        ));
    }
    out.close("g");
}

/// What stands beside features and pairs; `said` are characteristics that stand elsewhere.
fn callouts(subject: &Subject, plan: &Plan, sheet: &Sheet, links: &mut Links, said: &[usize]) -> Vec<Block> {
    let exercise = subject.exercise;
    let mut blocks: Vec<Block> = Vec::new();
    let coordinate =
        |c: &Characteristic| matches!(c.of, Quantity::X | Quantity::Y) && matches!(c.owner, Owner::Feature(_));
    for i in 0..exercise.features.len() {
        let own =
            |(k, c): &(usize, &Characteristic)| c.owner == Owner::Feature(i) && !coordinate(c) && !said.contains(k);
        let rows: Vec<Row> = unstated(subject, i)
            .into_iter()
            .chain(
                exercise
                    .characteristics
                    .iter()
                    .enumerate()
                    .filter(own)
                    .map(|(_, c)| wording::row(exercise, &subject.letters, subject.say, c)),
            )
            .chain(subject.letters.get(&i).map(|l| wording::datum_letter(*l)))
            .collect();
        if !rows.is_empty() {
            blocks.push(block(rows, place_target(plan, sheet, i).into_iter().collect()));
        }
    }
    let mut seen = Vec::new();
    for c in &exercise.characteristics {
        let Owner::Between(b) = c.owner else { continue };
        let group = key(c);
        if seen.contains(&group) {
            continue;
        }
        seen.push(group);
        let members: Vec<(usize, &Characteristic)> = exercise
            .characteristics
            .iter()
            .enumerate()
            .filter(|(k, c)| key(c) == group && !said.contains(k))
            .collect();
        let (Some(pair), false) = (exercise.between.get(b), members.is_empty()) else {
            continue;
        };
        let of_group: Vec<&Characteristic> = members.iter().map(|m| m.1).collect();
        let targets = links.pair_targets(exercise, plan, sheet, pair, &of_group);
        let rows = of_group
            .iter()
            .map(|c| wording::row(exercise, &subject.letters, subject.say, c))
            .collect();
        blocks.push(block(rows, targets));
    }
    blocks
}

fn block(rows: Vec<Row>, targets: Vec<Target>) -> Block {
    Block {
        shows: Shows::Rows,
        labels: rows.iter().flat_map(|r| r.nos.clone()).collect(),
        notes: Vec::new(),
        rows,
        targets,
        side: None,
    }
}

/// Sizes that are no characteristic, so that the drawing is complete without them.
fn unstated(subject: &Subject, i: usize) -> Option<Row> {
    let exercise = subject.exercise;
    let (feature, state) = exercise.features.get(i).zip(subject.states.get(i))?;
    let has = |of: Quantity| {
        exercise
            .characteristics
            .iter()
            .any(|c| c.owner == Owner::Feature(i) && c.of == of)
    };
    let shown = |v: f64| {
        let value = crate::units::decimal_from_f64(v).unwrap_or_default();
        Piece::Text(wording::nominal(exercise, value, Quantity::Diameter))
    };
    let mut run = Vec::new();
    match &feature.shape {
        Shape::Slot { .. } => {
            for (of, word, value) in [
                (Quantity::Length, "length", state.length),
                (Quantity::Width, "width", state.width),
            ] {
                if !has(of) {
                    run.extend([Piece::Words(word.to_owned()), shown(value)]);
                }
            }
            if !has(Quantity::Width) {
                run.extend(wording::depth(&feature.shape));
            }
        }
        shape if shape.is_sized() && !has(Quantity::Diameter) => {
            run.extend(wording::diameter(Some(feature)));
            run.push(shown(state.diameter));
            run.extend(wording::depth(shape));
        }
        _ => {}
    }
    (!run.is_empty()).then(|| Row { nos: Vec::new(), run })
}
