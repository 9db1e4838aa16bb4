//! An exercise as it is typed: every field as text, right or wrong, so that nothing typed is lost.
//!
//! A form is written as an exercise file (`emit`) and read from one (`take`); what is no number stands there in
//! quotes. So a draft is a file, its problems are those of the file's reader, and what the form means is what the file
//! means. `look` takes the reader's problems back to the fields; `post` reads the fields of a web form.

mod edit;
mod emit;
mod like_holes;
mod look;
mod number;
mod post;
mod propose;
mod schema;
mod table;
mod take;
mod words;

use std::collections::BTreeMap;

pub use edit::Edit;
pub use like_holes::LikeHoles;
pub use look::{AtField, Look, NO_FEATURES, look};
pub use post::{direction_parts, from_posted};
pub use propose::{Blank, propose_datums, usual_measurement};
pub use schema::{
    BETWEEN, BETWEEN_QUANTITIES, BODY, CHARACTERISTIC, DATUM, DIRECTIONS, FEATURE, HEAD, KINDS, LINE, MARKS,
    MEASUREMENT, MISTAKEN, OTHER, Spec, Typed, of_kind, of_quantity, quantities_of_kind, usual_side,
};
pub use table::{Column, Goes, Pasted, Row, read_table};
pub use take::{Taken, take};

/// What stands in the fields of one table; an absent key is an empty field. Several numbers of one field are parted by
/// tabs, several places by line ends.
pub type Fields = BTreeMap<&'static str, String>;

/// The whole form.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Form {
    /// Top of the sheet.
    pub head: Fields,
    /// The blank.
    pub body: Fields,
    /// Primary, secondary, tertiary.
    pub datums: [Fields; 3],
    /// Surfaces touched instead of a datum.
    pub mistaken: Vec<Fields>,
    /// What a careful pair achieves.
    pub measurement: Fields,
    /// Marks rules.
    pub marks: Fields,
    /// Lines marked by hand.
    pub lines: Vec<Fields>,
    /// Features with their characteristics.
    pub features: Vec<Part>,
    /// Pairs of features with theirs.
    pub between: Vec<Part>,
}

/// A feature or a pair of features.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Part {
    /// Its own fields.
    pub fields: Fields,
    /// What is measured on it.
    pub characteristics: Vec<Fields>,
}

/// What stands in a field.
#[must_use]
pub fn text<'f>(fields: &'f Fields, key: &str) -> &'f str {
    fields.get(key).map_or("", String::as_str)
}

impl Part {
    /// What people call a feature: its name, or its key without one.
    #[must_use]
    pub fn name(&self) -> String {
        let name = self.text("name");
        if name.is_empty() {
            self.text("key").to_owned()
        } else {
            name.to_owned()
        }
    }

    /// What stands in a field of its own.
    #[must_use]
    pub fn text(&self, key: &str) -> &str {
        text(&self.fields, key)
    }
}

impl Form {
    /// What people call the part with this letter and place: a feature (`f`), or what stands between two (`b`).
    #[must_use]
    pub fn name_at(&self, letter: char, index: usize) -> Option<String> {
        match letter {
            'f' => self.features.get(index).map(Part::name),
            'b' => self.between.get(index).map(|pair| self.pair_name(pair)),
            _ => None,
        }
    }

    /// Both names of a pair, or that they are not chosen yet.
    fn pair_name(&self, pair: &Part) -> String {
        let name = |end: &str| {
            let key = pair.text(end);
            let feature = self.features.iter().find(|f| !key.is_empty() && f.text("key") == key);
            feature.map_or_else(|| key.to_owned(), Part::name)
        };
        match (name("first"), name("second")) {
            (a, b) if a.is_empty() && b.is_empty() => "between two features".to_owned(),
            (a, b) if b.is_empty() => format!("between {a} and another"),
            (a, b) if a.is_empty() => format!("between another and {b}"),
            (a, b) => format!("{a} to {b}"),
        }
    }

    /// The exercise file of what is typed, right or wrong.
    #[must_use]
    pub fn toml(&self) -> String {
        emit::emit(self).text
    }

    /// Tables of the form with the beginnings of their fields' names: `d0-` and `face` make `d0-face`.
    fn tables(&self) -> Vec<(String, &'static [Spec], &Fields)> {
        let mut all: Vec<(String, &'static [Spec], &Fields)> = vec![
            (String::new(), HEAD, &self.head),
            ("body-".to_owned(), BODY, &self.body),
            ("u-".to_owned(), MEASUREMENT, &self.measurement),
            ("k-".to_owned(), MARKS, &self.marks),
        ];
        let numbered = |letter: &str, i: usize| format!("{letter}{i}-");
        all.extend(
            self.datums
                .iter()
                .enumerate()
                .map(|(i, f)| (numbered("d", i), DATUM, f)),
        );
        all.extend(
            self.mistaken
                .iter()
                .enumerate()
                .map(|(i, f)| (numbered("m", i), MISTAKEN, f)),
        );
        all.extend(self.lines.iter().enumerate().map(|(i, f)| (numbered("l", i), LINE, f)));
        for (letter, specs, parts) in [("f", FEATURE, &self.features), ("b", BETWEEN, &self.between)] {
            for (i, part) in parts.iter().enumerate() {
                all.push((numbered(letter, i), specs, &part.fields));
                for (j, fields) in part.characteristics.iter().enumerate() {
                    all.push((format!("{letter}{i}c{j}-"), CHARACTERISTIC, fields));
                }
            }
        }
        all
    }

    /// The field with this name: how it is typed, and what stands in it.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<(&'static Spec, String)> {
        self.tables().into_iter().find_map(|(prefix, specs, fields)| {
            let key = name.strip_prefix(&prefix)?;
            let spec = specs.iter().find(|s| s.key == key)?;
            Some((spec, text(fields, key).to_owned()))
        })
    }

    /// What differs between two forms: names of fields, old text, new text; `None` where tables were added or removed.
    #[must_use]
    pub fn changed_fields(&self, after: &Self) -> Option<Vec<(String, String, String)>> {
        let (old, new) = (self.tables(), after.tables());
        if old.len() != new.len() || old.iter().zip(&new).any(|(a, b)| a.0 != b.0) {
            return None;
        }
        let mut changed = Vec::new();
        for ((prefix, specs, before), (_, _, after)) in old.iter().zip(&new) {
            for spec in *specs {
                let (a, b) = (text(before, spec.key), text(after, spec.key));
                if a != b {
                    changed.push((format!("{prefix}{}", spec.key), a.to_owned(), b.to_owned()));
                }
            }
        }
        Some(changed)
    }

    /// What the field with this name belongs to, in words for people: a feature, a number, a datum.
    #[must_use]
    pub fn owner_of(&self, name: &str) -> Option<String> {
        let (prefix, _) = name.split_once('-')?;
        let letter = prefix.chars().next()?;
        let (index, inner) = prefix.get(1..)?.split_once('c').unwrap_or((prefix.get(1..)?, ""));
        let index: usize = index.parse().ok()?;
        let parts = match letter {
            'f' => &self.features,
            'b' => &self.between,
            'd' => return self.datums.get(index).map(|d| format!("datum {}", text(d, "letter"))),
            'm' => return self.mistaken.get(index).map(|m| text(m, "name").to_owned()),
            'l' => return self.lines.get(index).map(|l| text(l, "name").to_owned()),
            _ => return None,
        };
        let part = parts.get(index)?;
        let name = self.name_at(letter, index)?;
        let number = inner.parse().ok().and_then(|j: usize| part.characteristics.get(j));
        Some(match number {
            Some(fields) => format!("number {} of {name}", text(fields, "no")),
            None => name,
        })
    }

    /// Letters of the datums that are filled in.
    #[must_use]
    pub fn letters(&self) -> Vec<&str> {
        self.datums
            .iter()
            .map(|d| text(d, "letter"))
            .filter(|l| !l.is_empty())
            .collect()
    }
}
