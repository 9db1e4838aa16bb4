//! A fault that a person names: which family, and its parameters as they are typed, in the exercise's unit.

use std::collections::BTreeMap;

use crate::exercise::model::{Axis, Characteristic, Exercise, MistakenSurface, Quantity};
use crate::exercise::names::{BalloonNo, FeatureKey};
use crate::procedure::fault::{Family, Fault, PlanAxis, QuarterTurn};
use crate::units::{LengthUnit, Reading};

/// A field of a family.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// Name in the form.
    pub name: &'static str,
    /// For people.
    pub label: String,
    /// What can be chosen, value and words; none where it is typed.
    pub options: Vec<(String, String)>,
    /// What to type; empty where it is chosen.
    pub hint: String,
}

/// A field that is wrong, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mend {
    /// Field.
    pub field: &'static str,
    /// What to do.
    pub text: String,
}

/// What a family is called in a list.
#[must_use]
pub const fn family_words(family: Family) -> &'static str {
    match family {
        Family::OriginShift => "origin off along an axis",
        Family::MistakenSurface => "another surface touched for a datum",
        Family::OppositeCorner => "origin at the far end of an axis",
        Family::FrameRotated => "secondary datum skewed",
        Family::FrameTilted => "primary datum skewed",
        Family::PartTurned => "plate clamped turned",
        Family::AxesExchanged => "X and Y exchanged",
        Family::AxisReversed => "direction of an axis reversed",
        Family::TipIgnoredOnDatum => "tip radius left in at a datum",
        Family::TipIgnoredOnSize => "tip diameter left in sizes",
        Family::TipIgnoredOnSurface => "tip radius left in at measured faces",
        Family::TipWrong => "another tip diameter in use",
        Family::WrongUnit => "values in the other unit",
        Family::Temperature => "plate warmer or colder than 20 °C",
        Family::RadiusForDiameter => "radius written for diameter",
        Family::DeviationForValue => "deviation written for value",
        Family::NominalsCopied => "values as on the print",
        Family::FeaturesExchanged => "values of two features exchanged",
        Family::WrongPlate => "values of another plate",
        Family::DigitsTransposed => "digits exchanged in one value",
        Family::DecimalSlipped => "decimal point slipped in one value",
        Family::SignDropped => "sign lost or gained in one value",
        Family::GrossError => "one value wrong for no known reason",
    }
}

fn axes() -> Vec<(String, String)> {
    ["X", "Y", "Z"].map(|a| (a.to_lowercase(), a.to_owned())).to_vec()
}

fn chosen(name: &'static str, label: &str, options: Vec<(String, String)>) -> Field {
    Field {
        name,
        label: label.to_owned(),
        options,
        hint: String::new(),
    }
}

fn typed(name: &'static str, label: String, hint: &str) -> Field {
    Field {
        name,
        label,
        options: Vec::new(),
        hint: hint.to_owned(),
    }
}

const FROM_THE_REPORT: &str = "Left empty it is worked out from the report.";
const ITEMS: &str = "As in 5, 7-9. Left empty: all that it can be.";

type Options = Vec<(String, String)>;

fn surfaces(exercise: &Exercise) -> Options {
    let words = |m: &MistakenSurface| format!("{} for datum {}", m.name, m.instead_of);
    let all = exercise.mistaken_surfaces.iter().enumerate();
    all.map(|(i, m)| (i.to_string(), words(m))).collect()
}

fn datums(exercise: &Exercise) -> Options {
    let all = exercise.datum_frame.all();
    all.map(|d| {
        (
            d.letter.to_string(),
            format!("{}, the {} face", d.letter, d.face.word()),
        )
    })
    .to_vec()
}

fn numbers(exercise: &Exercise) -> Options {
    let words = |c: &Characteristic| format!("{}: {} of {}", c.no, c.of.word(), exercise.owner_name(c));
    let all = exercise.characteristics.iter();
    all.map(|c| (c.no.to_string(), words(c))).collect()
}

fn features(exercise: &Exercise) -> Options {
    let all = exercise.features.iter();
    all.map(|f| (f.key.to_string(), f.name.clone())).collect()
}

fn powers() -> Options {
    [
        (1, "10 times too large"),
        (2, "100 times too large"),
        (3, "1000 times too large"),
        (-1, "10 times too small"),
        (-2, "100 times too small"),
        (-3, "1000 times too small"),
    ]
    .map(|(p, words)| (p.to_string(), words.to_owned()))
    .to_vec()
}

/// The fields of a family on this exercise; `serials` are those of its other plates.
#[must_use]
pub fn fields(exercise: &Exercise, serials: &[String], family: Family) -> Vec<Field> {
    let unit = exercise.units.as_str();
    let plan = || axes().into_iter().take(2).collect::<Vec<_>>();
    let amount = |what: &str, of: &str| typed("amount", format!("{what}, {of}"), FROM_THE_REPORT);
    match family {
        Family::OriginShift => vec![chosen("axis", "Along", axes()), amount("By", unit)],
        Family::MistakenSurface => vec![chosen("surface", "Surface", surfaces(exercise))],
        Family::OppositeCorner => vec![chosen("axis", "Along", plan())],
        Family::FrameRotated => vec![amount("Angle", "degrees")],
        Family::FrameTilted => vec![chosen("axis", "About", plan()), amount("Angle", "degrees")],
        Family::PartTurned => {
            let turns = ["90", "180", "270"].map(|t| (t.to_owned(), format!("{t} degrees")));
            vec![chosen("turn", "Turned by", turns.to_vec())]
        }
        Family::AxisReversed => vec![chosen("axis", "Axis", axes())],
        Family::TipIgnoredOnDatum => vec![chosen("datum", "Datum", datums(exercise))],
        Family::TipWrong => vec![amount("Diameter in use less true diameter", unit)],
        Family::Temperature => vec![amount("Growth", "millionths of the length")],
        Family::RadiusForDiameter | Family::DeviationForValue | Family::NominalsCopied => {
            vec![typed("items", "Numbers".to_owned(), ITEMS)]
        }
        Family::FeaturesExchanged => vec![
            chosen("a", "One feature", features(exercise)),
            chosen("b", "The other", features(exercise)),
        ],
        Family::WrongPlate => {
            let all = serials.iter().map(|s| (s.clone(), s.clone()));
            vec![chosen("serial", "Plate", all.collect())]
        }
        Family::DecimalSlipped => vec![
            chosen("item", "Number", numbers(exercise)),
            chosen("power", "Written", powers()),
        ],
        Family::DigitsTransposed | Family::SignDropped | Family::GrossError => {
            vec![chosen("item", "Number", numbers(exercise))]
        }
        Family::AxesExchanged | Family::TipIgnoredOnSize | Family::TipIgnoredOnSurface | Family::WrongUnit => {
            Vec::new()
        }
    }
}

struct Typed<'t> {
    exercise: &'t Exercise,
    fields: &'t BTreeMap<String, String>,
}

impl Typed<'_> {
    fn text(&self, field: &str) -> &str {
        self.fields.get(field).map_or("", |t| t.trim())
    }

    fn one<T>(&self, field: &'static str, read: impl Fn(&str) -> Option<T>) -> Result<T, Mend> {
        read(self.text(field)).ok_or_else(|| Mend {
            field,
            text: "Choose one of the list.".to_owned(),
        })
    }

    fn axis(&self) -> Result<Axis, Mend> {
        self.one("axis", |t| match t {
            "x" => Some(Axis::X),
            "y" => Some(Axis::Y),
            "z" => Some(Axis::Z),
            _ => None,
        })
    }

    fn plan_axis(&self) -> Result<PlanAxis, Mend> {
        self.one("axis", |t| match t {
            "x" => Some(PlanAxis::X),
            "y" => Some(PlanAxis::Y),
            _ => None,
        })
    }

    fn item(&self) -> Result<BalloonNo, Mend> {
        self.one("item", |t| {
            let no = t.parse().ok()?;
            self.exercise.characteristic(&no).map(|_| no)
        })
    }

    fn feature(&self, field: &'static str) -> Result<FeatureKey, Mend> {
        self.one(field, |t| {
            let key = t.parse().ok()?;
            self.exercise.feature(&key).map(|_| key)
        })
    }

    /// An amount up to `most`; none where it is to be worked out.
    fn amount(&self, most: f64, unit: &str) -> Result<Option<f64>, Mend> {
        let text = self.text("amount").replace(',', ".").replace('\u{2212}', "-");
        if text.is_empty() {
            return Ok(None);
        }
        let mend = || Mend {
            field: "amount",
            text: format!("Write a number in {unit}, at most {most} to either side, or leave it empty."),
        };
        let reading: Reading = text.parse().map_err(|_| mend())?;
        let amount = reading.approx();
        if amount.is_finite() && amount.abs() <= most && amount.abs() > 0.0 {
            Ok(Some(amount))
        } else {
            Err(mend())
        }
    }

    /// Numbers such as `5, 7-9`, in sheet order; all that `may` where nothing is typed.
    fn items(&self, may: impl Fn(Quantity) -> bool) -> Result<Vec<BalloonNo>, Mend> {
        let all = &self.exercise.characteristics;
        let text = self.text("items").replace(['\u{2013}', '\u{2212}'], "-");
        let mut chosen = vec![text.is_empty(); all.len()];
        let place = |t: &str| {
            let found = all.iter().position(|c| c.no.as_str() == t.trim());
            found.ok_or_else(|| Mend {
                field: "items",
                text: format!(
                    "There is no number {} on this sheet. Write numbers as in 5, 7-9.",
                    t.trim()
                ),
            })
        };
        for part in text.split([',', ' ', ';']).filter(|p| !p.trim().is_empty()) {
            let whole = place(part).ok();
            let (from, to) = match (whole, part.split_once('-')) {
                (Some(i), _) => (i, i),
                (None, Some((a, b))) => (place(a)?, place(b)?),
                (None, None) => (place(part)?, 0),
            };
            for c in chosen.iter_mut().take(to.max(from) + 1).skip(from.min(to)) {
                *c = true;
            }
        }
        let picked = all.iter().zip(chosen).filter(|(c, yes)| *yes && may(c.of));
        let found: Vec<BalloonNo> = picked.map(|(c, _)| c.no.clone()).collect();
        if found.is_empty() {
            return Err(Mend {
                field: "items",
                text: "None of these numbers can be of that. Write others, or leave it empty.".to_owned(),
            });
        }
        Ok(found)
    }
}

/// Largest shift, in mm, and largest angle and growth that a person names.
const SHIFT_MM: f64 = 500.0;
const DEGREES: f64 = 10.0;
const GROWTH: f64 = 5_000.0;

/// The fault that is named, and whether its amount was given.
///
/// # Errors
/// With the first field that is wrong.
pub fn named(
    exercise: &Exercise,
    serials: &[String],
    family: Family,
    fields: &BTreeMap<String, String>,
) -> Result<(Fault, bool), Mend> {
    let t = Typed { exercise, fields };
    let longest = SHIFT_MM / exercise.units.mm_per_unit_f64();
    let unit = exercise.units.as_str();
    let free = |amount: Option<f64>, make: &dyn Fn(f64) -> Fault| (make(amount.unwrap_or(0.0)), amount.is_some());
    Ok(match family {
        Family::OriginShift => {
            let axis = t.axis()?;
            free(t.amount(longest, unit)?, &|amount| Fault::OriginShift { axis, amount })
        }
        Family::FrameRotated => free(t.amount(DEGREES, "degrees")?, &|angle_deg| Fault::FrameRotated {
            angle_deg,
        }),
        Family::FrameTilted => {
            let about = t.plan_axis()?;
            free(t.amount(DEGREES, "degrees")?, &|angle_deg| Fault::FrameTilted {
                about,
                angle_deg,
            })
        }
        Family::TipWrong => free(t.amount(longest, unit)?, &|amount| Fault::TipWrong { amount }),
        Family::Temperature => free(t.amount(GROWTH, "millionths")?, &|ppm| Fault::Temperature { ppm }),
        _ => (known(&t, serials, family)?, false),
    })
}

fn surface(t: &Typed<'_>) -> Result<Fault, Mend> {
    t.one("surface", |text| {
        let at: usize = text.parse().ok()?;
        let m = t.exercise.mistaken_surfaces.get(at)?;
        Some(Fault::MistakenSurface {
            datum: m.instead_of,
            name: m.name.clone(),
        })
    })
}

fn exchanged(t: &Typed<'_>) -> Result<Fault, Mend> {
    let (a, b) = (t.feature("a")?, t.feature("b")?);
    if a == b {
        return Err(Mend {
            field: "b",
            text: "Choose another feature than the first.".to_owned(),
        });
    }
    Ok(Fault::FeaturesExchanged { a, b })
}

fn known(t: &Typed<'_>, serials: &[String], family: Family) -> Result<Fault, Mend> {
    Ok(match family {
        Family::MistakenSurface => surface(t)?,
        Family::OppositeCorner => Fault::OppositeCorner { axis: t.plan_axis()? },
        Family::PartTurned => Fault::PartTurned {
            angle_deg: t.one("turn", |text| QuarterTurn::try_from(text.parse::<f64>().ok()?).ok())?,
        },
        Family::AxesExchanged => Fault::AxesExchanged {},
        Family::AxisReversed => Fault::AxisReversed { axis: t.axis()? },
        Family::TipIgnoredOnDatum => Fault::TipIgnoredOnDatum {
            datum: t.one("datum", |text| {
                let letter = text.chars().next()?;
                t.exercise.datum_frame.by_letter(letter).map(|d| d.letter)
            })?,
        },
        Family::TipIgnoredOnSize => Fault::TipIgnoredOnSize {},
        Family::TipIgnoredOnSurface => Fault::TipIgnoredOnSurface {},
        Family::RadiusForDiameter => Fault::RadiusForDiameter {
            items: t.items(|of| of == Quantity::Diameter)?,
        },
        Family::DeviationForValue => Fault::DeviationForValue {
            items: t.items(|of| !of.is_geometrical())?,
        },
        Family::NominalsCopied => Fault::NominalsCopied {
            items: t.items(|of| !of.is_geometrical())?,
        },
        Family::FeaturesExchanged => exchanged(t)?,
        Family::WrongPlate => Fault::WrongPlate {
            serial: t.one("serial", |text| {
                serials.iter().find(|s| *s == text).and_then(|s| s.parse().ok())
            })?,
        },
        Family::DigitsTransposed => Fault::DigitsTransposed {
            item: t.item()?,
            place: None,
        },
        Family::DecimalSlipped => Fault::DecimalSlipped {
            item: t.item()?,
            power: t.one("power", |text| {
                text.parse().ok().filter(|p: &i32| (-9..=9).contains(p) && *p != 0)
            })?,
        },
        Family::SignDropped => Fault::SignDropped { item: t.item()? },
        Family::GrossError => Fault::GrossError {
            item: t.item()?,
            amount: None,
        },
        _ => Fault::WrongUnit {
            factor: match t.exercise.units {
                LengthUnit::Mm => 1.0 / 25.4,
                LengthUnit::Inch => 25.4,
            },
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::file::read_exercise;

    fn exercise() -> Exercise {
        let text = include_str!("../../exercises/SB-11/exercise.toml");
        read_exercise("exercise.toml", text).0.unwrap()
    }

    fn typed(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
        pairs.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
    }

    #[test]
    fn every_family_can_be_named_from_its_own_fields() {
        let (exercise, serials) = (exercise(), vec!["SB-11-02".to_owned()]);
        for (code, family) in Family::ALL {
            let mut typed: BTreeMap<String, String> = fields(&exercise, &serials, family)
                .into_iter()
                .map(|f| {
                    (
                        f.name.to_owned(),
                        f.options.first().map_or(String::new(), |o| o.0.clone()),
                    )
                })
                .collect();
            if family == Family::FeaturesExchanged {
                typed.insert("b".to_owned(), exercise.features[1].key.to_string());
            }
            let (fault, given) = named(&exercise, &serials, family, &typed).unwrap();
            assert_eq!(fault.family().code(), code);
            assert!(!given);
            assert!(!family_words(family).is_empty());
        }
    }

    #[test]
    fn what_is_typed_is_checked_at_its_field() {
        let exercise = exercise();
        let amount = |text| {
            named(
                &exercise,
                &[],
                Family::OriginShift,
                &typed(&[("axis", "x"), ("amount", text)]),
            )
        };
        assert_eq!(
            amount("\u{2212}1,5"),
            Ok((
                Fault::OriginShift {
                    axis: Axis::X,
                    amount: -1.5
                },
                true
            ))
        );
        for wrong in ["x", "1e9", "0", "900"] {
            assert_eq!(amount(wrong).unwrap_err().field, "amount", "{wrong}");
        }
        let items = |text| named(&exercise, &[], Family::DeviationForValue, &typed(&[("items", text)]));
        let Ok((Fault::DeviationForValue { items: found }, _)) = items("6, 8\u{2013}10") else {
            panic!("not read");
        };
        assert_eq!(
            found.iter().map(BalloonNo::as_str).collect::<Vec<_>>(),
            ["6", "8", "9", "10"]
        );
        assert!(items("6, 99").unwrap_err().text.contains("no number 99"));
        assert_eq!(
            named(&exercise, &[], Family::WrongPlate, &typed(&[("serial", "X")]))
                .unwrap_err()
                .field,
            "serial"
        );
    }
}
