//! How the lines of a grade are written down: in JSON, a documented interface, one after another; for the store by columns, so that the
//! name of a field is there once and not for each line.

use std::fmt;

use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer};
use serde::de::{DeserializeOwned, Error as _, MapAccess, SeqAccess, Visitor};
use serde::ser::SerializeStruct;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::grade::GradedItem;
use crate::exercise::model::Quantity;
use crate::exercise::names::BalloonNo;
use crate::report::call::Call;

mod calls;
mod numbers;

/// How a column of such values is written down: as a list, unless there is something better.
trait InColumn: Serialize + DeserializeOwned {
    fn write<'a, S: Serializer>(all: impl Iterator<Item = &'a Self> + Clone, to: S) -> Result<S::Ok, S::Error>
    where
        Self: 'a,
    {
        to.collect_seq(all)
    }

    fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Self>, D::Error> {
        Deserialize::deserialize(from)
    }
}

impl InColumn for BalloonNo {}
impl InColumn for Quantity {}
impl InColumn for Option<bool> {}
impl InColumn for Option<String> {}

impl InColumn for Option<Call> {
    fn write<'a, S: Serializer>(all: impl Iterator<Item = &'a Self> + Clone, to: S) -> Result<S::Ok, S::Error> {
        calls::serialize(all.copied(), to)
    }

    fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Self>, D::Error> {
        calls::deserialize(from)
    }
}

impl InColumn for Option<f64> {
    fn write<'a, S: Serializer>(all: impl Iterator<Item = &'a Self> + Clone, to: S) -> Result<S::Ok, S::Error> {
        numbers::serialize(all.copied(), to)
    }

    fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Self>, D::Error> {
        numbers::deserialize(from)
    }
}

impl InColumn for f64 {
    fn write<'a, S: Serializer>(all: impl Iterator<Item = &'a Self> + Clone, to: S) -> Result<S::Ok, S::Error> {
        numbers::serialize(all.copied().map(Some), to)
    }

    fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Self>, D::Error> {
        let all = numbers::deserialize(from)?;
        let one = |value: Option<Self>| value.ok_or_else(|| D::Error::custom("a number is missing"));
        all.into_iter().map(one).collect()
    }
}

/// One field of all lines.
struct Column<'a, T>(&'a [GradedItem], fn(&GradedItem) -> &T);

impl<T: InColumn> Serialize for Column<'_, T> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        T::write(self.0.iter().map(self.1), to)
    }
}

/// One field as it was read.
struct Read<T>(Vec<T>);

impl<'de, T: InColumn> Deserialize<'de> for Read<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        T::read(from).map(Self)
    }
}

macro_rules! columns {
    ($($field:ident: $type:ty),* $(,)?) => {
        #[derive(Deserialize)]
        struct Columns { $($field: Read<$type>),* }

        impl Columns {
            /// None where they are not of one length.
            fn lines(self) -> Option<Vec<GradedItem>> {
                let many = self.no.0.len();
                if $(self.$field.0.len() != many)||* {
                    return None;
                }
                $(let mut $field = self.$field.0.into_iter();)*
                (0..many).map(|_| Some(GradedItem { $($field: $field.next()?),* })).collect()
            }
        }

        fn by_columns<S: Serializer>(lines: &[GradedItem], to: S) -> Result<S::Ok, S::Error> {
            let mut all = to.serialize_struct("Columns", [$(stringify!($field)),*].len())?;
            $(all.serialize_field(stringify!($field), &Column(lines, |line| &line.$field))?;)*
            all.end()
        }
    };
}

columns! {
    no: BalloonNo,
    of: Quantity,
    nominal: f64,
    lower: Option<f64>,
    upper: Option<f64>,
    reference: Option<f64>,
    reference_expanded_uncertainty: Option<f64>,
    measured: Option<f64>,
    deviation: Option<f64>,
    en: Option<f64>,
    measurement_score: Option<f64>,
    call: Option<Call>,
    call_by_own_value: Option<Call>,
    call_by_reference: Option<Call>,
    in_doubt: Option<bool>,
    probability_of_conformity: Option<f64>,
    call_for_own_value_score: Option<f64>,
    call_for_plate_score: Option<f64>,
    corrected: Option<f64>,
    note: Option<String>,
}

pub(super) fn serialize<S: Serializer>(lines: &[GradedItem], to: S) -> Result<S::Ok, S::Error> {
    if to.is_human_readable() {
        lines.serialize(to)
    } else {
        by_columns(lines, to)
    }
}

/// Reads either.
struct Lines;

impl<'de> Visitor<'de> for Lines {
    type Value = Vec<GradedItem>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the lines of a grade")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, rows: A) -> Result<Self::Value, A::Error> {
        Deserialize::deserialize(SeqAccessDeserializer::new(rows))
    }

    fn visit_map<A: MapAccess<'de>>(self, columns: A) -> Result<Self::Value, A::Error> {
        Columns::deserialize(MapAccessDeserializer::new(columns))?
            .lines()
            .ok_or_else(|| A::Error::custom("columns of different lengths"))
    }
}

pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<GradedItem>, D::Error> {
    from.deserialize_any(Lines)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[derive(Debug, PartialEq, Serialize, Deserialize)]
    struct Some28 {
        #[serde(with = "super")]
        items: Vec<GradedItem>,
    }

    fn lines() -> Vec<GradedItem> {
        let line = |n: u32| {
            json!({
                "no": format!("{n}"), "of": "x", "nominal": 12.5, "lower": null, "upper": 12.55, "reference": 12.5 + 0.001 * f64::from(n),
                "reference_expanded_uncertainty": 6e-5, "measured": 12.502, "deviation": 0.002, "en": null,
                "measurement_score": 1.0, "call": "conforming", "call_by_own_value": "nonconforming",
                "call_by_reference": null, "in_doubt": n.is_multiple_of(2), "probability_of_conformity": 0.25,
                "call_for_own_value_score": 0.0, "call_for_plate_score": null, "corrected": null,
                "note": (n == 3).then_some("read twice"),
            })
        };
        (0..28).map(|n| serde_json::from_value(line(n)).unwrap()).collect()
    }

    #[test]
    fn json_has_them_one_after_another_and_the_store_by_columns() {
        let all = Some28 { items: lines() };
        let value = serde_json::to_value(&all).unwrap();
        assert_eq!(value["items"], serde_json::to_value(lines()).unwrap());
        assert_eq!(serde_json::from_value::<Some28>(value).unwrap(), all);

        let columns = rmp_serde::to_vec_named(&all).unwrap();
        assert_eq!(rmp_serde::from_slice::<Some28>(&columns).unwrap(), all);
        // What was stored before.
        #[derive(Serialize)]
        struct Rows {
            items: Vec<GradedItem>,
        }
        let rows = rmp_serde::to_vec_named(&Rows { items: lines() }).unwrap();
        assert_eq!(rmp_serde::from_slice::<Some28>(&rows).unwrap(), all);
        assert!(columns.len() * 2 < rows.len(), "{} {}", columns.len(), rows.len());
    }

    #[test]
    fn columns_that_do_not_belong_together_are_refused() {
        let columns = rmp_serde::to_vec_named(&Some28 { items: lines() }).unwrap();
        let value: serde_json::Value = rmp_serde::from_slice(&columns).unwrap();
        for column in ["/items/no", "/items/measured/units"] {
            let mut shorter = value.clone();
            let of = shorter.pointer_mut(column).unwrap().as_array_mut().unwrap();
            assert_eq!(of.len(), 28);
            of.pop();
            let shorter = rmp_serde::to_vec_named(&shorter).unwrap();
            let error = rmp_serde::from_slice::<Some28>(&shorter).unwrap_err();
            assert!(
                error.to_string().contains("columns of different lengths"),
                "{column}: {error}"
            );
        }
        // A number that every line has is missing in one.
        let mut without = value;
        *without.pointer_mut("/items/nominal/units/3").unwrap() = serde_json::Value::Null;
        let without = rmp_serde::to_vec_named(&without).unwrap();
        let error = rmp_serde::from_slice::<Some28>(&without).unwrap_err();
        assert!(error.to_string().contains("a number is missing"), "{error}");
    }
}
