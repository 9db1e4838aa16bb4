//! The head of every page: who is signed in and where that person can go.

use crate::store::people::{Person, Role};

/// One way in the head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// Where to.
    pub href: &'static str,
    /// Its word.
    pub word: &'static str,
    /// Whether this page is it, or below it.
    pub here: bool,
}

/// What `base.html` shows around a page.
#[derive(Debug, Clone, Default)]
pub struct Frame {
    /// Language of the page.
    pub lang: &'static str,
    /// Name of who is signed in.
    pub who: Option<String>,
    /// Row of who is signed in: what this device keeps of somebody else is forgotten then.
    pub person: Option<i64>,
    /// Pages that this person can go to.
    pub ways: Vec<Way>,
}

const STAFF: &[(&str, &str)] = &[
    ("/classes", "Classes"),
    ("/exercises", "Exercises"),
    ("/plates", "Plates"),
];
const ASSISTANT: &[(&str, &str)] = &[("/classes", "Classes")];
const STUDENT: &[(&str, &str)] = &[("/my", "My assignments")];

impl Frame {
    /// For a page of somebody who is signed in; `here` is the way that the page belongs to.
    #[must_use]
    pub fn of(person: &Person, here: &str) -> Self {
        let ways = match person.role {
            Role::Instructor => STAFF,
            Role::Assistant => ASSISTANT,
            Role::Student => STUDENT,
        };
        let way = |&(href, word): &(&'static str, &'static str)| Way {
            href,
            word,
            here: href == here,
        };
        Self {
            lang: "en",
            who: Some(person.name.clone()),
            person: Some(person.id.0),
            ways: ways.iter().map(way).collect(),
        }
    }

    /// For a page of nobody in particular.
    #[must_use]
    pub fn anyone() -> Self {
        Self {
            lang: "en",
            ..Self::default()
        }
    }

    /// For a page of whoever it is.
    #[must_use]
    pub fn of_any(person: Option<&Person>) -> Self {
        person.map_or_else(Self::anyone, |p| Self::of(p, ""))
    }
}
