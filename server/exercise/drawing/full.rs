//! The dimensioned drawing: the plan view with coordinates in lanes along two sides and everything else beside what it is of,
//! and the section below it. All text stands outside of a ring around the plan, and each row at the end of its own line.

use super::block::{Block, Cell, Placed, Shows, Side};
use super::cut::Stretch;
use super::elevation::Elevation;
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

/// Plan view and section in one picture, whatever its size.
pub(super) fn dimensioned(exercise: &Exercise, options: &DrawingOptions) -> Picture {
    let full = Full::of(exercise, options.room_mm, &[Parts::Together]);
    full.picture(exercise, options, true, true)
}

/// One picture where plan view and section fit in it together at a good scale, otherwise one for each.
pub(super) fn pages(exercise: &Exercise, options: &DrawingOptions) -> Vec<Picture> {
    let full = Full::of(exercise, options.room_mm, &[Parts::Together, Parts::Apart]);
    if full.parts == Parts::Together || full.elevation.is_none() {
        return vec![full.picture(exercise, options, true, true)];
    }
    vec![
        full.picture(exercise, options, true, false),
        full.picture(exercise, options, false, true),
    ]
}

/// Whether plan view and section share a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Parts {
    Together,
    Apart,
}

/// What does not hang on the scale.
struct Subject<'a> {
    exercise: &'a Exercise,
    states: Vec<FeatureState>,
    letters: Letters,
    ordinates: Vec<Ordinate>,
    say: Say,
}

/// A scale and how much is said where.
#[derive(Debug, Clone, Copy)]
struct Way {
    scale: Scale,
    parts: Parts,
    say: Say,
}

/// A letter of the cutting plane with its arrow.
#[derive(Debug, Clone, Copy)]
struct Mark {
    tip: Point,
    letter: Point,
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
    pub(super) elevation: Option<Elevation>,
    marks: Vec<Mark>,
    letter: char,
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
        let elevation = Elevation::of(exercise, plan, &subject.states, &sheet, &subject.letters);
        let side = |o: &Ordinate| lane(exercise, o.axis);
        let lines: Vec<[Point; 2]> = subject
            .ordinates
            .iter()
            .map(|o| o.line(plan, &sheet, side(o)))
            .collect();
        let mut blocks: Vec<Block> = subject
            .ordinates
            .iter()
            .map(|o| o.block(plan, &sheet, side(o)))
            .collect();
        let datums = exercise.datum_frame.all().map(|d| datum_block(d, plan, &sheet));
        blocks.extend(datums.map(|d| clear_of(d, &lines)));
        let mut links = Links::default();
        let said: &[usize] = elevation.as_ref().map_or(&[], |e| &e.said);
        blocks.extend(callouts(subject, plan, &sheet, &mut links, said));
        let marked = |lines: &[Vec<Point>], lowest: f64| {
            let path = elevation.as_ref().map(|e| &e.section.path[..]);
            path.map_or_else(Vec::new, |p| marks(p, plan, &sheet, lines, lowest))
        };
        let below = match (&elevation, parts) {
            (Some(e), Parts::Together) => e.extent.height() + APART,
            _ => 0.0,
        };
        let around = surroundings(
            exercise,
            plan,
            &sheet,
            [room[0], room[1] - below],
            &marked(&[], f64::INFINITY),
        );
        let arrangement = place(&blocks, &around, careful);
        let lowest = lowest_of(&arrangement, &blocks);
        let marks = marked(&all_lines(&blocks, &arrangement, &lines), lowest);
        let low = arrangement.extent.max[1] + APART;
        Self {
            plan: plan.clone(),
            sheet,
            scale,
            blocks,
            arrangement,
            lines,
            origins: subject.ordinates.iter().map(|o| o.is_origin).collect(),
            links,
            elevation: elevation.map(|e| e.lowered(low)),
            marks,
            letter: section_letter(subject),
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
        let of_section = self.elevation.iter().flat_map(Elevation::rows);
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
        match &self.elevation {
            Some(e) if section && plan => self.arrangement.extent.joined(e.extent),
            Some(e) if section => e.extent,
            _ => self.arrangement.extent,
        }
    }

    fn picture(&self, exercise: &Exercise, options: &DrawingOptions, plan: bool, section: bool) -> Picture {
        let mut out = Svg::default();
        if plan {
            self.draw_plan(&mut out, exercise, options);
        }
        if let (Some(e), true) = (&self.elevation, section) {
            e.draw(&mut out, self.letter);
        }
        self.draw_balloons(&mut out, exercise, options, plan, section);
        let extent = self.extent(plan, section).grown(WHITE);
        let what = match (plan, section && self.elevation.is_some()) {
            (true, true) => "Plan view and section",
            (true, false) => "Plan view",
            _ => "Section",
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
        if let (Some(e), true) = (&self.elevation, section) {
            boxes.extend(e.rows().flat_map(PlacedRow::boxes).chain([e.title]));
        }
        boxes
    }

    fn draw_plan(&self, out: &mut Svg, exercise: &Exercise, options: &DrawingOptions) {
        draw_plan(&self.plan, &self.sheet, out, exercise, &[]);
        if let Some(e) = &self.elevation {
            self.draw_cutting_plane(out, &e.section.path);
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
        let of_section = self.elevation.iter().flat_map(Elevation::rows).filter(|_| section);
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
    fn draw_cutting_plane(&self, out: &mut Svg, path: &[Stretch]) {
        let mut corners: Vec<Point> = Vec::new();
        for s in path {
            corners.push(self.sheet.at([s.from, s.y]));
            corners.push(self.sheet.at([s.to, s.y]));
        }
        if let Some(first) = corners.first_mut() {
            first[0] -= BEYOND;
        }
        if let Some(last) = corners.last_mut() {
            last[0] += BEYOND;
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
        for mark in &self.marks {
            let above = mark.letter[1] < mark.tip[1];
            let tail = [
                mark.tip[0],
                if above { mark.tip[1] + 6.0 } else { mark.letter[1] - 2.6 },
            ];
            out.path(Line::Edge, &polyline(&[[mark.tip[0], mark.tip[1] + 2.0], tail], false));
            out.raw(&arrowhead(mark.tip, tail, HEAD));
            let letter = self.letter.to_string();
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

/// The first letter that no datum has.
fn section_letter(subject: &Subject) -> char {
    let frame = subject.exercise.datum_frame.all().map(|d| d.letter);
    let taken = |l: &char| frame.contains(l) || subject.letters.values().any(|v| v == l);
    ('A'..='W')
        .find(|l| !taken(l) && !matches!(l, 'I' | 'O' | 'Q'))
        .unwrap_or('W')
}

/// Arrows and letters of the cutting plane, off the lines that are there; above `lowest`.
fn marks(path: &[Stretch], plan: &Plan, sheet: &Sheet, lines: &[Vec<Point>], lowest: f64) -> Vec<Mark> {
    let body = sheet.area(plan.extent);
    let ends = path
        .first()
        .map(|s| (s.y, -1.0))
        .into_iter()
        .chain(path.last().map(|s| (s.y, 1.0)));
    let mark = |(y, way): (f64, f64)| {
        let x = if way < 0.0 { body.min[0] } else { body.max[0] } + way * (BEYOND - 1.5);
        let tip = [x, sheet.at([0.0, y])[1] + WIDE / 2.0];
        let crowd = |dy: f64| {
            let own = letter_box([x, tip[1] + dy]).grown(0.3);
            let met = |l: &&Vec<Point>| l.windows(2).any(|p| own.is_met_by(p[0], p[1]));
            count(lines.iter().filter(met).count()) + if own.max[1] > lowest { 100.0 } else { 0.0 }
        };
        // Below the arrow, or above the line where there is no room.
        let offsets = (0..40_u32)
            .map(|i| 8.5 + 0.5 * f64::from(i))
            .chain((0..30_u32).map(|i| -4.2 - 0.5 * f64::from(i)));
        let dy = offsets.min_by(|a, b| crowd(*a).total_cmp(&crowd(*b))).unwrap_or(8.5);
        Mark {
            tip,
            letter: [x, tip[1] + dy],
        }
    };
    ends.map(mark).collect()
}

fn surroundings(exercise: &Exercise, plan: &Plan, sheet: &Sheet, room: [f64; 2], marks: &[Mark]) -> Surroundings {
    let body = sheet.area(plan.extent);
    let mut ring = body.grown(MARGIN);
    for (axis, way) in [(Axis::X, 1), (Axis::Y, 0)] {
        // Lanes need room for lines that step aside, beyond the letters of the cutting plane.
        let more = if !marks.is_empty() && way == 0 { BEYOND } else { 1.0 };
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
    let tops = tops.flat_map(|(p, _)| {
        p.rows
            .iter()
            .flat_map(PlacedRow::boxes)
            .chain(p.cells.iter().map(|c| c.area))
    });
    tops.map(|a| a.min[1]).fold(f64::INFINITY, f64::min)
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
