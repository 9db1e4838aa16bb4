//! Whether a passphrase of staff is one that others would guess: held against lists of common passwords, words and names,
//! against rows of keys, dates and repeats, and against what everybody knows of the person. There are no rules of which
//! characters it must have.

use zxcvbn::zxcvbn;

use super::secrets::{LONGEST, PASSPHRASE_LEAST};

/// Fewest guesses, as a power of ten, that the estimate must reach: 10^10 withstands guessing at this site for ever, and a
/// stolen database with hashes of tens of milliseconds for a machine-decade (our own choice; common advice asks for 10^8 and more).
const LEAST_GUESSES_LOG10: f64 = 10.0;

/// The estimate looks at this many characters; more can only be harder to guess, and would cost time.
const LOOKED_AT: usize = 100;

/// What is wrong with a passphrase, and how to choose a better one; none where nothing is. `about` is what everybody knows of
/// the person: name and sign-in name.
#[must_use]
pub fn wrong(passphrase: &str, about: &[&str]) -> Option<&'static str> {
    let length = passphrase.chars().count();
    if length > LONGEST {
        return Some("It is longer than 1024 characters. Choose a shorter one.");
    }
    if length < PASSPHRASE_LEAST {
        return Some("Choose a passphrase of 12 characters and more.");
    }
    let start: String = passphrase.chars().take(LOOKED_AT).collect();
    let own = ["platemark", "instructor", "assistant", "measuring"];
    let known: Vec<&str> = about.iter().chain(&own).copied().collect();
    (zxcvbn(&start, &known).guesses_log10() < LEAST_GUESSES_LOG10).then_some(
        "This one is easily guessed: it is close to well-known passwords, names, dates or rows of keys. Take four or five words \
         that have nothing to do with each other or with you; any characters are welcome, blanks too.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Our own choice of bad ones: passwords that every list has, made longer; names; rows; repeats; dates.
    #[test]
    fn easily_guessed_passphrases_are_refused_and_plain_words_are_taken() {
        for easy in [
            "password1234",
            "passwordpassword",
            "qwertyuiop123",
            "123456789012",
            "aaaaaaaaaaaa",
            "abcabcabcabc",
            "letmeinletmein",
            "P@ssw0rd2024",
            "orsolya fennimar",
            "Fennimar1984",
            "platemark instructor",
            "111111 111111",
        ] {
            assert!(wrong(easy, &["Orsolya Fennimar", "fennimar"]).is_some(), "{easy}");
        }
        for good in [
            "plates on granite",
            "granite and a level",
            "a new one of some words",
            "zwölf Lehrdorne im Ölbad",
            "правильная лошадь стучит",
            "🔧 spanner, tea; rain?",
        ] {
            assert_eq!(wrong(good, &["Orsolya Fennimar", "fennimar"]), None, "{good}");
        }
        assert!(wrong("short one", &[]).is_some());
        assert!(wrong(&"long ".repeat(300), &[]).is_some());
        assert_eq!(wrong(&"quince obelisk thatch ".repeat(40), &[]), None);
    }
}
