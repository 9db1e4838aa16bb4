//! Datum frames and tip compensation.

use serde_json::{Value, json};

use super::compare::{by_field, largest_difference};
use super::input::{indices, number, points};
use super::{Difference, Expected, Family};
use crate::metrology::fit::circle2d;
use crate::metrology::frame::{Datums, Frame, Hit, Surface, frame};
use crate::metrology::tip::{self, Flat, Side};

/// The families of this file.
pub(super) const FAMILIES: &[Family] = &[
    Family {
        name: "drf_321",
        compute: drf_321,
        compare: compare_frames,
    },
    Family {
        name: "tip_compensation",
        compute: tip_compensation,
        compare: by_field,
    },
];

fn drf_321(case: &Value) -> Result<Value, String> {
    let tips = points::<3>(case, "points")?;
    let approach = points::<3>(case, "approach")?;
    if approach.len() != tips.len() {
        return Err(format!("{} approach vectors for {} points", approach.len(), tips.len()));
    }
    let radius = number(case, "tip_radius")?;
    let hits = |list: Option<&Value>, what: &str| -> Result<Vec<Hit>, String> {
        let chosen = indices(list, what, tips.len())?;
        Ok(chosen
            .into_iter()
            .map(|i| Hit {
                tip: tips[i],
                approach: Some(approach[i]),
            })
            .collect())
    };
    let group = |name: &str| hits(case.get("groups").and_then(|groups| groups.get(name)), name);
    let (top, left, front) = (group("top")?, group("left")?, group("front")?);
    let datums = Datums::Faces {
        primary: Surface::top(&top),
        secondary: Surface::left(&left),
        tertiary: Surface::front(&front),
    };
    let found = frame(&datums, radius).map_err(|e| e.to_string())?;
    let mut features = Vec::new();
    for feature in case.get("features").and_then(Value::as_array).unwrap_or(&Vec::new()) {
        features.push(round_feature(
            feature,
            &found,
            radius,
            &hits(feature.get("hits"), "hits")?,
        )?);
    }
    let movement = found.movement;
    let row = |i: usize| {
        [
            movement.rotation[(i, 0)],
            movement.rotation[(i, 1)],
            movement.rotation[(i, 2)],
            movement.translation[i],
        ]
    };
    Ok(json!({
        "machine_to_part": [row(0), row(1), row(2), [0.0, 0.0, 0.0, 1.0]],
        "part_origin_in_machine": movement.to_machine([0.0; 3]),
        "top_plane_form": found.primary_form,
        "left_line_form": found.secondary_form,
        "features": features,
        "checks": found.checks.iter().map(ToString::to_string).collect::<Vec<_>>(),
    }))
}

/// A hole or boss across the top: tip centres in part coordinates, circle through their x and y.
fn round_feature(feature: &Value, frame: &Frame, radius: f64, hits: &[Hit]) -> Result<Value, String> {
    let name = feature.get("name").and_then(Value::as_str).unwrap_or("feature");
    let side = match feature.get("kind").and_then(Value::as_str) {
        Some("hole") => Side::Inside,
        Some("boss") => Side::Outside,
        _ => return Err(format!("{name}: `kind` must be hole or boss")),
    };
    let part: Vec<[f64; 3]> = hits.iter().map(|hit| frame.movement.to_part(hit.tip)).collect();
    let flat: Vec<[f64; 2]> = part.iter().map(|p| [p[0], p[1]]).collect();
    let fit = circle2d(&flat).map_err(|e| format!("{name}: {e}"))?;
    let [x, y] = fit.figure.centre;
    Ok(json!({
        "name": name,
        "center": [x, y],
        "mean_z_of_tip_centers": part.iter().map(|p| p[2]).sum::<f64>() / crate::metrology::fit::count(part.len()),
        "diameter": side.size(2.0 * fit.figure.radius, radius),
        "form": fit.form,
        "distance_from_origin": x.hypot(y),
    }))
}

/// One column or three of the matrix, entry by entry.
fn entries(values: &Value, columns: std::ops::Range<usize>) -> Option<Value> {
    let rows = values.get("machine_to_part")?.as_array()?.get(..3)?;
    let list = rows
        .iter()
        .map(|row| row.as_array()?.get(columns.clone()).map(<[Value]>::to_vec));
    let flat = list.collect::<Option<Vec<_>>>()?.concat();
    Some(Value::Array(flat.into_iter().map(|value| json!([value])).collect()))
}

/// The frame files name their tolerances by what they are about, not by field.
fn compare_frames(expected: &Expected<'_>, computed: &Value) -> Vec<Difference> {
    let mut found = Vec::new();
    let mut hold = |field: String, wanted: Option<&Value>, got: Option<&Value>, limit: &str| {
        if let Some(wanted) = wanted {
            let difference = got
                .and_then(|got| largest_difference(wanted, got))
                .unwrap_or(f64::INFINITY);
            let tolerance = expected.tolerance.get(limit).and_then(Value::as_f64);
            found.push(Difference {
                field,
                difference,
                tolerance,
            });
        }
    };
    for (field, columns) in [("rotation_entries", 0..3), ("translation_entries", 3..4)] {
        let (wanted, got) = (entries(expected.values, columns.clone()), entries(computed, columns));
        hold(field.to_owned(), wanted.as_ref(), got.as_ref(), field);
    }
    for (field, limit) in [
        ("part_origin_in_machine", "part_origin_in_machine"),
        ("top_plane_form", "form"),
        ("left_line_form", "form"),
    ] {
        hold(field.to_owned(), expected.values.get(field), computed.get(field), limit);
    }
    let features = |values: &Value| {
        values
            .get("features")
            .and_then(Value::as_array)
            .cloned()
            .unwrap_or_default()
    };
    let computed = features(computed);
    for (index, wanted) in features(expected.values).iter().enumerate() {
        let name = wanted.get("name").and_then(Value::as_str).unwrap_or_default();
        for (field, limit) in [
            ("center", "center"),
            ("diameter", "diameter"),
            ("form", "form"),
            ("distance_from_origin", "center"),
            ("mean_z_of_tip_centers", "translation_entries"),
        ] {
            let got = computed.get(index).and_then(|feature| feature.get(field));
            hold(format!("{name}.{field}"), wanted.get(field), got, limit);
        }
    }
    found
}

fn tip_compensation(case: &Value) -> Result<Value, String> {
    let radius = number(case, "tip_radius")?;
    let kind = case.get("kind").and_then(Value::as_str).unwrap_or_default();
    let side = if kind.ends_with("_inside") {
        Side::Inside
    } else {
        Side::Outside
    };
    let fault = |e: tip::TipError| e.to_string();
    match kind {
        "circle_inside" | "circle_outside" => {
            let found = tip::round(&points(case, "points")?, radius, side).map_err(fault)?;
            Ok(json!({
                "center": found.fit.figure.centre, "normal": found.fit.figure.normal,
                "tip_center_diameter": found.tip_centre_diameter, "diameter": found.diameter,
                "form": found.fit.form, "rms": found.fit.rms(),
            }))
        }
        "sphere_inside" | "sphere_outside" => {
            let found = tip::ball(&points(case, "points")?, radius, side).map_err(fault)?;
            Ok(json!({
                "center": found.fit.figure.centre, "tip_center_diameter": found.tip_centre_diameter,
                "diameter": found.diameter, "form": found.fit.form, "rms": found.fit.rms(),
            }))
        }
        "plane" => {
            let found = tip::face(&points(case, "points")?, &points(case, "approach")?, radius).map_err(fault)?;
            Ok(flat(
                &found,
                ["tip_center_plane_offset", "surface_offset", "surface_point"],
            ))
        }
        "edge2d" => {
            let found = tip::edge(&points(case, "points")?, &points(case, "approach")?, radius).map_err(fault)?;
            Ok(flat(&found, ["tip_center_line_offset", "edge_offset", "edge_point"]))
        }
        "width_inside" | "width_outside" => width(case, radius, side),
        other => Err(format!(
            "kind {other:?} is not one of circle, sphere or width (_inside, _outside), plane, edge2d"
        )),
    }
}

fn flat<F, const N: usize, const D: usize>(found: &Flat<F, N, D>, names: [&str; 3]) -> Value {
    let [tip_offset, offset, point] = names;
    let mut value = json!({ "outward_normal": found.outward.to_vec(), "form": found.fit.form });
    value[tip_offset] = json!(found.tip_centre_offset);
    value[offset] = json!(found.offset);
    value[point] = json!(found.point.to_vec());
    value
}

fn width(case: &Value, radius: f64, side: Side) -> Result<Value, String> {
    let all = points::<2>(case, "points")?;
    let sides = |i: usize| -> Result<Vec<[f64; 2]>, String> {
        let list = case.get("sides").and_then(|sides| sides.get(i));
        Ok(indices(list, "sides", all.len())?.into_iter().map(|i| all[i]).collect())
    };
    let found = tip::width(&sides(0)?, &sides(1)?, radius, side).map_err(|e| e.to_string())?;
    Ok(json!({
        "tip_center_width": found.tip_centre_width, "width": found.width,
        "direction": found.fit.figure.direction, "form": found.fit.form,
    }))
}
