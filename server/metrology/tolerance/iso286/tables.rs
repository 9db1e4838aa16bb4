//! The numbers of ISO 286-1 up to 500 mm.
//!
//! Source: ISO 286-1 (same values as IS 919-1:1993 and BS 4500:1969), table of standard tolerance grades and tables of
//! fundamental deviations. The columns d to s, the grades 5 to 14 and Delta were compared with an outside transcription
//! of two copies; grades 01 to 4 and 15 to 18 and the columns a, b, c, cd, ef, fg, j, t to zc with the tables of K. L.
//! Narayana, P. Kannaiah, K. Venkata Reddy, Machine Drawing, tables 15.1 to 15.3, and of Machinery's Handbook, 31st
//! edition, table 6a (BS 4500:1969); a to u, j and J also with a public table on the web. In t to zc only what the
//! formulas confirm differs from the textbook: u above 200 up to 225 mm is 258 (a copy has 256) and x above 355 up to
//! 400 mm is 660 (a copy has 650). cd, ef and fg are given up to 10 mm only.

use rust_decimal::Decimal;

use super::Letter;

/// Upper ends of the main ranges in mm; a range is above the last end, up to and including its own.
const MAIN_ENDS: [i64; 13] = [3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500];

/// Upper ends of all ranges in mm, the intermediate ones included.
pub(super) const ENDS: [i64; 25] = [
    3, 6, 10, 14, 18, 24, 30, 40, 50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250, 280, 315, 355, 400, 450, 500,
];

/// Standard tolerances in tenths of a micrometre: a row for each main range, grades 01, 0, 1 to 18 along it.
#[rustfmt::skip]
pub(super) const WIDTHS: [[i64; 20]; 13] = [
    [3, 5, 8, 12, 20, 30, 40, 60, 100, 140, 250, 400, 600, 1000, 1400, 2500, 4000, 6000, 10_000, 14_000],
    [4, 6, 10, 15, 25, 40, 50, 80, 120, 180, 300, 480, 750, 1200, 1800, 3000, 4800, 7500, 12_000, 18_000],
    [4, 6, 10, 15, 25, 40, 60, 90, 150, 220, 360, 580, 900, 1500, 2200, 3600, 5800, 9000, 15_000, 22_000],
    [5, 8, 12, 20, 30, 50, 80, 110, 180, 270, 430, 700, 1100, 1800, 2700, 4300, 7000, 11_000, 18_000, 27_000],
    [6, 10, 15, 25, 40, 60, 90, 130, 210, 330, 520, 840, 1300, 2100, 3300, 5200, 8400, 13_000, 21_000, 33_000],
    [6, 10, 15, 25, 40, 70, 110, 160, 250, 390, 620, 1000, 1600, 2500, 3900, 6200, 10_000, 16_000, 25_000, 39_000],
    [8, 12, 20, 30, 50, 80, 130, 190, 300, 460, 740, 1200, 1900, 3000, 4600, 7400, 12_000, 19_000, 30_000, 46_000],
    [10, 15, 25, 40, 60, 100, 150, 220, 350, 540, 870, 1400, 2200, 3500, 5400, 8700, 14_000, 22_000, 35_000, 54_000],
    [12, 20, 35, 50, 80, 120, 180, 250, 400, 630, 1000, 1600, 2500, 4000, 6300, 10_000, 16_000, 25_000, 40_000, 63_000],
    [20, 30, 45, 70, 100, 140, 200, 290, 460, 720, 1150, 1850, 2900, 4600, 7200, 11_500, 18_500, 29_000, 46_000, 72_000],
    [25, 40, 60, 80, 120, 160, 230, 320, 520, 810, 1300, 2100, 3200, 5200, 8100, 13_000, 21_000, 32_000, 52_000, 81_000],
    [30, 50, 70, 90, 130, 180, 250, 360, 570, 890, 1400, 2300, 3600, 5700, 8900, 14_000, 23_000, 36_000, 57_000, 89_000],
    [40, 60, 80, 100, 150, 200, 270, 400, 630, 970, 1550, 2500, 4000, 6300, 9700, 15_500, 25_000, 40_000, 63_000, 97_000],
];

/// No value in the table.
const NONE: i64 = i64::MIN;

/// Fundamental deviations of shafts in micrometres, without sign (es of a to h is negative, ei of k to zc positive),
/// along the ranges of [`ENDS`].
#[rustfmt::skip]
const MAGNITUDES: [(Letter, [i64; 25]); 26] = [
    (Letter::A, [270, 270, 280, 290, 290, 300, 300, 310, 320, 340, 360, 380, 410, 460, 520, 580, 660, 740, 820, 920, 1050, 1200, 1350, 1500, 1650]),
    (Letter::B, [140, 140, 150, 150, 150, 160, 160, 170, 180, 190, 200, 220, 240, 260, 280, 310, 340, 380, 420, 480, 540, 600, 680, 760, 840]),
    (Letter::C, [60, 70, 80, 95, 95, 110, 110, 120, 130, 140, 150, 170, 180, 200, 210, 230, 240, 260, 280, 300, 330, 360, 400, 440, 480]),
    (Letter::CD, short([34, 46, 56])),
    (Letter::D, [20, 30, 40, 50, 50, 65, 65, 80, 80, 100, 100, 120, 120, 145, 145, 145, 170, 170, 170, 190, 190, 210, 210, 230, 230]),
    (Letter::E, [14, 20, 25, 32, 32, 40, 40, 50, 50, 60, 60, 72, 72, 85, 85, 85, 100, 100, 100, 110, 110, 125, 125, 135, 135]),
    (Letter::EF, short([10, 14, 18])),
    (Letter::F, [6, 10, 13, 16, 16, 20, 20, 25, 25, 30, 30, 36, 36, 43, 43, 43, 50, 50, 50, 56, 56, 62, 62, 68, 68]),
    (Letter::FG, short([4, 6, 8])),
    (Letter::G, [2, 4, 5, 6, 6, 7, 7, 9, 9, 10, 10, 12, 12, 14, 14, 14, 15, 15, 15, 17, 17, 18, 18, 20, 20]),
    (Letter::H, [0; 25]),
    (Letter::K, [0, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3, 3, 3, 3, 4, 4, 4, 4, 4, 4, 4, 5, 5]),
    (Letter::M, [2, 4, 6, 7, 7, 8, 8, 9, 9, 11, 11, 13, 13, 15, 15, 15, 17, 17, 17, 20, 20, 21, 21, 23, 23]),
    (Letter::N, [4, 8, 10, 12, 12, 15, 15, 17, 17, 20, 20, 23, 23, 27, 27, 27, 31, 31, 31, 34, 34, 37, 37, 40, 40]),
    (Letter::P, [6, 12, 15, 18, 18, 22, 22, 26, 26, 32, 32, 37, 37, 43, 43, 43, 50, 50, 50, 56, 56, 62, 62, 68, 68]),
    (Letter::R, [10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132]),
    (Letter::S, [14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232, 252]),
    (Letter::T, [NONE, NONE, NONE, NONE, NONE, NONE, 41, 48, 54, 66, 75, 91, 104, 122, 134, 146, 166, 180, 196, 218, 240, 268, 294, 330, 360]),
    (Letter::U, [18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144, 170, 190, 210, 236, 258, 284, 315, 350, 390, 435, 490, 540]),
    (Letter::V, [NONE, NONE, NONE, NONE, 39, 47, 55, 68, 81, 102, 120, 146, 172, 202, 228, 252, 284, 310, 340, 385, 425, 475, 530, 595, 660]),
    (Letter::X, [20, 28, 34, 40, 45, 54, 64, 80, 97, 122, 146, 178, 210, 248, 280, 310, 350, 385, 425, 475, 525, 590, 660, 740, 820]),
    (Letter::Y, [NONE, NONE, NONE, NONE, NONE, 63, 75, 94, 114, 144, 174, 214, 254, 300, 340, 380, 425, 470, 520, 580, 650, 730, 820, 920, 1000]),
    (Letter::Z, [26, 35, 42, 50, 60, 73, 88, 112, 136, 172, 210, 258, 310, 365, 415, 465, 520, 575, 640, 710, 790, 900, 1000, 1100, 1250]),
    (Letter::ZA, [32, 42, 52, 64, 77, 98, 118, 148, 180, 226, 274, 335, 400, 470, 535, 600, 670, 740, 820, 920, 1000, 1150, 1300, 1450, 1600]),
    (Letter::ZB, [40, 50, 67, 90, 108, 136, 160, 200, 242, 300, 360, 445, 525, 620, 700, 780, 880, 960, 1050, 1200, 1300, 1500, 1650, 1850, 2100]),
    (Letter::ZC, [60, 80, 97, 130, 150, 188, 218, 274, 325, 405, 480, 585, 690, 800, 900, 1000, 1150, 1250, 1350, 1550, 1700, 1900, 2100, 2400, 2600]),
];

/// Lower deviations of j in micrometres along the main ranges: grades 5 and 6, then 7; j8 is given up to 3 mm only.
const SHAFT_J_5_6: [i64; 13] = [-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20];
const SHAFT_J_7: [i64; 13] = [-4, -4, -5, -6, -8, -10, -12, -15, -18, -21, -26, -28, -32];
const SHAFT_J_8: [i64; 1] = [-6];

/// Upper deviations of J in micrometres along the main ranges: grades 6, 7 and 8.
const HOLE_J_6: [i64; 13] = [2, 5, 5, 6, 8, 10, 13, 16, 18, 22, 25, 29, 33];
const HOLE_J_7: [i64; 13] = [4, 6, 8, 10, 12, 14, 18, 22, 26, 30, 36, 39, 43];
const HOLE_J_8: [i64; 13] = [6, 10, 12, 15, 20, 24, 28, 34, 41, 47, 55, 60, 66];

/// ES of M6 above 250 up to 315 mm, where the rule would give -11. Source: a note to the table of holes, read in the
/// textbook named above.
pub(super) const M6_EXCEPTION_UM: Decimal = Decimal::from_parts(9, 0, 0, true, 0);

/// A column that is given for the first three ranges only.
const fn short(values: [i64; 3]) -> [i64; 25] {
    let mut column = [NONE; 25];
    [column[0], column[1], column[2]] = values;
    column
}

fn position(ends: &[i64], nominal_mm: Decimal) -> Option<usize> {
    (nominal_mm > Decimal::ZERO).then(|| ends.iter().position(|end| nominal_mm <= Decimal::from(*end)))?
}

/// The main range of a size.
pub(super) fn main_range(nominal_mm: Decimal) -> Option<usize> {
    position(&MAIN_ENDS, nominal_mm)
}

/// The range of a size, intermediate ones counted.
pub(super) fn range(nominal_mm: Decimal) -> Option<usize> {
    position(&ENDS, nominal_mm)
}

/// The fundamental deviation of a shaft without its sign, in micrometres; neither j nor js has one here. a and b are
/// not given up to 1 mm.
pub(super) fn magnitude(letter: Letter, nominal_mm: Decimal) -> Option<Decimal> {
    if letter <= Letter::B && nominal_mm <= Decimal::ONE {
        return None;
    }
    let (_, column) = MAGNITUDES.iter().find(|(known, _)| *known == letter)?;
    column
        .get(range(nominal_mm)?)
        .copied()
        .filter(|um| *um != NONE)
        .map(Decimal::from)
}

/// ei of j, where it is given.
pub(super) fn shaft_j(grade: i8, nominal_mm: Decimal) -> Option<Decimal> {
    let column: &[i64] = match grade {
        5 | 6 => &SHAFT_J_5_6,
        7 => &SHAFT_J_7,
        8 => &SHAFT_J_8,
        _ => return None,
    };
    column.get(main_range(nominal_mm)?).copied().map(Decimal::from)
}

/// ES of J, where it is given.
pub(super) fn hole_j(grade: i8, nominal_mm: Decimal) -> Option<Decimal> {
    let column = match grade {
        6 => &HOLE_J_6,
        7 => &HOLE_J_7,
        8 => &HOLE_J_8,
        _ => return None,
    };
    column.get(main_range(nominal_mm)?).copied().map(Decimal::from)
}

/// Whether a size is in the range where M6 is not what the rule makes it.
pub(super) fn m6_exception(nominal_mm: Decimal) -> bool {
    nominal_mm > Decimal::from(250) && nominal_mm <= Decimal::from(315)
}
