//! The word that somebody probably meant.

/// The word of `known` that is nearest to `found`, if it is near enough to be meant: at most a third of its letters
/// (but at least one) left out, put in, changed, or exchanged with a neighbour.
pub(super) fn nearest<'k>(found: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let found = found.to_lowercase();
    let within = |word: &str| (word.chars().count() / 3).max(1);
    known
        .into_iter()
        .map(|word| (distance(&found, &word.to_lowercase()), word))
        .filter(|(steps, word)| *steps <= within(word))
        .min_by_key(|(steps, _)| *steps)
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
    let mut quoted: Vec<String> = words.into_iter().map(|word| format!("`{word}`")).collect();
    match quoted.pop() {
        Some(last) if quoted.is_empty() => last,
        Some(last) => format!("{} or {last}", quoted.join(", ")),
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
            ("on", Some("no")),
            ("colour", None),
            ("", Some("no")),
        ] {
            assert_eq!(
                nearest(found, known),
                if found.is_empty() { None } else { meant },
                "{found}"
            );
        }
    }

    #[test]
    fn lists_read_as_sentences_do() {
        assert_eq!(list(["x", "y", "z"]), "`x`, `y` or `z`");
        assert_eq!(list(["x"]), "`x`");
        assert_eq!(list([]), "");
    }
}
