//! What is wrong with the fields of a form that comes back.

use crate::units::capital;

/// Field name, and what is wrong and how to mend it; in the order in which it was found.
#[derive(Debug, Default)]
pub struct Wrongs(pub Vec<(&'static str, String)>);

impl Wrongs {
    /// Keeps what was read, or notes what is wrong with the field and goes on.
    pub fn keep<T>(&mut self, field: &'static str, read: Result<T, String>) -> Option<T> {
        read.map_err(|what| self.0.push((field, what))).ok()
    }

    /// Notes what is wrong with a field.
    pub fn add(&mut self, field: &'static str, what: impl Into<String>) {
        self.0.push((field, what.into()));
    }

    /// Whether nothing is wrong.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// What is wrong with a field; empty where nothing is.
#[must_use]
pub fn mend<'a>(wrongs: &'a [(&'static str, String)], field: &str) -> &'a str {
    wrongs
        .iter()
        .find(|(name, _)| *name == field)
        .map_or("", |(_, what)| what)
}

/// The words of an error as a sentence for people.
#[must_use]
pub fn sentence(error: &impl std::fmt::Display) -> String {
    let text = capital(&error.to_string());
    let end = if text.ends_with('.') { "" } else { "." };
    format!("{text}{end}")
}

/// What is said at a field that somebody else has changed since the page was made.
#[must_use]
pub fn meanwhile(now: &str) -> String {
    let now = if now.trim().is_empty() { "nothing" } else { now };
    format!(
        "Somebody changed this meanwhile: here stands {now} now. What you typed is kept; send it again to put it in its place."
    )
}

/// A whole number as typed.
///
/// # Errors
/// A sentence that says how to mend it.
pub fn whole(text: &str) -> Result<i64, String> {
    text.trim().parse().map_err(|_| "Write a whole number.".to_owned())
}
