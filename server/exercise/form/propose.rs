//! What is usual: a datum frame for a body, a measurement for a unit, an empty form to begin with.

use rust_decimal::Decimal;

use super::number::{in_file, words};
use super::{Fields, Form, text};

/// Fields from pairs.
pub(super) fn fields<const N: usize>(pairs: [(&'static str, &str); N]) -> Fields {
    pairs.into_iter().map(|(key, value)| (key, value.to_owned())).collect()
}

/// What a careful pair achieves on a small bridge machine in a school (common practice, no published source).
#[must_use]
pub fn usual_measurement(units: &str) -> Fields {
    let [u, touch, tip] = if units == "inch" {
        ["0.0003", "0.0001", "0.12"]
    } else {
        ["0.008", "0.002", "3.0"]
    };
    fields([
        ("expanded_uncertainty", u),
        ("per_length", "4e-6"),
        ("repeatability", touch),
        ("tip_diameter", tip),
    ])
}

/// Length, width and thickness of a blank.
#[derive(Debug, Clone, Default)]
pub struct Blank {
    /// Along X.
    pub length: String,
    /// Along Y.
    pub width: String,
    /// Along Z.
    pub thickness: String,
}

impl Form {
    /// A new exercise: a rectangular blank with its usual datum frame and nothing on it yet.
    #[must_use]
    pub fn blank(code: &str, title: &str, units: &str, blank: &Blank) -> Self {
        let (decimals, general) = if units == "inch" {
            ("4", "±0.005")
        } else {
            ("3", "±0.1")
        };
        let mut form = Self {
            head: fields([
                ("code", code),
                ("title", title),
                ("units", units),
                ("decimals", decimals),
                ("general_tolerance", general),
            ]),
            body: fields([("thickness", blank.thickness.trim()), ("material", "aluminium")]),
            measurement: usual_measurement(units),
            ..Self::default()
        };
        form.rectangle(&blank.length, &blank.width);
        propose_datums(&mut form);
        form
    }

    /// Makes the outline a rectangle from the origin.
    pub fn rectangle(&mut self, length: &str, width: &str) {
        let (l, w) = (length.trim(), width.trim());
        self.body.insert("outline", format!("0 0\n{l} 0\n{l} {w}\n0 {w}"));
    }

    /// Corners of the outline, where all of them can be read.
    pub(super) fn corners(&self) -> Option<Vec<[Decimal; 2]>> {
        let lines = text(&self.body, "outline").lines().filter(|l| !l.trim().is_empty());
        let corner = |line: &str| -> Option<[Decimal; 2]> {
            let numbers: Option<Vec<Decimal>> = words(line).into_iter().map(number).collect();
            numbers?.try_into().ok()
        };
        let corners: Vec<[Decimal; 2]> = lines.map(corner).collect::<Option<_>>()?;
        (corners.len() >= 3).then_some(corners)
    }
}

/// A typed number.
pub(super) fn number(typed: &str) -> Option<Decimal> {
    let text = in_file(typed)?;
    text.parse().ok().or_else(|| Decimal::from_scientific(&text).ok())
}

/// Where a share of the way between two numbers is, in round figures.
fn between(a: Decimal, b: Decimal, per_cent: i64, places: u32) -> Decimal {
    (a + (b - a) * Decimal::from(per_cent) / Decimal::ONE_HUNDRED)
        .round_dp(places)
        .normalize()
}

/// Puts the usual datum frame in place: the top face, then of left and front face the longer one, then the other; touches
/// as far apart as the faces allow. Where the body cannot be read nothing changes.
pub fn propose_datums(form: &mut Form) {
    let (Some(corners), Some(thickness)) = (form.corners(), number(text(&form.body, "thickness"))) else {
        return;
    };
    let places = if text(&form.head, "units") == "inch" { 2 } else { 0 };
    let depth = (-thickness / Decimal::TWO).round_dp(places.max(1)).normalize();
    let front = face(&corners, 1);
    let left = face(&corners, 0);
    let longer_front = front.1[1] - front.1[0] >= left.1[1] - left.1[0];
    let side = |name: &str, letter: &str, (at, span): (Decimal, [Decimal; 2]), touches: &[i64]| {
        let lines: Vec<String> = touches
            .iter()
            .map(|share| format!("{} {depth}", between(span[0], span[1], *share, places)))
            .collect();
        fields([
            ("letter", letter),
            ("face", name),
            ("at", &at.normalize().to_string()),
            ("touches", &lines.join("\n")),
        ])
    };
    let (second, third) = if longer_front {
        (side("front", "B", front, &[10, 90]), side("left", "C", left, &[50]))
    } else {
        (side("left", "B", left, &[10, 90]), side("front", "C", front, &[50]))
    };
    let top = fields([
        ("letter", "A"),
        ("face", "top"),
        ("at", "0"),
        ("touches", &top_touches(&corners, places).join("\n")),
    ]);
    form.datums = [top, second, third];
}

/// The outermost face on the low side of an axis: its coordinate, and from where to where its longest edge goes.
fn face(corners: &[[Decimal; 2]], axis: usize) -> (Decimal, [Decimal; 2]) {
    let along = 1 - axis;
    let at = corners.iter().map(|c| c[axis]).min().unwrap_or_default();
    let edges = corners.iter().zip(corners.iter().cycle().skip(1));
    let spans = edges.filter(|(a, b)| a[axis] == at && b[axis] == at);
    let span = spans
        .map(|(a, b)| [a[along].min(b[along]), a[along].max(b[along])])
        .max_by_key(|s| s[1] - s[0]);
    let box_of = || {
        let all = || corners.iter().map(|c| c[along]);
        [all().min().unwrap_or_default(), all().max().unwrap_or_default()]
    };
    (at, span.unwrap_or_else(box_of))
}

/// Four places near the corners of the box around the outline, each moved towards its middle until it is inside.
fn top_touches(corners: &[[Decimal; 2]], places: u32) -> Vec<String> {
    let range = |axis: usize| {
        let all = || corners.iter().map(|c| c[axis]);
        (all().min().unwrap_or_default(), all().max().unwrap_or_default())
    };
    let ((x0, x1), (y0, y1)) = (range(0), range(1));
    let place = |far_x: bool, far_y: bool| {
        let at = |share: i64| {
            let of = |far: bool| if far { 100 - share } else { share };
            [between(x0, x1, of(far_x), places), between(y0, y1, of(far_y), places)]
        };
        (8..=44)
            .step_by(4)
            .map(at)
            .find(|p| is_inside(corners, *p))
            .unwrap_or_else(|| at(8))
    };
    [(false, false), (true, false), (true, true), (false, true)]
        .into_iter()
        .map(|(x, y)| place(x, y))
        .map(|[x, y]| format!("{x} {y}"))
        .collect()
}

/// Crossing number of the ray to the right.
fn is_inside(corners: &[[Decimal; 2]], p: [Decimal; 2]) -> bool {
    let edges = corners.iter().zip(corners.iter().cycle().skip(1));
    let crossed = edges
        .filter(|(a, b)| (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0]);
    crossed.count() % 2 == 1
}
