//! The decimal mark: what the numbers of the whole file prove.

use super::cell;
use super::number::DecimalMark;

/// What has been seen so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Evidence {
    /// A number that can only have a decimal comma.
    comma: bool,
    /// A number that can only have a decimal point.
    point: bool,
    /// A number like `12,031`, whose comma may be either.
    open_comma: bool,
}

/// What the evidence comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// This mark holds for the whole file.
    Settled(DecimalMark),
    /// A person has to say; these are the ways in which the file could be read.
    Ask(&'static [DecimalMark]),
}

impl Evidence {
    /// Takes in one value cell.
    pub(crate) fn take(&mut self, text: &str) {
        let Some(written) = cell::written(text) else { return };
        match (
            written.reads_with(DecimalMark::Comma),
            written.reads_with(DecimalMark::Point),
        ) {
            (true, false) => self.comma = true,
            (false, true) => self.point = true,
            (true, true) => self.open_comma |= written.has_mark(','),
            (false, false) => {}
        }
    }

    /// The mark, or the question.
    pub(crate) const fn verdict(self) -> Verdict {
        match (self.comma, self.point) {
            (true, true) => Verdict::Ask(&[DecimalMark::Mixed]),
            (true, false) => Verdict::Settled(DecimalMark::Comma),
            (false, true) => Verdict::Settled(DecimalMark::Point),
            (false, false) if self.open_comma => Verdict::Ask(&[DecimalMark::Comma, DecimalMark::Point]),
            // The specified report has decimal points.
            (false, false) => Verdict::Settled(DecimalMark::Point),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(mark: Option<char>, cells: &str) {
        for cell in cells.split("; ") {
            let mut evidence = Evidence::default();
            evidence.take(cell);
            let proven = match (evidence.comma, evidence.point) {
                (true, false) => Some(','),
                (false, true) => Some('.'),
                _ => None,
            };
            assert_eq!(proven, mark, "{cell:?}");
        }
    }

    /// The table of the format's page.
    #[test]
    fn what_one_number_proves() {
        check(Some(','), "12,03; 12,0312; 1234,567; 0,050; ,5; 1.234,5; 1.234.567");
        check(Some('.'), "12.03; 12.0312; 1234.567; 0.050; .5; 1,234.5; 1,234,567");
        check(None, "12,031; 12.031");
    }

    #[test]
    fn signs_units_and_other_thousands_marks_change_nothing() {
        check(
            Some(','),
            "-0,05; ±0,05; 12,03 mm; 1 234,567; 1'234,567; 1\u{202f}250,2; 12,03 kg; 1,5e3",
        );
        check(Some('.'), "\u{2212}0.05; 0.31496\"; 1 234.567; １２.０３");
        check(
            None,
            "; -; n/a; 12; 1 234; -12,031; 12.031 mm; NaN; abc; =1,5; 12,031e2",
        );
    }

    #[test]
    fn what_is_a_number_with_neither_mark_proves_nothing() {
        check(
            None,
            "12.031.2; 1,2.3,4; 1234.567,8; 12,03,04; 0.123,4x; 24.12.2025; 1,5 h 30; 0,5_0",
        );
    }

    #[test]
    fn verdicts() {
        let check = |cells: &[&str], expected: Verdict| {
            let mut evidence = Evidence::default();
            cells.iter().for_each(|cell| evidence.take(cell));
            assert_eq!(evidence.verdict(), expected, "{cells:?}");
        };
        use DecimalMark::{Comma, Mixed, Point};
        check(&[], Verdict::Settled(Point));
        check(&["12", "13"], Verdict::Settled(Point));
        check(&["12.031"], Verdict::Settled(Point));
        check(&["12,031"], Verdict::Ask(&[Comma, Point]));
        check(&["12,031", "12.031"], Verdict::Ask(&[Comma, Point]));
        check(&["12,031", "0,5"], Verdict::Settled(Comma));
        check(&["12,031", "0.5"], Verdict::Settled(Point));
        check(&["12.031", "0,5"], Verdict::Settled(Comma));
        check(&["0.5", "0,5"], Verdict::Ask(&[Mixed]));
        check(&["1,234,567", "12,031"], Verdict::Settled(Point));
    }
}
