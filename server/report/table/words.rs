//! What letters, blanks, hyphens and invisible characters count for when words are compared.

/// A blank of any kind, line ends included.
pub(crate) fn is_blank_char(c: char) -> bool {
    c.is_whitespace()
}

/// A character that leaves no mark on paper: zero-width characters, joiners, direction and variation marks, soft
/// hyphen, fillers, control characters. NUL is none of them: it makes a row a broken one.
/// Source: Unicode Standard, default ignorable code points, and general category Cc.
pub(crate) fn is_invisible(c: char) -> bool {
    match c {
        '\0' => false,
        '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' => true,
        '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' => true,
        '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{ffa0}' => true,
        '\u{fff0}'..='\u{fffb}' | '\u{1bca0}'..='\u{1bca3}' | '\u{1d173}'..='\u{1d17a}' => true,
        '\u{e0000}'..='\u{e0fff}' => true,
        _ => c.is_control() && !is_blank_char(c),
    }
}

/// Hyphens, dashes and minus signs, which keyboards and word processors put for one another.
/// Source: Unicode Standard, general category Pd (the Latin ones), and U+2212.
pub(crate) fn is_hyphen(c: char) -> bool {
    matches!(
        c,
        '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe58}' | '\u{fe63}' | '\u{ff0d}'
    )
}

/// Whether nothing in `text` can be seen.
pub(crate) fn is_blank(text: &str) -> bool {
    text.chars().all(|c| is_blank_char(c) || is_invisible(c))
}

/// Takes blanks and invisible characters off both ends.
pub(crate) fn trim(text: &str) -> &str {
    text.trim_matches(|c| is_blank_char(c) || is_invisible(c))
}

/// A label as it is kept and compared: nothing invisible in it, no blanks at its ends, each hyphen a `-`.
/// Letter case, markup and formula signs stay as they are.
pub fn clean_label(text: &str) -> String {
    let visible: String = text
        .chars()
        .filter(|c| !is_invisible(*c))
        .map(|c| if is_hyphen(c) { '-' } else { c })
        .collect();
    visible.trim_matches(is_blank_char).to_owned()
}

/// A heading reduced to what is compared: lower case, no accents, no blanks, no quotes, no points, no colon at the
/// end, each hyphen a `-`.
///
/// The format asks to overlook a point at the end only; here they are overlooked wherever they stand, since an
/// abbreviation may have more than one (`Tol. inf.`, `N.º`).
pub(crate) fn fold_heading(text: &str) -> String {
    let mut folded = String::new();
    for c in text.chars() {
        if is_hyphen(c) {
            folded.push('-');
        } else if !(is_blank_char(c) || is_invisible(c) || is_quote(c) || c == '.') {
            push_folded(c, &mut folded);
        }
    }
    folded.truncate(folded.trim_end_matches(':').len());
    folded
}

/// A word of the call reduced to what is compared: lower case, no accents, no points; hyphens count as blanks, and
/// blanks do not count (`non-conforming`, `Non conforming` and `nonconforming` are one).
pub(crate) fn fold_call(text: &str) -> String {
    let mut folded = String::new();
    for c in text.chars() {
        if !(is_hyphen(c) || is_blank_char(c) || is_invisible(c) || c == '.') {
            push_folded(c, &mut folded);
        }
    }
    folded
}

/// Single and double quotes of all shapes, and the primes that stand in for them.
fn is_quote(c: char) -> bool {
    matches!(
        c,
        '"' | '\'' | '`' | '\u{b4}' | '\u{ab}' | '\u{bb}' | '\u{2018}'
            ..='\u{201f}' | '\u{2032}' | '\u{2033}' | '\u{2039}' | '\u{203a}'
    )
}

/// Accented Latin letters and their base, and the raised o of `Nº`. Source: Unicode Standard, decompositions
/// (Latin-1, Latin Extended-A).
const ACCENTED: [(char, &str); 19] = [
    ('a', "àáâãäåāăą"),
    ('c', "çćĉċč"),
    ('d', "ď"),
    ('e', "èéêëēĕėęě"),
    ('g', "ĝğġģ"),
    ('h', "ĥ"),
    ('i', "ìíîïĩīĭį"),
    ('j', "ĵ"),
    ('k', "ķ"),
    ('l', "ĺļľ"),
    ('n', "ñńņň"),
    ('o', "òóôõöōŏőº"),
    ('r', "ŕŗř"),
    ('s', "śŝşš"),
    ('t', "ţť"),
    ('u', "ùúûüũūŭůűų"),
    ('w', "ŵ"),
    ('y', "ýÿŷ"),
    ('z', "źżž"),
];

/// Appends the lower-case base letters of `c`; combining accents vanish.
fn push_folded(c: char, into: &mut String) {
    if c.is_ascii() {
        into.push(c.to_ascii_lowercase());
        return;
    }
    for lower in c.to_lowercase() {
        match lower {
            '\u{300}'..='\u{36f}' => {}
            'ß' => into.push_str("ss"),
            '\u{2116}' => into.push_str("no"),
            _ => {
                let base = ACCENTED.iter().find(|(_, letters)| letters.contains(lower));
                into.push(base.map_or(lower, |(base, _)| *base));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_fold() {
        let check = |text: &str, expected: &str| assert_eq!(fold_heading(text), expected, "{text:?}");
        check("Nennmaß", "nennmass");
        check("NENNMASS", "nennmass");
        check("Número", "numero");
        check("Nu\u{301}mero", "numero");
        check("NÚMERO:", "numero");
        check("N.º", "no");
        check("№", "no");
        check("N°", "n°");
        check("Untere Tol.", "unteretol");
        check("Tol \u{2212}", "tol-");
        check("Upper \u{201c}tol\u{201d}", "uppertol");
        check("Measured\nvalue", "measuredvalue");
        check("\u{feff}Measured\u{a0}\u{a0}value :", "measuredvalue");
        check("Pass/Fail", "pass/fail");
    }

    #[test]
    fn labels_are_cleaned_and_no_more() {
        let check = |text: &str, expected: &str| assert_eq!(clean_label(text), expected, "{text:?}");
        check("  D1 \u{a0}", "D1");
        check("\u{200b}D\u{200b}1\u{feff}", "D1");
        check("D\u{ad}1", "D1");
        check("X\u{2011}1", "X-1");
        check("X\u{2013}1", "X-1");
        check("<b>D1</b>", "<b>D1</b>");
        check("=SUM(A1)", "=SUM(A1)");
        check("d1", "d1");
        check("Bore  Ø12", "Bore  Ø12");
        check("\u{2066}\u{2067} ", "");
    }

    #[test]
    fn what_is_blank() {
        let check = |text: &str, expected: bool| assert_eq!(is_blank(text), expected, "{text:?}");
        check("", true);
        check(" \t\u{a0}\u{2009}\u{202f}\u{3000}", true);
        check("\u{200b}\u{200d}\u{2060}\u{feff}", true);
        check("\0", false);
        check("-", false);
    }
}
