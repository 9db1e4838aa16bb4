//! The set-up record: what a pair says of how it set the plate up. Four ticks with their values: the face touched for
//! each datum, the tip, the unit, the temperature.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::exercise::model::{Datum, Exercise, Face};
use crate::units::{LengthUnit, show_number};

/// The face that was touched for a datum.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Touched {
    /// Letter of the datum.
    pub letter: char,
    /// The face; none is another surface than a face of the body.
    pub face: Option<Face>,
}

/// What a pair says; what it does not say is none.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetUp {
    /// One for each datum that was ticked, in the order of the frame.
    pub touched: Vec<Touched>,
    /// Diameter of the tip as calibrated, in the exercise's unit.
    pub tip: Option<Decimal>,
    /// Unit that the machine showed.
    pub unit: Option<LengthUnit>,
    /// Temperature of the plate in \u{b0}C.
    pub temperature: Option<Decimal>,
}

/// Something that the record says otherwise than the print.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Otherwise {
    /// Field of the form: `s-A`, `s-tip`, `s-unit`, `s-temperature`.
    pub field: String,
    /// What is said, and what the print asks for.
    pub text: String,
}

/// Lowest and highest temperature of a room in which one measures, in \u{b0}C. Common practice, no published source.
pub const ROOM: [i64; 2] = [5, 40];

impl SetUp {
    /// Whether nothing is said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Whether it says all that another one does.
    #[must_use]
    pub fn says_all_of(&self, other: &Self) -> bool {
        other.touched.iter().all(|touched| self.touched.contains(touched))
            && (other.tip.is_none() || other.tip == self.tip)
            && (other.unit.is_none() || other.unit == self.unit)
            && (other.temperature.is_none() || other.temperature == self.temperature)
    }

    /// What the record says otherwise than the print.
    #[must_use]
    pub fn otherwise(&self, exercise: &Exercise) -> Vec<Otherwise> {
        let mut found = Vec::new();
        let frame = &exercise.datum_frame;
        for touched in &self.touched {
            let datum = frame.by_letter(touched.letter);
            if let Some(datum) = datum.filter(|d| Some(d.face) != touched.face) {
                found.push(Otherwise {
                    field: format!("s-{}", datum.letter),
                    text: face_words(datum, touched.face),
                });
            }
        }
        let asked = exercise.measurement.tip_diameter;
        if let Some(tip) = self.tip.filter(|t| *t != asked) {
            let text = format!(
                "The tip was {} {unit}; the sheet asks for {} {unit}.",
                show_number(tip.normalize()),
                show_number(asked.normalize()),
                unit = exercise.units
            );
            found.push(Otherwise {
                field: "s-tip".to_owned(),
                text,
            });
        }
        if let Some(unit) = self.unit.filter(|u| *u != exercise.units) {
            found.push(Otherwise {
                field: "s-unit".to_owned(),
                text: format!("The machine showed {unit}; the print is in {}.", exercise.units),
            });
        }
        let [low, high] = ROOM.map(Decimal::from);
        if let Some(t) = self.temperature.filter(|t| !(low..=high).contains(t)) {
            found.push(Otherwise {
                field: "s-temperature".to_owned(),
                text: format!(
                    "{} \u{b0}C is no temperature of a measuring room.",
                    show_number(t.normalize())
                ),
            });
        }
        found
    }

    /// Reads what was typed; `field` gives the text of a field. What cannot be read is named with its field.
    ///
    /// # Errors
    /// The fields at fault, with how to mend them.
    pub fn from_fields(exercise: &Exercise, field: impl Fn(&str) -> String) -> Result<Self, Vec<Otherwise>> {
        let frame = &exercise.datum_frame;
        let touched = [&frame.primary, &frame.secondary, &frame.tertiary]
            .into_iter()
            .filter_map(|datum| {
                let word = field(&format!("s-{}", datum.letter));
                let face = Face::ALL.iter().find(|(w, _)| *w == word).map(|(_, f)| *f);
                (!word.is_empty()).then_some(Touched {
                    letter: datum.letter,
                    face,
                })
            })
            .collect();
        let mut wrong = Vec::new();
        let mut number = |name: &str, what: &str| {
            let text = field(name).trim().replace(',', ".").replace(crate::units::MINUS, "-");
            if text.is_empty() {
                return None;
            }
            let value: Option<Decimal> = text.parse().ok().filter(|v: &Decimal| v.abs() < Decimal::ONE_THOUSAND);
            if value.is_none() {
                wrong.push(Otherwise {
                    field: name.to_owned(),
                    text: format!("Write {what} as a number, as in 3.000."),
                });
            }
            value
        };
        let (tip, temperature) = (
            number("s-tip", "the diameter of the tip"),
            number("s-temperature", "the temperature"),
        );
        if !wrong.is_empty() {
            return Err(wrong);
        }
        Ok(Self {
            touched,
            tip,
            unit: field("s-unit").parse().ok(),
            temperature,
        })
    }
}

fn face_words(datum: &Datum, touched: Option<Face>) -> String {
    let touched = touched.map_or("another surface", Face::word);
    format!(
        "Datum {}: {touched} was touched; the print takes the {} face.",
        datum.letter,
        datum.face.word()
    )
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::exercise::file::read_exercise;

    fn sb_11() -> Exercise {
        let text = include_str!("../../exercises/SB-11/exercise.toml");
        read_exercise("exercise.toml", text).0.unwrap_or_else(|| unreachable!())
    }

    fn read(fields: &[(&str, &str)]) -> Result<SetUp, Vec<Otherwise>> {
        let fields: BTreeMap<&str, &str> = fields.iter().copied().collect();
        SetUp::from_fields(&sb_11(), |name| {
            fields.get(name).copied().unwrap_or_default().to_owned()
        })
    }

    #[test]
    fn one_says_all_of_another_only_where_every_field_of_it_is_there_with_the_same_value() {
        let said = |fields: &[(&str, &str)]| read(fields).unwrap_or_default();
        let letter = format!("s-{}", sb_11().datum_frame.primary.letter);
        let whole = [
            (letter.as_str(), "top"),
            ("s-tip", "3.0"),
            ("s-unit", "mm"),
            ("s-temperature", "20.4"),
        ];
        let other = [
            (letter.as_str(), "other"),
            ("s-tip", "3.1"),
            ("s-unit", "inch"),
            ("s-temperature", "20.5"),
        ];
        assert!(said(&whole).says_all_of(&said(&whole)));
        assert!(said(&whole).says_all_of(&said(&[])));
        assert!(said(&whole).says_all_of(&said(&[("s-tip", "3,000")])));
        for (i, field) in other.into_iter().enumerate() {
            assert!(!said(&whole).says_all_of(&said(&[field])), "{field:?}");
            assert!(!said(&[]).says_all_of(&said(&whole[i..=i])), "{field:?}");
        }
    }

    #[test]
    fn what_is_said_comes_back_and_what_differs_is_named() {
        let exercise = sb_11();
        assert!(read(&[]).is_ok_and(|s| s.is_empty()));
        let frame = &exercise.datum_frame;
        let letter = format!("s-{}", frame.primary.letter);
        let tip = exercise.measurement.tip_diameter.to_string();
        let right = [
            (letter.as_str(), frame.primary.face.word()),
            ("s-tip", tip.as_str()),
            ("s-unit", "mm"),
            ("s-temperature", "20,4"),
        ];
        let set_up = read(&right).unwrap_or_default();
        assert_eq!(set_up.otherwise(&exercise), []);
        assert_eq!(set_up.temperature, Some(Decimal::new(204, 1)));
        let json = serde_json::to_string(&set_up).unwrap_or_default();
        assert_eq!(serde_json::from_str::<SetUp>(&json).ok(), Some(set_up));
        let wrong = [
            (letter.as_str(), "other"),
            ("s-tip", "9.9"),
            ("s-unit", "inch"),
            ("s-temperature", "68"),
        ];
        let fields: Vec<String> = read(&wrong)
            .unwrap_or_default()
            .otherwise(&exercise)
            .into_iter()
            .map(|o| o.field)
            .collect();
        assert_eq!(fields, [letter.as_str(), "s-tip", "s-unit", "s-temperature"]);
        let unreadable = read(&[("s-tip", "thick")]).err().unwrap_or_default();
        assert_eq!(unreadable.len(), 1);
    }
}
