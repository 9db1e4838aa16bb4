//! Names of persons in what somebody wrote.
//!
//! Many languages put endings to a name ("Ann Linak", "Ann Lille"), and no dictionary here knows them. So a word that goes on behind
//! a name is the name too, unless it is the name of somebody else who is known: that more is taken for a name than is one does
//! less harm than a name that is overlooked. What changes a name within ("Virtasen" of "Virtanen") is not found.

/// A name of one word that has fewer letters is only looked for as a word: too many others begin with it.
const SHORT: usize = 4;

/// Where somebody else's name has so many letters more, what follows it is an ending of that name and not of the shorter one.
const FAR: usize = 4;

/// Whether this name stands in a text, not as the end or a part within a longer one, but also with an ending, as in "Ann Lis plate",
/// and beside any mark of punctuation. The names of others who may be meant stand for themselves. Upper and lower case are
/// told apart.
#[must_use]
pub fn stands_in(text: &str, name: &str, others: &[String]) -> bool {
    let first = name.chars().next();
    let long = with_long_vowel(name);
    // From every letter on: of "an an an" both places of "an an" are looked at.
    let at = |(at, _)| {
        let (before, rest) = text.split_at(at);
        let begins = begins_with(rest, name, others, false)
            || long.as_ref().is_some_and(|long| begins_with(rest, long, others, true));
        begins && !go_on(before.chars().next_back(), first)
    };
    !name.is_empty() && text.char_indices().any(at)
}

/// What every form of a name that [`stands_in`] finds begins with.
#[must_use]
pub fn stem(name: &str) -> &str {
    name.strip_suffix(['a', 'e']).unwrap_or(name)
}

/// A Hungarian name with the vowel at its end as it is before an ending: "Ann\u{e1}nak" of "Anna".
fn with_long_vowel(name: &str) -> Option<String> {
    let stem = stem(name);
    let long = match name.get(stem.len()..)? {
        "a" => '\u{e1}',
        "e" => '\u{e9}',
        _ => return None,
    };
    Some(format!("{stem}{long}"))
}

/// Whether a text begins with a name, alone where it may be, or with an ending, and not with the name of somebody else.
fn begins_with(text: &str, name: &str, others: &[String], needs_ending: bool) -> bool {
    let Some(after) = text.strip_prefix(name) else {
        return false;
    };
    let ending = rest_of_word(name, after);
    let is_ending = if ending.is_empty() {
        !needs_ending
    } else if name.chars().any(char::is_whitespace) || name.chars().count() >= SHORT {
        // With a mark above or below it the last letter is another one.
        !ending.starts_with(is_mark)
    } else {
        ending == "s"
    };
    is_ending && !others.iter().any(|other| is_of_other(text, name, other))
}

/// Whether a text begins with a longer name that begins with this one.
fn is_of_other(text: &str, name: &str, other: &str) -> bool {
    let Some(after) = other.strip_prefix(name).filter(|after| !after.is_empty()) else {
        return false;
    };
    // The family may be called by the first words of a name alone.
    let ending = rest_of_word(name, after);
    let whole = other.get(..name.len() + ending.len()).filter(|_| !ending.is_empty());
    let whole = whole.unwrap_or(other);
    let Some(behind) = text.strip_prefix(whole) else {
        return false;
    };
    let behind = rest_of_word(whole, behind);
    let more = whole.chars().count().saturating_sub(name.chars().count());
    behind.is_empty() || behind == "s" || more >= FAR
}

/// How the word goes on that a text ends with.
fn rest_of_word<'a>(text: &str, after: &'a str) -> &'a str {
    if !go_on(text.chars().next_back(), after.chars().next()) {
        return "";
    }
    let end = after.find(|c| !is_of_a_word(c)).unwrap_or(after.len());
    after.get(..end).unwrap_or_default()
}

/// Whether two neighbours are of one word.
fn go_on(one: Option<char>, next: Option<char>) -> bool {
    one.is_some_and(is_of_a_word) && next.is_some_and(is_of_a_word)
}

/// Letters, digits and the marks above and below them. Not of scripts that write words without spaces or put endings to a name: there
/// a neighbour says nothing.
fn is_of_a_word(c: char) -> bool {
    (c.is_alphanumeric() || is_mark(c)) && !is_written_close(c)
}

/// The blocks of Unicode for marks that combine with any letter.
const fn is_mark(c: char) -> bool {
    matches!(c, '\u{300}'..='\u{36f}' | '\u{1ab0}'..='\u{1aff}' | '\u{1dc0}'..='\u{1dff}' | '\u{20d0}'..='\u{20ff}' | '\u{fe20}'..='\u{fe2f}')
}

/// The blocks of Thai, Lao and Tibetan; Burmese; Korean; Khmer; Chinese and Japanese.
const fn is_written_close(c: char) -> bool {
    matches!(c, '\u{e00}'..='\u{109f}' | '\u{1100}'..='\u{11ff}' | '\u{1780}'..='\u{17ff}' | '\u{2e80}'..='\u{a4cf}'
        | '\u{a960}'..='\u{a97f}' | '\u{ac00}'..='\u{d7ff}' | '\u{f900}'..='\u{faff}' | '\u{ff66}'..='\u{ffdc}' | '\u{20000}'..='\u{3ffff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn others() -> Vec<String> {
        let others = [
            "Ann Lindqvist",
            "Ann Lissner Berg",
            "Ann Lina",
            "Eva L\u{f3}pez Ruiz",
            "Anna-Maria",
        ];
        others.map(str::to_owned).to_vec()
    }

    #[test]
    fn a_name_is_found_whole_wherever_it_stands() {
        for (name, text) in [
            ("Ann Li", "Ann Li"),
            ("Ann Li", "Ann Li dropped it"),
            ("Ann Li", "dropped by Ann Li"),
            ("Ann Li", "Ann Li's plate"),
            ("Ann Li", "Ann Li\u{2019}s plate"),
            ("Ann Li", "Ann Lis plate"),
            ("Ann Li", "Ann Li, who has it"),
            ("Ann Li", "(Ann Li)"),
            ("Ann Li", "\"Ann Li\""),
            ("Ann Li", "Ask Ann Li."),
            ("Ann Li", "Ann Li/Bo Ek"),
            ("Ann Li", "Ann Li\nBo Ek"),
            ("Ann Li", "Ann Li\u{a0}has it"),
            ("Ann Li", "with Ann Lindqvist, then Ann Li"),
            ("Ann Li", "Ann Li and again Ann Li"),
            ("Ann Li", "not Joann Li but Ann Li"),
            ("an an", "xan an an"),
            ("Zo\u{eb}", "Zo\u{eb}!"),
            ("Zoe\u{308}", "Zoe\u{308}!"),
            ("\u{c9}va K\u{151}", "\u{c9}va K\u{151}: scratched"),
            ("J. O'Neil-Ra\u{ef}", "to J. O'Neil-Ra\u{ef}"),
            ("Ann L.", "Ann L.had it"),
            ("Ann (B)", "Ann (B)'s"),
            ("\u{674e}\u{660e}", "\u{674e}\u{660e}\u{7684}\u{677f}"),
            ("\u{ae40}\u{cca0}\u{c218}", "\u{ae40}\u{cca0}\u{c218}\u{c758}"),
        ] {
            assert!(stands_in(text, name, &others()), "{name} in {text}");
        }
    }

    #[test]
    fn a_part_of_a_longer_name_or_word_is_not_that_name() {
        for (name, text) in [
            ("Ann Li", "Ann Lindqvist"),
            ("Ann Li", "Ann Lissner"),
            ("Ann Li", "Joann Li"),
            ("Ann Li", "2Ann Li"),
            ("Ann Li", "Ann L\u{ed}"),
            ("Ann Li", "Ann Li\u{301}"),
            ("Ann Li", "\u{c9}Ann Li"),
            ("Zoe", "Zo\u{eb}"),
            ("Zoe", "Zoe\u{308}"),
            ("Ann Li", "Ann"),
            ("Ann Li", ""),
            ("", "Ann Li"),
        ] {
            assert!(!stands_in(text, name, &others()), "{name} in {text}");
        }
    }

    #[test]
    fn a_name_is_found_with_any_ending() {
        for (name, text) in [
            ("Ann Li", "Ann Linak adtam"),
            ("Ann Li", "annettu Ann Lille."),
            ("Ann Li", "Ann Li\u{e9}rt"),
            ("Ann Li", "Ann Lissa"),
            ("Ann Li", "(Ann Lilt\u{e4})"),
            ("Anna", "Ann\u{e1}nak adtam"),
            ("Kov\u{e1}cs Imre", "Kov\u{e1}cs Imr\u{e9}vel"),
            ("Otto", "Ottolle"),
            // Nobody else who is known has this name.
            ("Ann Li", "Ann Liebermann dropped it"),
            ("Ann Li", "Ann Li2"),
            // What could be of either is taken for the one that must not be overlooked.
            ("Ann Li", "Ann Linanak"),
            ("Ann Li", "Ann Lin levy"),
            ("Eva L\u{f3}pez", "Eva L\u{f3}pez and Bo Ruiz"),
        ] {
            assert!(stands_in(text, name, &others()), "{name} in {text}");
            assert!(text.contains(stem(name)), "{name} in {text}");
        }
    }

    #[test]
    fn the_names_of_others_stand_for_themselves_also_with_endings() {
        for (name, text) in [
            ("Ann Li", "Ann Lindqvistnak adtam"),
            ("Ann Li", "Ann Lindqvists plate"),
            ("Ann Li", "Ann Lindqvist's plate"),
            ("Ann Li", "Ann Lissner, Ann Lissner Berg"),
            ("Ann Li", "Ann Lina dropped it"),
            ("Eva L\u{f3}pez", "Eva L\u{f3}pez Ruiz"),
            ("Anna", "Anna-Maria"),
            // So short a name of one word is looked for as a word.
            ("Li", "Light scratch, Line 3"),
            ("Ann", "Annealed"),
            ("Anna", "Ann\u{e1}"),
        ] {
            assert!(!stands_in(text, name, &others()), "{name} in {text}");
        }
        assert!(stands_in("Lis plate", "Li", &[]));
        assert!(stands_in("Ann Lindqvist", "Ann Li", &[]));
    }
}
