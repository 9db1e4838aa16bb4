//! From repeated rounds to a reference: mean, and an uncertainty budget after JCGM 100 (GUM).
//!
//! Lengths are in the exercise's unit, angles in degrees. What the machine, the tip and the temperature do to an angle is
//! taken in proportion to what the class's uncertainty of it is to that of a length.

use rust_decimal::Decimal;

use super::Round;
use crate::cohort::count;
use crate::exercise::geometry::distance_kind;
use crate::exercise::model::{Characteristic, DistanceKind, Exercise, Owner, Quantity};
use crate::metrology::tolerance::{Thermal, length_at_20};
use crate::metrology::uncertainty::{Combined, Contribution, combine};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// What the rounds were made with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Means {
    /// Stated maximum error of the machine at zero length (ISO 10360-2: the constant of A + L/K).
    pub error: f64,
    /// Its growth per unit length (1/K).
    pub error_per_length: f64,
    /// Standard uncertainty of the tip's diameter.
    pub tip: f64,
    /// How far the part may be from the temperature that was written down, in kelvin.
    pub within: f64,
    /// How far the coefficient of expansion may be off, as a fraction of it.
    pub expansion_within: f64,
    /// Whether the values were corrected to 20 degrees Celsius already.
    pub corrected: bool,
}

/// One source of uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What it is.
    pub source: &'static str,
    /// How it was found.
    pub how: String,
    /// Standard uncertainty of the result from it.
    pub u: f64,
    /// Degrees of freedom; none: very many.
    pub degrees: Option<f64>,
}

/// The budget of one characteristic.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// Place on the sheet.
    pub index: usize,
    /// Mean of the rounds, at 20 degrees Celsius.
    pub value: f64,
    /// Means of the rounds by their place, at 20 degrees Celsius.
    pub means: Vec<(usize, f64)>,
    /// Standard deviation between rounds; none with one round.
    pub between: Option<f64>,
    /// Pooled standard deviation within rounds; none where nothing was read twice.
    pub within: Option<f64>,
    /// Sources, the scatter of the rounds first.
    pub parts: Vec<Part>,
    /// Put together.
    pub combined: Combined,
    /// Factor for 95.45 % with the effective degrees of freedom.
    pub k: f64,
    /// Expanded uncertainty.
    pub expanded: f64,
}

impl Budget {
    /// Value and expanded uncertainty as they are kept: two places more than the report carries, U rounded up.
    #[must_use]
    pub fn rounded(&self, decimals: u32) -> Option<(Decimal, Decimal)> {
        let value = decimal_from_f64(self.value)?.round_dp(decimals + 2);
        let expanded = crate::units::round_up(decimal_from_f64(self.expanded)?, decimals + 2);
        Some((value, expanded))
    }
}

/// Coverage of the reference's interval.
const COVERAGE: f64 = 0.9545;

/// Root of 3: half width over standard uncertainty of a rectangular distribution.
const ROOT_3: f64 = 1.732_050_807_568_877_2;

/// The budget of one characteristic; `None` where no round has a value of it.
#[must_use]
pub fn budget(exercise: &Exercise, index: usize, rounds: &[Round], means: &Means) -> Option<Budget> {
    let c = exercise.characteristics.get(index)?;
    let alpha = exercise.body.material.expansion();
    let length = length(c);
    let read: Vec<(usize, &Round, Vec<f64>)> = rounds
        .iter()
        .enumerate()
        .filter_map(|(i, r)| {
            let values = r.values.get(&c.no).filter(|v| !v.is_empty())?;
            Some((i, r, values.iter().map(|v| decimal_to_f64(*v)).collect()))
        })
        .collect();
    let at_20 = |r: &Round, value: f64| match r.celsius.filter(|_| !means.corrected && length > 0.0) {
        Some(celsius) => {
            let part = Thermal {
                per_kelvin: alpha,
                celsius,
            };
            length_at_20(value, part, None).map_or(value, |l| l.length)
        }
        None => value,
    };
    let round_means: Vec<(usize, f64)> = read.iter().map(|(i, r, v)| (*i, at_20(r, mean(v)))).collect();
    let values: Vec<f64> = round_means.iter().map(|(_, m)| *m).collect();
    if values.is_empty() {
        return None;
    }
    let scatter = Scatter {
        between: deviation(&values),
        within: pooled(read.iter().map(|(_, _, v)| v.as_slice())),
        rounds: values.len(),
        readings: read.iter().map(|(_, _, v)| v.len()).sum(),
    };
    let mut parts = vec![scatter.part(c)];
    parts.extend(machine_parts(exercise, c, means));
    let celsius = read.iter().filter_map(|(_, r, _)| r.celsius);
    let furthest = celsius.map(|t| (t - 20.0).abs()).fold(0.0, f64::max);
    parts.extend(thermal_parts(alpha * length, furthest, means));
    parts.extend(last_place(c, rounds));
    let contributions: Vec<Contribution> = parts.iter().map(Part::contribution).collect();
    let combined = combine(&contributions).ok()?;
    let expanded = combined.expanded(COVERAGE).ok()?;
    Some(Budget {
        index,
        value: mean(&values),
        means: round_means,
        between: scatter.between,
        within: scatter.within.map(|(s, _)| s),
        parts,
        combined,
        k: expanded.k,
        expanded: expanded.expanded,
    })
}

/// Values are written in whole steps of their last place.
fn last_place(c: &Characteristic, rounds: &[Round]) -> Option<Part> {
    let places = rounds
        .iter()
        .filter_map(|r| r.values.get(&c.no)?.iter().map(Decimal::scale).min());
    let step = decimal_to_f64(Decimal::new(1, places.min()?.min(20)));
    let how = format!("step {step}, rectangular");
    Some(part("last place", how, step / 2.0 / ROOT_3))
}

impl Part {
    const fn contribution(&self) -> Contribution {
        Contribution {
            sensitivity: 1.0,
            u: self.u,
            degrees: self.degrees,
        }
    }
}

const fn part(source: &'static str, how: String, u: f64) -> Part {
    Part {
        source,
        how,
        u,
        degrees: None,
    }
}

/// The length that temperature and the machine's error per length act on.
fn length(c: &Characteristic) -> f64 {
    if c.of.is_geometrical() || c.of.is_angle() {
        0.0
    } else {
        decimal_to_f64(c.nominal).abs()
    }
}

fn mean(values: &[f64]) -> f64 {
    let first = values.first().copied().unwrap_or_default();
    first + values.iter().map(|v| v - first).sum::<f64>() / count(values.len().max(1))
}

/// Standard deviation; `None` of fewer than two.
fn deviation(values: &[f64]) -> Option<f64> {
    let m = mean(values);
    let squares: f64 = values.iter().map(|v| (v - m).powi(2)).sum();
    (values.len() > 1).then(|| (squares / count(values.len() - 1)).sqrt())
}

/// Pooled standard deviation of groups and its degrees of freedom.
fn pooled<'v>(groups: impl Iterator<Item = &'v [f64]>) -> Option<(f64, f64)> {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for group in groups.filter(|g| g.len() > 1) {
        let m = mean(group);
        squares += group.iter().map(|v| (v - m).powi(2)).sum::<f64>();
        freedom += count(group.len() - 1);
    }
    (freedom > 0.0).then(|| ((squares / freedom).sqrt(), freedom))
}

/// What the rounds themselves say of their scatter.
struct Scatter {
    between: Option<f64>,
    within: Option<(f64, f64)>,
    rounds: usize,
    readings: usize,
}

impl Scatter {
    /// The larger of what the rounds scatter and what the readings within them would make (GUM H.5: scatter between is never
    /// taken as smaller than chance makes it); with one round what the class achieves stands in for it.
    fn part(&self, c: &Characteristic) -> Part {
        let rounds = count(self.rounds);
        let by_rounds = self.between.map(|s| (s / rounds.sqrt(), rounds - 1.0));
        let by_readings = self
            .within
            .map(|(s, freedom)| (s / count(self.readings).sqrt(), freedom));
        let Some((u, freedom)) = by_rounds else {
            return part(
                "one round only",
                "half of the class's own U in place of scatter between rounds".to_owned(),
                decimal_to_f64(c.u_lab) / 2.0,
            );
        };
        match by_readings {
            Some((larger, freedom)) if larger > u => Part {
                source: "repeatability within rounds",
                how: format!("s/\u{221A}{}, type A", self.readings),
                u: larger,
                degrees: Some(freedom),
            },
            _ => Part {
                source: "scatter between rounds",
                how: format!("s/\u{221A}{}, type A", self.rounds),
                u,
                degrees: Some(freedom),
            },
        }
    }
}

fn machine_parts(exercise: &Exercise, c: &Characteristic, means: &Means) -> Vec<Part> {
    let mut parts = Vec::new();
    let base = decimal_to_f64(exercise.measurement.expanded_uncertainty);
    let scale = if c.of.is_angle() && base > 0.0 {
        decimal_to_f64(c.u_lab) / base
    } else {
        1.0
    };
    let error = (means.error + means.error_per_length * length(c)) * scale;
    if error > 0.0 {
        let how = "stated error, rectangular, the same in all rounds".to_owned();
        parts.push(part("machine", how, error / ROOT_3));
    }
    let share = tip_share(exercise, c);
    if share > 0.0 && means.tip > 0.0 {
        let how = if share < 1.0 {
            "half of the tip's diameter"
        } else {
            "the tip's diameter"
        };
        parts.push(part("tip", how.to_owned(), means.tip * share));
    }
    parts
}

/// How much of the tip's diameter is in a value: all of it in sizes, half in the place of a surface, nothing in centres.
fn tip_share(exercise: &Exercise, c: &Characteristic) -> f64 {
    match (c.of, c.owner) {
        (of, _) if of.is_size() => 1.0,
        (Quantity::X | Quantity::Y | Quantity::Z, Owner::Feature(i)) => {
            let surface = exercise.features.get(i).is_some_and(|f| f.shape.normal().is_some());
            if surface { 0.5 } else { 0.0 }
        }
        (Quantity::Distance, Owner::Between(i)) => {
            let shapes = exercise.between.get(i).and_then(|b| {
                let [a, b] = b.features;
                Some((&exercise.features.get(a)?.shape, &exercise.features.get(b)?.shape))
            });
            match shapes.and_then(|(a, b)| distance_kind(a, b)) {
                Some(DistanceKind::Outside | DistanceKind::Inside) => 1.0,
                _ => 0.0,
            }
        }
        _ => 0.0,
    }
}

fn thermal_parts(growth: f64, furthest: f64, means: &Means) -> Vec<Part> {
    let mut parts = Vec::new();
    if growth > 0.0 && means.within > 0.0 {
        let how = format!("\u{00B1}{} K, rectangular", means.within);
        parts.push(part("temperature of the part", how, growth * means.within / ROOT_3));
    }
    if growth > 0.0 && furthest > 0.0 && means.expansion_within > 0.0 {
        let how = format!(
            "{furthest} K from 20 \u{00B0}C, coefficient within {} %",
            means.expansion_within * 100.0
        );
        parts.push(part(
            "expansion",
            how,
            growth * furthest * means.expansion_within / ROOT_3,
        ));
    }
    parts
}
