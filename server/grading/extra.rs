//! One reading more than the sheet asks for: a quantity of a feature, or a datum face touched again as if it were a
//! feature. It is laid onto the exercise as a line after the sheet's own, so that the forward model and the diagnosis
//! treat it as any other; it is evidence and earns no mark.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::decided::Answer;
use crate::exercise::file::quantities_of_feature;
use crate::exercise::geometry::{self, Asked, FeatureState};
use crate::exercise::model::{Axis, Characteristic, Exercise, Feature, Owner, Quantity, Shape};
use crate::exercise::names::{BalloonNo, FeatureKey};
use crate::exercise::plate::{Calibrated, Plate};
use crate::metrology::tolerance::{Limits, Tolerance};
use crate::report::model::{Report, ReportItem};
use crate::units::{capital, decimal_from_f64};

/// What is read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Extra {
    /// A quantity of a feature of the print.
    Feature {
        /// Which feature.
        feature: FeatureKey,
        /// Which quantity.
        of: Quantity,
    },
    /// The coordinate that a datum sets, at one of its touches.
    Face {
        /// Letter of the datum.
        datum: char,
        /// Which of its touches, from 0.
        touch: usize,
    },
}

/// Text that names no reading.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` names no reading: it is written as `feature:KEY:QUANTITY` or `face:LETTER:TOUCH`")]
pub struct NotAnExtra(String);

impl fmt::Display for Extra {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Feature { feature, of } => write!(f, "feature:{feature}:{}", of.word()),
            Self::Face { datum, touch } => write!(f, "face:{datum}:{touch}"),
        }
    }
}

impl FromStr for Extra {
    type Err = NotAnExtra;
    fn from_str(text: &str) -> Result<Self, NotAnExtra> {
        let parts: Vec<&str> = text.split(':').collect();
        let read = || match parts.as_slice() {
            ["feature", key, of] => Some(Self::Feature {
                feature: key.parse().ok()?,
                of: Quantity::ALL.iter().find(|(word, _)| word == of)?.1,
            }),
            ["face", letter, touch] => {
                let mut letters = letter.chars();
                let datum = letters.next().filter(|_| letters.next().is_none())?;
                let touch = touch.parse().ok()?;
                Some(Self::Face { datum, touch })
            }
            _ => None,
        };
        read().ok_or_else(|| NotAnExtra(text.chars().take(60).collect()))
    }
}

impl TryFrom<String> for Extra {
    type Error = NotAnExtra;
    fn try_from(text: String) -> Result<Self, NotAnExtra> {
        text.parse()
    }
}

impl From<Extra> for String {
    fn from(extra: Extra) -> Self {
        extra.to_string()
    }
}

/// Quantities that are asked for beside the sheet: places and sizes. Angles and form take many touches.
const fn is_simple(of: Quantity) -> bool {
    of.axis().is_some() || of.is_size()
}

/// Every place and size of every feature, on the sheet or not.
#[must_use]
pub fn of_features(exercise: &Exercise) -> Vec<Extra> {
    let of = |feature: &Feature| {
        let key = feature.key.clone();
        let simple = quantities_of_feature(&feature.shape)
            .into_iter()
            .filter(|q| is_simple(*q));
        simple
            .map(move |of| Extra::Feature {
                feature: key.clone(),
                of,
            })
            .collect::<Vec<_>>()
    };
    exercise.features.iter().flat_map(of).collect()
}

/// Every touch of every datum.
#[must_use]
pub fn of_faces(exercise: &Exercise) -> Vec<Extra> {
    let datums = exercise.datum_frame.all().into_iter();
    datums
        .flat_map(|d| (0..d.touches.len()).map(|touch| Extra::Face { datum: d.letter, touch }))
        .collect()
}

impl Extra {
    /// The line of the sheet that asks for the same.
    #[must_use]
    pub fn on_sheet<'e>(&self, exercise: &'e Exercise) -> Option<(usize, &'e Characteristic)> {
        let Self::Feature { feature, of } = self else {
            return None;
        };
        let (index, _) = exercise.feature(feature)?;
        let same = |c: &&Characteristic| c.owner == Owner::Feature(index) && c.of == *of;
        let at = exercise.characteristics.iter().position(|c| same(&c))?;
        exercise.characteristics.get(at).map(|c| (at, c))
    }

    /// Quantity that is read.
    #[must_use]
    pub fn of(&self, exercise: &Exercise) -> Option<Quantity> {
        match self {
            Self::Feature { of, .. } => Some(*of),
            Self::Face { datum, .. } => exercise.datum_frame.by_letter(*datum).map(|d| coordinate(d.sets)),
        }
    }

    /// What is asked of the pair, to be done while the plate is clamped and the zero still stands.
    #[must_use]
    pub fn request(&self, exercise: &Exercise) -> Option<String> {
        let keep = "Leave the plate clamped and the zero as it is.";
        Some(match self {
            Self::Feature { feature, of } => {
                let (_, f) = exercise.feature(feature)?;
                let again = if self.on_sheet(exercise).is_some() {
                    " once more"
                } else {
                    ""
                };
                format!(
                    "{keep} Measure \u{201c}{}\u{201d}{again} and type {} as the display shows it.",
                    f.name,
                    quantity(*of)
                )
            }
            Self::Face { datum, touch } => {
                let d = exercise.datum_frame.by_letter(*datum)?;
                let [a, b] = d.touches.get(*touch)?;
                let others: Vec<char> = [Axis::X, Axis::Y, Axis::Z]
                    .into_iter()
                    .filter(|x| *x != d.sets)
                    .map(Axis::letter)
                    .collect();
                let place = |v: &Decimal| v.normalize().to_string().replace('-', "\u{2212}");
                format!(
                    "{keep} Touch the {} face (datum {datum}) again near {} {} and {} {}, as a point with the tip taken off, and type {} as the display shows it.",
                    d.face.word(),
                    others.first()?,
                    place(a),
                    others.get(1)?,
                    place(b),
                    d.sets.letter()
                )
            }
        })
    }

    /// What the field for the answer is called: `Y of Bore, mm`.
    #[must_use]
    pub fn label(&self, exercise: &Exercise) -> Option<String> {
        let unit = exercise.units.as_str();
        Some(match self {
            Self::Feature { feature, of } => {
                let (_, f) = exercise.feature(feature)?;
                format!("{} of {}, {unit}", capital(quantity(*of)), f.name)
            }
            Self::Face { datum, .. } => {
                let d = exercise.datum_frame.by_letter(*datum)?;
                format!(
                    "{} of the {} face (datum {datum}), {unit}",
                    d.sets.letter(),
                    d.face.word()
                )
            }
        })
    }
}

const fn coordinate(axis: Axis) -> Quantity {
    match axis {
        Axis::X => Quantity::X,
        Axis::Y => Quantity::Y,
        Axis::Z => Quantity::Z,
    }
}

/// A place or size within a sentence.
#[must_use]
pub fn quantity(of: Quantity) -> &'static str {
    match of {
        Quantity::X => "X",
        Quantity::Y => "Y",
        Quantity::Z => "Z",
        _ => of.word(),
    }
}

/// An exercise with readings as lines after those of its sheet.
#[derive(Debug, Clone)]
pub struct Extended {
    /// The exercise; features for faces stand after its own.
    pub exercise: Exercise,
    /// The readings that could be laid on, in the order of their lines.
    pub extras: Vec<Extra>,
    /// Lines of the sheet itself.
    pub sheet: usize,
}

impl Extended {
    /// Lays readings onto an exercise; what it does not have is left out.
    #[must_use]
    pub fn new(exercise: &Exercise, extras: &[Extra]) -> Self {
        let mut extended = Self {
            exercise: exercise.clone(),
            extras: Vec::new(),
            sheet: exercise.characteristics.len(),
        };
        for extra in extras {
            if let Some(line) = extended.line(exercise, extra) {
                extended.exercise.characteristics.push(line);
                extended.extras.push(extra.clone());
            }
        }
        extended
    }

    /// Balloon number of a reading's line.
    #[must_use]
    pub fn no(&self, place: usize) -> Option<&BalloonNo> {
        self.exercise.characteristics.get(self.sheet + place).map(|c| &c.no)
    }

    /// A report with the readings on their lines.
    #[must_use]
    pub fn report(&self, report: &Report, answers: &[Answer]) -> Report {
        let mut report = report.clone();
        for (place, extra) in self.extras.iter().enumerate() {
            let Some(no) = self.no(place) else { continue };
            let answer = answers.iter().find(|a| a.extra == *extra);
            report.items.push(ReportItem {
                no: no.clone(),
                measured: answer.map(|a| a.reading.clone()),
                call: None,
            });
        }
        report
    }

    fn line(&mut self, exercise: &Exercise, extra: &Extra) -> Option<Characteristic> {
        let no = self.free_number()?;
        if let Some((_, same)) = extra.on_sheet(exercise) {
            return Some(Characteristic { no, ..same.clone() });
        }
        let (index, of) = match extra {
            Extra::Feature { feature, of } => {
                let (index, f) = exercise.feature(feature)?;
                quantities_of_feature(&f.shape).contains(of).then_some((index, *of))?
            }
            Extra::Face { datum, touch } => (self.face(exercise, *datum, *touch)?, extra.of(exercise)?),
        };
        let asked = Asked {
            owner: Owner::Feature(index),
            of,
            along: None,
        };
        let states = geometry::nominal_states(&self.exercise);
        let e = &self.exercise;
        let nominal = geometry::nominal_value(&e.features, &e.between, &states, asked, e.decimals)?;
        let u_lab = uncertainty(e, nominal, states.get(index), asked)?;
        Some(blank(no, asked, nominal, u_lab))
    }

    fn free_number(&self) -> Option<BalloonNo> {
        let taken = |no: &BalloonNo| self.exercise.characteristics.iter().any(|c| c.no == *no);
        let from = self.exercise.characteristics.len();
        (from..)
            .filter_map(|n| format!("extra-{n}").parse().ok())
            .find(|no| !taken(no))
    }

    /// A point on a datum face at one of its touches, as a feature of its own.
    fn face(&mut self, exercise: &Exercise, letter: char, touch: usize) -> Option<usize> {
        let datum = exercise.datum_frame.by_letter(letter)?;
        let at = datum.touch_point(datum.touches.get(touch)?);
        let mut normal = [0.0; 3];
        let (axis, sign) = datum.face.normal();
        normal[axis.index()] = sign;
        let [x, y, z] = at.map(decimal_from_f64);
        let key: FeatureKey = format!("face-{letter}-{touch}_").parse().ok()?;
        self.exercise.features.push(Feature {
            name: format!("{} face", datum.face.word()),
            key,
            shape: Shape::Point {
                at: [x?, y?, z?],
                normal,
            },
            side: None,
            points: 1,
            points_given: false,
        });
        Some(self.exercise.features.len() - 1)
    }

    /// What a plate is, with the readings. A datum face is where the frame puts it, as well as a careful pair could find
    /// out; a second reading of a line of the sheet has that line's reference.
    #[must_use]
    pub fn plate(&self, plate: &Plate) -> Plate {
        let mut plate = plate.clone();
        for (place, extra) in self.extras.iter().enumerate() {
            let (Some(no), Some(line)) = (self.no(place), self.exercise.characteristics.get(self.sheet + place)) else {
                continue;
            };
            let found = match extra {
                Extra::Face { .. } => Some(Calibrated {
                    value: line.nominal,
                    expanded: line.u_lab,
                    k: Decimal::TWO,
                }),
                Extra::Feature { .. } => {
                    let sheet = self.exercise.characteristics.iter().take(self.sheet);
                    let same = sheet.clone().find(|c| c.owner == line.owner && c.of == line.of);
                    same.and_then(|c| plate.references.get(&c.no).cloned())
                }
            };
            if let Some(found) = found {
                plate.references.insert(no.clone(), found);
            }
        }
        plate
    }
}

fn uncertainty(exercise: &Exercise, nominal: Decimal, state: Option<&FeatureState>, asked: Asked) -> Option<Decimal> {
    let m = &exercise.measurement;
    geometry::lab_uncertainty(m.expanded_uncertainty, m.per_length, nominal, state, asked)
}

fn blank(no: BalloonNo, asked: Asked, nominal: Decimal, u_lab: Decimal) -> Characteristic {
    Characteristic {
        no,
        owner: asked.owner,
        of: asked.of,
        nominal,
        nominal_given: false,
        tolerance: Tolerance::PlusMinus(u_lab),
        tolerance_is_general: true,
        limits: Limits {
            lower: None,
            upper: None,
        },
        weight: Decimal::ZERO,
        own_uncertainty: None,
        u_lab,
        criterion: None,
        criterion_given: false,
        datum: None,
        maximum_material: false,
        along: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::file::read_exercise;

    fn exercise() -> Exercise {
        let text = include_str!("../../exercises/SB-11/exercise.toml");
        read_exercise("exercise.toml", text).0.unwrap()
    }

    #[test]
    fn readings_are_written_and_read_back() {
        let exercise = exercise();
        let all = of_faces(&exercise).into_iter().chain(of_features(&exercise));
        for extra in all {
            assert_eq!(extra.to_string().parse::<Extra>(), Ok(extra.clone()));
            assert!(extra.request(&exercise).unwrap().ends_with('.'));
            assert!(extra.label(&exercise).unwrap().ends_with(", mm"));
        }
        for wrong in ["", "face:AB:0", "face:A:x", "feature:top:colour", "feature:top"] {
            assert!(wrong.parse::<Extra>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn lines_are_laid_after_the_sheet_and_what_is_not_there_is_left_out() {
        let exercise = exercise();
        let asked = [
            "face:B:1",
            "feature:hole-1:x",
            "feature:nowhere:x",
            "face:Q:0",
            "feature:top:x",
        ];
        let asked: Vec<Extra> = asked.iter().map(|t| t.parse().unwrap()).collect();
        let extended = Extended::new(&exercise, &asked);
        assert_eq!(extended.extras, asked[..2]);
        assert_eq!(
            extended.exercise.characteristics.len(),
            exercise.characteristics.len() + 2
        );
        // A second reading of number 8 has its nominal; a datum face is where the print puts it.
        let nominal = |place: usize| extended.exercise.characteristics[extended.sheet + place].nominal;
        assert_eq!((nominal(0), nominal(1)), (Decimal::ZERO, Decimal::from(16)));
    }
}
