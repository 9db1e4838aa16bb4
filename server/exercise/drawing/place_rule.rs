//! One value between its limits: a short rule with a stroke at each limit, the value where it lies, its uncertainty as a
//! whisker. What is outside simply lies outside. For people who hear the page the same is said in words.

use rust_decimal::Decimal;

use super::svg::{Svg, n};
use crate::metrology::tolerance::Limits;
use crate::units::{decimal_to_f64, show_length};

/// Width and height of the picture, in its own units; the sheet shows sixteen as the height of a letter.
const WIDTH: f64 = 160.0;
const HEIGHT: f64 = 30.0;
/// Where the rule lies.
const BASE: f64 = 13.0;
/// Where the limits lie, of two.
const LOWER: f64 = 42.0;
const UPPER: f64 = 118.0;
/// Where zero lies when there is an upper limit alone, and the largest value when there is a lower one alone.
const END: f64 = 8.0;

/// A value to be shown.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceRule {
    /// Limits as printed.
    pub limits: Limits,
    /// Width of the guard band, where the decision rule has one.
    pub guard: Option<Decimal>,
    /// The pair's own number.
    pub value: Option<Decimal>,
    /// Expanded uncertainty of it.
    pub expanded: Option<Decimal>,
    /// The reference and its expanded uncertainty, only where the truth of the plate may be shown.
    pub reference: Option<(Decimal, Decimal)>,
    /// Places for the words.
    pub decimals: u32,
}

/// From values to the picture.
struct Ruler {
    zero: f64,
    per_unit: f64,
}

impl Ruler {
    fn of(limits: &Limits) -> Option<Self> {
        let (a, b, from, to) = match (limits.lower.map(decimal_to_f64), limits.upper.map(decimal_to_f64)) {
            (Some(lower), Some(upper)) => (lower, upper, LOWER, UPPER),
            (None, Some(upper)) => (upper.min(0.0), upper, END, UPPER),
            (Some(lower), None) => (lower, lower + lower.abs().max(1.0), LOWER, WIDTH - END),
            (None, None) => return None,
        };
        let per_unit = (to - from) / (b - a);
        per_unit.is_finite().then_some(Self {
            zero: from - a * per_unit,
            per_unit,
        })
    }

    fn at(&self, value: Decimal) -> f64 {
        self.zero + self.per_unit * decimal_to_f64(value)
    }
}

/// The picture of a value; empty where there are no limits or they leave no room.
#[must_use]
pub fn place_rule(rule: &PlaceRule) -> String {
    let Some(ruler) = Ruler::of(&rule.limits) else {
        return String::new();
    };
    let mut out = Svg::default();
    let words = in_words(rule);
    out.open(
        "svg",
        &format!(
            "class=\"place\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{words}\"",
            n(WIDTH),
            n(HEIGHT)
        ),
    );
    let from = if rule.limits.lower.is_none() { END } else { 2.0 };
    let to = if rule.limits.upper.is_none() {
        WIDTH - END
    } else {
        WIDTH - 2.0
    };
    line(&mut out, [from, BASE], [to, BASE], 1.0, "");
    if rule.limits.lower.is_none() {
        // A geometrical deviation begins at nothing.
        line(&mut out, [END, BASE - 4.0], [END, BASE + 4.0], 1.0, "");
    }
    for limit in [rule.limits.lower, rule.limits.upper].into_iter().flatten() {
        let x = ruler.at(limit);
        line(&mut out, [x, BASE - 10.0], [x, BASE + 10.0], 2.0, "");
    }
    draw_guard(&mut out, &ruler, rule);
    if let Some((reference, expanded)) = rule.reference {
        draw_reference(&mut out, ruler.at(reference), ruler.per_unit * decimal_to_f64(expanded));
    }
    if let Some(value) = rule.value {
        let half = rule.expanded.map_or(0.0, |u| ruler.per_unit * decimal_to_f64(u));
        draw_value(&mut out, ruler.at(value), half);
    }
    out.close("svg");
    out.into_text()
}

fn line(out: &mut Svg, a: [f64; 2], b: [f64; 2], width: f64, class: &str) {
    let class = if class.is_empty() {
        String::new()
    } else {
        format!("class=\"{class}\" ")
    };
    out.raw(&format!(
        "<path {class}d=\"M{} {}L{} {}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"/>",
        n(a[0]),
        n(a[1]),
        n(b[0]),
        n(b[1]),
        n(width)
    ));
}

/// Short thin strokes where the guard band ends.
fn draw_guard(out: &mut Svg, ruler: &Ruler, rule: &PlaceRule) {
    let Some(guard) = rule.guard.filter(|g| !g.is_zero()) else {
        return;
    };
    let drawn_in = rule.limits.drawn_in(guard);
    if drawn_in.is_empty() {
        return;
    }
    for inner in [drawn_in.lower, drawn_in.upper].into_iter().flatten() {
        let x = ruler.at(inner);
        line(out, [x, BASE - 5.0], [x, BASE + 5.0], 1.0, "");
    }
}

/// The pair's number: a full dot with a heavy whisker; off the rule an arrow points to where it lies.
fn draw_value(out: &mut Svg, x: f64, half: f64) {
    if (4.0..=WIDTH - 4.0).contains(&x) {
        if half > 0.0 {
            let (a, b) = ((x - half).max(0.0), (x + half).min(WIDTH));
            line(out, [a, BASE], [b, BASE], 2.5, "pl-whisker");
            for (end, whole) in [(a, x - half), (b, x + half)] {
                if (end - whole).abs() < 0.01 {
                    line(out, [end, BASE - 4.0], [end, BASE + 4.0], 1.5, "pl-whisker");
                }
            }
        }
        out.raw(&format!(
            "<circle class=\"pl-value\" cx=\"{}\" cy=\"{}\" r=\"4.5\" fill=\"currentColor\"/>",
            n(x),
            n(BASE)
        ));
    } else {
        let (tip, back) = if x < 4.0 { (0.0, 10.0) } else { (WIDTH, WIDTH - 10.0) };
        out.raw(&format!(
            "<path class=\"pl-value\" d=\"M{} {}L{} {}L{} {}Z\" fill=\"currentColor\"/>",
            n(tip),
            n(BASE),
            n(back),
            n(BASE - 5.5),
            n(back),
            n(BASE + 5.5)
        ));
    }
}

/// The reference: an open wedge below the rule, with a thin whisker.
fn draw_reference(out: &mut Svg, x: f64, half: f64) {
    let x = x.clamp(5.0, WIDTH - 5.0);
    let (a, b) = ((x - half).max(0.0), (x + half).min(WIDTH));
    line(out, [a, HEIGHT - 1.5], [b, HEIGHT - 1.5], 1.0, "pl-reference");
    out.raw(&format!(
        "<path class=\"pl-reference\" d=\"M{} {}l4.5 9h-9Z\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.25\"/>",
        n(x),
        n(BASE + 6.0)
    ));
}

/// Where the value lies, in words.
fn in_words(rule: &PlaceRule) -> String {
    let Some(value) = rule.value else {
        return "not measured".to_owned();
    };
    let far = |d: Decimal| show_length(d, rule.decimals);
    match (rule.limits.lower, rule.limits.upper) {
        (_, Some(upper)) if value > upper => format!("{} above the upper limit", far(value - upper)),
        (Some(lower), _) if value < lower => format!("{} below the lower limit", far(lower - value)),
        (Some(lower), Some(upper)) if value - lower < upper - value => {
            format!("within the limits, {} above the lower one", far(value - lower))
        }
        (_, Some(upper)) => format!("within the limits, {} below the upper one", far(upper - value)),
        (Some(lower), None) => format!("within the limit, {} above it", far(value - lower)),
        (None, None) => "no limits".to_owned(),
    }
}

/// A mark from 0 to 100 on a short rule; the number stands beside it, so there are no words.
#[must_use]
pub fn mark_rule(mark: Decimal) -> String {
    let x = 6.0 + 0.88 * decimal_to_f64(mark).clamp(0.0, 100.0);
    format!(
        "<svg class=\"place place-mark\" viewBox=\"0 0 100 16\" aria-hidden=\"true\" focusable=\"false\"><path d=\"M6 2v12M94 2v12M6 8h88M50 6v4\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.25\"/><circle class=\"pl-value\" cx=\"{}\" cy=\"8\" r=\"4\" fill=\"currentColor\"/></svg>",
        n(x)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn rule(lower: Option<&str>, upper: Option<&str>, value: Option<&str>) -> PlaceRule {
        PlaceRule {
            limits: Limits {
                lower: lower.map(dec),
                upper: upper.map(dec),
            },
            guard: None,
            value: value.map(dec),
            expanded: Some(dec("0.008")),
            reference: None,
            decimals: 3,
        }
    }

    #[test]
    fn the_place_is_said_in_words() {
        let check = |lower, upper, value, expected: &str| assert_eq!(in_words(&rule(lower, upper, value)), expected);
        check(
            Some("31.95"),
            Some("32.05"),
            Some("32.041"),
            "within the limits, 0.009 below the upper one",
        );
        check(
            Some("31.95"),
            Some("32.05"),
            Some("31.951"),
            "within the limits, 0.001 above the lower one",
        );
        check(
            Some("31.95"),
            Some("32.05"),
            Some("32.062"),
            "0.012 above the upper limit",
        );
        check(
            Some("31.95"),
            Some("32.05"),
            Some("31.9"),
            "0.050 below the lower limit",
        );
        check(
            None,
            Some("0.1"),
            Some("0.02"),
            "within the limits, 0.080 below the upper one",
        );
        check(None, Some("0.1"), None, "not measured");
    }

    #[test]
    fn limits_and_values_lie_where_they_belong() {
        let middle = |value| {
            let text = place_rule(&rule(Some("31.95"), Some("32.05"), Some(value)));
            text.split("cx=\"")
                .nth(1)
                .and_then(|t| t.split('"').next())
                .map(str::to_owned)
        };
        // Limits at 42 and 118, 0.1 apart: 760 to the unit.
        assert_eq!(middle("32").as_deref(), Some("80"));
        assert_eq!(middle("32.05").as_deref(), Some("118"));
        assert_eq!(middle("32.08").as_deref(), Some("140.8"));
        assert_eq!(middle("33"), None, "far off there is an arrow and no dot");
    }

    #[test]
    fn limits_without_room_make_no_picture() {
        assert_eq!(place_rule(&rule(Some("1"), Some("1"), Some("1"))), "");
        assert_eq!(place_rule(&rule(None, None, Some("1"))), "");
        assert_eq!(place_rule(&rule(None, Some("0"), Some("1"))), "");
    }
}
