//! The faults: what can go wrong between a plate and a report, by family and with their parameters.
//!
//! Codes and parameter names are those of the grade's JSON: `{"fault": "origin-shift", "parameters": {"axis": "x",
//! "amount": 1.5}}`. Lengths are in the exercise's unit, angles in degrees, `ppm` in 1e-6.

use serde::{Deserialize, Serialize};

use crate::exercise::model::Axis;
use crate::exercise::names::{BalloonNo, FeatureKey, Serial};

/// An axis in plan view.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PlanAxis {
    /// To the right.
    X,
    /// Away from the person.
    Y,
}

impl PlanAxis {
    /// Both.
    pub const ALL: [Self; 2] = [Self::X, Self::Y];

    /// As one of three.
    #[must_use]
    pub const fn axis(self) -> Axis {
        match self {
            Self::X => Axis::X,
            Self::Y => Axis::Y,
        }
    }
}

/// Turns of a clamped part about Z, counter-clockwise seen from above; 90, 180 or 270 in files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "u16")]
pub enum QuarterTurn {
    /// 90 degrees.
    One,
    /// 180 degrees.
    Two,
    /// 270 degrees.
    Three,
}

/// An angle that no clamped part is turned by.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("a part is turned by 90, 180 or 270 degrees, not by {0}")]
pub struct NotAQuarter(f64);

impl QuarterTurn {
    /// All three.
    pub const ALL: [Self; 3] = [Self::One, Self::Two, Self::Three];

    /// Degrees.
    #[must_use]
    pub const fn degrees(self) -> u16 {
        match self {
            Self::One => 90,
            Self::Two => 180,
            Self::Three => 270,
        }
    }
}

impl From<QuarterTurn> for u16 {
    fn from(turn: QuarterTurn) -> Self {
        turn.degrees()
    }
}

impl TryFrom<f64> for QuarterTurn {
    type Error = NotAQuarter;
    fn try_from(degrees: f64) -> Result<Self, NotAQuarter> {
        let same = |turn: &Self| (f64::from(turn.degrees()) - degrees).abs() < 1e-9;
        Self::ALL.into_iter().find(same).ok_or(NotAQuarter(degrees))
    }
}

/// One mistake with its parameters. An edit of the perfect procedure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "fault", content = "parameters", rename_all = "kebab-case")]
pub enum Fault {
    /// Origin off by an amount along an axis.
    OriginShift {
        /// Along which axis.
        axis: Axis,
        /// What every coordinate of that axis gains.
        amount: f64,
    },
    /// A declared mistaken surface was touched for a datum.
    MistakenSurface {
        /// Letter of the datum.
        datum: char,
        /// Name of the surface in the exercise.
        name: String,
    },
    /// Origin on another corner of the body, axis not turned.
    OppositeCorner {
        /// Axis whose far face was touched.
        axis: PlanAxis,
    },
    /// Secondary datum skewed: coordinates turned about Z.
    FrameRotated {
        /// Angle by which the line through the secondary datum's touches was turned, counter-clockwise.
        angle_deg: f64,
    },
    /// Primary datum skewed: z grows with x or y.
    FrameTilted {
        /// Axis of the tilt.
        about: PlanAxis,
        /// Angle by which the plane through the primary datum's touches was turned, right-handed about the axis.
        angle_deg: f64,
    },
    /// Part clamped turned.
    PartTurned {
        /// By how much.
        angle_deg: QuarterTurn,
    },
    /// X and Y columns exchanged.
    AxesExchanged {},
    /// Sign of one axis reversed.
    AxisReversed {
        /// Which axis.
        axis: Axis,
    },
    /// Edge or face touched without taking half the tip off.
    TipIgnoredOnDatum {
        /// Letter of the datum.
        datum: char,
    },
    /// Sizes without tip compensation.
    TipIgnoredOnSize {},
    /// Measured points, lines and planes without tip compensation.
    TipIgnoredOnSurface {},
    /// A wrong tip diameter in use: sizes, surfaces and datums off together.
    TipWrong {
        /// Diameter in use less true diameter.
        amount: f64,
    },
    /// All values in the other unit.
    WrongUnit {
        /// What every length is multiplied by: 25.4 or 1/25.4.
        factor: f64,
    },
    /// Lengths scaled by expansion.
    Temperature {
        /// Relative growth in 1e-6.
        ppm: f64,
    },
    /// Radius written as diameter.
    RadiusForDiameter {
        /// The diameters that were halved.
        items: Vec<BalloonNo>,
    },
    /// Deviations written in place of values.
    DeviationForValue {
        /// The values that were replaced.
        items: Vec<BalloonNo>,
    },
    /// Values are the print's, not the plate's.
    NominalsCopied {
        /// The values that were copied.
        items: Vec<BalloonNo>,
    },
    /// Two features' values written at each other's place.
    FeaturesExchanged {
        /// One feature.
        a: FeatureKey,
        /// The other.
        b: FeatureKey,
    },
    /// Values fit another serial of the exercise.
    WrongPlate {
        /// That other serial.
        serial: Serial,
    },
    /// Two neighbouring digits exchanged in one value.
    DigitsTransposed {
        /// The value.
        item: BalloonNo,
        /// Power of ten of the right-hand one of the two digits. Where none is given: the first two neighbours that
        /// differ. A parameter of the simulation; no answer needs it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<i32>,
    },
    /// One value off by a power of ten.
    DecimalSlipped {
        /// The value.
        item: BalloonNo,
        /// Power of ten by which the written value is too large.
        power: i32,
    },
    /// One value lost or gained a minus.
    SignDropped {
        /// The value.
        item: BalloonNo,
    },
    /// One value wrong for no reason the model knows.
    GrossError {
        /// The value.
        item: BalloonNo,
        /// By how much; known to a simulation only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        amount: Option<f64>,
    },
}

/// The family of a fault: its code, without parameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each is described at the fault of the same name")]
pub enum Family {
    OriginShift,
    MistakenSurface,
    OppositeCorner,
    FrameRotated,
    FrameTilted,
    PartTurned,
    AxesExchanged,
    AxisReversed,
    TipIgnoredOnDatum,
    TipIgnoredOnSize,
    TipIgnoredOnSurface,
    TipWrong,
    WrongUnit,
    Temperature,
    RadiusForDiameter,
    DeviationForValue,
    NominalsCopied,
    FeaturesExchanged,
    WrongPlate,
    DigitsTransposed,
    DecimalSlipped,
    SignDropped,
    GrossError,
}

impl Family {
    /// All families with their codes, in the order in which they are listed for instructors.
    pub const ALL: [(&'static str, Self); 23] = [
        ("origin-shift", Self::OriginShift),
        ("mistaken-surface", Self::MistakenSurface),
        ("opposite-corner", Self::OppositeCorner),
        ("frame-rotated", Self::FrameRotated),
        ("frame-tilted", Self::FrameTilted),
        ("part-turned", Self::PartTurned),
        ("axes-exchanged", Self::AxesExchanged),
        ("axis-reversed", Self::AxisReversed),
        ("tip-ignored-on-datum", Self::TipIgnoredOnDatum),
        ("tip-ignored-on-size", Self::TipIgnoredOnSize),
        ("tip-ignored-on-surface", Self::TipIgnoredOnSurface),
        ("tip-wrong", Self::TipWrong),
        ("wrong-unit", Self::WrongUnit),
        ("temperature", Self::Temperature),
        ("radius-for-diameter", Self::RadiusForDiameter),
        ("deviation-for-value", Self::DeviationForValue),
        ("nominals-copied", Self::NominalsCopied),
        ("features-exchanged", Self::FeaturesExchanged),
        ("wrong-plate", Self::WrongPlate),
        ("digits-transposed", Self::DigitsTransposed),
        ("decimal-slipped", Self::DecimalSlipped),
        ("sign-dropped", Self::SignDropped),
        ("gross-error", Self::GrossError),
    ];

    /// The code as in files.
    #[must_use]
    pub fn code(self) -> &'static str {
        Self::ALL.iter().find(|(_, f)| *f == self).map_or("", |(code, _)| code)
    }

    /// Whether the fault is one of writing down, which is charged less than one of setting up.
    #[must_use]
    pub const fn is_clerical(self) -> bool {
        matches!(
            self,
            Self::WrongUnit
                | Self::RadiusForDiameter
                | Self::DeviationForValue
                | Self::FeaturesExchanged
                | Self::DigitsTransposed
                | Self::DecimalSlipped
                | Self::SignDropped
        )
    }
}

impl Fault {
    /// The family.
    #[must_use]
    pub const fn family(&self) -> Family {
        match self {
            Self::OriginShift { .. } => Family::OriginShift,
            Self::MistakenSurface { .. } => Family::MistakenSurface,
            Self::OppositeCorner { .. } => Family::OppositeCorner,
            Self::FrameRotated { .. } => Family::FrameRotated,
            Self::FrameTilted { .. } => Family::FrameTilted,
            Self::PartTurned { .. } => Family::PartTurned,
            Self::AxesExchanged {} => Family::AxesExchanged,
            Self::AxisReversed { .. } => Family::AxisReversed,
            Self::TipIgnoredOnDatum { .. } => Family::TipIgnoredOnDatum,
            Self::TipIgnoredOnSize {} => Family::TipIgnoredOnSize,
            Self::TipIgnoredOnSurface {} => Family::TipIgnoredOnSurface,
            Self::TipWrong { .. } => Family::TipWrong,
            Self::WrongUnit { .. } => Family::WrongUnit,
            Self::Temperature { .. } => Family::Temperature,
            Self::RadiusForDiameter { .. } => Family::RadiusForDiameter,
            Self::DeviationForValue { .. } => Family::DeviationForValue,
            Self::NominalsCopied { .. } => Family::NominalsCopied,
            Self::FeaturesExchanged { .. } => Family::FeaturesExchanged,
            Self::WrongPlate { .. } => Family::WrongPlate,
            Self::DigitsTransposed { .. } => Family::DigitsTransposed,
            Self::DecimalSlipped { .. } => Family::DecimalSlipped,
            Self::SignDropped { .. } => Family::SignDropped,
            Self::GrossError { .. } => Family::GrossError,
        }
    }
}

/// Most faults that one procedure has.
pub const MOST_FAULTS: usize = 3;

/// A measuring procedure: the perfect one, edited by up to three faults.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(try_from = "Vec<Fault>", into = "Vec<Fault>")]
pub struct Procedure(Vec<Fault>);

/// More faults than the model combines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a procedure has at most {MOST_FAULTS} faults, not {0}")]
pub struct TooManyFaults(usize);

impl Procedure {
    /// The perfect procedure.
    #[must_use]
    pub const fn perfect() -> Self {
        Self(Vec::new())
    }

    /// The perfect procedure with these faults.
    ///
    /// # Errors
    /// When there are more than three.
    pub fn with(faults: Vec<Fault>) -> Result<Self, TooManyFaults> {
        if faults.len() > MOST_FAULTS {
            Err(TooManyFaults(faults.len()))
        } else {
            Ok(Self(faults))
        }
    }

    /// The faults.
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.0
    }
}

impl TryFrom<Vec<Fault>> for Procedure {
    type Error = TooManyFaults;
    fn try_from(faults: Vec<Fault>) -> Result<Self, TooManyFaults> {
        Self::with(faults)
    }
}

impl From<Procedure> for Vec<Fault> {
    fn from(procedure: Procedure) -> Self {
        procedure.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fault, and its JSON as the grade shows it.
    fn check(fault: &Fault, expected: &str) {
        assert_eq!(serde_json::to_string(fault).unwrap(), expected);
        assert_eq!(serde_json::from_str::<Fault>(expected).unwrap(), *fault);
    }

    #[test]
    fn faults_are_written_with_the_codes_and_names_of_the_grade() {
        let no = |n: &str| n.parse::<BalloonNo>().unwrap();
        check(
            &Fault::OriginShift {
                axis: Axis::X,
                amount: 1.5,
            },
            r#"{"fault":"origin-shift","parameters":{"axis":"x","amount":1.5}}"#,
        );
        check(
            &Fault::MistakenSurface {
                datum: 'C',
                name: "upper step".into(),
            },
            r#"{"fault":"mistaken-surface","parameters":{"datum":"C","name":"upper step"}}"#,
        );
        check(
            &Fault::FrameTilted {
                about: PlanAxis::Y,
                angle_deg: -0.25,
            },
            r#"{"fault":"frame-tilted","parameters":{"about":"y","angle_deg":-0.25}}"#,
        );
        check(
            &Fault::PartTurned {
                angle_deg: QuarterTurn::Two,
            },
            r#"{"fault":"part-turned","parameters":{"angle_deg":180}}"#,
        );
        check(
            &Fault::AxesExchanged {},
            r#"{"fault":"axes-exchanged","parameters":{}}"#,
        );
        check(
            &Fault::RadiusForDiameter {
                items: vec![no("1"), no("4.2")],
            },
            r#"{"fault":"radius-for-diameter","parameters":{"items":["1","4.2"]}}"#,
        );
        check(
            &Fault::DigitsTransposed {
                item: no("7"),
                place: None,
            },
            r#"{"fault":"digits-transposed","parameters":{"item":"7"}}"#,
        );
        check(
            &Fault::DecimalSlipped {
                item: no("7"),
                power: -1,
            },
            r#"{"fault":"decimal-slipped","parameters":{"item":"7","power":-1}}"#,
        );
        check(
            &Fault::GrossError {
                item: no("7"),
                amount: None,
            },
            r#"{"fault":"gross-error","parameters":{"item":"7"}}"#,
        );
    }

    #[test]
    fn only_quarter_turns_are_read() {
        let bad = r#"{"fault":"part-turned","parameters":{"angle_deg":45}}"#;
        let message = serde_json::from_str::<Fault>(bad).unwrap_err().to_string();
        assert!(message.contains("not by 45"), "{message}");
    }

    #[test]
    fn every_family_has_the_code_that_serde_writes() {
        for (code, family) in Family::ALL {
            assert_eq!(serde_json::to_string(&family).unwrap(), format!("\"{code}\""));
            assert_eq!(family.code(), code);
        }
        assert_eq!(Family::ALL.iter().filter(|(_, f)| f.is_clerical()).count(), 7);
    }

    #[test]
    fn a_procedure_holds_three_faults_at_most() {
        let exchanged = || Fault::AxesExchanged {};
        assert!(Procedure::with(vec![exchanged(), exchanged(), exchanged()]).is_ok());
        let four = (0..4).map(|_| exchanged()).collect();
        assert_eq!(Procedure::with(four), Err(TooManyFaults(4)));
    }
}
