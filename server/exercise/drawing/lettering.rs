//! How wide lettering is, so that no two pieces of it meet.
//!
//! The advance widths are those of the fonts in `static/fonts` (read from their `hmtx` tables at the weights that the
//! sheet uses), in thousandths of the letter size. Where a page is shown in another font the widths are a little off;
//! boxes therefore keep a margin.

/// Advance width of every figure and letter of the tabular font.
const FIGURE: f64 = 616.0;

/// Height of capitals and figures of both fonts, in thousandths of the letter size.
const CAPITAL: f64 = 700.0;

/// Advance widths of U+0020 to U+007E of the text font at weight 400.
const WORDS: [u16; 95] = [
    235, 273, 403, 683, 588, 870, 677, 214, 343, 343, 533, 645, 225, 399, 225, 490, 642, 373, 612, 602, 621, 621, 597,
    522, 611, 597, 225, 225, 645, 645, 645, 514, 809, 679, 656, 647, 682, 599, 562, 688, 700, 283, 546, 660, 559, 804,
    708, 730, 630, 730, 665, 599, 583, 689, 652, 840, 603, 641, 650, 376, 490, 376, 645, 490, 368, 526, 562, 500, 562,
    538, 333, 563, 563, 254, 254, 531, 262, 847, 563, 558, 565, 563, 389, 469, 378, 563, 512, 715, 517, 529, 505, 372,
    272, 372, 645,
];

/// Width of what the table does not hold: as wide as the widest letter, so that nothing is ever taken for too narrow.
const UNKNOWN: f64 = 1000.0;

/// Which of the two fonts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hand {
    /// The one with tabular figures.
    Figures,
    /// The one for words.
    Words,
}

/// Width of `text` at letter size `size`, in the unit of `size`.
pub(super) fn width(text: &str, hand: Hand, size: f64) -> f64 {
    let of = |c: char| match hand {
        Hand::Figures if c.is_alphanumeric() || c.is_ascii() || "−–µ±×·°ØΔ".contains(c) => FIGURE,
        Hand::Words if c == '\u{2212}' => 645.0,
        Hand::Words if c == 'µ' => 568.0,
        Hand::Words => word_width(c),
        Hand::Figures => UNKNOWN,
    };
    text.chars().map(of).sum::<f64>() * size / 1000.0
}

fn word_width(c: char) -> f64 {
    let index = u32::from(c).checked_sub(0x20).and_then(|i| usize::try_from(i).ok());
    index.and_then(|i| WORDS.get(i)).map_or(UNKNOWN, |w| f64::from(*w))
}

/// Height of figures and capitals at letter size `size`.
pub(super) const fn capital(size: f64) -> f64 {
    CAPITAL * size / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_fonts() {
        let check = |text: &str, hand, expected: f64| {
            assert!((width(text, hand, 1.0) - expected).abs() < 1e-9, "{text}");
        };
        // Source: hmtx tables of the vendored fonts (static/fonts), weights 500 and 400; tolerance none.
        check("12", Hand::Figures, 1.232);
        check("\u{2212}0.05", Hand::Figures, 3.08);
        check("mm", Hand::Words, 1.694);
        check("50 µm", Hand::Words, 0.621 + 0.642 + 0.235 + 0.568 + 0.847);
        check("漢", Hand::Words, 1.0);
    }
}
