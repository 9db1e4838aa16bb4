//! The cut-out beside one number at the machine: what lies around its feature, with its balloon alone.

use super::block::{BALLOON, Cell, Leader, Shows};
use super::paper::{Area, Point, along, count, direction, distance, nearest_share, shifted};
use super::plan::area_of;
use super::svg::{Svg, n};
use super::symbols;
use super::target::Target;
use super::view::{Composed, Wanted, finished};
use super::{DrawingOptions, Picture, View};
use crate::exercise::model::{Exercise, Owner};

/// The drawing that the cut-out is taken from is this much larger than the cut-out.
const ENLARGED: f64 = 2.2;
/// Directions that are tried for the balloon.
const DIRECTIONS: u32 = 24;

/// Draws what lies around the characteristic with this index; the whole view where there is no such index.
pub(super) fn around(exercise: &Exercise, characteristic: usize, options: &DrawingOptions) -> Picture {
    let room = options.room_mm;
    let composed = Composed::of(exercise, &Wanted::plain(room.map(|r| r * ENLARGED), false));
    let Some(c) = exercise.characteristics.get(characteristic) else {
        return super::plan_view(
            exercise,
            &DrawingOptions {
                view: View::Whole,
                ..options.clone()
            },
        );
    };
    let no = c.no.to_string();
    let block = composed
        .links
        .blocks
        .iter()
        .find(|b| b.shows == Shows::Balloons && b.labels.contains(&no));
    let all: &[Target] = block.map_or(&[], |b| &b.targets);
    let window = window(&composed, all, room);
    let targets = &within_window(all, window);
    let marked: &[usize] = match c.owner {
        Owner::Feature(i) => &[i],
        Owner::Between(i) => exercise.between.get(i).map_or(&[], |b| &b.features),
    };
    let mut out = Svg::default();
    composed.draw_part(&mut out, exercise, marked);
    for dimension in composed.links.dimensions.iter().filter(|d| d.nos.contains(&no)) {
        super::view::draw_dimension(&mut out, dimension);
    }
    let cell = best_place(&composed, targets, window, &no);
    for target in targets {
        symbols::leader(&mut out, &leader(&cell, target), &no);
    }
    symbols::balloon(&mut out, &cell, false, "");
    let frame = window.grown(-0.125);
    out.raw(&format!(
        "<rect class=\"d-thin\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"/>",
        n(frame.min[0]),
        n(frame.min[1]),
        n(frame.width()),
        n(frame.height()),
        n(super::svg::NARROW)
    ));
    let title = format!("Where number {no} is: {}, {}", exercise.owner_name(c), c.of.word());
    // What reaches beyond the window is cut off by it.
    let clipped = format!(
        "<svg x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" viewBox=\"{x} {y} {w} {h}\">\n{}</svg>\n",
        out.into_text(),
        x = n(window.min[0]),
        y = n(window.min[1]),
        w = n(window.width()),
        h = n(window.height())
    );
    let mut picture = finished(&composed, &clipped, window, &[cell.area], &title, "plan cut");
    picture.svg = picture.svg.replacen("role=\"group\"", "role=\"img\"", 1);
    picture
}

/// The window over the middle of what is pointed at, moved so that it does not show more white than it must.
fn window(composed: &Composed, targets: &[Target], room: [f64; 2]) -> Area {
    let body = composed.sheet.area(composed.plan.extent).grown(BALLOON + 6.0);
    let wish = Area::of(targets.iter().map(Target::middle)).middle();
    let mut middle = wish;
    for (i, room) in room.iter().enumerate() {
        let (low, high) = (body.min[i] + room / 2.0, body.max[i] - room / 2.0);
        middle[i] = if low <= high {
            wish[i].clamp(low, high)
        } else {
            f64::midpoint(body.min[i], body.max[i])
        };
    }
    Area::around(middle, room[0], room[1])
}

/// The same targets, of faces only the places in the window, one for each, apart from each other.
fn within_window(targets: &[Target], window: Area) -> Vec<Target> {
    let inner = window.grown(-BALLOON);
    let mut taken: Vec<Point> = Vec::new();
    let mut out = Vec::new();
    for target in targets {
        out.push(match target {
            Target::Spots { spots, unseen } => {
                let free = |p: &&Point| taken.iter().all(|t| distance(**p, *t) > 9.0);
                let to_middle = |p: Point| distance(p, window.middle());
                let inside = spots.iter().filter(|p| inner.holds(**p)).filter(free);
                let best = inside.min_by(|p, q| to_middle(**p).total_cmp(&to_middle(**q))).copied();
                let spot = best.or_else(|| spots.first().copied()).unwrap_or(window.middle());
                taken.push(spot);
                Target::Spots {
                    spots: vec![spot],
                    unseen: *unseen,
                }
            }
            Target::Edge { from, to } => {
                let [from, to] = part_within(*from, *to, inner);
                Target::Edge { from, to }
            }
            Target::Dimension { from, to } => {
                let [from, to] = part_within(*from, *to, inner);
                Target::Dimension { from, to }
            }
            other => other.clone(),
        });
    }
    out
}

fn leader(cell: &Cell, target: &Target) -> Leader {
    let middle = cell.area.middle();
    let (first, _) = target.end(middle);
    let reach = (cell.area.width() - BALLOON) / 2.0;
    let ends = [shifted(middle, [-reach, 0.0]), shifted(middle, [reach, 0.0])];
    let spine = along(ends[0], ends[1], nearest_share(first, ends[0], ends[1]));
    let d = direction(spine, first);
    let from = shifted(spine, [d[0] * BALLOON / 2.0, d[1] * BALLOON / 2.0]);
    let (to, end) = target.end(from);
    Leader { from, to, end }
}

/// The part of a stroke that lies in a box; the whole of it where none does.
fn part_within(from: Point, to: Point, area: Area) -> [Point; 2] {
    match area.share_of(from, to) {
        Some([a, b]) => [along(from, to, a), along(from, to, b)],
        None => [from, to],
    }
}

/// What a leader costs: its length, more where it is too short to be seen or runs along its edge.
fn cost_of(target: &Target, leader: &Leader) -> f64 {
    let length = distance(leader.from, leader.to);
    length + 20.0 * (5.0 - length).max(0.0) + 25.0 * target.flatness(leader.from)
}

/// The place for the balloon near its targets that covers the least of the drawing.
fn best_place(composed: &Composed, targets: &[Target], window: Area, no: &str) -> Cell {
    let inside = Area {
        min: shifted(window.min, [BALLOON; 2]),
        max: shifted(window.max, [-BALLOON; 2]),
    };
    let lines: Vec<Area> = composed
        .plan
        .drawn
        .iter()
        .map(|d| composed.sheet.area(area_of(&d.form)))
        .collect();
    let mut best: Option<(f64, Cell)> = None;
    for target in targets {
        for step in 0..DIRECTIONS {
            let angle = std::f64::consts::TAU * (f64::from(step) + 0.5) / f64::from(DIRECTIONS);
            for far in [10.0, 14.0, 19.0, 26.0] {
                let from = shifted(target.middle(), [angle.cos() * 500.0, angle.sin() * 500.0]);
                let (edge, _) = target.end(from);
                let at: Point = shifted(edge, [angle.cos() * far, angle.sin() * far]);
                let cell = Cell {
                    label: no.to_owned(),
                    area: Area::around(at, super::block::balloon_width(no), BALLOON),
                };
                let covered = count(
                    lines
                        .iter()
                        .filter(|l| l.overlaps(cell.area) && !l.grown(-1.0).is_around(cell.area))
                        .count(),
                );
                let ways = targets.iter().map(|t| (t, leader(&cell, t)));
                let length: f64 = ways.map(|(t, l)| cost_of(t, &l)).sum();
                let outside = if inside.holds(at) { 0.0 } else { 1000.0 };
                let cost = outside + 25.0 * covered + length;
                if best.as_ref().is_none_or(|(b, _)| cost < *b) {
                    best = Some((cost, cell));
                }
            }
        }
    }
    let at = best.map_or(window.middle(), |(_, cell)| cell.area.middle());
    // Whatever it covers there, it is in the window.
    let width = super::block::balloon_width(no);
    let half = [width / 2.0 + 1.0, BALLOON / 2.0 + 1.0];
    let at = [0, 1].map(|i| at[i].clamp(window.min[i] + half[i], window.max[i] - half[i]));
    Cell {
        label: no.to_owned(),
        area: Area::around(at, width, BALLOON),
    }
}
