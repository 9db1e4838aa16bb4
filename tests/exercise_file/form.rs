//! A form is a file and a file a form, both meaning the same exercise.

use platemark::exercise::file::{Severity, read_exercise, write_exercise};
use platemark::exercise::form::{Form, look, take};

use super::EXERCISE;

fn shipped() -> Vec<(String, String)> {
    let folder = format!("{}/exercises", env!("CARGO_MANIFEST_DIR"));
    let entries = std::fs::read_dir(folder).unwrap().map(Result::unwrap);
    let read = |e: std::fs::DirEntry| {
        let text = std::fs::read_to_string(e.path().join("exercise.toml")).unwrap();
        (e.file_name().into_string().unwrap(), text)
    };
    entries.map(read).collect()
}

/// The form of a file means what the file means, and so does what it writes, as often as one likes.
pub(super) fn check_one_meaning(text: &str) {
    let (exercise, _) = read_exercise("f", text);
    let exercise = exercise.unwrap();
    let taken = take(text);
    assert_eq!(taken.lost, Vec::<String>::new());
    let looked = look(&taken.form);
    let errors: Vec<_> = looked
        .problems
        .iter()
        .filter(|p| p.severity == Severity::Error)
        .collect();
    assert!(errors.is_empty(), "{errors:?}\n{}", looked.toml);
    assert_eq!(looked.exercise.as_ref(), Some(&exercise), "{}", looked.toml);
    // What is published, exported and imported again.
    let exported = write_exercise(&exercise);
    assert_eq!(read_exercise("f", &exported).0.as_ref(), Some(&exercise));
    assert_eq!(look(&take(&exported).form).exercise.as_ref(), Some(&exercise));
    // A draft that is kept and opened again is the same form.
    assert_eq!(take(&looked.toml).form, taken.form);
}

#[test]
fn forms_of_shipped_exercises_mean_what_their_files_mean() {
    let all = shipped();
    assert!(all.len() >= 6);
    for (_, text) in &all {
        check_one_meaning(text);
    }
    check_one_meaning(EXERCISE);
}

/// A field as it would be typed, and what is said at which field then.
fn check(change: impl FnOnce(&mut Form), field: &str, said: &str) {
    let mut form = take(EXERCISE).form;
    change(&mut form);
    let looked = look(&form);
    assert!(looked.exercise.is_none());
    let errors: Vec<String> = looked
        .problems
        .iter()
        .filter(|p| p.severity == Severity::Error)
        .map(|p| format!("{}: {}. {}", p.field, p.what, p.mend))
        .collect();
    assert!(errors.iter().any(|e| *e == format!("{field}: {said}")), "{errors:#?}");
    // And a draft with it comes back as it was typed.
    assert_eq!(take(&looked.toml).form, form);
}

fn set(key: &'static str, value: &str) -> (&'static str, String) {
    (key, value.to_owned())
}

#[test]
fn what_is_wrong_is_said_at_its_field_in_words_of_the_form() {
    check(
        |f| f.body.extend([set("thickness", "")]),
        "body-thickness",
        "Thickness: still empty. Write it, as in 18.",
    );
    check(
        |f| f.body.extend([set("thickness", "18,5")]),
        "body-thickness",
        "Thickness: \u{201c}18,5\u{201d} is no number. Write it with a point, without a unit, as in 18.",
    );
    check(
        |f| f.body.extend([set("outline", "0 0\n100 0\n100 x\n0 60")]),
        "body-outline",
        "Corners in plan view, line 3: \u{201c}100 x\u{201d} is not two numbers. Write two numbers with a blank between, as in 140 0.",
    );
    check(
        |f| f.features[0].fields.extend([set("at", "5\t\t0")]),
        "f0-at",
        "Place: Y is still empty. Write the number.",
    );
    check(
        |f| f.datums[1].extend([set("letter", "A")]),
        "d1-letter",
        "datum A stands twice. Give it another letter.",
    );
    check(
        |f| f.measurement.extend([set("tip_diameter", "0")]),
        "u-tip_diameter",
        "\u{201c}Diameter of the tip\u{201d} is 0. It must be above zero.",
    );
    check(
        |f| f.features[0].fields.extend([set("diameter", "12 H7")]),
        "f0-diameter",
        "Diameter: \u{201c}12 H7\u{201d} is more than the diameter. Write 12 here, and H7 as the tolerance of the diameter below.",
    );
    check(
        |f| {
            f.features.clear();
            f.between.clear();
        },
        "add",
        "nothing is measured yet. Add a hole, a face or another feature in part 4, and say what is measured on it.",
    );
}

#[test]
fn an_uncertainty_in_micrometres_is_told_once_and_at_its_field() {
    let mut form = take(EXERCISE).form;
    form.measurement.extend([set("expanded_uncertainty", "3")]);
    let problems = look(&form).problems;
    let said: Vec<&str> = problems
        .iter()
        .filter(|p| p.what.contains("no wider"))
        .map(|p| p.field.as_str())
        .collect();
    assert_eq!(said, ["u-expanded_uncertainty"]);
    assert!(problems.iter().any(|p| p.mend.contains("3 micrometres are 0.003")));
}

#[test]
fn what_stands_on_a_print_is_read_as_it_stands_there() {
    let mut form = take(EXERCISE).form;
    let first = &mut form.features[0];
    let diameter = first.text("diameter").to_owned();
    first.fields.extend([set("diameter", &format!("Ø{diameter}"))]);
    form.head.extend([set("code", "ap-7")]);
    let looked = look(&form);
    let exercise = looked.exercise.unwrap();
    assert_eq!(exercise.code.to_string(), "AP-7");
    // The width of a zone stands alone on a print; so does an angle's tolerance with its sign.
    let of = |word: &str, typed: &str| {
        let mut form = take(EXERCISE).form;
        let fields = &mut form.features[0].characteristics[0];
        fields.extend([set("of", word), set("tolerance", typed)]);
        look(&form).toml
    };
    assert!(of("roundness", "0.02").contains("tolerance = \"max 0.02\""));
    assert!(of("position", "Ø0.1").contains("tolerance = \"max 0.1\""));
    assert!(of("angle", "±0.1°").contains("tolerance = \"±0.1\""));
    assert!(
        of("x", "0.02").contains("tolerance = \"0.02\""),
        "a length says to which side"
    );
}

#[test]
fn the_bottom_is_told_where_it_is() {
    let mut form = take(EXERCISE).form;
    form.datums[0].extend([set("face", "bottom"), set("at", "0")]);
    let looked = look(&form);
    let said: Vec<String> = looked
        .problems
        .iter()
        .filter(|p| p.field == "d0-at")
        .map(|p| p.mend.clone())
        .collect();
    let thickness = form.body["thickness"].clone();
    let expected =
        format!("Z counts from the top face, so that the bottom has minus the thickness: write -{thickness}.");
    assert_eq!(said, [expected]);
}

#[test]
fn what_is_shown_as_usual_is_not_taken_for_typed() {
    let stands = take(EXERCISE).form;
    let mut posted = stands.clone();
    for part in &mut posted.features {
        let round = ["circle", "slot", "cylinder", "cone"].contains(&part.text("kind"));
        if round && part.text("side").is_empty() {
            part.fields.extend([set("side", "inside")]);
        }
    }
    posted.leave_usual_sides(&stands);
    assert_eq!(posted, stands);
}
