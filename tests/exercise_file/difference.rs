//! What differs between two revisions is said in words, each thing once.

use platemark::exercise::difference::differences;
use platemark::exercise::file::read_exercise;

use super::{EXERCISE, fixture};

/// One edit of the good file, and all that is said of it.
fn check(find: &str, replace: &str, expected: &[&str]) {
    assert_eq!(EXERCISE.matches(find).count(), 1, "`{find}` must stand once");
    let (new, problems) = read_exercise("f", &EXERCISE.replace(find, replace));
    assert!(new.is_some(), "{problems:?}");
    let new = new.unwrap();
    let said = differences(&fixture(), &new);
    let said: Vec<String> = said.iter().map(|c| format!("{}: {}", c.about, c.what)).collect();
    assert_eq!(said, expected, "after `{find}` became `{replace}`");
    // And the other way round there is as much.
    assert_eq!(differences(&new, &fixture()).len(), expected.len());
}

#[test]
fn differences_are_said_in_words() {
    assert_eq!(differences(&fixture(), &fixture()), []);
    check(
        "title    = \"Test plate\"",
        "title = \"Plate\"",
        &["sheet: title Test plate became Plate"],
    );
    // The same number, written otherwise, is no difference.
    check("thickness = 20", "thickness = 20.0", &[]);
    check(
        "repeatability = 0.002",
        "repeatability = 0.0025",
        &["measurement: repeatability 0.002 became 0.0025"],
    );
    check(
        "none_beyond = 2.5",
        "none_beyond = 2.75",
        &["marks: none from 2.5 became 2.75"],
    );
    check(
        "name = \"Set-up shown\"",
        "name = \"Set-up seen\"",
        &["marks: lines marked by hand Set-up shown (10) became Set-up seen (10)"],
    );
    check(
        "at = 4.5",
        "at = 4.75",
        &["mistaken surfaces: shelf of the front face at 4.5 for B became shelf of the front face at 4.75 for B"],
    );
    check(
        "tolerance = \"H7\"",
        "tolerance = \"H9\"",
        &[
            "number 1: tolerance H7 became H9",
            "number 1: limits 25.05 to 25.071 became 25.05 to 25.102",
        ],
    );
    check("depth  = 6", "depth  = 7", &["pocket: depth 6 became 7"]);
    check(
        "no = \"6.2\"",
        "no = \"62\"",
        &[
            "number 62: added: corner, straightness 0 max 0.04",
            "number 6.2: taken out: corner, straightness",
        ],
    );
}
