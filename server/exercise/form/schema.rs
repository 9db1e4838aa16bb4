//! Which fields the form has, table by table, and in what form each is typed.

/// How a field is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Typed {
    /// Words.
    Text,
    /// A number with a point.
    Number,
    /// Places in a plane, one on a line: two numbers each.
    Places,
    /// Three coordinates.
    Place,
    /// Two numbers.
    Pair,
    /// A direction: a word of [`DIRECTIONS`], or three numbers.
    Direction,
    /// One of a few words; the first value of each is that of the file.
    Choice(&'static [(&'static str, &'static str)]),
    /// The letter of a datum of this exercise.
    Datum,
    /// The key of a feature of this exercise.
    Feature,
    /// A quantity that its owner can have.
    Quantity,
}

/// One field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spec {
    /// Key in the file.
    pub key: &'static str,
    /// Its name on the form.
    pub label: &'static str,
    /// How it is typed.
    pub typed: Typed,
    /// Whether it must be filled in.
    pub need: bool,
    /// A word of help; may be empty.
    pub hint: &'static str,
    /// How it is written.
    pub example: &'static str,
}

const fn spec(key: &'static str, label: &'static str, typed: Typed, need: bool, example: &'static str) -> Spec {
    Spec {
        key,
        label,
        typed,
        need,
        hint: "",
        example,
    }
}

impl Spec {
    const fn hint(mut self, hint: &'static str) -> Self {
        self.hint = hint;
        self
    }
}

/// Words for the six directions along the axes.
pub const DIRECTIONS: [(&str, [i8; 3]); 6] = [
    ("up", [0, 0, 1]),
    ("down", [0, 0, -1]),
    ("left", [-1, 0, 0]),
    ("right", [1, 0, 0]),
    ("front", [0, -1, 0]),
    ("back", [0, 1, 0]),
];

/// A choice of direction that is none of the words; the numbers follow it.
pub const OTHER: &str = "other";

use Typed::{Choice, Datum, Direction, Feature, Number, Pair, Place, Places, Quantity, Text};

/// Top of the sheet.
pub const HEAD: &[Spec] = &[
    spec("code", "Code", Text, true, "BR-02")
        .hint("Capital letters, digits, hyphens. It stands on every sheet and plate."),
    spec("title", "Title", Text, true, "Bearing bracket, top face"),
    spec(
        "units",
        "Unit of lengths",
        Choice(&[("mm", "mm"), ("inch", "inch")]),
        true,
        "mm",
    ),
    spec("decimals", "Places of a report", Number, true, "3")
        .hint("How many digits behind the point pairs write down, 0 to 6."),
    spec("general_tolerance", "General tolerance", Text, false, "±0.1")
        .hint("For lengths that name none: ±0.1 or ISO 2768-m. May be empty."),
];

/// The blank.
pub const BODY: &[Spec] = &[
    spec("outline", "Corners in plan view", Places, true, "140 0")
        .hint("One corner on a line, X and Y, counter-clockwise from the corner at the origin. Columns from a spreadsheet can be pasted."),
    spec("thickness", "Thickness", Number, true, "18"),
    spec(
        "material",
        "Material",
        Choice(&[
            ("steel", "steel"),
            ("stainless steel", "stainless steel"),
            ("aluminium", "aluminium"),
            ("brass", "brass"),
            ("cast iron", "cast iron"),
            ("granite", "granite"),
            ("acetal", "acetal"),
            (OTHER, "another, by its expansion"),
        ]),
        true,
        "aluminium",
    ),
    spec("expansion", "Expansion per kelvin", Number, true, "23.6e-6"),
];

/// One datum. Which axis it sets follows from its face.
pub const DATUM: &[Spec] = &[
    spec("letter", "Letter", Text, true, "A"),
    spec(
        "face",
        "Face",
        Choice(&[
            ("top", "top"),
            ("bottom", "bottom"),
            ("left", "left"),
            ("right", "right"),
            ("front", "front"),
            ("back", "back"),
        ]),
        true,
        "top",
    ),
    spec("at", "Its coordinate", Number, true, "0").hint("X, Y or Z of this face."),
    spec("touches", "Touches", Places, true, "15 15"),
];

/// A surface that pairs touch instead of a datum.
pub const MISTAKEN: &[Spec] = &[
    spec("name", "What it is", Text, true, "upper step of the front face"),
    spec("instead_of", "Taken for datum", Datum, true, "C"),
    spec("at", "Its coordinate", Number, true, "6.0").hint("Along the axis that the datum sets."),
];

/// What a careful pair achieves.
pub const MEASUREMENT: &[Spec] = &[
    spec(
        "expanded_uncertainty",
        "Expanded uncertainty, k = 2",
        Number,
        true,
        "0.008",
    )
    .hint("At zero length, in the unit of lengths: 3 µm are 0.003 mm."),
    spec("per_length", "and per unit of length", Number, true, "4e-6")
        .hint("4e-6 are 4 µm in each metre, which is L/250 on a machine's data sheet."),
    spec(
        "repeatability",
        "One touch, one standard deviation",
        Number,
        true,
        "0.002",
    ),
    spec("tip_diameter", "Diameter of the tip", Number, true, "3.0"),
];

/// How marks are made; an empty field is as by default.
pub const MARKS: &[Spec] = &[
    spec(
        "decision_rule",
        "Decision rule",
        Choice(&[
            ("", "simple acceptance"),
            ("guarded-acceptance", "guarded acceptance"),
            ("three-way", "three-way: undecided between"),
        ]),
        false,
        "simple-acceptance",
    ),
    spec("guard_factor", "Guard band, times U", Number, false, "1"),
    spec("measurement", "Weight of the measurement", Number, false, "60"),
    spec(
        "call_for_plate",
        "Weight of the call for the plate",
        Number,
        false,
        "25",
    ),
    spec(
        "call_for_own_value",
        "Weight of the call for the own number",
        Number,
        false,
        "15",
    ),
    spec(
        "score",
        "Measured by",
        Choice(&[
            ("", "E_n: what the machine can do"),
            ("fitness", "fitness: what the number is for"),
        ]),
        false,
        "en",
    ),
    spec("fitness", "Standard deviation for the purpose", Number, true, "0.02"),
    spec(
        "full_within",
        "All points up to a score of",
        Number,
        false,
        "1, with fitness 2",
    ),
    spec("none_beyond", "None from a score of", Number, false, "3"),
    spec(
        "follow_through",
        "A mistake is charged",
        Choice(&[
            ("", "once, and what follows from it is not"),
            ("false", "at every number that it touches"),
        ]),
        false,
        "true",
    ),
    spec(
        "fault_charge",
        "For a mistake of setting up, per cent",
        Number,
        false,
        "15",
    ),
    spec("clerical_charge", "For a slip of writing, per cent", Number, false, "5"),
];

/// A line marked by hand.
pub const LINE: &[Spec] = &[
    spec(
        "name",
        "Marked by hand",
        Text,
        true,
        "Plate and tip cleaned, setup shown",
    ),
    spec("points", "Points of the hundred", Number, true, "10"),
];

/// Kinds of features with their words.
pub const KINDS: &[(&str, &str)] = &[
    ("circle", "hole or pin, in one section (circle)"),
    ("cylinder", "bore or pin with its axis (cylinder)"),
    ("slot", "slot with round ends"),
    ("plane", "flat face (plane)"),
    ("line", "straight edge (line)"),
    ("point", "one place on a face (point)"),
    ("cone", "countersink (cone)"),
    ("sphere", "ball (sphere)"),
];

/// Which side a round feature of a kind has where nobody said it.
#[must_use]
pub fn usual_side(kind: &str) -> &'static str {
    if kind == "sphere" { "outside" } else { "inside" }
}

/// All fields of features, whatever their kind.
pub const FEATURE: &[Spec] = &[
    spec("name", "Name", Text, false, "Main bore"),
    spec("kind", "Kind", Choice(KINDS), true, "circle"),
    spec(
        "side",
        "It is",
        Choice(&[
            ("inside", "hollow: a hole or seat"),
            ("outside", "solid: a pin, boss or ball"),
        ]),
        false,
        "inside",
    ),
    spec("at", "Place", Place, true, "70").hint("Of its middle. The top face is Z = 0, below it is negative."),
    spec("from", "From", Place, true, "10"),
    spec("to", "To", Place, true, "130"),
    spec("normal", "Faces", Direction, true, "up").hint("Out of the material."),
    spec("axis", "Axis", Direction, false, "up"),
    spec("size", "Size of the face", Pair, true, "40")
        .hint("Along X, then along Y; of an upright face its length, then its height."),
    spec("diameter", "Diameter", Number, true, "32"),
    spec("length", "Length over all", Number, true, "30"),
    spec("width", "Width", Number, true, "10"),
    spec("angle", "Angle, degrees", Number, true, "30"),
    spec("depth", "Depth", Number, false, "12").hint("Empty for through."),
    spec("points", "Touches on it", Number, false, "4").hint("Empty for the least that fixes it and one more."),
    spec("key", "Key in files", Text, true, "bore").hint("Plates and files call the feature by it."),
];

/// Fields of a feature of a kind, in the order of the form.
#[must_use]
pub fn of_kind(kind: &str) -> Vec<&'static Spec> {
    let keys: &[&str] = match kind {
        "point" => &["at", "normal"],
        "line" => &["from", "to", "normal"],
        "plane" => &["at", "normal", "size"],
        "circle" => &["side", "at", "diameter", "depth"],
        "slot" => &["side", "at", "length", "width", "angle", "depth"],
        "cylinder" => &["side", "at", "axis", "diameter", "depth"],
        "cone" => &["side", "at", "axis", "angle", "diameter", "depth"],
        "sphere" => &["side", "at", "diameter"],
        _ => &[],
    };
    let common = |key: &str| ["name", "kind", "points", "key"].contains(&key);
    FEATURE
        .iter()
        .filter(|s| common(s.key) || keys.contains(&s.key))
        .collect()
}

/// Quantities of a feature of a kind.
#[must_use]
pub fn quantities_of_kind(kind: &str) -> &'static [&'static str] {
    match kind {
        "point" => &["x", "y", "z"],
        "line" => &["x", "y", "z", "angle", "straightness"],
        "plane" => &["x", "y", "z", "flatness", "parallelism", "perpendicularity", "angle"],
        "circle" => &["diameter", "x", "y", "roundness", "position"],
        "slot" => &["x", "y", "length", "width", "angle", "position"],
        "cylinder" => &["diameter", "x", "y", "perpendicularity", "position", "cylindricity"],
        "cone" => &["x", "y", "angle", "diameter"],
        "sphere" => &["x", "y", "z", "diameter", "form"],
        _ => &[],
    }
}

/// Quantities between two features.
pub const BETWEEN_QUANTITIES: &[&str] = &["distance", "angle", "parallelism", "perpendicularity", "coaxiality"];

/// Two features and what is measured between them.
pub const BETWEEN: &[Spec] = &[
    spec("first", "From", Feature, true, "bore"),
    spec("second", "to, the reference of the two", Feature, true, "dowel"),
    spec("key", "Key in files", Text, true, "centre-distance"),
];

/// All fields of characteristics.
pub const CHARACTERISTIC: &[Spec] = &[
    spec("no", "No", Text, true, "1"),
    spec("of", "Quantity", Quantity, true, "diameter"),
    spec("datum", "to datum", Datum, true, "A"),
    spec("tolerance", "Tolerance", Text, false, "±0.05")
        .hint("As on the print: ±0.05, H7, +0.02/0, max 0.1, ISO 2768-m. Empty for the general one."),
    spec(
        "material_condition",
        "Bonus",
        Choice(&[("", "none"), ("mmc", "at maximum material")]),
        false,
        "mmc",
    ),
    spec(
        "along",
        "Distance",
        Choice(&[("", "straight"), ("x", "along X"), ("y", "along Y"), ("z", "along Z")]),
        false,
        "x",
    ),
    spec("nominal", "Nominal", Number, false, "32")
        .hint("Follows from the geometry; what is written is held against it."),
    spec("weight", "Weight", Number, false, "1"),
    spec("expanded_uncertainty", "Own U, k = 2", Number, false, "0.004"),
    spec(
        "criterion",
        "Form by",
        Choice(&[
            ("", "the usual"),
            ("minimum-zone", "the smallest zone"),
            ("least-squares", "the least-squares figure"),
        ]),
        false,
        "minimum-zone",
    ),
];

/// Fields of a characteristic by its quantity and the kind of its feature (empty between two).
#[must_use]
pub fn of_quantity(of: &str, kind: &str) -> Vec<&'static Spec> {
    let between = kind.is_empty();
    let orientation = matches!(of, "parallelism" | "perpendicularity") || (of == "angle" && kind == "plane");
    let form = matches!(of, "straightness" | "flatness" | "roundness" | "cylindricity" | "form");
    let has = |key: &str| match key {
        "datum" => orientation && !between,
        "material_condition" => of == "position",
        "along" => of == "distance",
        "criterion" => form,
        _ => true,
    };
    CHARACTERISTIC.iter().filter(|s| has(s.key)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_has_only_its_fields() {
        for (kind, expected) in [
            ("circle", "name kind side at diameter depth points key"),
            ("plane", "name kind at normal size points key"),
            ("line", "name kind from to normal points key"),
            ("sphere", "name kind side at diameter points key"),
            ("", "name kind points key"),
        ] {
            let keys: Vec<&str> = of_kind(kind).iter().map(|s| s.key).collect();
            assert_eq!(keys.join(" "), expected, "{kind}");
        }
        let keys = |of, kind| -> Vec<&str> { of_quantity(of, kind).iter().map(|s| s.key).collect() };
        assert!(keys("flatness", "plane").contains(&"criterion"));
        assert!(!keys("x", "plane").contains(&"datum"));
        assert!(keys("angle", "plane").contains(&"datum"));
        assert!(!keys("parallelism", "").contains(&"datum"));
    }
}
