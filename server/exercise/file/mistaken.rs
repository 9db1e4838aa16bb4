//! `[[mistaken_surface]]`: what pairs touch instead of a datum.

use rust_decimal::Decimal;

use super::head;
use super::nearest::list_all;
use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use crate::exercise::model::{DatumFrame, MistakenSurface};

pub(super) const KEYS: &[Key] = &[
    ("name", "name = \"upper step of the front face\""),
    ("instead_of", "instead_of = \"C\""),
    ("at", "at = 6.0"),
];

pub(super) fn read(
    sections: &[Section<'_>],
    frame: Option<&DatumFrame>,
    sink: &mut Sink<'_>,
) -> Option<Vec<MistakenSurface>> {
    let mut surfaces: Vec<MistakenSurface> = Vec::new();
    for section in sections {
        let Some(surface) = surface(section, frame, sink) else {
            continue;
        };
        if surfaces.iter().any(|s| s.name == surface.name) {
            let what = format!("there are two mistaken surfaces named \"{}\"", surface.name);
            sink.error(
                section.value_at("name"),
                what,
                "Give each a name of its own; feedback uses it.",
            );
        }
        surfaces.push(surface);
    }
    (surfaces.len() == sections.len()).then_some(surfaces)
}

fn surface(section: &Section<'_>, frame: Option<&DatumFrame>, sink: &mut Sink<'_>) -> Option<MistakenSurface> {
    section.refuse_unknown(sink);
    let name = section
        .need("name", sink)
        .and_then(|name| head::words("name", name, sink));
    let instead_of: Option<Found<&str>> = section.need("instead_of", sink);
    let at: Option<Found<Decimal>> = section.need("at", sink);
    let (name, instead_of, at, frame) = (name?, instead_of?, at?, frame?);
    let mut letters = instead_of.value.chars();
    let datum = letters
        .next()
        .filter(|_| letters.next().is_none())
        .and_then(|letter| frame.by_letter(letter));
    let Some(datum) = datum else {
        let what = format!("there is no datum `{}`", super::value::shortened(instead_of.value));
        let letters = frame.all().map(|d| d.letter.to_string());
        let mend = format!("The datum frame has {}.", list_all(letters.iter().map(String::as_str)));
        sink.error(instead_of.at, what, mend);
        return None;
    };
    if datum.at == at.value {
        let what = format!("the surface lies at {} as datum {} does", at.value, datum.letter);
        let mend = format!(
            "Give its own coordinate along {}; touching it must make a difference.",
            datum.sets.letter()
        );
        sink.error(at.at, what, mend);
        return None;
    }
    Some(MistakenSurface {
        name,
        instead_of: datum.letter,
        at: at.value,
    })
}
