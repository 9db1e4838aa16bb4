//! What a line of a print's table asks for, from the words that stand there.

use crate::exercise::model::Quantity;

/// What was understood.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Asked {
    /// The quantity's word of the file; `None` where it could not be told.
    pub(super) of: Option<&'static str>,
    /// What is left: the feature's name, or both features' names.
    pub(super) name: String,
}

/// Words for quantities, those of more letters and of form first: "true position" is no coordinate.
const WORDS: [(&str, &str); 47] = [
    ("flatness", "flatness"),
    ("flat", "flatness"),
    ("straightness", "straightness"),
    ("roundness", "roundness"),
    ("circularity", "roundness"),
    ("cylindricity", "cylindricity"),
    ("parallelism", "parallelism"),
    ("parallel", "parallelism"),
    ("perpendicularity", "perpendicularity"),
    ("perpendicular", "perpendicularity"),
    ("squareness", "perpendicularity"),
    ("coaxiality", "coaxiality"),
    ("concentricity", "coaxiality"),
    ("diameter", "diameter"),
    ("dia", "diameter"),
    ("dia.", "diameter"),
    ("diam", "diameter"),
    ("diam.", "diameter"),
    ("ø", "diameter"),
    ("⌀", "diameter"),
    ("∅", "diameter"),
    ("x", "x"),
    ("y", "y"),
    ("z", "z"),
    ("x-coordinate", "x"),
    ("y-coordinate", "y"),
    ("z-coordinate", "z"),
    ("height", "z"),
    ("width", "width"),
    ("length", "length"),
    ("angle", "angle"),
    ("position", "position"),
    ("pos", "position"),
    ("pos.", "position"),
    ("distance", "distance"),
    ("dist", "distance"),
    ("dist.", "distance"),
    ("spacing", "distance"),
    ("pitch", "distance"),
    ("thickness", "distance"),
    ("centres", "distance"),
    ("centers", "distance"),
    ("form", "form"),
    ("depth", "distance"),
    ("step", "distance"),
    ("coaxial", "coaxiality"),
    ("concentric", "coaxiality"),
];

/// Signs that are written for a diameter.
pub(super) const DIAMETER_SIGNS: [char; 4] = ['ø', 'Ø', '⌀', '∅'];

/// Words that say nothing of their own beside a quantity.
const FILLERS: [&str; 12] = [
    "of",
    "the",
    "coordinate",
    "coord",
    "location",
    "true",
    "at",
    "in",
    "-",
    ":",
    ",",
    "/",
];

/// Understands a description such as `Hole 1, X` or `diameter of bore`.
pub(super) fn asked(description: &str) -> Asked {
    let spaced = description
        .replace(DIAMETER_SIGNS, " ø ")
        .replace([',', ':', '(', ')'], " ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let meaning = |word: &str| {
        let low = word.to_lowercase();
        WORDS.iter().position(|(known, _)| *known == low)
    };
    // What stands higher in the table is surer; "X of the step" is the X.
    let found = words
        .iter()
        .enumerate()
        .filter_map(|(i, w)| Some((meaning(w)?, i)))
        .min();
    let of = found.and_then(|(known, _)| WORDS.get(known)).map(|(_, of)| *of);
    let of_two = of.is_some_and(|of| super::schema::BETWEEN_QUANTITIES.contains(&of));
    let is_filler = |w: &str| FILLERS.contains(&w.to_lowercase().as_str());
    let mut rest: Vec<&str> = Vec::new();
    for (i, word) in words.iter().enumerate() {
        let low = word.to_lowercase();
        if found.is_some_and(|(_, at)| at == i) || (of_two && ["between", "from"].contains(&low.as_str())) {
            continue;
        }
        // What stands between the names of two features parts them.
        if of_two && PARTING.contains(&low.as_str()) {
            if !rest.is_empty() && rest.last() != Some(&"to") {
                rest.push("to");
            }
        } else if !is_filler(word) {
            rest.push(word);
        }
    }
    if of_two && rest.last() == Some(&"to") {
        rest.pop();
    }
    Asked {
        of,
        name: rest.join(" "),
    }
}

/// Words and signs between the names of two features.
const PARTING: [&str; 6] = ["to", "and", "-", "\u{2013}", "/", "&"];

/// A nominal cell such as `Ø10 H7`: the number, what stands behind it, and whether it is a diameter.
pub(super) fn nominal(cell: &str) -> (String, String, bool) {
    let bare = cell.trim();
    let without = bare.trim_start_matches(DIAMETER_SIGNS).trim_start();
    let diameter = without.len() < bare.len();
    let figure = |c: char| c.is_ascii_digit() || ".,-+\u{2212}".contains(c);
    let signs = without.find(|c: char| !figure(c)).unwrap_or(without.len());
    // A sign behind a digit begins the tolerance: 10+0.1.
    let first = without
        .char_indices()
        .skip(1)
        .find(|(_, c)| "+-\u{2212}".contains(*c))
        .map_or(signs, |(i, _)| i.min(signs));
    let (number, rest) = without.split_at(first);
    let rest = rest.trim();
    let unit = ["mm", "in", "inch", "\"", "°", "deg"].contains(&rest);
    (
        number.to_owned(),
        if unit { String::new() } else { rest.to_owned() },
        diameter,
    )
}

/// Quantities whose tolerance is the width of a zone: on a print it stands as a number alone.
pub(super) fn is_geometrical(of: &str) -> bool {
    Quantity::ALL.iter().any(|(word, q)| *word == of && q.is_geometrical())
}

/// A tolerance as it is typed from a print, in the file's form: a number alone is the width of a zone, with or without the
/// sign of a diameter before it, and an angle may have its sign of degrees.
pub(super) fn as_printed(typed: &str, of: &str) -> String {
    let text = typed.trim();
    if of == "angle" {
        return text.replace('°', "");
    }
    let bare = text.trim_start_matches(DIAMETER_SIGNS).trim_start();
    match super::number::in_file(bare).filter(|n| !n.starts_with('-')) {
        Some(number) if is_geometrical(of) => format!("max {number}"),
        _ => text.to_owned(),
    }
}

/// A tolerance cell as the form has it, and a remark where it had to be understood.
pub(super) fn tolerance(cell: &str, of: Option<&str>) -> (String, String) {
    let text = cell
        .trim()
        .replace("+/-", "±")
        .replace("+-", "±")
        .replace("\u{2212}", "-")
        .replace("± ", "±");
    let text = as_printed(&text, of.unwrap_or(""));
    let plain = super::number::in_file(&text).filter(|n| !n.starts_with('-'));
    match plain {
        Some(number) => (format!("±{number}"), format!("{cell} was read as ±{number}")),
        None => (text, String::new()),
    }
}

/// Upper and lower deviation in two cells.
pub(super) fn deviations(upper: &str, lower: &str) -> String {
    let bare = |t: &str| t.trim().replace('\u{2212}', "-").trim_start_matches('+').to_owned();
    let (upper, lower) = (bare(upper), bare(lower));
    if upper.is_empty() && lower.is_empty() {
        return String::new();
    }
    let or_zero = |t: &str| if t.is_empty() { "0".to_owned() } else { t.to_owned() };
    let (upper, lower) = (or_zero(&upper), or_zero(&lower));
    if lower.strip_prefix('-') == Some(upper.as_str()) {
        return format!("±{upper}");
    }
    let signed = |t: &str| {
        if t.starts_with('-') || t == "0" {
            t.to_owned()
        } else {
            format!("+{t}")
        }
    };
    format!("{}/{}", signed(&upper), signed(&lower))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn descriptions_are_understood() {
        for (description, of, name) in [
            ("Hole 1, X", Some("x"), "Hole 1"),
            ("X of hole 1", Some("x"), "hole 1"),
            ("Diameter of bore", Some("diameter"), "bore"),
            ("Ø bore", Some("diameter"), "bore"),
            ("Bore Ø", Some("diameter"), "Bore"),
            ("Top face flatness", Some("flatness"), "Top face"),
            ("True position of hole 3", Some("position"), "hole 3"),
            ("Distance hole 1 to hole 2", Some("distance"), "hole 1 to hole 2"),
            ("Distance Bore 1 - Bore 2", Some("distance"), "Bore 1 to Bore 2"),
            (
                "distance between hole 1 and hole 2",
                Some("distance"),
                "hole 1 to hole 2",
            ),
            ("Step depth", Some("distance"), "Step"),
            ("Angle of step wall to B", Some("angle"), "step wall to B"),
            ("X position of hole 3", Some("x"), "position hole 3"),
            ("Slot width", Some("width"), "Slot"),
            ("Chamfer", None, "Chamfer"),
            ("diameter", Some("diameter"), ""),
            ("", None, ""),
        ] {
            let expected = Asked {
                of,
                name: name.to_owned(),
            };
            assert_eq!(asked(description), expected, "{description}");
        }
    }

    #[test]
    fn nominals_bring_what_stands_behind_them() {
        for (cell, number, rest, diameter) in [
            ("10", "10", "", false),
            ("Ø10 H7", "10", "H7", true),
            ("⌀ 12.5", "12.5", "", true),
            ("10±0.1", "10", "±0.1", false),
            ("10+0.1/0", "10", "+0.1/0", false),
            ("-8.5", "-8.5", "", false),
            ("30 mm", "30", "", false),
            ("R5", "", "R5", false),
        ] {
            assert_eq!(nominal(cell), (number.to_owned(), rest.to_owned(), diameter), "{cell}");
        }
    }

    #[test]
    fn tolerances_are_those_of_the_print() {
        for (cell, of, expected) in [
            ("±0.05", "x", "±0.05"),
            ("+/-0.05", "x", "±0.05"),
            ("± 0.05", "x", "±0.05"),
            ("H7", "diameter", "H7"),
            ("0.1", "x", "±0.1"),
            ("0.02", "flatness", "max 0.02"),
            ("max 0.02", "flatness", "max 0.02"),
            ("Ø0.1", "position", "max 0.1"),
            ("±0.1°", "angle", "±0.1"),
            ("ISO 2768-m", "x", "ISO 2768-m"),
        ] {
            assert_eq!(tolerance(cell, Some(of)).0, expected, "{cell}");
        }
        for (upper, lower, expected) in [
            ("+0.02", "0", "+0.02/0"),
            ("0.05", "-0.05", "±0.05"),
            ("+0.08", "-0.02", "+0.08/-0.02"),
            ("-0.01", "-0.03", "-0.01/-0.03"),
            ("0.1", "", "+0.1/0"),
            ("", "", ""),
        ] {
            assert_eq!(deviations(upper, lower), expected, "{upper} {lower}");
        }
    }
}
