//! A column of numbers. What a print or a pair says has few places: such a column is kept as whole numbers of the last place, which take
//! a third of the bytes of doubles and give the same doubles back. Any other is a list of doubles.

use std::fmt;

use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer};
use serde::de::{Error as _, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Powers of ten up to the most places that are tried: finer than anything that a shop writes down.
const TENS: [f64; 7] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6];

#[derive(Serialize, Deserialize)]
struct Decimals<T> {
    /// Places behind the point.
    places: usize,
    /// Whole numbers of the last place.
    units: T,
}

/// So many of the last place, where that gives the very same double back.
fn in_units(value: f64, ten: f64) -> Option<i32> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "one that is too large comes back as another number and is not taken"
    )]
    let units = (value * ten + 0.5_f64.copysign(value)) as i32;
    (out_of_units(units, ten).to_bits() == value.to_bits()).then_some(units)
}

/// Both are doubles exactly, so that the division gives the double nearest to the decimal, as reading its text does.
fn out_of_units(units: i32, ten: f64) -> f64 {
    f64::from(units) / ten
}

/// The fewest places with which all of them are whole numbers, and ten to the power of that; none where there are no such.
fn places(values: impl Iterator<Item = Option<f64>> + Clone) -> Option<(usize, f64)> {
    let mut tens = TENS.iter().copied().enumerate();
    let mut fewest = tens.next()?;
    for value in values.clone().flatten() {
        while in_units(value, fewest.1).is_none() {
            fewest = tens.next()?;
        }
    }
    // One that had few places may be too large with as many as another has.
    values
        .flatten()
        .all(|value| in_units(value, fewest.1).is_some())
        .then_some(fewest)
}

/// Written as they come.
struct Units<I>(I, f64);

impl<I: Iterator<Item = Option<f64>> + Clone> Serialize for Units<I> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(
            self.0
                .clone()
                .map(|value| value.and_then(|value| in_units(value, self.1))),
        )
    }
}

pub(super) fn serialize<S: Serializer>(
    values: impl Iterator<Item = Option<f64>> + Clone,
    to: S,
) -> Result<S::Ok, S::Error> {
    let Some((places, ten)) = places(values.clone()) else {
        return to.collect_seq(values);
    };
    let units = Units(values, ten);
    Decimals { places, units }.serialize(to)
}

/// Reads either.
struct Numbers;

impl<'de> Visitor<'de> for Numbers {
    type Value = Vec<Option<f64>>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a column of numbers")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, doubles: A) -> Result<Self::Value, A::Error> {
        Deserialize::deserialize(SeqAccessDeserializer::new(doubles))
    }

    fn visit_map<A: MapAccess<'de>>(self, decimals: A) -> Result<Self::Value, A::Error> {
        let decimals = Decimals::<Vec<Option<i32>>>::deserialize(MapAccessDeserializer::new(decimals))?;
        let ten = TENS
            .get(decimals.places)
            .ok_or_else(|| A::Error::custom("more places than there are"))?;
        let one = |units: Option<i32>| units.map(|units| out_of_units(units, *ten));
        Ok(decimals.units.into_iter().map(one).collect())
    }
}

pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Option<f64>>, D::Error> {
    from.deserialize_any(Numbers)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[derive(Debug, PartialEq)]
    struct Column(Vec<Option<f64>>);

    impl Serialize for Column {
        fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
            serialize(self.0.iter().copied(), to)
        }
    }

    impl<'de> Deserialize<'de> for Column {
        fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
            deserialize(from).map(Self)
        }
    }

    /// As they come back, and whether they went as decimals.
    fn there_and_back(values: &[Option<f64>]) -> (Vec<Option<u64>>, bool) {
        let bytes = rmp_serde::to_vec_named(&Column(values.to_vec())).unwrap();
        let back: Column = rmp_serde::from_slice(&bytes).unwrap();
        let is_map = rmp_serde::from_slice::<serde_json::Value>(&bytes).unwrap().is_object();
        (back.0.into_iter().map(|v| v.map(f64::to_bits)).collect(), is_map)
    }

    fn bits(values: &[Option<f64>]) -> Vec<Option<u64>> {
        values.iter().map(|v| v.map(f64::to_bits)).collect()
    }

    proptest! {
        #[test]
        fn doubles_come_back_to_the_last_bit(values: Vec<Option<f64>>) {
            prop_assert_eq!(there_and_back(&values).0, bits(&values));
        }

        #[test]
        fn what_a_shop_writes_down_goes_as_whole_numbers(units: Vec<Option<i32>>, places in 0_usize..7) {
            let read = |n: i32| -> f64 { rust_decimal::Decimal::new(n.into(), u32::try_from(places).unwrap()).to_string().parse().unwrap() };
            let values: Vec<Option<f64>> = units.iter().map(|n| n.map(read)).collect();
            prop_assert_eq!(there_and_back(&values), (bits(&values), true));
        }
    }

    #[test]
    fn what_is_no_short_decimal_stays_a_double() {
        for value in [
            1.0 / 3.0,
            -0.0,
            0.1 + 0.2,
            1e-7,
            2_147_483_648.0,
            1e300,
            f64::MIN_POSITIVE,
        ] {
            let column = [Some(0.25), None, Some(value)];
            assert_eq!(there_and_back(&column), (bits(&column), false), "{value}");
        }
    }

    #[test]
    fn a_whole_number_may_be_too_large_beside_one_with_places() {
        let column = [Some(2_000_000_000.0), Some(0.5)];
        assert_eq!(there_and_back(&column), (bits(&column), false));
        assert_eq!(there_and_back(&column[..1]), (bits(&column[..1]), true));
    }

    #[test]
    fn decimals_with_too_many_places_are_refused() {
        let bytes = rmp_serde::to_vec_named(&Decimals { places: 7, units: [1] }).unwrap();
        let error = rmp_serde::from_slice::<Column>(&bytes).unwrap_err();
        assert!(error.to_string().contains("more places than there are"), "{error}");
    }
}
