//! Every mistake has its place and its words. The tables hold one edit of a good file each: the text to find, what to
//! put there, and all that is reported then, as `line:column: what. mend`.

use platemark::exercise::file::{Problem, Severity, read_exercise, read_plates};

use super::{EXERCISE, PLATES, fixture};

const OF_EXERCISES: &str = include_str!("../data/exercise_file/exercise_problems.txt");
const OF_PLATES: &str = include_str!("../data/exercise_file/plates_problems.txt");

/// Runs a table and gives the number of its rows.
fn check(table: &str, good: &str, read: impl Fn(&str) -> (bool, Vec<Problem>)) -> usize {
    let rows = table.split_terminator("\n====\n");
    let count = rows.clone().count();
    for row in rows {
        let (find, rest) = row.split_once("\n->\n").unwrap();
        let (replace, expected) = rest.split_once("\n=>\n").unwrap();
        assert_eq!(
            good.matches(find).count(),
            1,
            "`{find}` must stand once in the good file"
        );
        let (found, problems) = read(&good.replace(find, replace));
        let told: Vec<String> = problems
            .iter()
            .map(|p| p.to_string().strip_prefix("f:").unwrap().to_owned())
            .collect();
        assert_eq!(told.join("\n"), expected, "after `{find}` became `{replace}`");
        let clean = problems.iter().all(|p| p.severity == Severity::Warning);
        assert_eq!(found, clean, "a value exactly without errors: `{replace}`");
    }
    count
}

#[test]
fn mistakes_in_an_exercise() {
    let rows = check(OF_EXERCISES, EXERCISE, |text| {
        let (exercise, problems) = read_exercise("f", text);
        (exercise.is_some(), problems)
    });
    assert!(rows > 150, "{rows}");
}

#[test]
fn mistakes_in_plates() {
    let exercise = fixture();
    let rows = check(OF_PLATES, PLATES, |text| {
        let (plates, problems) = read_plates("f", text, &exercise);
        (plates.is_some(), problems)
    });
    assert!(rows > 25, "{rows}");
}

#[test]
fn all_mistakes_come_at_once_and_in_order() {
    let text = EXERCISE
        .replace("decimals = 3", "decimals = three")
        .replace("thickness = 20", "thickness = -1")
        .replace("kind   = \"slot\"", "kind   = \"slat\"")
        .replace("no = \"11\"", "no = \"9\"")
        .replace("features = [\"bore\", \"pin\"]", "features = [\"bore\", \"pim\"]");
    let (exercise, problems) = read_exercise("f", &text);
    assert!(exercise.is_none());
    let told: Vec<String> = problems
        .iter()
        .map(|p| format!("{}:{} {}", p.line, p.column, p.what))
        .collect();
    assert_eq!(
        told,
        [
            "6:12 `three` is neither a number nor text in quotes",
            "11:13 `thickness` is -1",
            "65:10 `slat` is no kind of feature",
            "158:8 number 9 is taken on line 132",
            "164:21 there is no feature `pim`",
        ]
    );
}

#[test]
fn an_empty_file_says_what_an_exercise_has() {
    let (exercise, problems) = read_exercise("f", "");
    assert!(exercise.is_none());
    let told: Vec<&str> = problems.iter().map(|p| p.what.as_str()).collect();
    assert_eq!(
        told,
        [
            "missing key `format` at the top",
            "missing key `code` at the top",
            "missing key `title` at the top",
            "missing key `units` at the top",
            "missing key `decimals` at the top",
            "there is no [body]",
            "there is no [datum_frame]",
            "there is no [measurement]",
            "there is no characteristic to measure",
        ]
    );
}

#[test]
fn a_file_that_is_no_toml_is_given_up_on_after_fifty_lines() {
    let (_, problems) = read_exercise("f", &"no value here\n".repeat(80));
    assert_eq!(problems.len(), 51);
    assert_eq!(problems[50].what, "there are more lines that cannot be read");
}
