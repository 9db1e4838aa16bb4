//! From broken text to problems in plain words, and to text that can be walked all the same.
//!
//! The parser goes on after most mistakes. Two make it give up on the rest of the file: a line that has no value, and
//! a bracket that is never closed. Those lines are blanked, byte for byte so that places stay right, and what is left
//! is parsed again: all mistakes of a file are found in one go.

use std::borrow::Cow;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problem::Sink;

/// Lines that are blanked at most; a file with more of them is not an exercise with slips.
const MOST_BLANKED: usize = 50;

/// The text without what cannot be parsed around; every mistake of syntax is reported.
pub(super) fn legible<'t>(text: &'t str, sink: &mut Sink<'_>) -> Cow<'t, str> {
    let mut legible = Cow::Borrowed(text);
    for _ in 0..MOST_BLANKED {
        let (document, errors) = DeTable::parse_recoverable(&legible);
        let Some((blank, at, words)) = stopping(&legible, document.get_ref(), &errors) else {
            for error in &errors {
                report(&legible, error, sink);
            }
            return legible;
        };
        sink.syntax(at, words.0, words.1);
        legible = Cow::Owned(blanked(&legible, blank));
    }
    sink.unread(
        text.len(),
        "there are more lines that cannot be read",
        "Mend the ones above first.",
    );
    legible
}

type Words = (&'static str, &'static str);

const NO_VALUE: Words = ("the line has no `=`", "Write `key = value`, or `#` before a remark.");
const NEVER_CLOSED: Words = ("the bracket that opens here is never closed", "Close it.");

/// The first mistake after which the parser reads nothing of use: what to blank, where to report it, and how.
fn stopping(text: &str, document: &DeTable<'_>, errors: &[toml::de::Error]) -> Option<(Range<usize>, usize, Words)> {
    if let Some(open) = never_closed(document, errors) {
        // The parser notices on the first line that does not fit; what stands before that belongs to the bracket.
        let noticed = errors
            .iter()
            .filter_map(toml::de::Error::span)
            .map(|s| s.start)
            .filter(|s| *s > open)
            .min();
        let first = line_of(text, open);
        let last = line_start(text, noticed.unwrap_or(open));
        return Some((first.start..last.max(first.end), open, NEVER_CLOSED));
    }
    let valueless = errors.iter().find(|e| e.message().starts_with("key with no value"))?;
    let line = line_of(text, valueless.span()?.start);
    let at = line.start + text.get(line.clone()).map_or(0, |l| l.len() - l.trim_start().len());
    Some((line, at, NO_VALUE))
}

/// Where the outermost list or inline table begins that the parser misses the end of.
fn never_closed(document: &DeTable<'_>, errors: &[toml::de::Error]) -> Option<usize> {
    let unclosed = |e: &&toml::de::Error| {
        ["unclosed array,", "unclosed inline"]
            .iter()
            .any(|head| e.message().starts_with(head))
    };
    let missed = errors.iter().rfind(unclosed)?.span()?.start;
    outermost(document, missed)
}

/// The first bracket that is open at a place.
fn outermost(table: &DeTable<'_>, at: usize) -> Option<usize> {
    let within = |value: &Spanned<DeValue<'_>>| match value.get_ref() {
        DeValue::Array(items) => {
            // The tables of a list of tables have spans of their own, those of their headers.
            let inner = items.iter().filter_map(|item| item.get_ref().as_table());
            inner.filter_map(|table| outermost(table, at)).min()
        }
        DeValue::Table(inner) => outermost(inner, at),
        _ => None,
    };
    let open = |value: &Spanned<DeValue<'_>>| {
        let (span, bracket) = (
            value.span(),
            matches!(value.get_ref(), DeValue::Array(_) | DeValue::Table(_)),
        );
        let here = bracket && span.start < at && span.end >= at;
        if here { Some(span.start) } else { within(value) }
    };
    table.values().filter_map(open).min()
}

fn line_start(text: &str, at: usize) -> usize {
    text.get(..at)
        .and_then(|before| before.rfind('\n'))
        .map_or(0, |i| i + 1)
}

/// The line around a byte offset, without its end.
fn line_of(text: &str, at: usize) -> Range<usize> {
    let end = text
        .get(at..)
        .and_then(|after| after.find('\n'))
        .map_or(text.len(), |i| at + i);
    line_start(text, at)..end
}

/// The text with blanks for every byte of a range, ends of lines kept.
fn blanked(text: &str, range: Range<usize>) -> String {
    let inside = |i: usize| range.contains(&i);
    let blank = |(i, c): (usize, char)| match c {
        '\n' | '\r' => c.to_string(),
        _ if inside(i) => " ".repeat(c.len_utf8()),
        _ => c.to_string(),
    };
    text.char_indices().map(blank).collect()
}

fn report(text: &str, error: &toml::de::Error, sink: &mut Sink<'_>) {
    let span = error.span().unwrap_or(0..0);
    let found = text.get(span.clone()).unwrap_or("").lines().next().unwrap_or("");
    let found: String = found.chars().take(40).collect();
    let message = error.message();
    let starts = |head: &str| message.starts_with(head);
    if starts("duplicate key") {
        let what = format!("`{found}` stands a second time");
        let twice = "Keep one of the two; the lists `[[feature]]`, `[[between]]` and `[[plate]]` have two brackets.";
        return sink.error(span.start, what, twice);
    }
    if starts("string values must be quoted") || (starts("invalid boolean") && !found.is_empty()) {
        return if found.is_empty() {
            sink.syntax(span.start, "there is no value", "Write one after the `=`.")
        } else {
            let what = format!("`{found}` is neither a number nor text in quotes");
            sink.syntax(
                span.start,
                what,
                "Put text in quotes; write numbers with a point and without a unit.",
            )
        };
    }
    match WORDS.iter().find(|(head, ..)| starts(head)) {
        Some((_, what, mend)) => sink.syntax(span.start, *what, *mend),
        None => {
            let short = message.split_once(", expected").map_or(message, |(short, _)| short);
            let what = format!("the line is not TOML here ({short})");
            sink.syntax(span.start, what, "Compare it with the lines around it.");
        }
    }
}

/// Beginnings of the parser's messages, and what to tell the author.
const WORDS: [(&str, &str, &str); 21] = [
    (
        "unexpected key or value",
        "something follows that does not belong to the value",
        "Write numbers with a point, and one key on a line.",
    ),
    ("unclosed table", "the header is not closed", "Write it as in `[body]`."),
    (
        "unclosed array table",
        "the header is not closed",
        "Write it as in `[[feature]]`.",
    ),
    (
        "unexpected leading zero",
        "the number begins with a needless zero",
        "Leave the zero out.",
    ),
    (
        "invalid mantissa",
        "the number begins with its point",
        "Write a digit before the point, as in 0.5.",
    ),
    (
        "invalid fraction",
        "the number ends with its point",
        "Write a digit behind the point, as in 5.0.",
    ),
    (
        "invalid float",
        "the number has something in it that no number has",
        "Write digits with at most one point, as in 12.5.",
    ),
    (
        "invalid integer",
        "the number has something in it that no number has",
        "Write digits with at most one point, as in 12.5.",
    ),
    (
        "missing opening quote",
        "the text has no opening quote",
        "Put one before it.",
    ),
    ("redundant numeric sign", "the number has two signs", "Keep one."),
    ("missing comma", "a comma is missing", "Put one between two values."),
    ("extra comma", "there is a comma too many", "Take it out."),
    (
        "invalid basic string",
        "the text has no closing quote",
        "Put one at its end.",
    ),
    (
        "invalid literal string",
        "the text has no closing quote",
        "Put one at its end.",
    ),
    (
        "invalid unquoted key",
        "the key has a character that no key of this format has",
        "Write it with letters a to z, digits, `-` and `_`.",
    ),
    (
        "unquoted keys cannot be empty",
        "there is no key",
        "Write one before the `=`.",
    ),
    (
        "missing escaped value",
        "the backslash means nothing before this letter",
        "Write two backslashes for one.",
    ),
    (
        "cannot extend value",
        "what stands before the point is no table",
        "Give it a table of its own, or take the point out.",
    ),
    (
        "missing array opening",
        "the bracket closes what was never opened",
        "Take it out, or open it.",
    ),
    (
        "missing inline table opening",
        "the brace closes what was never opened",
        "Take it out, or open it.",
    ),
    (
        "cannot recurse further",
        "there are too many brackets within brackets",
        "Take some out.",
    ),
];
