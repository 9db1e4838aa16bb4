//! What an author does to a form besides typing: add, take out, move up.

use super::propose::{Blank, fields, propose_datums};
use super::schema::{BETWEEN_QUANTITIES, usual_side};
use super::{Fields, Form, Part, text};

/// A thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Edit {
    /// A feature of a kind with what is usually measured on it.
    Feature(String),
    /// A quantity between two features.
    Between,
    /// A characteristic on the part with this name: `f3` or `b0`.
    Characteristic(String),
    /// A mistaken surface.
    Mistaken,
    /// A line marked by hand.
    Line,
    /// Takes out what has this name: `f3`, `f3c1`, `b0`, `b0c0`, `m1`, `l0`.
    Drop(String),
    /// Moves a feature or pair before the one above it.
    Up(String),
    /// A rectangular outline, length and width.
    Rectangle(String, String),
    /// The usual datum frame for the body.
    Datums,
    /// Asks for a quantity of the feature with this key.
    Ask(String, String),
    /// Asks for so many touches on the feature with this key.
    Points(String, u32),
    /// Numbers all characteristics anew, 1, 2, 3... in the order of the sheet.
    Renumber,
}

impl Edit {
    /// From the word that a button sends, with what it is about behind a blank.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        let (verb, about) = word.split_once(' ').unwrap_or((word, ""));
        Some(match verb {
            "add" if !about.is_empty() => Self::Feature(about.to_owned()),
            "between" => Self::Between,
            "measure" => Self::Characteristic(about.to_owned()),
            "mistaken" => Self::Mistaken,
            "line" => Self::Line,
            "drop" => Self::Drop(about.to_owned()),
            "up" => Self::Up(about.to_owned()),
            "datums" => Self::Datums,
            "renumber" => Self::Renumber,
            "ask" => about
                .split_once(' ')
                .map(|(key, of)| Self::Ask(key.to_owned(), of.to_owned()))?,
            "points" => {
                let (key, count) = about.split_once(' ')?;
                Self::Points(key.to_owned(), count.parse().ok()?)
            }
            _ => return None,
        })
    }
}

/// What a feature of a kind begins with.
struct Begun {
    /// For its key.
    word: &'static str,
    /// For its name.
    name: &'static str,
    /// Fields that are filled in already.
    rest: &'static [(&'static str, &'static str)],
    /// What is usually measured on it.
    quantities: &'static [&'static str],
}

fn begun(kind: &str) -> Begun {
    let begun = |word, name, rest, quantities| Begun {
        word,
        name,
        rest,
        quantities,
    };
    match kind {
        "circle" => begun("hole", "Hole", &[("at", "\t\t0")], &["diameter", "x", "y"]),
        "cylinder" => begun(
            "bore",
            "Bore",
            &[("at", "\t\t0"), ("axis", "up")],
            &["diameter", "x", "y"],
        ),
        "slot" => begun(
            "slot",
            "Slot",
            &[("at", "\t\t0"), ("angle", "0")],
            &["width", "length", "x", "y"],
        ),
        "plane" => begun("face", "Face", &[("normal", "up"), ("points", "6")], &["z"]),
        "line" => begun("edge", "Edge", &[("normal", "front")], &["y"]),
        "point" => begun("place", "Place", &[("normal", "up")], &["z"]),
        "cone" => begun(
            "cone",
            "Countersink",
            &[("at", "\t\t0"), ("axis", "up"), ("angle", "90")],
            &["diameter"],
        ),
        "sphere" => begun("ball", "Ball", &[], &["diameter", "x", "y", "z"]),
        _ => begun("feature", "Feature", &[], &[]),
    }
}

/// A letter with an index, and an index within: `f3c1`.
fn place(name: &str) -> Option<(char, usize, Option<usize>)> {
    let letter = name.chars().next()?;
    let rest = name.get(letter.len_utf8()..)?;
    let (index, within) = rest.split_once('c').map_or((rest, None), |(i, w)| (i, Some(w)));
    let within = match within {
        Some(w) => Some(w.parse().ok()?),
        None => None,
    };
    Some((letter, index.parse().ok()?, within))
}

fn remove<T>(items: &mut Vec<T>, index: usize) {
    if index < items.len() {
        items.remove(index);
    }
}

impl Form {
    /// Does it; gives the name of what is new or changed, to go to.
    pub fn edit(&mut self, edit: &Edit) -> Option<String> {
        match edit {
            Edit::Feature(kind) => Some(self.add_feature(kind)),
            Edit::Between => Some(self.add_between()),
            Edit::Characteristic(name) => self.add_characteristic(name),
            Edit::Mistaken => {
                self.mistaken.push(Fields::new());
                Some(format!("m{}-name", self.mistaken.len() - 1))
            }
            Edit::Line => {
                self.lines.push(Fields::new());
                Some(format!("l{}-name", self.lines.len() - 1))
            }
            Edit::Drop(name) => self.take_out(name),
            Edit::Up(name) => self.move_up(name),
            Edit::Rectangle(length, width) => {
                self.rectangle(length, width);
                Some("body-outline".to_owned())
            }
            Edit::Datums => {
                propose_datums(self);
                Some("d0-letter".to_owned())
            }
            Edit::Ask(key, of) => self.ask(key, of),
            Edit::Points(key, count) => {
                let at = self.with_key(key)?;
                self.features.get_mut(at)?.fields.insert("points", count.to_string());
                Some(format!("f{at}-points"))
            }
            Edit::Renumber => {
                self.renumber();
                None
            }
        }
    }

    /// All characteristics in sheet order.
    pub fn characteristics(&self) -> impl Iterator<Item = &Fields> {
        self.features
            .iter()
            .chain(&self.between)
            .flat_map(|p| &p.characteristics)
    }

    /// The next balloon number: one more than the highest that is a whole number.
    #[must_use]
    pub fn next_number(&self) -> u32 {
        let numbers = self.characteristics().filter_map(|c| text(c, "no").parse::<u32>().ok());
        numbers.max().unwrap_or(0).saturating_add(1)
    }

    /// A key that is free, from a word: `hole-1`, `hole-2`...
    #[must_use]
    pub fn free_key(&self, word: &str) -> String {
        let taken = |key: &str| self.features.iter().chain(&self.between).any(|p| p.text("key") == key);
        let most = self.features.len() + self.between.len() + 1;
        let mut keys = (1..=most).map(|n| format!("{word}-{n}"));
        keys.find(|key| !taken(key)).unwrap_or_else(|| format!("{word}-x"))
    }

    /// Adds a feature with these characteristics, numbered on from the last.
    pub fn add_part(&mut self, own: Fields, quantities: &[(&str, &str)]) -> usize {
        let first = self.next_number();
        let measured = quantities.iter().zip(first..).map(|((of, tolerance), no)| {
            let mut made = fields([("of", *of), ("tolerance", *tolerance)]);
            made.insert("no", no.to_string());
            if *of == "parallelism" || *of == "perpendicularity" {
                made.insert("datum", self.letters().first().unwrap_or(&"A").to_string());
            }
            made.retain(|_, value| !value.is_empty());
            made
        });
        let part = Part {
            fields: own,
            characteristics: measured.collect(),
        };
        self.features.push(part);
        self.features.len() - 1
    }

    fn add_feature(&mut self, kind: &str) -> String {
        let Begun {
            word,
            name,
            rest,
            quantities,
        } = begun(kind);
        let key = self.free_key(word);
        let number = key.rsplit('-').next().unwrap_or("").to_owned();
        let mut own = fields([("kind", kind), ("key", &key), ("name", &format!("{name} {number}"))]);
        own.extend(rest.iter().map(|(k, v)| (*k, (*v).to_owned())));
        let quantities: Vec<(&str, &str)> = quantities.iter().map(|of| (*of, "")).collect();
        let index = self.add_part(own, &quantities);
        format!("f{index}-name")
    }

    fn add_between(&mut self) -> String {
        let key = self.free_key("between");
        let own = fields([("key", &key)]);
        let no = self.next_number().to_string();
        let quantity = BETWEEN_QUANTITIES.first().copied().unwrap_or("");
        self.between.push(Part {
            fields: own,
            characteristics: vec![fields([("no", &no), ("of", quantity)])],
        });
        format!("b{}-first", self.between.len() - 1)
    }

    fn add_characteristic(&mut self, name: &str) -> Option<String> {
        let no = self.next_number().to_string();
        let (letter, index, _) = place(name)?;
        let parts = if letter == 'b' {
            &mut self.between
        } else {
            &mut self.features
        };
        let part = parts.get_mut(index)?;
        part.characteristics.push(fields([("no", &no)]));
        Some(format!("{name}c{}-of", part.characteristics.len() - 1))
    }

    fn with_key(&self, key: &str) -> Option<usize> {
        self.features.iter().position(|f| f.text("key") == key)
    }

    fn ask(&mut self, key: &str, of: &str) -> Option<String> {
        let no = self.next_number().to_string();
        let letter = self
            .letters()
            .first()
            .map_or_else(|| "A".to_owned(), |l| (*l).to_owned());
        let at = self.with_key(key)?;
        let part = self.features.get_mut(at)?;
        let mut made = fields([("no", &no), ("of", of)]);
        if matches!(of, "parallelism" | "perpendicularity") {
            made.insert("datum", letter);
        }
        part.characteristics.push(made);
        Some(format!("f{at}c{}-tolerance", part.characteristics.len() - 1))
    }

    fn take_out(&mut self, name: &str) -> Option<String> {
        let (letter, index, within) = place(name)?;
        let parts = match letter {
            'm' => {
                remove(&mut self.mistaken, index);
                return None;
            }
            'l' => {
                remove(&mut self.lines, index);
                return None;
            }
            'b' => &mut self.between,
            _ => &mut self.features,
        };
        match within {
            Some(within) => {
                remove(&mut parts.get_mut(index)?.characteristics, within);
                Some(format!("{letter}{index}"))
            }
            None => {
                remove(parts, index);
                None
            }
        }
    }

    fn move_up(&mut self, name: &str) -> Option<String> {
        let (letter, index, _) = place(name)?;
        let parts = if letter == 'b' {
            &mut self.between
        } else {
            &mut self.features
        };
        let above = index.checked_sub(1)?;
        (index < parts.len()).then(|| parts.swap(above, index));
        Some(format!("{letter}{above}"))
    }

    fn renumber(&mut self) {
        let parts = self.features.iter_mut().chain(&mut self.between);
        for (fields, no) in parts.flat_map(|p| &mut p.characteristics).zip(1_u32..) {
            fields.insert("no", no.to_string());
        }
    }

    /// Lets what refers to a feature follow where its key was changed in place.
    pub fn follow_keys(&mut self, before: &Self) {
        if self.features.len() != before.features.len() {
            return;
        }
        let pairs = before.features.iter().zip(&self.features);
        let moved: Vec<(String, String)> = pairs
            .map(|(a, b)| (a.text("key").to_owned(), b.text("key").to_owned()))
            .filter(|(a, b)| a != b && !a.is_empty())
            .collect();
        for part in &mut self.between {
            for end in ["first", "second"] {
                let to = moved
                    .iter()
                    .find(|(from, _)| part.text(end) == from)
                    .map(|(_, to)| to.clone());
                if let Some(to) = to {
                    part.fields.insert(end, to);
                }
            }
        }
    }

    /// Which side a round feature has is shown as usual where nobody said it; what a page sends back of that is nothing that
    /// was typed.
    pub fn leave_usual_sides(&mut self, before: &Self) {
        for part in &mut self.features {
            let known = before.features.iter().find(|f| f.text("key") == part.text("key"));
            let said = known.is_some_and(|f| !f.text("side").is_empty());
            if !said && part.text("side") == usual_side(part.text("kind")) {
                part.fields.remove("side");
            }
        }
    }

    /// A rectangular blank is what the outline says, where it is one from the origin.
    #[must_use]
    pub fn as_rectangle(&self) -> Option<Blank> {
        let corners = self.corners()?;
        let [a, b, c, d] = corners.as_slice() else { return None };
        let zero = rust_decimal::Decimal::ZERO;
        let square = *a == [zero, zero] && b[1] == zero && d[0] == zero && *c == [b[0], d[1]];
        square.then(|| Blank {
            length: b[0].to_string(),
            width: d[1].to_string(),
            thickness: text(&self.body, "thickness").to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_added_numbered_and_taken_out() {
        let mut form = Form::default();
        assert_eq!(
            form.edit(&Edit::Feature("circle".to_owned())).as_deref(),
            Some("f0-name")
        );
        assert_eq!(
            form.edit(&Edit::Feature("circle".to_owned())).as_deref(),
            Some("f1-name")
        );
        assert_eq!(form.features[1].text("key"), "hole-2");
        let numbers: Vec<&str> = form.characteristics().map(|c| text(c, "no")).collect();
        assert_eq!(numbers.join(" "), "1 2 3 4 5 6");
        assert_eq!(
            form.edit(&Edit::Characteristic("f0".to_owned())).as_deref(),
            Some("f0c3-of")
        );
        assert_eq!(form.next_number(), 8);
        form.edit(&Edit::Drop("f0c0".to_owned()));
        assert_eq!(form.features[0].characteristics.len(), 3);
        form.edit(&Edit::Up("f1".to_owned()));
        assert_eq!(form.features[0].text("key"), "hole-2");
        form.edit(&Edit::Drop("f7".to_owned()));
        form.edit(&Edit::Drop("f0".to_owned()));
        assert_eq!(form.features.len(), 1);
        form.edit(&Edit::from_word("points hole-1 8").unwrap());
        assert_eq!(form.features[0].text("points"), "8");
        let asked = form.edit(&Edit::from_word("ask hole-1 roundness").unwrap());
        assert_eq!(asked.as_deref(), Some("f0c3-tolerance"));
        form.edit(&Edit::Drop("f0c3".to_owned()));
        form.edit(&Edit::Renumber);
        let numbers: Vec<&str> = form.characteristics().map(|c| text(c, "no")).collect();
        assert_eq!(numbers.join(" "), "1 2 3");
    }

    #[test]
    fn a_new_key_is_followed() {
        let mut form = Form::default();
        form.edit(&Edit::Feature("circle".to_owned()));
        form.edit(&Edit::Between);
        form.between[0].fields.insert("first", "hole-1".to_owned());
        let before = form.clone();
        form.features[0].fields.insert("key", "bore".to_owned());
        form.follow_keys(&before);
        assert_eq!(form.between[0].text("first"), "bore");
    }
}
