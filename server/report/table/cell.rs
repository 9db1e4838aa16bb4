//! A cell that should hold a value: nothing, a number with or without a unit, or what is wrong with it.

use crate::units::ValueUnit;

use super::note::Why;
use super::number::{self, DecimalMark, NumberFault, Written};
use super::words;

/// What a value cell holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Cell {
    /// Empty, a dash, `n/a`.
    Nothing,
    /// A number.
    Number(Number),
    /// Something that cannot be read as one.
    Fault(Why),
}

/// A number that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Number {
    /// Exact decimal string.
    pub(crate) text: String,
    /// Unit that stands after it in the cell.
    pub(crate) unit: Option<ValueUnit>,
    /// It was too near to zero for a double and was read as zero.
    pub(crate) underflow: bool,
}

/// Reads a cell of a nominal, measured or coordinate column.
pub(crate) fn read(text: &str, mark: DecimalMark) -> Cell {
    let text = words::trim(text);
    if is_no_value(text) {
        return Cell::Nothing;
    }
    if text.starts_with(['=', '@']) {
        return Cell::Fault(Why::Formula);
    }
    if is_not_finite(text) {
        return Cell::Fault(Why::NotFinite);
    }
    let Some(written) = number::scan(text) else {
        return Cell::Fault(Why::NotANumber);
    };
    match value(&written, mark) {
        Ok(number) => Cell::Number(number),
        Err(why) => Cell::Fault(why),
    }
}

/// Reads a cell of a tolerance column, where a plus-minus sign may stand before the amount.
pub(crate) fn read_tolerance(text: &str, mark: DecimalMark) -> Cell {
    read(without_plus_minus(text), mark)
}

/// The number of a cell as it is written, as evidence of the decimal mark; `None` where the cell is no number.
pub(super) fn written(text: &str) -> Option<Written<'_>> {
    number::scan(without_plus_minus(text)).filter(|written| {
        let rest = written.rest;
        rest.is_empty() || ValueUnit::parse_word(rest).is_some() || fault_of_rest(rest) == Why::UnknownUnit
    })
}

fn without_plus_minus(text: &str) -> &str {
    let text = words::trim(text);
    text.strip_prefix('±').map_or(text, str::trim_start)
}

fn value(written: &Written<'_>, mark: DecimalMark) -> Result<Number, Why> {
    let exact = written.exact(mark).map_err(|fault| match fault {
        NumberFault::NotANumber => Why::NotANumber,
        NumberFault::OutOfRange => Why::OutOfRange,
    })?;
    let unit = match written.rest {
        "" => None,
        rest => Some(ValueUnit::parse_word(rest).ok_or_else(|| fault_of_rest(rest))?),
    };
    Ok(Number {
        text: exact.text,
        unit,
        underflow: exact.underflow,
    })
}

/// Letters after a number are a unit that is not known; with digits among them (`0x1F`, `12 h 30`), or without
/// letters, the whole was no number.
fn fault_of_rest(rest: &str) -> Why {
    let has_digit = rest
        .chars()
        .any(|c| c.is_ascii_digit() || ('\u{ff10}'..='\u{ff19}').contains(&c));
    if rest.chars().any(char::is_alphabetic) && !has_digit {
        Why::UnknownUnit
    } else {
        Why::NotANumber
    }
}

/// An empty cell, `n/a`, or a dash, double or triple dash alone.
pub(crate) fn is_no_value(text: &str) -> bool {
    let dashes = text.chars().all(words::is_hyphen) && text.chars().count() <= 3;
    dashes || text.eq_ignore_ascii_case("n/a")
}

/// NaN or infinity, with or without a sign and a unit.
fn is_not_finite(text: &str) -> bool {
    let (_, text) = number::split_sign(text);
    // Longest first, since `inf` begins `infinity`.
    ["infinity", "inf", "nan", "\u{221e}"].iter().any(|word| {
        text.get(..word.len())
            .is_some_and(|start| start.eq_ignore_ascii_case(word))
            && {
                let rest = text[word.len()..].trim();
                rest.is_empty() || ValueUnit::parse_word(rest).is_some()
            }
    })
}

#[cfg(test)]
mod tests;
