//! Names of persons in what somebody wrote.

/// Whether this name stands in a text as a whole: not as the beginning, the end or a part of a longer one, but also with an `s`
/// behind it, as in "Ann Lis plate", and beside any mark of punctuation. Upper and lower case are told apart.
#[must_use]
pub fn stands_in(text: &str, name: &str) -> bool {
    let (first, last) = (name.chars().next(), name.chars().next_back());
    // From every letter on: of "an an an" both places of "an an" are looked at.
    let at = |(at, _)| {
        let (before, rest) = text.split_at(at);
        rest.strip_prefix(name).is_some_and(|after| {
            let genitive = after.strip_prefix('s').map(|after| after.chars().next());
            !go_on(before.chars().next_back(), first)
                && (!go_on(last, after.chars().next()) || genitive.is_some_and(|next| !go_on(Some('s'), next)))
        })
    };
    !name.is_empty() && text.char_indices().any(at)
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
            assert!(stands_in(text, name), "{name} in {text}");
        }
    }

    #[test]
    fn a_part_of_a_longer_name_or_word_is_not_that_name() {
        for (name, text) in [
            ("Ann Li", "Ann Lindqvist"),
            ("Ann Li", "Ann Lissner"),
            ("Ann Li", "Joann Li"),
            ("Ann Li", "Ann Li2"),
            ("Ann Li", "2Ann Li"),
            ("Ann Li", "Ann L\u{ed}"),
            ("Ann Li", "Ann Li\u{301}"),
            ("Ann Li", "Ann Li\u{e9}bert"),
            ("Ann Li", "\u{c9}Ann Li"),
            ("Zoe", "Zo\u{eb}"),
            ("Zoe", "Zoe\u{308}"),
            ("Ann Li", "Ann"),
            ("Ann Li", ""),
            ("", "Ann Li"),
        ] {
            assert!(!stands_in(text, name), "{name} in {text}");
        }
    }
}
