//! Worked examples from the literature: each names the family, or the families, that it is about.

use serde_json::{Map, Value};

use super::compare::by_field;
use super::{Difference, Expected, Family, gaussian, zones};

/// The family of this file.
pub(super) const FAMILIES: &[Family] = &[Family {
    name: "published_examples",
    compute,
    compare,
}];

type Compute = fn(&Value) -> Result<Value, String>;

/// Family, key where several stand side by side, fit.
const FITS: [(&str, &str, Compute); 5] = [
    ("gaussian_line2d", "gaussian", gaussian::line2d),
    ("gaussian_circle2d", "gaussian", gaussian::circle2d),
    ("chebyshev_mzc", "mzc", zones::minimum_zone_circle),
    ("chebyshev_mcc", "mcc", zones::circumscribed),
    ("chebyshev_mic", "mic", zones::inscribed),
];

fn compute(case: &Value) -> Result<Value, String> {
    let named = case
        .get("fit")
        .and_then(Value::as_str)
        .ok_or("`fit` must name a family")?;
    let mut all = Map::new();
    for name in named.split(',').map(str::trim) {
        let known = FITS.iter().find(|(family, _, _)| *family == name);
        let (_, key, fit) = known.ok_or_else(|| format!("no fit {name:?} among published examples"))?;
        all.insert((*key).to_owned(), fit(case)?);
    }
    let single = all.values().next().cloned().filter(|_| all.len() == 1);
    Ok(single.unwrap_or(Value::Object(all)))
}

/// Where several fits stand side by side, some tolerances have a fit's key before the field's name, and `centers` is
/// for all centres but the circumscribed one.
fn compare(expected: &Expected<'_>, computed: &Value) -> Vec<Difference> {
    let Some(limits) = expected
        .tolerance
        .as_object()
        .filter(|limits| limits.contains_key("centers"))
    else {
        return by_field(expected, computed);
    };
    let mut sorted = Map::new();
    for (_, key, _) in FITS {
        let mut own = limits.get(key).and_then(Value::as_object).cloned().unwrap_or_default();
        let prefix = format!("{key}_");
        own.extend(
            limits
                .iter()
                .filter_map(|(name, limit)| Some((name.strip_prefix(&prefix)?.to_owned(), limit.clone()))),
        );
        if let Some(centres) = limits.get("centers").filter(|_| !own.contains_key("center")) {
            own.insert("center".to_owned(), centres.clone());
        }
        sorted.insert(key.to_owned(), Value::Object(own));
    }
    by_field(
        &Expected {
            values: expected.values,
            tolerance: &Value::Object(sorted),
        },
        computed,
    )
}
