//! The plate that the checks are worked on by hand: 100 x 60 x 20, datums at 0, tip 4, every kind of feature.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use rust_decimal::Decimal;

use crate::exercise::geometry::{self, Asked};
use crate::exercise::model::{
    Axis, Between, Body, Characteristic, Datum, DatumFrame, Exercise, Face, Feature, MarksRules, Material, Measurement,
    MistakenSurface, Owner, Quantity, Shape, Side,
};
use crate::exercise::names::{FeatureKey, Serial};
use crate::exercise::plate::{Calibrated, Plate, PlateKind};
use crate::metrology::tolerance::Limits;
use crate::procedure::model::Model;
use crate::units::LengthUnit;

pub(in crate::procedure) fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn list<const N: usize>(text: &str) -> [Decimal; N] {
    let numbers: Vec<Decimal> = text.split_whitespace().map(dec).collect();
    numbers.try_into().unwrap()
}

fn datum(letter: char, face: Face, touches: &[&str]) -> Datum {
    let touches = touches.iter().map(|t| list(t)).collect();
    Datum {
        letter,
        face,
        sets: face.normal().0,
        at: Decimal::ZERO,
        touches,
    }
}

fn feature(key: &str, shape: Shape, side: Option<Side>) -> Feature {
    let points = shape.default_points();
    Feature {
        key: key.parse().unwrap(),
        name: key.to_owned(),
        shape,
        side,
        points,
        points_given: false,
    }
}

fn circle(at: &str, diameter: &str) -> Shape {
    Shape::Circle {
        at: list(at),
        diameter: dec(diameter),
        depth: None,
    }
}

fn face(at: &str, normal: [f64; 3], size: &str) -> Shape {
    Shape::Plane {
        at: list(at),
        normal,
        size: list(size),
    }
}

const HALF: f64 = std::f64::consts::FRAC_1_SQRT_2;

fn features() -> Vec<Feature> {
    let inside = Some(Side::Inside);
    let outside = Some(Side::Outside);
    let slot = Shape::Slot {
        at: list("50 20 0"),
        length: dec("30"),
        width: dec("10"),
        angle: dec("30"),
        depth: None,
    };
    let edge = Shape::Line {
        from: list("100 10 -5"),
        to: list("100 50 -5"),
        normal: [1.0, 0.0, 0.0],
    };
    let touch = Shape::Point {
        at: list("100 30 -10"),
        normal: [1.0, 0.0, 0.0],
    };
    let reamed = Shape::Cylinder {
        at: list("30 50 0"),
        axis: [0.0, 0.0, 1.0],
        diameter: dec("10"),
        depth: Some(dec("15")),
    };
    vec![
        feature("bore", circle("70 40 0", "20"), inside),
        feature("pin", circle("20 10 -8", "8"), outside),
        feature("slot", slot, inside),
        feature("edge", edge, None),
        feature("step", face("80 30 -8", [0.0, 0.0, 1.0], "30 40"), None),
        feature("wall", face("60 30 -4", [1.0, 0.0, 0.0], "40 8"), None),
        feature("far-wall", face("75 30 -4", [-1.0, 0.0, 0.0], "40 8"), None),
        feature("bottom", face("50 30 -20", [0.0, 0.0, -1.0], "100 60"), None),
        feature(
            "ball",
            Shape::Sphere {
                at: list("10 50 5"),
                diameter: dec("12"),
            },
            outside,
        ),
        feature("touch", touch, None),
        feature("chamfer", face("50 58 -2", [0.0, HALF, HALF], "100 5"), None),
        feature("reamed", reamed, inside),
    ]
}

/// Characteristics by number: feature or pair, quantity, axis of a distance.
const SHEET: [(&str, &str, Quantity, Option<Axis>); 33] = [
    ("1", "bore", Quantity::Diameter, None),
    ("2", "bore", Quantity::X, None),
    ("3", "bore", Quantity::Y, None),
    ("4", "bore", Quantity::Position, None),
    ("5", "pin", Quantity::Diameter, None),
    ("6", "pin", Quantity::X, None),
    ("7", "slot", Quantity::Length, None),
    ("8", "slot", Quantity::Width, None),
    ("9", "slot", Quantity::Angle, None),
    ("10", "slot", Quantity::Position, None),
    ("11", "edge", Quantity::X, None),
    ("12", "edge", Quantity::Straightness, None),
    ("13", "edge", Quantity::Angle, None),
    ("14", "step", Quantity::Z, None),
    ("15", "step", Quantity::Flatness, None),
    ("16", "step", Quantity::Parallelism, None),
    ("17", "wall", Quantity::X, None),
    ("18", "wall", Quantity::Perpendicularity, None),
    ("19", "ball", Quantity::Z, None),
    ("20", "ball", Quantity::Diameter, None),
    ("21", "touch", Quantity::X, None),
    ("22", "chamfer", Quantity::Angle, None),
    ("23", "reamed", Quantity::Perpendicularity, None),
    ("24", "reamed", Quantity::X, None),
    ("25", "reamed", Quantity::Y, None),
    ("26", "reamed", Quantity::Diameter, None),
    ("27", "bore to pin", Quantity::Distance, None),
    ("28", "bore to pin", Quantity::Distance, Some(Axis::X)),
    ("29", "far-wall to wall", Quantity::Distance, None),
    ("30", "bottom to step", Quantity::Distance, None),
    ("31", "slot to edge", Quantity::Angle, None),
    ("32", "reamed to bore", Quantity::Coaxiality, None),
    ("33", "far-wall to wall", Quantity::Parallelism, None),
];

/// Straightness, flatness and so on as they are on the plate, by number.
const FORM: [(&str, &str, Quantity, &str); 7] = [
    ("12", "edge", Quantity::Straightness, "0.006"),
    ("15", "step", Quantity::Flatness, "0.01"),
    ("16", "step", Quantity::Parallelism, "0.02"),
    ("18", "wall", Quantity::Perpendicularity, "0.015"),
    ("23", "reamed", Quantity::Perpendicularity, "0.012"),
    ("33", "far-wall-to-wall", Quantity::Parallelism, "0.02"),
    ("", "bore", Quantity::Roundness, "0.004"),
];

fn key_of(owner: &str) -> FeatureKey {
    owner.replace(' ', "-").parse().unwrap()
}

fn pairs(features: &[Feature]) -> Vec<Between> {
    let mut pairs: Vec<Between> = Vec::new();
    for (_, owner, ..) in SHEET {
        let Some((a, b)) = owner.split_once(" to ") else {
            continue;
        };
        let index = |key: &str| features.iter().position(|f| f.key.as_str() == key).unwrap();
        let pair = Between {
            key: key_of(owner),
            features: [index(a), index(b)],
        };
        if !pairs.contains(&pair) {
            pairs.push(pair);
        }
    }
    pairs
}

/// The exercise.
pub(in crate::procedure) fn exercise() -> Exercise {
    let features = features();
    let between = pairs(&features);
    let zero = Decimal::ZERO;
    let mut exercise = Exercise {
        code: "T-1".parse().unwrap(),
        title: "Check plate".to_owned(),
        units: LengthUnit::Mm,
        decimals: 3,
        general_tolerance: None,
        body: Body {
            outline: vec![list("0 0"), list("100 0"), list("100 60"), list("0 60")],
            thickness: dec("20"),
            material: Material::Named("steel"),
        },
        datum_frame: DatumFrame {
            primary: datum('A', Face::Top, &["10 10", "90 10", "90 50", "10 50"]),
            secondary: datum('B', Face::Left, &["10 -6", "50 -6"]),
            tertiary: datum('C', Face::Front, &["40 -6"]),
        },
        mistaken_surfaces: vec![MistakenSurface {
            name: "upper step".to_owned(),
            instead_of: 'C',
            at: dec("6"),
        }],
        measurement: Measurement {
            expanded_uncertainty: dec("0.01"),
            per_length: zero,
            repeatability: dec("0.002"),
            tip_diameter: dec("4"),
        },
        marks: MarksRules::default(),
        features,
        between,
        characteristics: Vec::new(),
    };
    exercise.characteristics = characteristics(&exercise);
    exercise
}

fn characteristics(exercise: &Exercise) -> Vec<Characteristic> {
    let nominal = geometry::nominal_states(exercise);
    let of = |(no, owner, of, along): (&str, &str, Quantity, Option<Axis>)| {
        let owner = exercise
            .features
            .iter()
            .position(|f| f.key.as_str() == owner)
            .map_or_else(
                || Owner::Between(exercise.between.iter().position(|b| b.key == key_of(owner)).unwrap()),
                Owner::Feature,
            );
        let asked = Asked { owner, of, along };
        let nominal = geometry::nominal_value(&exercise.features, &exercise.between, &nominal, asked, 3).unwrap();
        let limits = if of.is_geometrical() {
            Limits::at_most(dec("0.2"))
        } else {
            Limits::between(nominal - dec("0.1"), nominal + dec("0.1"))
        };
        let double = of == Quantity::Position || of == Quantity::Coaxiality;
        Characteristic {
            no: no.parse().unwrap(),
            owner,
            of,
            nominal,
            nominal_given: false,
            tolerance: "±0.1".parse().unwrap(),
            tolerance_is_general: false,
            limits,
            weight: Decimal::ONE,
            own_uncertainty: None,
            u_lab: if double { dec("0.02") } else { dec("0.01") },
            criterion: None,
            criterion_given: false,
            datum: of.is_geometrical().then_some('A'),
            maximum_material: false,
            along,
        }
    };
    SHEET.into_iter().map(of).collect()
}

/// Planted: the bore at (70.1, 39.95) with diameter 20.02, everything else nominal but for form.
pub(in crate::procedure) fn plate() -> Plate {
    let mut planted: BTreeMap<FeatureKey, BTreeMap<Quantity, Decimal>> = BTreeMap::new();
    for (_, owner, of, value) in FORM {
        planted.entry(key_of(owner)).or_default().insert(of, dec(value));
    }
    let bore = planted.entry(key_of("bore")).or_default();
    bore.insert(Quantity::X, dec("0.1"));
    bore.insert(Quantity::Y, dec("-0.05"));
    bore.insert(Quantity::Diameter, dec("0.02"));
    Plate {
        serial: serial("T-1-01"),
        kind: PlateKind::Virtual,
        seed: None,
        shop_uncertainty: None,
        planted,
        references: BTreeMap::new(),
    }
}

/// A physical copy with one calibrated value, and nothing else established.
pub(in crate::procedure) fn physical() -> Plate {
    let reference = Calibrated {
        value: dec("69.9502"),
        expanded: dec("0.003"),
        k: dec("2"),
    };
    Plate {
        serial: serial("T-1-02"),
        kind: PlateKind::Physical,
        planted: BTreeMap::new(),
        references: BTreeMap::from([("2".parse().unwrap(), reference)]),
        ..plate()
    }
}

pub(in crate::procedure) fn serial(text: &str) -> Serial {
    text.parse().unwrap()
}

pub(in crate::procedure) fn model() -> &'static Model {
    static MODEL: LazyLock<Model> = LazyLock::new(|| Model::new(&exercise(), &[plate(), physical()]).unwrap());
    &MODEL
}
