//! A PDF as the browser prints it: which element of the page stands on which sheets of paper, from the structure that
//! Chromium writes for screen readers (ISO 32000-1, 14.7 and 14.8), and where every word stands, as `pdftotext` reads it.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::process::Command;

use lopdf::{Dictionary, Document, Object, ObjectId};

use super::driver::program;

/// One printed document.
pub(super) struct Pdf {
    pub(super) sheets: Vec<Sheet>,
    /// What is printed, in reading order.
    pub(super) root: Element,
}

/// One sheet of paper; lengths in mm, from its upper left corner.
pub(super) struct Sheet {
    pub(super) width: f64,
    pub(super) height: f64,
    pub(super) words: Vec<Word>,
}

pub(super) struct Word {
    pub(super) text: String,
    pub(super) from: [f64; 2],
    pub(super) to: [f64; 2],
}

/// An element of the structure: `TR`, `TH`, `H2`, `Figure`.
#[derive(Debug, Default)]
pub(super) struct Element {
    pub(super) kind: String,
    pub(super) parts: Vec<Element>,
    /// Sheets on which something of it stands, from 0.
    pub(super) sheets: BTreeSet<usize>,
}

impl Element {
    /// All elements of these kinds within it, in reading order.
    pub(super) fn all(&self, kinds: &[&str]) -> Vec<&Self> {
        let own = kinds.contains(&self.kind.as_str()).then_some(self);
        let within = self.parts.iter().flat_map(|part| part.all(kinds));
        own.into_iter().chain(within).collect()
    }

    /// All elements in reading order.
    pub(super) fn flat(&self) -> Vec<&Self> {
        let within = self.parts.iter().flat_map(Self::flat);
        std::iter::once(self).chain(within).collect()
    }
}

impl Pdf {
    /// None where it has no structure.
    pub(super) fn of(bytes: &[u8]) -> Option<Self> {
        let document = Document::load_mem(bytes).unwrap();
        let pages = document.get_pages().into_values().enumerate();
        let reader = Reader {
            pages: pages.map(|(n, id)| (id, n)).collect(),
            document: &document,
        };
        let structure = document.catalog().unwrap().get(b"StructTreeRoot").ok()?;
        let structure = reader.followed(structure).as_dict().unwrap();
        let mut root = Element::default();
        reader.take(structure.get(b"K").unwrap(), None, &mut root);
        Some(Self {
            sheets: sheets(bytes),
            root,
        })
    }
}

struct Reader<'d> {
    document: &'d Document,
    pages: BTreeMap<ObjectId, usize>,
}

impl<'d> Reader<'d> {
    fn followed(&self, object: &'d Object) -> &'d Object {
        self.document.dereference(object).unwrap().1
    }

    /// Puts what `K` of an element holds into it: elements, marks on its page, marks on another one.
    fn take(&self, held: &'d Object, page: Option<ObjectId>, into: &mut Element) {
        match self.followed(held) {
            Object::Array(all) => all.iter().for_each(|one| self.take(one, page, into)),
            Object::Integer(_) => into.sheets.extend(page.map(|page| self.pages[&page])),
            Object::Dictionary(one) => self.element(one, page, into),
            _ => {}
        }
    }

    fn element(&self, one: &'d Dictionary, page: Option<ObjectId>, into: &mut Element) {
        let page = one.get(b"Pg").ok().and_then(|p| p.as_reference().ok()).or(page);
        let Ok(kind) = one.get(b"S").and_then(Object::as_name) else {
            // A mark, or a link's place; only marks are ink.
            if one.has(b"MCID") {
                into.sheets.extend(page.map(|page| self.pages[&page]));
            }
            return;
        };
        let mut element = Element {
            kind: String::from_utf8_lossy(kind).into_owned(),
            ..Element::default()
        };
        if let Ok(held) = one.get(b"K") {
            self.take(held, page, &mut element);
        }
        into.sheets.extend(&element.sheets);
        into.parts.push(element);
    }
}

/// Millimetres of a PDF's unit, a 72th of an inch.
const POINT: f64 = 25.4 / 72.0;

/// Every word with its place: lines as `<word xMin="1.0" yMin="2.0" xMax="3.0" yMax="4.0">text</word>`.
fn sheets(bytes: &[u8]) -> Vec<Sheet> {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(bytes).unwrap();
    let mut command = Command::new(program("pdftotext"));
    let read = command.arg("-bbox").arg(file.path()).arg("-").output().unwrap();
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    let mut sheets: Vec<Sheet> = Vec::new();
    for line in String::from_utf8(read.stdout).unwrap().lines() {
        let line = line.trim();
        let at = |name: &str| {
            let (_, rest) = line.split_once(&format!("{name}=\"")).unwrap();
            rest.split('"').next().unwrap().parse::<f64>().unwrap() * POINT
        };
        if line.starts_with("<page ") {
            sheets.push(Sheet {
                width: at("width"),
                height: at("height"),
                words: Vec::new(),
            });
        } else if line.starts_with("<word ") {
            let text = line.split_once('>').unwrap().1.trim_end_matches("</word>");
            sheets.last_mut().unwrap().words.push(Word {
                text: text.to_owned(),
                from: [at("xMin"), at("yMin")],
                to: [at("xMax"), at("yMax")],
            });
        }
    }
    sheets
}
