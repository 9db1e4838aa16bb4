//! Nominal value, limits and uncertainty of a characteristic, from what is written and from the geometry.

use rust_decimal::Decimal;

use super::characteristic::{Subject, Written};
use super::problem::Sink;
use super::section::Section;
use super::sheet::Sheet;
use super::value::Found;
use crate::exercise::geometry::{self, Asked, FeatureState, distance_kind};
use crate::exercise::model::{DistanceKind, Owner, Quantity, Side};
use crate::metrology::tolerance::{Limits, SizeContext, Tolerance, ToleranceKind};
use crate::units::{capital, decimal_from_f64, show_number};

/// What was worked out.
pub(super) struct Worked {
    pub(super) nominal: Decimal,
    pub(super) tolerance: Tolerance,
    pub(super) limits: Limits,
    pub(super) u_lab: Decimal,
}

pub(super) fn out(
    section: &Section<'_>,
    subject: &Subject,
    written: &Written,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Worked> {
    let tolerance = tolerance(section, written, sheet, sink);
    let states: Option<Vec<FeatureState>> = subject
        .features
        .iter()
        .map(|f| sheet.state(f, written.options.datum))
        .collect();
    let states = states?;
    let asked = asked(subject, written);
    let nominal = nominal(section, subject, &states, asked, sheet, sink);
    let uncertainty = nominal.and_then(|n| uncertainty(section, written, &states, asked, n, sheet, sink));
    let (tolerance, nominal) = (tolerance?, nominal?);
    let limits = limits(section, subject, written, &states, tolerance, nominal, sheet, sink);
    Some(Worked {
        nominal,
        tolerance,
        limits: limits?,
        u_lab: uncertainty?,
    })
}

/// The same question, asked of the subject's own short list of features.
pub(super) fn asked(subject: &Subject, written: &Written) -> Asked {
    let owner = if subject.is_pair() {
        Owner::Between(0)
    } else {
        Owner::Feature(0)
    };
    Asked {
        owner,
        of: written.of.value,
        along: written.options.along,
    }
}

fn nominal(
    section: &Section<'_>,
    subject: &Subject,
    states: &[FeatureState],
    asked: Asked,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Decimal> {
    let decimals = sheet.decimals?;
    let pair: Vec<_> = subject.pair.iter().cloned().collect();
    let from_geometry = geometry::nominal_value(&subject.features, &pair, states, asked, decimals);
    let Some(from_geometry) = from_geometry else {
        let what = format!("the {} does not follow from this geometry", named(asked.of));
        sink.error(
            section.value_at("of"),
            what,
            "Check the features that it is measured on.",
        );
        return None;
    };
    if !section.has("nominal") {
        return Some(from_geometry);
    }
    let given: Found<Decimal> = section.get("nominal", sink)?;
    // A print may round: half of the last place of a report is no contradiction.
    let half = Decimal::new(5, decimals + 1);
    if (given.value - from_geometry).abs() > half {
        let what = format!(
            "the nominal {} contradicts the geometry, which gives {from_geometry}",
            given.value
        );
        sink.error(given.at, what, "Mend the one that is wrong, or leave `nominal` out.");
        return None;
    }
    Some(given.value)
}

fn tolerance(section: &Section<'_>, written: &Written, sheet: &Sheet, sink: &mut Sink<'_>) -> Option<Tolerance> {
    if let Some(found) = written.tolerance {
        return Some(found.value);
    }
    if section.has("tolerance") {
        return None;
    }
    let of = written.of.value;
    let (why, mend) = if of.is_geometrical() {
        (
            "the general one is of lengths",
            "Add a line such as `tolerance = \"max 0.05\"`.",
        )
    } else if of.is_angle() {
        (
            "the general one is of lengths",
            "Add a line such as `tolerance = \"±0.1\"`, in degrees.",
        )
    } else if sheet.has_general {
        return sheet.general;
    } else {
        (
            "there is no general one",
            "Add a line such as `tolerance = \"±0.05\"`, or `general_tolerance` at the top.",
        )
    };
    sink.absent(
        section.at,
        format!("the {} has no tolerance, and {why}", named(of)),
        mend,
    );
    sink.about("tolerance");
    None
}

#[expect(
    clippy::too_many_arguments,
    reason = "all of it decides the limits, and nothing else needs it together"
)]
fn limits(
    section: &Section<'_>,
    subject: &Subject,
    written: &Written,
    states: &[FeatureState],
    tolerance: Tolerance,
    nominal: Decimal,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Limits> {
    let context = SizeContext {
        unit: sheet.units?,
        decimals: sheet.decimals?,
        kind: kind(subject, written, states),
    };
    match tolerance.limits(nominal, &context) {
        Ok(limits) => Some(limits),
        Err(error) => {
            let message = error.to_string();
            let (what, mend) = message
                .rsplit_once("; ")
                .unwrap_or((&message, "write another one, as in ±0.05"));
            let general = if written.tolerance.is_none() {
                "by the general tolerance, "
            } else {
                ""
            };
            let at = written.tolerance.map_or(section.at, |found| found.at);
            sink.error(at, format!("{general}{what}"), format!("{}.", capital(mend)));
            sink.about("tolerance");
            None
        }
    }
}

fn kind(subject: &Subject, written: &Written, states: &[FeatureState]) -> ToleranceKind {
    let of = written.of.value;
    match of {
        of if of.is_geometrical() && written.options.maximum_material => ToleranceKind::GeometricalWithBonus,
        of if of.is_geometrical() => ToleranceKind::Geometrical,
        Quantity::Angle => {
            let sides = states.iter().map(|s| s.length).filter(|l| *l > 0.0);
            ToleranceKind::Angle {
                shorter_side: sides.reduce(f64::min).and_then(decimal_from_f64),
            }
        }
        Quantity::Diameter | Quantity::Length | Quantity::Width => {
            let inside = subject.features.first().and_then(|f| f.side) != Some(Side::Outside);
            ToleranceKind::Size { inside }
        }
        Quantity::Distance => match subject.features.as_slice() {
            [a, b] => match distance_kind(&a.shape, &b.shape) {
                Some(DistanceKind::Outside) => ToleranceKind::Size { inside: false },
                Some(DistanceKind::Inside) => ToleranceKind::Size { inside: true },
                Some(DistanceKind::Step | DistanceKind::Centres) | None => ToleranceKind::Distance,
            },
            _ => ToleranceKind::Distance,
        },
        _ => ToleranceKind::Coordinate,
    }
}

fn uncertainty(
    section: &Section<'_>,
    written: &Written,
    states: &[FeatureState],
    asked: Asked,
    nominal: Decimal,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Decimal> {
    if section.has("expanded_uncertainty") {
        return written.own_uncertainty;
    }
    let measurement = sheet.measurement.as_ref()?;
    let feature = if matches!(asked.owner, Owner::Feature(_)) {
        states.first()
    } else {
        None
    };
    let (base, per_length) = (measurement.expanded_uncertainty, measurement.per_length);
    let found = geometry::lab_uncertainty(base, per_length, nominal, feature, asked);
    if found.is_none() {
        let what = format!("the {} needs an uncertainty of its own", asked.of.word());
        sink.absent(
            section.at,
            what,
            "Add a line such as `expanded_uncertainty = 0.02`, in degrees, k = 2.",
        );
        sink.about("expanded_uncertainty");
    }
    found
}

/// A quantity for a sentence after "the".
pub(super) fn named(of: Quantity) -> String {
    of.axis()
        .map_or_else(|| of.word().to_owned(), |axis| format!("{} coordinate", axis.letter()))
}

/// A number for a message, short.
pub(super) fn short(value: Decimal) -> String {
    show_number(value.round_sf(2).unwrap_or(value).normalize()).replace('\u{2212}', "-")
}
