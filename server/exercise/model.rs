//! The exercise as the rest of the house sees it: checked, with every nominal and limit worked out.
//!
//! Part frame: right-handed, X to the right, Y away from the person, Z up, top face at z = 0. Lengths are in the
//! exercise's unit, angles in decimal degrees. What an author typed is kept beside what follows from it, so that an
//! exercise can be written back as it was read.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::names::{BalloonNo, ExerciseCode, FeatureKey};
use crate::metrology::conformity::DecisionRule;
use crate::metrology::tolerance::{Limits, Tolerance};
use crate::units::LengthUnit;

/// A whole exercise.
#[derive(Debug, Clone, PartialEq)]
pub struct Exercise {
    /// Unique code.
    pub code: ExerciseCode,
    /// Title as on the sheet.
    pub title: String,
    /// Unit of all lengths.
    pub units: LengthUnit,
    /// Places that a report carries, 0 to 6.
    pub decimals: u32,
    /// Tolerance of lengths that name none.
    pub general_tolerance: Option<Tolerance>,
    /// The blank that the features are in.
    pub body: Body,
    /// 3-2-1 frame.
    pub datum_frame: DatumFrame,
    /// Surfaces that are touched in place of a datum now and then.
    pub mistaken_surfaces: Vec<MistakenSurface>,
    /// What a careful pair achieves.
    pub measurement: Measurement,
    /// How marks are made.
    pub marks: MarksRules,
    /// Features in the order of the file.
    pub features: Vec<Feature>,
    /// Quantities of two features, in the order of the file.
    pub between: Vec<Between>,
    /// All characteristics in sheet order: those of features first, then those between features.
    pub characteristics: Vec<Characteristic>,
}

impl Exercise {
    /// The characteristic with this balloon number and its place on the sheet.
    #[must_use]
    pub fn characteristic(&self, no: &BalloonNo) -> Option<(usize, &Characteristic)> {
        self.characteristics.iter().enumerate().find(|(_, c)| c.no == *no)
    }

    /// The feature with this key and its index.
    #[must_use]
    pub fn feature(&self, key: &FeatureKey) -> Option<(usize, &Feature)> {
        self.features.iter().enumerate().find(|(_, f)| f.key == *key)
    }

    /// Positions of the features that a characteristic is of: one, or both of a pair.
    #[must_use]
    pub fn features_of(&self, characteristic: &Characteristic) -> Vec<usize> {
        match characteristic.owner {
            Owner::Feature(i) => vec![i],
            Owner::Between(i) => self.between.get(i).map(|b| b.features.to_vec()).unwrap_or_default(),
        }
    }

    /// What a characteristic belongs to, in words for people: the feature's name, or both features' names.
    #[must_use]
    pub fn owner_name(&self, characteristic: &Characteristic) -> String {
        match characteristic.owner {
            Owner::Feature(i) => self.features.get(i).map(|f| f.name.clone()).unwrap_or_default(),
            Owner::Between(i) => self.between.get(i).map_or_else(String::new, |b| {
                let name = |i: usize| self.features.get(i).map_or("", |f| f.name.as_str());
                format!("{} to {}", name(b.features[0]), name(b.features[1]))
            }),
        }
    }

    /// Whether a characteristic is the angle of a line or a slot, which means the same every half turn.
    #[must_use]
    pub fn is_plan_direction(&self, characteristic: &Characteristic) -> bool {
        let turns = |i: usize| self.features.get(i).is_some_and(|f| f.shape.has_plan_direction());
        matches!((characteristic.of, characteristic.owner), (Quantity::Angle, Owner::Feature(i)) if turns(i))
    }

    /// The size whose bonus a position at maximum material may use: the diameter (or width) of the same feature.
    #[must_use]
    pub fn size_of(&self, characteristic: &Characteristic) -> Option<(usize, &Characteristic)> {
        let size = |c: &&Characteristic| matches!(c.of, Quantity::Diameter | Quantity::Width);
        self.characteristics
            .iter()
            .enumerate()
            .find(|(_, c)| c.owner == characteristic.owner && size(c))
    }
}

/// The body in plan view and its thickness; the top face is z = 0.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Counter-clockwise simple polygon in plan view.
    pub outline: Vec<[Decimal; 2]>,
    /// Thickness along Z.
    pub thickness: Decimal,
    /// Material, which gives the expansion.
    pub material: Material,
}

/// What the body is made of.
#[derive(Debug, Clone, PartialEq)]
pub enum Material {
    /// A material of the table.
    Named(&'static str),
    /// Expansion stated by the author, per kelvin.
    Expansion(Decimal),
}

/// Linear expansion per kelvin in 1e-6 (common practice, no published source).
pub const MATERIALS: [(&str, f64); 7] = [
    ("steel", 11.5),
    ("stainless steel", 16.0),
    ("aluminium", 23.6),
    ("brass", 19.0),
    ("cast iron", 10.5),
    ("granite", 6.5),
    ("acetal", 110.0),
];

impl Material {
    /// Expansion per kelvin.
    #[must_use]
    pub fn expansion(&self) -> f64 {
        match self {
            Self::Named(name) => MATERIALS.iter().find(|(n, _)| n == name).map_or(0.0, |(_, a)| a * 1e-6),
            Self::Expansion(value) => crate::units::decimal_to_f64(*value),
        }
    }
}

/// One of the three axes of the part frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Axis {
    /// To the right.
    X,
    /// Away from the person.
    Y,
    /// Up.
    Z,
}

impl Axis {
    /// Index into a coordinate triple.
    #[must_use]
    pub const fn index(self) -> usize {
        match self {
            Self::X => 0,
            Self::Y => 1,
            Self::Z => 2,
        }
    }

    /// Capital letter for people.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Self::X => 'X',
            Self::Y => 'Y',
            Self::Z => 'Z',
        }
    }
}

/// A face of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Face {
    /// z upward.
    Top,
    /// z downward.
    Bottom,
    /// x to the left.
    Left,
    /// x to the right.
    Right,
    /// y towards the person.
    Front,
    /// y away from the person.
    Back,
}

impl Face {
    /// All faces with the word for each.
    pub const ALL: [(&'static str, Self); 6] = [
        ("top", Self::Top),
        ("bottom", Self::Bottom),
        ("left", Self::Left),
        ("right", Self::Right),
        ("front", Self::Front),
        ("back", Self::Back),
    ];

    /// Axis that the face stands across, and the sign of its outward normal on it.
    #[must_use]
    pub const fn normal(self) -> (Axis, f64) {
        match self {
            Self::Top => (Axis::Z, 1.0),
            Self::Bottom => (Axis::Z, -1.0),
            Self::Left => (Axis::X, -1.0),
            Self::Right => (Axis::X, 1.0),
            Self::Front => (Axis::Y, -1.0),
            Self::Back => (Axis::Y, 1.0),
        }
    }

    /// The word for the face.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|(_, f)| *f == self).map_or("", |(w, _)| w)
    }
}

/// One datum: a face, the coordinate that it defines, and where it is touched.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// Letter on the print.
    pub letter: char,
    /// Face touched.
    pub face: Face,
    /// Axis whose coordinate the face sets.
    pub sets: Axis,
    /// Coordinate of the face.
    pub at: Decimal,
    /// Where to touch, in the two other coordinates in the order x, y, z.
    pub touches: Vec<[Decimal; 2]>,
}

impl Datum {
    /// A touch as a point of the part frame, `at` on the axis that the datum sets.
    #[must_use]
    pub fn touch_point(&self, touch: &[Decimal; 2]) -> [f64; 3] {
        let (a, b) = (
            crate::units::decimal_to_f64(touch[0]),
            crate::units::decimal_to_f64(touch[1]),
        );
        let at = crate::units::decimal_to_f64(self.at);
        match self.sets {
            Axis::X => [at, a, b],
            Axis::Y => [a, at, b],
            Axis::Z => [a, b, at],
        }
    }

    /// The middle of all touches, as a point of the part frame.
    #[must_use]
    pub fn middle(&self) -> [f64; 3] {
        let mut sum = [0.0; 3];
        let mut count = 0.0_f64;
        for touch in &self.touches {
            let p = self.touch_point(touch);
            for (s, v) in sum.iter_mut().zip(p) {
                *s += v;
            }
            count += 1.0;
        }
        sum.map(|s| s / count.max(1.0))
    }
}

/// 3-2-1: the primary datum sets z, the secondary and tertiary x and y in either order.
#[derive(Debug, Clone, PartialEq)]
pub struct DatumFrame {
    /// At least three touches.
    pub primary: Datum,
    /// At least two touches.
    pub secondary: Datum,
    /// At least one touch.
    pub tertiary: Datum,
}

impl DatumFrame {
    /// The three in order.
    #[must_use]
    pub const fn all(&self) -> [&Datum; 3] {
        [&self.primary, &self.secondary, &self.tertiary]
    }

    /// The datum with this letter.
    #[must_use]
    pub fn by_letter(&self, letter: char) -> Option<&Datum> {
        self.all().into_iter().find(|d| d.letter == letter)
    }

    /// The datum that sets this axis.
    #[must_use]
    pub fn setting(&self, axis: Axis) -> Option<&Datum> {
        self.all().into_iter().find(|d| d.sets == axis)
    }
}

/// A surface that pairs touch instead of a datum.
#[derive(Debug, Clone, PartialEq)]
pub struct MistakenSurface {
    /// What it is called in feedback.
    pub name: String,
    /// Letter of the datum it is taken for.
    pub instead_of: char,
    /// Its coordinate along the axis that the datum sets.
    pub at: Decimal,
}

/// What a careful pair achieves on this class's machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// Expanded uncertainty, k = 2, at zero length.
    pub expanded_uncertainty: Decimal,
    /// Added per unit length.
    pub per_length: Decimal,
    /// One probed point, one standard deviation.
    pub repeatability: Decimal,
    /// Diameter of the tip.
    pub tip_diameter: Decimal,
}

/// How the measurement score falls off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScoreKind {
    /// `E_n` with the class's assigned uncertainty; full up to the first, nothing from the second.
    En,
    /// z' with this standard deviation for the purpose; limits 2 and 3.
    Fitness(Decimal),
}

/// Marking rules of an exercise; an assignment may override them.
#[derive(Debug, Clone, PartialEq)]
pub struct MarksRules {
    /// Rule that turns a value into a call.
    pub decision_rule: DecisionRule,
    /// Guard band = factor x U.
    pub guard_factor: Decimal,
    /// Weight of the measurement part.
    pub measurement: Decimal,
    /// Weight of the call against the plate.
    pub call_for_plate: Decimal,
    /// Weight of the call against the pair's own number.
    pub call_for_own_value: Decimal,
    /// Kind of score.
    pub score: ScoreKind,
    /// |score statistic| up to which a measurement earns all.
    pub full_within: Decimal,
    /// |score statistic| from which it earns nothing.
    pub none_beyond: Decimal,
    /// Whether a mistake is charged once instead of at every number.
    pub follow_through: bool,
    /// Per cent of the measurement part, once per fault of setting up.
    pub fault_charge: Decimal,
    /// The same, once per fault of writing down.
    pub clerical_charge: Decimal,
    /// Lines marked by hand, with their points out of the hundred.
    pub lines: Vec<MarksLine>,
}

impl Default for MarksRules {
    fn default() -> Self {
        Self {
            decision_rule: DecisionRule::SimpleAcceptance,
            guard_factor: Decimal::ONE,
            measurement: Decimal::from(60),
            call_for_plate: Decimal::from(25),
            call_for_own_value: Decimal::from(15),
            score: ScoreKind::En,
            full_within: Decimal::ONE,
            none_beyond: Decimal::from(3),
            follow_through: true,
            fault_charge: Decimal::from(15),
            clerical_charge: Decimal::from(5),
            lines: Vec::new(),
        }
    }
}

/// A line of the sheet that the instructor marks by hand.
#[derive(Debug, Clone, PartialEq)]
pub struct MarksLine {
    /// What is marked.
    pub name: String,
    /// Points out of the hundred.
    pub points: Decimal,
}

/// A feature of the plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Feature {
    /// Key in files.
    pub key: FeatureKey,
    /// Name for people; the key where none was given.
    pub name: String,
    /// Its nominal geometry.
    pub shape: Shape,
    /// Inside or outside, for round features and slots; `None` for the others.
    pub side: Option<Side>,
    /// Probed points that the sheet asks for.
    pub points: u32,
    /// Whether the author stated `points`.
    pub points_given: bool,
}

/// Which side of a surface the material is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// A hole or slot.
    Inside,
    /// A pin or boss.
    Outside,
}

/// Nominal geometry by kind. Directions are unit vectors as normalised from the file.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A single touched place on a surface.
    Point {
        /// Where.
        at: [Decimal; 3],
        /// Out of the material.
        normal: [f64; 3],
    },
    /// A straight line on a surface.
    Line {
        /// One end.
        from: [Decimal; 3],
        /// Other end.
        to: [Decimal; 3],
        /// Out of the material.
        normal: [f64; 3],
    },
    /// A flat face.
    Plane {
        /// Its middle.
        at: [Decimal; 3],
        /// Out of the material.
        normal: [f64; 3],
        /// Extents in the two directions of the face.
        size: [Decimal; 2],
    },
    /// A circle in plan view.
    Circle {
        /// Centre.
        at: [Decimal; 3],
        /// Diameter.
        diameter: Decimal,
        /// Into the material; `None` is through.
        depth: Option<Decimal>,
    },
    /// An obround slot.
    Slot {
        /// Centre.
        at: [Decimal; 3],
        /// Over all.
        length: Decimal,
        /// Across.
        width: Decimal,
        /// From X in plan view, degrees.
        angle: Decimal,
        /// Into the material; `None` is through.
        depth: Option<Decimal>,
    },
    /// A cylinder.
    Cylinder {
        /// A place on its axis.
        at: [Decimal; 3],
        /// Its direction.
        axis: [f64; 3],
        /// Diameter.
        diameter: Decimal,
        /// Into the material; `None` is through.
        depth: Option<Decimal>,
    },
    /// A cone.
    Cone {
        /// Where the diameter is stated.
        at: [Decimal; 3],
        /// Its direction.
        axis: [f64; 3],
        /// Full angle, degrees.
        angle: Decimal,
        /// Diameter at `at`.
        diameter: Decimal,
        /// Into the material; `None` is through.
        depth: Option<Decimal>,
    },
    /// A sphere.
    Sphere {
        /// Centre.
        at: [Decimal; 3],
        /// Diameter.
        diameter: Decimal,
    },
}

impl Shape {
    /// The word of the file for the kind.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Point { .. } => "point",
            Self::Line { .. } => "line",
            Self::Plane { .. } => "plane",
            Self::Circle { .. } => "circle",
            Self::Slot { .. } => "slot",
            Self::Cylinder { .. } => "cylinder",
            Self::Cone { .. } => "cone",
            Self::Sphere { .. } => "sphere",
        }
    }

    /// Whether the feature has a size that a tip changes: round features and slots.
    #[must_use]
    pub const fn is_sized(&self) -> bool {
        !matches!(self, Self::Point { .. } | Self::Line { .. } | Self::Plane { .. })
    }

    /// Whether its angle is a direction in plan view.
    #[must_use]
    pub const fn has_plan_direction(&self) -> bool {
        matches!(self, Self::Line { .. } | Self::Slot { .. })
    }

    /// Outward normal of a point, line or plane.
    #[must_use]
    pub const fn normal(&self) -> Option<[f64; 3]> {
        match self {
            Self::Point { normal, .. } | Self::Line { normal, .. } | Self::Plane { normal, .. } => Some(*normal),
            _ => None,
        }
    }

    /// The least number of probed points that fixes the figure, and one more.
    #[must_use]
    pub const fn default_points(&self) -> u32 {
        match self {
            Self::Point { .. } => 2,
            Self::Line { .. } => 3,
            Self::Plane { .. } | Self::Circle { .. } => 4,
            Self::Sphere { .. } => 5,
            Self::Slot { .. } | Self::Cylinder { .. } => 6,
            Self::Cone { .. } => 7,
        }
    }
}

/// Two features and what is measured between them.
#[derive(Debug, Clone, PartialEq)]
pub struct Between {
    /// Key in files.
    pub key: FeatureKey,
    /// Indices of the first feature and of the second, which is the reference of the two.
    pub features: [usize; 2],
}

/// What a characteristic belongs to, by index.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Owner {
    /// A feature.
    Feature(usize),
    /// A pair of features.
    Between(usize),
}

/// The quantity that a characteristic is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[expect(missing_docs, reason = "each is the word of the trade for itself")]
pub enum Quantity {
    X,
    Y,
    Z,
    Diameter,
    Length,
    Width,
    Angle,
    Distance,
    Straightness,
    Flatness,
    Roundness,
    Cylindricity,
    Form,
    Parallelism,
    Perpendicularity,
    Position,
    Coaxiality,
}

impl Quantity {
    /// All quantities with the word of the file.
    pub const ALL: [(&'static str, Self); 17] = [
        ("x", Self::X),
        ("y", Self::Y),
        ("z", Self::Z),
        ("diameter", Self::Diameter),
        ("length", Self::Length),
        ("width", Self::Width),
        ("angle", Self::Angle),
        ("distance", Self::Distance),
        ("straightness", Self::Straightness),
        ("flatness", Self::Flatness),
        ("roundness", Self::Roundness),
        ("cylindricity", Self::Cylindricity),
        ("form", Self::Form),
        ("parallelism", Self::Parallelism),
        ("perpendicularity", Self::Perpendicularity),
        ("position", Self::Position),
        ("coaxiality", Self::Coaxiality),
    ];

    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|(_, q)| *q == self).map_or("", |(w, _)| w)
    }

    /// The axis of a coordinate.
    #[must_use]
    pub const fn axis(self) -> Option<Axis> {
        match self {
            Self::X => Some(Axis::X),
            Self::Y => Some(Axis::Y),
            Self::Z => Some(Axis::Z),
            _ => None,
        }
    }

    /// Form of one surface: does not see the frame, zero length for uncertainty.
    #[must_use]
    pub const fn is_form(self) -> bool {
        matches!(
            self,
            Self::Straightness | Self::Flatness | Self::Roundness | Self::Cylindricity | Self::Form
        )
    }

    /// Form, orientation and position: nominal 0, never negative, `max` tolerances only.
    #[must_use]
    pub const fn is_geometrical(self) -> bool {
        self.is_form()
            || matches!(
                self,
                Self::Parallelism | Self::Perpendicularity | Self::Position | Self::Coaxiality
            )
    }

    /// Sizes that a tip changes.
    #[must_use]
    pub const fn is_size(self) -> bool {
        matches!(self, Self::Diameter | Self::Length | Self::Width)
    }

    /// Whether values are degrees rather than lengths.
    #[must_use]
    pub const fn is_angle(self) -> bool {
        matches!(self, Self::Angle)
    }
}

/// How a form value is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Criterion {
    /// Smallest zone that holds all points.
    MinimumZone,
    /// Peak to valley about the least-squares figure.
    LeastSquares,
}

/// One characteristic with everything worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct Characteristic {
    /// Balloon number.
    pub no: BalloonNo,
    /// Feature or pair of features.
    pub owner: Owner,
    /// Quantity.
    pub of: Quantity,
    /// Nominal value.
    pub nominal: Decimal,
    /// Whether the author stated the nominal.
    pub nominal_given: bool,
    /// Tolerance, the general one where the characteristic names none.
    pub tolerance: Tolerance,
    /// Whether the tolerance is the general one.
    pub tolerance_is_general: bool,
    /// Limits as printed, without bonus.
    pub limits: Limits,
    /// Weight in the marks.
    pub weight: Decimal,
    /// The author's own expanded uncertainty of this characteristic.
    pub own_uncertainty: Option<Decimal>,
    /// Expanded uncertainty of a careful pair, k = 2, in the unit of the value.
    pub u_lab: Decimal,
    /// How form is made, where it is form.
    pub criterion: Option<Criterion>,
    /// Whether the author stated the criterion.
    pub criterion_given: bool,
    /// Datum of an orientation or of a plane's angle.
    pub datum: Option<char>,
    /// Position at maximum material.
    pub maximum_material: bool,
    /// One axis of a distance.
    pub along: Option<Axis>,
}

/// How the two surfaces of a distance stand to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DistanceKind {
    /// Centres: a tip changes nothing.
    Centres,
    /// Opposite outward normals, as of a width or thickness.
    Outside,
    /// Facing normals, as of a groove.
    Inside,
    /// Like normals.
    Step,
}
