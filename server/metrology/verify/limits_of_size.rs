//! Families of limits and of tolerance arithmetic: ISO 286-1, ISO 2768-1, fits, position, length at 20 C, inch and mm.

use rust_decimal::Decimal;
use serde_json::{Map, Value, json};

use super::Family;
use super::by_rule::by_rule;
use super::input::number;
use super::typed::{decimal, optional_number, text};
use crate::metrology::tolerance::{
    Fit, GeneralClass, IsoClass, IsoDeviations, Limits, MaterialCondition, Thermal, bonus, iso2768_angular_minutes,
    iso2768_linear, iso2768_radius, length_at_20, position, virtual_condition, within_zone,
};
use crate::units::{LengthUnit, decimal_to_f64};

/// The families of this file.
pub(super) const FAMILIES: &[Family] = &[
    Family {
        name: "iso286_limits",
        compute: iso286_limits,
        compare: by_rule,
    },
    Family {
        name: "tolerance_arithmetic",
        compute: tolerance_arithmetic,
        compare: by_rule,
    },
];

fn iso286_limits(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match text(input, "kind")? {
        "class" => {
            let nominal = decimal(input, "nominal")?;
            let IsoDeviations { lower_um, upper_um } = class(input, "class")?.deviations(nominal).map_err(said)?;
            let limit = |um: Decimal| decimal_to_f64(nominal + um * Decimal::new(1, 3));
            Ok(json!({
                "lower_um": decimal_to_f64(lower_um),
                "upper_um": decimal_to_f64(upper_um),
                "min_mm": limit(lower_um),
                "max_mm": limit(upper_um),
            }))
        }
        other => Err(unknown(other, "class")),
    }
}

fn tolerance_arithmetic(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match text(input, "kind")? {
        "iso2768_linear" => plus_minus(iso2768_linear(decimal(input, "nominal")?, general_class(input)?)),
        "iso2768_radius" => plus_minus(iso2768_radius(decimal(input, "nominal")?, general_class(input)?)),
        "iso2768_angular" => angular(input),
        "fit" => fit(input),
        "position" => position_alone(input),
        "position_material" => position_with_material(input),
        "length_at_20" => length(input),
        "inch_to_mm" => {
            let mm = LengthUnit::Inch.to_mm(decimal(input, "inch")?);
            Ok(json!({ "mm": decimal_to_f64(mm), "mm_exact": mm.to_string() }))
        }
        "mm_to_inch" => Ok(json!({ "inch": decimal_to_f64(LengthUnit::Inch.from_mm(decimal(input, "mm")?)) })),
        other => Err(unknown(
            other,
            "iso2768_linear, iso2768_radius, iso2768_angular, fit, position, position_material, length_at_20, inch_to_mm, mm_to_inch",
        )),
    }
}

fn plus_minus(amount: Option<Decimal>) -> Result<Value, String> {
    let amount = amount.ok_or("ISO 2768-1 gives nothing for this size and class")?;
    Ok(json!({ "plus_minus": decimal_to_f64(amount) }))
}

fn angular(input: &Value) -> Result<Value, String> {
    let minutes = iso2768_angular_minutes(decimal(input, "shorter_side")?, general_class(input)?)
        .ok_or("ISO 2768-1 needs a shorter side above zero")?;
    let degrees = Decimal::from(minutes) / Decimal::from(60);
    Ok(json!({ "plus_minus_minutes": minutes, "plus_minus_degrees": decimal_to_f64(degrees) }))
}

fn fit(input: &Value) -> Result<Value, String> {
    let (hole, shaft) = (class(input, "hole")?, class(input, "shaft")?);
    let fit = Fit::of_classes(decimal(input, "nominal")?, hole, shaft).map_err(said)?;
    Ok(json!({
        "min_clearance_um": decimal_to_f64(fit.min_clearance_um),
        "max_clearance_um": decimal_to_f64(fit.max_clearance_um),
        "type": fit.kind,
    }))
}

fn position_alone(input: &Value) -> Result<Value, String> {
    let value = position(number(input, "dx")?, number(input, "dy")?);
    let mut fields = Map::new();
    fields.insert("position".into(), json!(value));
    fields.insert("position_4dp".into(), json!((value * 1e4).round() / 1e4));
    if input.get("zone").is_some() {
        let within = within_zone(decimal(input, "dx")?, decimal(input, "dy")?, decimal(input, "zone")?);
        fields.insert("within".into(), json!(within));
    }
    Ok(Value::Object(fields))
}

fn position_with_material(input: &Value) -> Result<Value, String> {
    let inside = match text(input, "feature")? {
        "hole" => true,
        "pin" => false,
        other => return Err(format!("`feature` is {other}; it must be hole or pin")),
    };
    let condition = match text(input, "modifier")? {
        "MMC" => Some(MaterialCondition::Mmc),
        "LMC" => Some(MaterialCondition::Lmc),
        "RFS" => None,
        other => return Err(format!("`modifier` is {other}; it must be MMC, LMC or RFS")),
    };
    let limits = Limits::between(decimal(input, "size_min")?, decimal(input, "size_max")?);
    let (actual, stated) = (decimal(input, "actual")?, decimal(input, "stated_zone")?);
    let gained = condition
        .and_then(|c| bonus(c, inside, actual, &limits))
        .unwrap_or_default();
    let zone = stated.saturating_add(gained);
    let position_ok = within_zone(decimal(input, "dx")?, decimal(input, "dy")?, zone);
    let size_ok = limits.contains(actual);
    let mut fields = Map::new();
    for (name, value) in [
        ("bonus", json!(decimal_to_f64(gained))),
        ("total_zone", json!(decimal_to_f64(zone))),
        ("position", json!(position(number(input, "dx")?, number(input, "dy")?))),
        ("position_ok", json!(position_ok)),
        ("size_ok", json!(size_ok)),
        ("conforms", json!(position_ok && size_ok)),
    ] {
        fields.insert(name.into(), value);
    }
    if let Some(boundary) = condition.and_then(|c| virtual_condition(c, inside, &limits, stated)) {
        fields.insert("virtual_condition".into(), json!(decimal_to_f64(boundary)));
    }
    Ok(Value::Object(fields))
}

fn length(input: &Value) -> Result<Value, String> {
    let part = Thermal {
        per_kelvin: number(input, "alpha")?,
        celsius: number(input, "t")?,
    };
    let scale = match (
        optional_number(input, "scale_alpha")?,
        optional_number(input, "scale_t")?,
    ) {
        (Some(per_kelvin), Some(celsius)) => Some(Thermal { per_kelvin, celsius }),
        (None, None) => None,
        _ => return Err("`scale_alpha` and `scale_t` belong together".to_owned()),
    };
    let found = length_at_20(number(input, "length")?, part, scale).ok_or("the part would shrink to nothing")?;
    Ok(json!({
        "length_20": found.length,
        "length_20_linear": found.linear,
        "correction_um": found.correction * 1e3,
    }))
}

fn class(input: &Value, key: &str) -> Result<IsoClass, String> {
    text(input, key)?.parse().map_err(said)
}

fn general_class(input: &Value) -> Result<GeneralClass, String> {
    text(input, "class")?
        .parse()
        .map_err(|_| "`class` must be one of f, m, c, v".to_owned())
}

fn said(error: impl std::fmt::Display) -> String {
    error.to_string()
}

pub(super) fn unknown(kind: &str, known: &str) -> String {
    format!("`kind` is {kind}; it must be one of {known}")
}
