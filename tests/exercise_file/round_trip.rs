//! What was read is written so that it reads the same; and no text stops the reader.

use std::fmt::Write as _;

use platemark::exercise::file::{read_exercise, read_plates, write_exercise, write_plates};
use platemark::exercise::model::Quantity;
use platemark::exercise::plate::{Calibrated, Plate, PlateKind, Plates, Seed};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{EXERCISE, PLATES, fixture};

/// Geometry of a feature of some kind about a place, with room of 20 to all sides.
fn geometry(kind: usize, [x, y]: [i64; 2], [a, c]: [usize; 2]) -> String {
    let depth = ["", "depth = 7.5\n", "depth = 12\n"][a % 3];
    let at = format!("at = [{x}, {y}, 0]\n");
    match kind {
        0 => format!("kind = \"point\"\nat = [{x}, {y}, -3.50]\nnormal = [0, 0, {}]\n", a + 1),
        1 => {
            let to = y + 12;
            format!("kind = \"line\"\nfrom = [{x}, {y}, -3]\nto = [{x}.5, {to}, -3]\nnormal = [-24, 1, 0]\n")
        }
        2 => format!("kind = \"plane\"\nat = [{x}, {y}, -5]\nnormal = [{a}, 0.3, 0.7]\nsize = [20, 8.25]\n"),
        3 => format!("kind = \"circle\"\n{at}diameter = 10.0{a}\n{depth}"),
        4 => format!(
            "kind = \"slot\"\n{at}length = 20\nwidth = 8\nangle = {}\n{depth}",
            a * 30
        ),
        5 => format!(
            "kind = \"cylinder\"\n{at}diameter = 6\n{depth}axis = [0, 0, {}]\n",
            c + 1
        ),
        6 => format!("kind = \"cone\"\n{at}angle = 60\ndiameter = 12\ndepth = 4\nside = \"inside\"\n"),
        _ => format!("kind = \"sphere\"\nat = [{x}, {y}, {a}]\ndiameter = 9\n"),
    }
}

/// Quantities of each kind with the lines that go with them.
const QUANTITIES: [&[(&str, &str)]; 8] = [
    &[("z", "")],
    &[
        ("angle", "tolerance = \"±0.1\"\n"),
        ("straightness", "tolerance = \"max 0.05\"\n"),
    ],
    &[
        ("flatness", "tolerance = \"max 0.02\"\ncriterion = \"least-squares\"\n"),
        ("angle", "datum = \"A\"\ntolerance = \"±0.2\"\n"),
    ],
    &[
        ("diameter", "tolerance = \"H9\"\n"),
        ("x", ""),
        ("position", "tolerance = \"max 0.1\"\nmaterial_condition = \"mmc\"\n"),
    ],
    &[
        ("width", "tolerance = \"+0.02 -0.01\"\nnominal = 8.000\nweight = 2\n"),
        ("angle", "tolerance = \"ISO 2768-c\"\n"),
        ("y", ""),
    ],
    &[
        ("perpendicularity", "datum = \"A\"\ntolerance = \"max 0.03\"\n"),
        ("diameter", "tolerance = \"JS10\"\n"),
    ],
    &[
        ("angle", "tolerance = \"±0.5\"\nexpanded_uncertainty = 0.1\n"),
        ("diameter", ""),
    ],
    &[("z", ""), ("form", "tolerance = \"max 0.01\"\n")],
];

/// A feature with characteristics numbered from `first`.
fn feature(kind: usize, place: [i64; 2], first: usize, [a, b, c]: [usize; 3]) -> String {
    let name = ["", "name = \"Ø \\\"é\\\" \\\\\"\n"][c % 2];
    let points = ["", "points = 12\n"][b % 2];
    let shape = geometry(kind, place, [a, c]);
    let mut text = format!("[[feature]]\nkey = \"f{first}\"\n{name}{shape}{points}");
    for (i, (of, rest)) in QUANTITIES[kind].iter().enumerate() {
        let no = first + i;
        let _ = write!(text, "[[feature.characteristic]]\nno = \"{no}\"\nof = \"{of}\"\n{rest}");
    }
    text
}

const MARKS: [&str; 4] = [
    "",
    "[marks]\nscore = \"fitness\"\nfitness = 0.030\n",
    "[marks]\nguard_factor = 0.83\nfollow_through = false\n[[marks.line]]\nname = \"Tidy\"\npoints = 2.5\n",
    "[marks]\nfull_within = 0.5\nclerical_charge = 0\n",
];

const MATERIALS: [&str; 3] = ["material = \"cast iron\"", "expansion = 1.23e-5", "expansion = 0"];

/// Secondary and tertiary datum, either way round.
const DATUMS: [[&str; 2]; 2] = [
    [
        "B = { face = \"back\", sets = \"y\", at = 80",
        "Q = { face = \"left\", sets = \"x\", at = 0.0",
    ],
    [
        "D = { face = \"right\", sets = \"x\", at = 160",
        "B = { face = \"front\", sets = \"y\", at = 0",
    ],
];

/// All above the features.
fn head(units: &str, decimals: u32, material: usize, datums: usize, marks: usize) -> String {
    let [secondary, tertiary] = DATUMS[datums];
    format!(
        "format = 1\ncode = \"RT-{decimals}\"\ntitle = \"Round trip\"\nunits = \"{units}\"\ndecimals = {decimals}\n\
         general_tolerance = \"±0.10\"\n\
         [body]\noutline = [[0, 0], [160, 0], [160, 80], [0, 80]]\nthickness = 20.00\n{}\n\
         [datum_frame]\nA = {{ face = \"top\", sets = \"z\", at = 0, touches = [[5, 5], [150, 5], [70.5, 75]] }}\n\
         {secondary}, touches = [[10, -4], [70, -5.5]] }}\n{tertiary}, touches = [[40, -8], [41, -8]] }}\n\
         [measurement]\nexpanded_uncertainty = 0.0005\nper_length = 0.0000000125\nrepeatability = 0\n\
         tip_diameter = 1.5e0\n\
         {}[[mistaken_surface]]\nname = \"step\"\ninstead_of = \"A\"\nat = -4.25\n",
        MATERIALS[material], MARKS[marks]
    )
}

prop_compose! {
    fn exercise_text()(
        units in prop::sample::select(vec!["mm", "inch"]),
        decimals in 3_u32..=6,
        kinds in prop::collection::vec((0_usize..8, 0_usize..3, 0_usize..3, 0_usize..3), 1..9),
        marks in 0_usize..4,
        material in 0_usize..3,
        datums in 0_usize..2,
    ) -> String {
        let mut text = head(units, decimals, material, datums, marks);
        for (i, (kind, a, b, c)) in kinds.iter().enumerate() {
            let place = [i % 4, i / 4].map(|cell| 40 * i64::try_from(cell).unwrap() + 20);
            text += &feature(*kind, place, 10 * (i + 1), [*a, *b, *c]);
        }
        let centres: Vec<usize> = (0..kinds.len()).filter(|i| [3, 4, 5, 7].contains(&kinds[*i].0)).collect();
        if let [first, second, ..] = centres.as_slice() {
            let [first, second] = [first, second].map(|i| 10 * (i + 1));
            let _ = write!(
                text,
                "[[between]]\nkey = \"pair\"\nfeatures = [\"f{first}\", \"f{second}\"]\n\
                 [[between.characteristic]]\nno = \"P.1\"\nof = \"distance\"\nalong = \"x\"\n",
            );
        }
        text
    }
}

fn decimal() -> impl Strategy<Value = Decimal> {
    (-200_000_i64..200_000, 0_u32..7).prop_map(|(units, places)| Decimal::new(units, places + 2))
}

prop_compose! {
    fn plate()(
        serial in "[A-Z0-9.-]{1,24}",
        seed in prop_oneof![
            Just(None),
            "[0-9a-fA-F]{1,32}".prop_map(|s| Some(Seed::Hex(s))),
            any::<i64>().prop_map(|s| Some(Seed::Integer(s))),
        ],
        virtual_one in any::<bool>(),
        shop in prop::option::of(decimal()),
        planted in prop::collection::btree_map(
            prop::sample::select(vec!["bore", "pocket", "pin"]),
            prop::collection::btree_map(prop::sample::select(vec!["x", "y"]), decimal(), 0..3),
            0..4,
        ),
        references in prop::collection::btree_map(
            prop::sample::select(vec!["2", "4", "6.1", "8", "10"]),
            (decimal(), decimal(), 1_u32..40),
            0..5,
        ),
    ) -> Plate {
        let quantity = |word: &str| if word == "x" { Quantity::X } else { Quantity::Y };
        Plate {
            serial: serial.parse().unwrap(),
            kind: if virtual_one { PlateKind::Virtual } else { PlateKind::Physical },
            seed,
            shop_uncertainty: shop.map(|s| s.abs()),
            planted: planted
                .into_iter()
                .map(|(key, all)| (key.parse().unwrap(), all.into_iter().map(|(q, d)| (quantity(q), d)).collect()))
                .collect(),
            references: references
                .into_iter()
                .map(|(no, (value, expanded, k))| {
                    let expanded = expanded.abs();
                    (no.parse().unwrap(), Calibrated { value, expanded, k: Decimal::new(i64::from(k), 1) })
                })
                .collect(),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn an_exercise_goes_round(text in exercise_text()) {
        let (exercise, problems) = read_exercise("f", &text);
        prop_assert!(exercise.is_some(), "{problems:?}\n{text}");
        let exercise = exercise.unwrap();
        let written = write_exercise(&exercise);
        let (again, problems) = read_exercise("f", &written);
        prop_assert!(again.is_some(), "{problems:?}\n{written}");
        let again = again.unwrap();
        prop_assert_eq!(&again, &exercise);
        prop_assert_eq!(write_exercise(&again), written);
        super::form::check_one_meaning(&text);
    }

    #[test]
    fn plates_go_round(list in prop::collection::vec(plate(), 0..4)) {
        let exercise = fixture();
        let mut list = list;
        let mut serials = std::collections::BTreeSet::new();
        list.retain(|p| serials.insert(p.serial.clone()));
        let plates = Plates { exercise: exercise.code.clone(), plates: list };
        let written = write_plates(&plates);
        let (again, problems) = read_plates("f", &written, &exercise);
        prop_assert_eq!(again.as_ref(), Some(&plates), "{:?}\n{}", problems, written);
        prop_assert_eq!(write_plates(&plates), written);
    }

    #[test]
    fn no_text_stops_the_reader(
        at in any::<prop::sample::Index>(),
        length in 0_usize..40,
        put in "[\\[\\]{}=,\"'\\\\#.\\-0-9a-z\n\u{0}é ]{0,12}",
        plates in any::<bool>(),
    ) {
        let exercise = fixture();
        let good: Vec<char> = if plates { PLATES } else { EXERCISE }.chars().collect();
        let from = at.index(good.len());
        let to = (from + length).min(good.len());
        let text: String = good[..from].iter().copied().chain(put.chars()).chain(good[to..].iter().copied()).collect();
        let problems = if plates { read_plates("f", &text, &exercise).1 } else { read_exercise("f", &text).1 };
        let lines: Vec<&str> = text.split('\n').collect();
        for p in problems {
            let line = lines.get(p.line - 1);
            prop_assert!(line.is_some_and(|l| p.column <= l.chars().count() + 1), "{p}");
            prop_assert!(p.mend.ends_with(['.', '?']) && !p.what.is_empty(), "{p}");
        }
    }
}
