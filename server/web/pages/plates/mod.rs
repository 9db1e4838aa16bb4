//! The plate drawer, what plates really are, and the rounds behind it. For instructors only, all of it.

mod bars;
/// What a plate was made to be, typed by hand; a new plate.
pub mod by_hand;
/// Values of a calibration certificate.
pub mod certificate;
/// One plate.
pub mod one;
/// Plates from a seed.
pub mod propose;
/// All plates of all exercises.
pub mod register;
/// Rounds of careful measurement.
pub mod rounds;

use crate::store::plates::Kind;

const fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Physical => "physical",
        Kind::Virtual => "virtual",
    }
}

/// What is to be mended at a field of a form that came back; empty where nothing is.
pub(super) fn mend_of(wrongs: &[(String, String)], field: &str) -> String {
    let found = wrongs.iter().find(|(name, _)| name == field);
    found.map(|(_, mend)| mend.clone()).unwrap_or_default()
}

/// With a capital and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}
