//! Two devices on one draft: fields with versions, so that neither partner's number is lost.
//!
//! A page says of each field which version and text it came with. A field that the page did not change is left alone; one
//! that nobody else changed meanwhile is written; where both wrote something else, both are kept and the pair is asked.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::remarks::has_all_lines_of;

/// How a field came to be what it is.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Version {
    /// Counts its changes, from 1.
    pub v: u32,
    /// Who changed it last.
    pub by: i64,
    /// What a partner wrote into it without having seen this: text, and who.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub other: Option<(String, i64)>,
}

/// The fields of a draft.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Written {
    /// Text by field.
    pub fields: BTreeMap<String, String>,
    /// Versions by field; none for one that is older than versions are.
    pub versions: BTreeMap<String, Version>,
}

/// Whether a field is a value or a call, where a partner's must never be lost or guessed at.
fn is_of_the_table(name: &str) -> bool {
    name.starts_with("m-") || name.starts_with("c-")
}

/// What a page came with: version and text of each field; what is not in it was empty and had none.
pub type Base = BTreeMap<String, (u32, String)>;

impl Written {
    /// What a page made of this comes with.
    #[must_use]
    pub fn base(&self) -> Base {
        let all = self.fields.keys().chain(self.versions.keys());
        all.map(|name| (name.clone(), (self.version(name), self.text(name).to_owned())))
            .collect()
    }

    fn version(&self, name: &str) -> u32 {
        self.versions.get(name).map_or(0, |v| v.v)
    }

    fn text(&self, name: &str) -> &str {
        self.fields.get(name).map_or("", String::as_str)
    }

    /// Fields in which both partners wrote something else.
    pub fn asked(&self) -> impl Iterator<Item = (&str, &str, &(String, i64))> {
        self.versions
            .iter()
            .filter_map(|(name, v)| Some((name.as_str(), self.text(name), v.other.as_ref()?)))
    }

    fn write(&mut self, name: &str, text: &str, by: i64) {
        let v = self.version(name).saturating_add(1);
        self.fields.insert(name.to_owned(), text.to_owned());
        let version = Version { v, by, other: None };
        self.versions.insert(name.to_owned(), version);
    }

    /// Lays what a page sends over the draft. Without a base every field that differs is written, as by a page that knows
    /// of nobody else.
    pub fn lay_over(&mut self, sent: &BTreeMap<String, String>, base: Option<&Base>, by: i64) {
        for (name, text) in sent {
            let Some(base) = base else {
                if text != self.text(name) {
                    self.write(name, text, by);
                }
                continue;
            };
            let (seen, was) = base.get(name).map_or((0, ""), |(v, was)| (*v, was.as_str()));
            if text == was || text == self.text(name) {
                continue;
            }
            // What a person wrote before, on whatever page, that person may write over.
            let own = self.versions.get(name).is_some_and(|v| v.by == by && v.other.is_none());
            if seen == self.version(name) || self.text(name).is_empty() || own {
                self.write(name, text, by);
            } else if text.is_empty() {
                // Emptied on one page, filled on another: what is filled stays.
            } else if name == "remarks" {
                // What both wrote, line by line.
                let there = self.text(name);
                if has_all_lines_of(text, there) {
                    self.write(name, text, by);
                } else if !has_all_lines_of(there, text) {
                    let joined = format!("{there}\n{text}");
                    self.write(name, &joined, by);
                }
            } else if !is_of_the_table(name) {
                // What is said of the setting up: the later word.
                self.write(name, text, by);
            } else {
                let v = self.version(name).saturating_add(1);
                let version = self.versions.entry(name.clone()).or_default();
                version.v = v;
                version.other = Some((text.clone(), by));
            }
        }
    }

    /// The pair says which of two texts counts.
    pub fn choose(&mut self, name: &str, text: &str, by: i64) {
        let known = self.versions.get(name).and_then(|v| v.other.as_ref());
        if known.is_some_and(|(other, _)| other == text || self.text(name) == text) {
            self.write(name, text, by);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sent(fields: &[(&str, &str)]) -> BTreeMap<String, String> {
        fields.iter().map(|(n, t)| ((*n).to_owned(), (*t).to_owned())).collect()
    }

    #[test]
    fn two_devices_on_different_fields_keep_both() {
        let mut draft = Written::default();
        let base = draft.base();
        draft.lay_over(&sent(&[("m-1", "1.0"), ("m-2", "")]), Some(&base), 7);
        draft.lay_over(&sent(&[("m-1", ""), ("m-2", "2.0")]), Some(&base), 8);
        assert_eq!(draft.fields, sent(&[("m-1", "1.0"), ("m-2", "2.0")]));
        assert_eq!(draft.asked().count(), 0);
    }

    #[test]
    fn one_field_written_by_both_is_asked_about_until_somebody_chooses() {
        let mut draft = Written::default();
        let base = draft.base();
        draft.lay_over(&sent(&[("m-1", "1.0")]), Some(&base), 7);
        draft.lay_over(&sent(&[("m-1", "1.1")]), Some(&base), 8);
        let asked: Vec<_> = draft.asked().collect();
        assert_eq!(asked, [("m-1", "1.0", &("1.1".to_owned(), 8))]);
        // The first device sends again what it has: nothing changes, and the question stays.
        draft.lay_over(&sent(&[("m-1", "1.0")]), Some(&base), 7);
        assert_eq!(draft.asked().count(), 1);
        for (chosen, left) in [("9.9", 1), ("1.1", 0)] {
            draft.choose("m-1", chosen, 7);
            assert_eq!(draft.asked().count(), left);
        }
        assert_eq!(draft.fields["m-1"], "1.1");
        // Or somebody who sees both types a third one.
        draft.lay_over(&sent(&[("m-1", "1.2")]), Some(&base), 8);
        assert_eq!(draft.asked().count(), 1);
        let seen = draft.base();
        draft.lay_over(&sent(&[("m-1", "1.3")]), Some(&seen), 7);
        assert_eq!((draft.fields["m-1"].as_str(), draft.asked().count()), ("1.3", 0));
    }

    #[test]
    fn remarks_of_both_are_kept_without_a_question() {
        let mut draft = Written::default();
        let base = draft.base();
        for (text, by) in [("The edge was dirty.", 7), ("Tip changed at 5.", 8)] {
            draft.lay_over(&sent(&[("remarks", text), ("s-unit", "mm")]), Some(&base), by);
        }
        assert_eq!(draft.fields["remarks"], "The edge was dirty.\nTip changed at 5.");
        assert_eq!(draft.asked().count(), 0);
    }

    #[test]
    fn a_remark_that_is_a_part_of_the_partners_is_kept_beside_it() {
        let remarks = |first: &str, then: &str| {
            let mut draft = Written::default();
            let base = draft.base();
            draft.lay_over(&sent(&[("remarks", first)]), Some(&base), 7);
            draft.lay_over(&sent(&[("remarks", then)]), Some(&base), 8);
            draft.fields["remarks"].clone()
        };
        assert_eq!(remarks("Plate not clean", "clean"), "Plate not clean\nclean");
        assert_eq!(remarks("clean", "Plate not clean"), "clean\nPlate not clean");
        // The same line of both is one, and nobody's other lines go with it.
        let both = "The edge was dirty.\nTip changed at 5.";
        assert_eq!(remarks(both, "Tip changed at 5."), both);
        assert_eq!(remarks("Tip changed at 5.", both), both);
    }

    #[test]
    fn emptying_a_field_that_a_partner_filled_meanwhile_does_not_empty_it() {
        let mut draft = Written::default();
        draft.lay_over(&sent(&[("m-1", "1.0")]), None, 7);
        let seen = draft.base();
        draft.lay_over(&sent(&[("m-1", "1.5")]), Some(&seen), 8);
        draft.lay_over(&sent(&[("m-1", "")]), Some(&seen), 7);
        assert_eq!(draft.fields["m-1"], "1.5");
        // The same person on an older page, as after the back button: the later one counts.
        draft.lay_over(&sent(&[("m-1", "1.6")]), Some(&seen), 8);
        assert_eq!((draft.fields["m-1"].as_str(), draft.asked().count()), ("1.6", 0));
        let seen = draft.base();
        draft.lay_over(&sent(&[("m-1", "")]), Some(&seen), 7);
        assert_eq!(draft.fields["m-1"], "");
    }
}
