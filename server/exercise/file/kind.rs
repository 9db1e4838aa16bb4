//! Which of the two files a text is, by what stands in it.

use toml::de::DeTable;

use super::problem::Sink;
use super::syntax;

/// The two files of an exercise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FileKind {
    /// What is measured: `exercise.toml`.
    Exercise,
    /// What each plate really is: `plates.toml`, with the code of its exercise as far as it is stated.
    Plates {
        /// As it is written.
        exercise: Option<String>,
    },
}

/// What a text is. A plates file names its exercise or has a plate, and nothing of what an exercise has; all else is
/// taken for an exercise.
#[must_use]
pub fn kind_of(text: &str) -> FileKind {
    let legible = syntax::legible(text, &mut Sink::new("", text));
    let (document, _) = DeTable::parse_recoverable(&legible);
    let root = document.get_ref();
    let has = |key: &str| root.contains_key(key);
    let of_exercise = ["code", "body", "datum_frame", "feature", "measurement"];
    if !(has("exercise") || has("plate")) || of_exercise.into_iter().any(has) {
        return FileKind::Exercise;
    }
    let exercise = root
        .get("exercise")
        .and_then(|value| value.get_ref().as_str())
        .map(str::to_owned);
    FileKind::Plates { exercise }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_told_by_their_keys() {
        let plates = |code: Option<&str>| FileKind::Plates {
            exercise: code.map(str::to_owned),
        };
        for (text, expected) in [
            ("", FileKind::Exercise),
            ("format = 1\ncode = \"BR-02\"\n", FileKind::Exercise),
            ("exercise = \"BR-02\"\n[body]\n", FileKind::Exercise),
            ("exercise = \"BR-02\"\n", plates(Some("BR-02"))),
            ("exercise = BR-02\n[[plate]]\n", plates(Some("BR-02"))),
            ("no value\n[[plate]]\n", plates(None)),
        ] {
            assert_eq!(kind_of(text), expected, "{text}");
        }
    }
}
