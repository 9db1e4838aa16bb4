//! How many times deviations are enlarged, and the scale bar that goes with it.

use super::deviations::{Deviation, DeviationSet};
use super::paper::{Area, Point, direction, distance, shifted};
use super::plan::Plan;
use super::sheet::Sheet;
use super::svg::n;
use crate::units::LengthUnit;

/// Length of the longest whole arrow on paper.
const LONGEST: f64 = 15.0;
/// Length of an arrow that is broken because its deviation is gross.
const BROKEN: f64 = 19.0;
/// A deviation of more than this share of the plate is gross: it has a direction and a number, and no length to be
/// compared with the others.
const GROSS: f64 = 0.05;
/// Longest scale bar.
const BAR: f64 = 20.0;

/// The magnification of deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Enlarged {
    /// Paper over part.
    factor: f64,
    unit: LengthUnit,
    /// What counts as gross, in millimetres of the part.
    gross: f64,
}

/// An arrow on paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Arrow {
    pub(super) from: Point,
    pub(super) tip: Point,
    /// Its length says nothing.
    pub(super) broken: bool,
}

impl Enlarged {
    /// The largest of 1, 2, 5, 10, ... to 1 at which no arrow that is not gross is longer than it should be; of the
    /// gross ones where there are no others.
    pub(super) fn of(unit: LengthUnit, plan: &Plan, set: &DeviationSet) -> Self {
        let gross = GROSS * unit.to_mm_f64(plan.extent.width().max(plan.extent.height()));
        let all = || set.reported.iter().chain(&set.corrected).map(|d| length(unit, d));
        let largest = |keep: &dyn Fn(f64) -> bool| all().filter(|d| keep(*d)).fold(0.0, f64::max);
        let ordinary = largest(&|d| d <= gross);
        let reference = if ordinary > 0.0 {
            ordinary
        } else {
            largest(&|d| d.is_finite())
        };
        let mut factor = 0.001;
        for power in [0.001, 0.01, 0.1, 1.0, 10.0, 100.0, 1000.0] {
            for step in [1.0, 2.0, 5.0] {
                if power * step <= 1000.0 && power * step * reference <= LONGEST {
                    factor = power * step;
                }
            }
        }
        // Without ordinary ones the gross ones are drawn as they are.
        let gross = if ordinary > 0.0 { gross } else { f64::INFINITY };
        Self { factor, unit, gross }
    }

    /// As a scale: `200:1`, `1:10`.
    pub(super) fn stated(&self) -> String {
        if self.factor >= 1.0 {
            format!("{}:1", n(self.factor))
        } else {
            format!("1:{}", n((1.0 / self.factor).round()))
        }
    }

    /// Whether a deviation is drawn broken; its amount is then said in words.
    pub(super) fn is_gross(&self, d: &Deviation) -> bool {
        length(self.unit, d) > self.gross
    }

    /// `off 134 mm`, for a deviation that is drawn broken.
    pub(super) fn amount(&self, d: &Deviation) -> String {
        let long = d.dx.hypot(d.dy);
        let digits = if long >= 10.0 {
            format!("{long:.0}")
        } else {
            format!("{long:.2}")
        };
        format!("off {digits} {}", large_unit(self.unit))
    }

    /// The arrow of a deviation of a feature whose middle lies at `from` on paper.
    pub(super) fn arrow(&self, from: Point, d: &Deviation) -> Arrow {
        let long = |v: f64| self.unit.to_mm_f64(v) * self.factor;
        let (dx, dy) = (long(d.dx), long(d.dy));
        if !dx.is_finite() || !dy.is_finite() {
            return Arrow {
                from,
                tip: from,
                broken: false,
            };
        }
        let tip = shifted(from, [dx, -dy]);
        if self.is_gross(d) {
            let way = direction(from, tip);
            return Arrow {
                from,
                tip: shifted(from, [way[0] * BROKEN, way[1] * BROKEN]),
                broken: true,
            };
        }
        Arrow {
            from,
            tip,
            broken: false,
        }
    }

    /// Boxes of the arrows, which balloons and leaders keep off.
    pub(super) fn areas(&self, set: &DeviationSet, sheet: &Sheet, places: &[Point]) -> Vec<Area> {
        let all = set.reported.iter().chain(&set.corrected);
        all.filter_map(|d| {
            let arrow = self.arrow(sheet.at(*places.get(d.feature)?), d);
            Some(Area::of([arrow.from, arrow.tip]).grown(1.0))
        })
        .collect()
    }

    /// The scale bar: what it stands for, in words, and its length on paper. It stands for 1, 2 or 5 times a power of
    /// ten of a thousandth of the unit and is as long as it may be.
    pub(super) fn bar(&self) -> (String, f64) {
        let small = self.unit.to_mm_f64(1e-3) * self.factor;
        let mut best = (1.0, small);
        for power in [0.1, 1.0, 10.0, 100.0, 1e3, 1e4, 1e5, 1e6] {
            for step in [1.0, 2.0, 5.0] {
                if power * step * small <= BAR {
                    best = (power * step, power * step * small);
                }
            }
        }
        let (thousandths, long) = best;
        let text = if thousandths >= 1000.0 {
            format!("{} {}", n(thousandths / 1000.0), large_unit(self.unit))
        } else {
            format!("{} {}", n(thousandths), small_unit(self.unit))
        };
        (text, long)
    }
}

/// Length of a deviation in millimetres of the part.
fn length(unit: LengthUnit, d: &Deviation) -> f64 {
    unit.to_mm_f64(d.dx.hypot(d.dy))
}

/// What shops call a thousandth of the unit.
pub(super) const fn small_unit(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Mm => "µm",
        LengthUnit::Inch => "thou",
    }
}

const fn large_unit(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Mm => "mm",
        LengthUnit::Inch => "inch",
    }
}

/// Whether the arrow is too short to be seen as one.
pub(super) fn is_dot(arrow: &Arrow) -> bool {
    distance(arrow.from, arrow.tip) < 1.4
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::drawing::paper::Area;

    fn enlarged(unit: LengthUnit, off: &[[f64; 2]]) -> Enlarged {
        let plan = Plan {
            outline: Vec::new(),
            drawn: Vec::new(),
            places: Vec::new(),
            touches: Vec::new(),
            extent: Area {
                min: [0.0; 2],
                max: [100.0, 60.0],
            },
            nothing: 1e-4,
            relief: crate::exercise::drawing::relief::Relief::default(),
        };
        let reported = off
            .iter()
            .map(|[dx, dy]| Deviation {
                feature: 0,
                dx: *dx,
                dy: *dy,
                outside: false,
            })
            .collect();
        Enlarged::of(
            unit,
            &plan,
            &DeviationSet {
                reported,
                ..DeviationSet::default()
            },
        )
    }

    #[test]
    fn the_magnification_is_a_round_number_and_is_stated_with_a_bar() {
        let check = |unit, off: &[[f64; 2]], stated: &str, bar: &str, long: f64| {
            let e = enlarged(unit, off);
            assert_eq!((e.stated().as_str(), e.bar().0.as_str()), (stated, bar));
            assert!((e.bar().1 - long).abs() < 1e-9, "{}", e.bar().1);
        };
        // 0.122 mm at 100:1 is 12.2 mm; at 200:1 it would be longer than 15 mm. 200 µm at 100:1 are 20 mm.
        check(LengthUnit::Mm, &[[0.122, 0.0], [0.119, 0.003]], "100:1", "200 µm", 20.0);
        check(LengthUnit::Mm, &[[0.0, -1.5]], "10:1", "2 mm", 20.0);
        // 0.005 inch are 0.127 mm; 5 thou at 100:1 are 12.7 mm.
        check(LengthUnit::Inch, &[[0.005, 0.0]], "100:1", "5 thou", 12.7);
        check(LengthUnit::Mm, &[], "1000:1", "20 µm", 20.0);
        check(LengthUnit::Mm, &[[60.0, 0.0]], "1:5", "100 mm", 20.0);
    }

    #[test]
    fn a_gross_deviation_is_broken_and_does_not_set_the_scale() {
        let e = enlarged(LengthUnit::Mm, &[[0.05, 0.0], [-60.0, 0.0]]);
        assert_eq!(e.stated(), "200:1");
        let gross = Deviation {
            feature: 0,
            dx: -60.0,
            dy: 0.0,
            outside: true,
        };
        let arrow = e.arrow([0.0, 0.0], &gross);
        assert!(arrow.broken && (arrow.tip[0] + BROKEN).abs() < 1e-9);
        assert_eq!(e.amount(&gross), "off 60 mm");
        assert!(!e.arrow([0.0, 0.0], &Deviation { dx: 0.05, ..gross }).broken);
    }
}
