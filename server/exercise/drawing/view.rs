//! The plan view put together: the largest scale that fits, blocks around it, everything written out.

use super::block::{Placed, Shows};
use super::dimension::Dimension;
use super::improve::TOO_LARGE;
use super::links::{Links, Notes};
use super::paper::{Area, Point, direction, shifted};
use super::plan::{Form, Place, Plan, area_of};
use super::ring::{Arrangement, Surroundings, place};
use super::scale::Scale;
use super::sheet::Sheet;
use super::svg::{Line, Svg, escaped, n, polyline};
use super::symbols::{self, AxisMark};
use super::{DrawingOptions, PaperBox, Picture, View, cutout};
use crate::exercise::model::{Exercise, Owner};

/// From the drawing to the ring of blocks.
const MARGIN: f64 = 9.5;
/// White around everything.
pub(super) const WHITE: f64 = 1.0;

/// Draws the plan view of an exercise.
#[must_use]
pub fn plan_view(exercise: &Exercise, options: &DrawingOptions) -> Picture {
    match options.view {
        View::Around(characteristic) => cutout::around(exercise, characteristic, options),
        View::Whole if options.dimensions => super::full::dimensioned(exercise, options),
        View::Whole => {
            let composed = Composed::of(exercise, &Wanted::plain(options.room_mm, true));
            let mut out = Svg::default();
            composed.draw(&mut out, exercise, options);
            let title = format!("Plan view of {}", exercise.title);
            finished(
                &composed,
                &out.into_text(),
                composed.extent(),
                &composed.lettering(),
                &title,
                "plan",
            )
        }
    }
}

/// Draws an exercise with its dimensions for pages of this size: one picture where plan view and section fit in it together
/// at a good scale, otherwise the plan view and then the section.
#[must_use]
pub fn drawing_pages(exercise: &Exercise, options: &DrawingOptions) -> Vec<Picture> {
    super::full::pages(exercise, options)
}

/// A plan view that is laid out and not yet written.
#[derive(Debug, Clone)]
pub(super) struct Composed {
    pub(super) plan: Plan,
    pub(super) sheet: Sheet,
    pub(super) scale: Scale,
    pub(super) links: Links,
    pub(super) arrangement: Arrangement,
    pub(super) axes: [AxisMark; 2],
}

impl Composed {
    /// Lays the view out at the largest scale that keeps within the room.
    pub(super) fn of(exercise: &Exercise, wanted: &Wanted) -> Self {
        let plan = Plan::of(exercise);
        let room = wanted.room.map(|r| r - 2.0 * WHITE);
        let mut best: Option<(f64, Scale, Prepared)> = None;
        // A plate that takes less than a third of the room is too small to be read, whatever stands around it.
        let body = |s: &&Scale| Sheet::new(**s, exercise.units.mm_per_unit_f64(), plan.extent).area(plan.extent);
        let large = |s: &&Scale| body(s).width() > room[0] / 3.0 || body(s).height() > room[1] / 3.0;
        for scale in Scale::all(exercise.units).iter().filter(large) {
            let all = prepared(exercise, &plan, *scale, wanted);
            let extent = place(&all.0.blocks, &all.1, false).extent;
            let too_much = (extent.width() - room[0]).max(0.0) + (extent.height() - room[1]).max(0.0);
            // Where nothing fits, a smaller scale has to save a good deal of paper to be worth it.
            if best.as_ref().is_none_or(|(least, ..)| too_much < 0.8 * least) {
                best = Some((too_much, *scale, all));
            }
            if too_much <= 0.0 {
                break;
            }
        }
        let (too_much, scale, (links, mut around, sheet, axes)) = best.unwrap_or_else(|| {
            let scale = Scale { paper: 1, part: 1 };
            (0.0, scale, prepared(exercise, &plan, scale, wanted))
        });
        around.too_large = TOO_LARGE[usize::from(too_much > 0.0)];
        let arrangement = place(&links.blocks, &around, wanted.balloons);
        Self {
            plan,
            sheet,
            scale,
            links,
            arrangement,
            axes,
        }
    }

    /// The box of everything, white included.
    pub(super) fn extent(&self) -> Area {
        self.axes
            .iter()
            .fold(self.arrangement.extent, |e, a| e.joined(a.area()))
            .grown(WHITE)
    }

    /// Writes the view.
    pub(super) fn draw(&self, out: &mut Svg, exercise: &Exercise, options: &DrawingOptions) {
        self.draw_part(out, exercise, &[]);
        if options.touches {
            for at in &self.plan.touches {
                symbols::touch(out, self.sheet.at(*at));
            }
        }
        for axis in &self.axes {
            axis.draw(out);
        }
        for dimension in &self.links.dimensions {
            draw_dimension(out, dimension);
        }
        let placed = || self.links.blocks.iter().zip(&self.arrangement.placed);
        for (block, at) in placed() {
            for leader in &at.leaders {
                symbols::leader(out, leader, &block.labels.join(" "));
            }
        }
        for (block, at) in placed() {
            if block.shows == Shows::Datum {
                symbols::datum(out, at);
            } else {
                draw_balloons(out, at, exercise, options);
            }
        }
    }

    /// Writes the lines of the part, those of a feature together under its balloon numbers; `marked` features in dye.
    pub(super) fn draw_part(&self, out: &mut Svg, exercise: &Exercise, marked: &[usize]) {
        draw_plan(&self.plan, &self.sheet, out, exercise, marked);
    }

    /// The boxes of all lettering.
    pub(super) fn lettering(&self) -> Vec<Area> {
        let of_blocks = self.arrangement.placed.iter().flat_map(|p| {
            let notes = p.notes.iter().map(|n| n.area);
            p.cells.iter().map(|c| c.area).chain(notes)
        });
        of_blocks.chain(self.axes.iter().map(AxisMark::letter_box)).collect()
    }
}

/// Writes the lines of the part, those of a feature together under its balloon numbers; `marked` features in dye.
pub(super) fn draw_plan(plan: &Plan, sheet: &Sheet, out: &mut Svg, exercise: &Exercise, marked: &[usize]) {
    let features = std::iter::once(None).chain((0..exercise.features.len()).map(Some));
    for feature in features {
        let lines: Vec<_> = plan.drawn.iter().filter(|d| d.feature == feature).collect();
        if lines.is_empty() {
            continue;
        }
        let nos: Vec<String> = exercise
            .characteristics
            .iter()
            .filter(|c| feature.is_some_and(|i| c.owner == Owner::Feature(i)))
            .map(|c| c.no.to_string())
            .collect();
        let data = if nos.is_empty() {
            String::new()
        } else {
            format!(" data-b=\"{}\"", escaped(&nos.join(" ")))
        };
        let dye = if feature.is_some_and(|i| marked.contains(&i)) {
            " in-dye"
        } else {
            ""
        };
        out.open("g", &format!("class=\"d-feature{dye}\"{data}"));
        for line in lines {
            symbols::draw(out, line, sheet);
        }
        out.close("g");
    }
}

/// Boxes of what else is drawn on the plate, from the sheet and the middles of all features.
pub(super) type Arrows<'a> = &'a dyn Fn(&Sheet, &[Point]) -> Vec<Area>;

/// What a view has to hold.
#[derive(Clone, Copy)]
pub(super) struct Wanted<'a> {
    /// Width and height, white included.
    pub(super) room: [f64; 2],
    /// Whether the balloons will be drawn, and are worth being placed with care.
    pub(super) balloons: bool,
    /// Lines of text beside balloons.
    pub(super) notes: &'a Notes,
    /// Arrows on the plate, which balloons and leaders keep off.
    pub(super) arrows: Arrows<'a>,
}

/// No lines of text.
static NO_NOTES: Notes = Notes::new();

impl Wanted<'static> {
    /// The plate alone.
    pub(super) fn plain(room: [f64; 2], balloons: bool) -> Self {
        Self {
            room,
            balloons,
            notes: &NO_NOTES,
            arrows: &|_, _| Vec::new(),
        }
    }
}

type Prepared = (Links, Surroundings, Sheet, [AxisMark; 2]);

fn prepared(exercise: &Exercise, plan: &Plan, scale: Scale, wanted: &Wanted) -> Prepared {
    let sheet = Sheet::new(scale, exercise.units.mm_per_unit_f64(), plan.extent);
    let body = sheet.area(plan.extent);
    let axes = AxisMark::both(&sheet, body);
    let links = Links::of(exercise, plan, &sheet, wanted.notes);
    let middles: Vec<Point> = plan.places.iter().map(Place::middle).collect();
    let arrows = (wanted.arrows)(&sheet, &middles);
    let ring = axes
        .iter()
        .fold(body.grown(MARGIN), |r, a| r.joined(a.area().grown(1.0)));
    let ring = arrows.iter().fold(ring, |r, a| r.joined(a.grown(2.0)));
    let keep_clear = axes.iter().map(AxisMark::letter_box).collect();
    let holes = plan
        .drawn
        .iter()
        .filter(|d| !matches!(d.form, Form::Chain { .. }))
        .map(|d| sheet.area(area_of(&d.form)));
    let crowded = holes.chain(arrows).collect();
    (
        links,
        Surroundings {
            ring,
            keep_clear,
            crowded,
            room: wanted.room.map(|r| r - 2.0 * WHITE),
            too_large: TOO_LARGE[0],
        },
        sheet,
        axes,
    )
}

fn draw_balloons(out: &mut Svg, placed: &Placed, exercise: &Exercise, options: &DrawingOptions) {
    for cell in &placed.cells {
        let named = exercise.characteristics.iter().find(|c| c.no.as_str() == cell.label);
        let name = named.map_or_else(String::new, |c| {
            format!("Number {}: {}, {}", c.no, exercise.owner_name(c), c.of.word())
        });
        symbols::balloon(out, cell, options.linked, &name);
    }
    out.open("g", "class=\"in-ink\"");
    for note in &placed.notes {
        out.letters(
            note.area.middle(),
            super::svg::Stands::Middle,
            super::lettering::Hand::Figures,
            &note.text,
        );
    }
    out.close("g");
}

pub(super) fn draw_dimension(out: &mut Svg, dimension: &Dimension) {
    let (a, b) = (dimension.from, dimension.to);
    out.open(
        "g",
        &format!("class=\"d-dimension\" data-b=\"{}\"", escaped(&dimension.nos.join(" "))),
    );
    symbols::span(out, a, b);
    for (start, foot) in dimension.extensions.iter().flatten().zip([a, b]) {
        let d = direction(*start, foot);
        out.path(
            Line::Thin,
            &polyline(&[*start, shifted(foot, [d[0] * 1.5, d[1] * 1.5])], false),
        );
    }
    out.close("g");
}

impl From<Area> for PaperBox {
    fn from(area: Area) -> Self {
        Self {
            min: area.min,
            max: area.max,
        }
    }
}

/// The whole `svg` element around what was written for `extent`.
pub(super) fn finished(
    composed: &Composed,
    inner: &str,
    extent: Area,
    lettering: &[Area],
    title: &str,
    class: &str,
) -> Picture {
    Picture {
        svg: whole(inner, extent, title, class),
        scale: composed.scale,
        size_mm: [extent.width(), extent.height()],
        plate: composed.sheet.area(composed.plan.extent).into(),
        lettering: lettering.iter().copied().map(PaperBox::from).collect(),
    }
}

/// The `svg` element for `extent`.
pub(super) fn whole(inner: &str, extent: Area, title: &str, class: &str) -> String {
    let size_mm = [extent.width(), extent.height()];
    format!(
        "<svg class=\"{class}\" xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"{} {} {} {}\" role=\"group\" aria-label=\"{}\">\n{inner}</svg>\n",
        n(size_mm[0]),
        n(size_mm[1]),
        n(extent.min[0]),
        n(extent.min[1]),
        n(size_mm[0]),
        n(size_mm[1]),
        escaped(title)
    )
}
