//! What a print can tell as a table for people.

use std::io::Write;

use crate::exercise::model::Exercise;
use crate::grading::insight::{Insight, words};

pub(super) fn print(exercise: &Exercise, found: &Insight, on_plates: bool, out: &mut dyn Write) -> std::io::Result<()> {
    writeln!(out, "{}  {}", exercise.code, exercise.title)?;
    let references = if on_plates {
        "references as well known as those of its plates"
    } else {
        "references known exactly"
    };
    writeln!(
        out,
        "What this print can tell about mistakes, each with 95 % chance, with a careful pair's noise and {references}.\n"
    )?;
    writeln!(out, "{}\n", words::basis(found))?;
    let rows: Vec<[String; 4]> = found
        .faults
        .iter()
        .map(|f| {
            let (detected, named) = words::sizes(exercise, f);
            let rival = f.rival.as_ref().map_or_else(String::new, |r| words::thing(exercise, r));
            [
                words::thing(exercise, &f.fault) + words::mark(found, f),
                detected,
                named,
                rival,
            ]
        })
        .collect();
    let head = ["mistake", "detected", "named", "most easily taken for"];
    let width = |column: usize| {
        let cells = rows.iter().map(|r| r[column].chars().count());
        cells.max().unwrap_or(0).max(head[column].len())
    };
    let (a, b, c) = (width(0), width(1), width(2));
    writeln!(out, "{:<a$}  {:<b$}  {:<c$}  {}", head[0], head[1], head[2], head[3])?;
    for [mistake, detected, named, rival] in &rows {
        let line = format!("{mistake:<a$}  {detected:<b$}  {named:<c$}  {rival}");
        writeln!(out, "{}", line.trim_end())?;
    }
    writeln!(out)?;
    for set in &found.confusable {
        writeln!(out, "{}", words::confusable(exercise, set))?;
    }
    for unseen in &found.unseen {
        writeln!(out, "{}", words::unseen(exercise, unseen))?;
    }
    if found.confusable.is_empty() && found.unseen.is_empty() {
        writeln!(out, "{}", words::NOTHING_OPEN)?;
    }
    if let Some(first) = words::first(exercise, found) {
        writeln!(out, "{first}")?;
    }
    Ok(())
}
