//! The pair's call: what they say of a characteristic.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::table::words::fold_call;

/// The pair's statement of a characteristic. Words from ISO 9000, JCGM 106 and ISO 14253-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Call {
    /// It is within its limits.
    Conforming,
    /// It is not.
    Nonconforming,
    /// The pair cannot say.
    Undecided,
}

/// Words of a call, as `fold_call` leaves them: English, symbols, German, French and Spanish.
/// Common practice, no published source.
const WORDS: [(Call, &str); 9] = [
    (
        Call::Conforming,
        "conforming conforms conform pass passed ok okay io good accept accepted",
    ),
    (
        Call::Conforming,
        "intolerance withintolerance yes y \u{2713} \u{2714} \u{2611}",
    ),
    (Call::Conforming, "ja gut bestanden konform conforme oui bon si apto"),
    (
        Call::Nonconforming,
        "nonconforming notconforming doesnotconform nonconform fail failed nok notok nio",
    ),
    (
        Call::Nonconforming,
        "bad reject rejected outoftolerance no n \u{2717} \u{2718} \u{2612}",
    ),
    (
        Call::Nonconforming,
        "nein schlecht nichtbestanden nichtkonform nonconforme non mauvais noconforme noapto",
    ),
    (Call::Undecided, "undecided undetermined unclear doubtful indoubt ?"),
    (Call::Undecided, "unentschieden unklar zweifelhaft"),
    (Call::Undecided, "indecis douteux indeciso dudoso"),
];

/// The longest phrase above has 15 characters; a cell much longer is none of them.
const LONGEST_WORD: usize = 200;

impl Call {
    /// All calls.
    pub const ALL: [Self; 3] = [Self::Conforming, Self::Nonconforming, Self::Undecided];

    /// The call that a word or phrase stands for, in English, German, French or Spanish. Letter case, accents, points,
    /// blanks and hyphens do not count. `None` for all else, numbers included: a call is never guessed.
    pub fn parse_word(word: &str) -> Option<Self> {
        if word.len() > LONGEST_WORD {
            return None;
        }
        let folded = fold_call(word);
        let is_one_of = |words: &str| words.split(' ').any(|word| word == folded);
        WORDS.iter().find(|(_, words)| is_one_of(words)).map(|(call, _)| *call)
    }

    /// The word that is printed and written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Conforming => "conforming",
            Self::Nonconforming => "nonconforming",
            Self::Undecided => "undecided",
        }
    }
}

impl fmt::Display for Call {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(call: Option<Call>, words: &str) {
        for word in words.split(", ") {
            assert_eq!(Call::parse_word(word), call, "{word:?}");
        }
    }

    /// Every word of the format's page.
    #[test]
    fn words() {
        let call = Some(Call::Conforming);
        check(
            call,
            "conforming, conforms, conform, pass, passed, ok, okay, i.O., good, accept, accepted, in tolerance",
        );
        check(
            call,
            "within tolerance, yes, y, ✓, ✔, ☑, ja, gut, bestanden, konform, conforme, oui, bon, sí, apto",
        );
        let call = Some(Call::Nonconforming);
        check(
            call,
            "nonconforming, non-conforming, not conforming, does not conform, nonconform, fail, failed, nok",
        );
        check(
            call,
            "not ok, n.i.O., bad, reject, rejected, out of tolerance, no, n, ✗, ✘, ☒, nein, schlecht",
        );
        check(
            call,
            "nicht bestanden, nicht konform, non conforme, non, mauvais, no conforme, no apto",
        );
        let call = Some(Call::Undecided);
        check(
            call,
            "undecided, undetermined, unclear, doubtful, in doubt, ?, unentschieden, unklar, zweifelhaft",
        );
        check(call, "indécis, douteux, indeciso, dudoso");
    }

    #[test]
    fn spellings_that_count_as_the_same() {
        check(
            Some(Call::Conforming),
            "PASS,  Pass. , O.K., i. O., In-Tolerance, SÍ, si\u{301}, ✔\u{fe0f}",
        );
        check(
            Some(Call::Nonconforming),
            "Non\u{2011}Conforming, non\u{a0}conforming, out-of-tolerance, N.I.O., not-ok",
        );
        check(Some(Call::Nonconforming), "does\nnot conform, NON-CONFORME");
        check(Some(Call::Undecided), "INDÉCIS, in-doubt, Unklar.");
    }

    #[test]
    fn all_else_is_no_call() {
        check(
            None,
            ", -, 0, 1, true, maybe, x, ??, pass?, not pass, okok, 12.031, n/a, nicht, =1, pass fail",
        );
    }

    #[test]
    fn printed_words_are_read_back_and_serde_agrees() {
        for call in Call::ALL {
            assert_eq!(Call::parse_word(&call.to_string()), Some(call));
            assert_eq!(serde_json::to_value(call).unwrap(), call.as_str());
            assert_eq!(serde_json::from_value::<Call>(call.as_str().into()).unwrap(), call);
        }
    }
}
