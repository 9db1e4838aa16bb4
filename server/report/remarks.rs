//! What a pair remarks beside its numbers.

use std::collections::BTreeSet;

/// Whether each line of another text is a whole line of this one: a part of a line may say the opposite of it. How a device ends
/// lines and spaces words does not matter.
#[must_use]
pub fn has_all_lines_of(text: &str, other: &str) -> bool {
    let lines = |text: &str| -> BTreeSet<String> {
        let line = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ");
        text.split(['\r', '\n']).map(line).filter(|l| !l.is_empty()).collect()
    };
    lines(text).is_superset(&lines(other))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_are_in_others_line_by_line() {
        let there = "Plate not clean.\r\nTip  changed at 5.\n\nWarm near the door.";
        for in_it in [
            "",
            " \n ",
            "Plate not clean.",
            "Warm near the door.\nPlate not clean.\n",
            " Tip changed at 5.\r",
            there,
        ] {
            assert!(has_all_lines_of(there, in_it), "{in_it:?}");
        }
        for not_in_it in [
            "clean.",
            "Plate not clean",
            "not clean.",
            "Plate not clean. Tip changed at 5.",
            "Plate not clean.\nTip changed at 6.",
            "plate not clean.",
        ] {
            assert!(!has_all_lines_of(there, not_in_it), "{not_in_it:?}");
        }
        assert!(!has_all_lines_of("", "clean"));
    }
}
