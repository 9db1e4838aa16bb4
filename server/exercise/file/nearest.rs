//! The word that somebody probably meant.

/// The word of `known` that is nearest to `found`, if it is near enough to be meant: at most a third of its letters left
/// out, put in, changed, or exchanged with a neighbour. Words of one or two letters are all near to each other.
pub(super) fn nearest<'k>(found: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let found = found.to_lowercase();
    let within = |word: &str| match word.chars().count().max(found.chars().count()) {
        0..=2 => 0,
        letters => letters.div_ceil(3),
    };
    known
        .into_iter()
        .map(|word| (distance(&found, &word.to_lowercase()), word))
        .filter(|(steps, word)| *steps <= within(word))
        // Of two that are as near, the one with the same first letter.
        .min_by_key(|(steps, word)| (*steps, !word.starts_with(found.chars().next().unwrap_or_default())))
        .map(|(_, word)| word)
}

/// Edit distance with exchanges of neighbours (optimal string alignment).
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(64).collect(), b.chars().take(64).collect());
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let changed = rows[i][j] + usize::from(x != y);
            let mut steps = changed.min(rows[i][j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && a[i - 1] == *y && *x == b[j - 1] {
                steps = steps.min(rows[i - 1][j - 1] + 1);
            }
            row.push(steps);
        }
        rows.push(row);
    }
    rows.last().and_then(|row| row.last()).copied().unwrap_or(0)
}

/// Words as a list for a sentence: `a`, `b` or `c`.
pub(super) fn list<'k>(words: impl IntoIterator<Item = &'k str>) -> String {
    joined(words, "or")
}

/// The same with "and".
pub(super) fn list_all<'k>(words: impl IntoIterator<Item = &'k str>) -> String {
    joined(words, "and")
}

fn joined<'k>(words: impl IntoIterator<Item = &'k str>, last_word: &str) -> String {
    let mut quoted: Vec<String> = words.into_iter().map(|word| format!("`{word}`")).collect();
    match quoted.pop() {
        Some(last) if quoted.is_empty() => last,
        Some(last) => format!("{} {last_word} {last}", quoted.join(", ")),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_words_are_found_and_far_ones_are_not() {
        let known = ["tolerance", "thickness", "no", "of", "at"];
        for (found, meant) in [
            ("tolerence", Some("tolerance")),
            ("tolernace", Some("tolerance")),
            ("Thickness", Some("thickness")),
            ("thicknes", Some("thickness")),
            ("thickess", Some("thickness")),
            ("TOLERANCE", Some("tolerance")),
            ("NO", Some("no")),
            ("on", None),
            ("colour", None),
            ("", None),
        ] {
            assert_eq!(nearest(found, known), meant, "{found}");
        }
    }

    #[test]
    fn the_first_letter_decides_between_two() {
        assert_eq!(nearest("bodie", ["code", "body"]), Some("body"));
    }

    #[test]
    fn lists_read_as_sentences_do() {
        assert_eq!(list(["x", "y", "z"]), "`x`, `y` or `z`");
        assert_eq!(list(["x"]), "`x`");
        assert_eq!(list([]), "");
    }
}
