//! Written numbers to exact decimal strings. No value passes through binary floating point.

use serde::{Deserialize, Serialize};

/// Which character is the decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum DecimalMark {
    /// Decimal comma throughout.
    #[serde(rename = ",")]
    Comma,
    /// Decimal point throughout.
    #[serde(rename = ".")]
    Point,
    /// Each number by the mark that it has.
    #[serde(rename = "mixed")]
    Mixed,
}

impl DecimalMark {
    /// The mark that a person names: `point`, `comma`, `mixed`, or the character itself.
    pub fn parse_word(word: &str) -> Option<Self> {
        match word.trim().to_ascii_lowercase().as_str() {
            "," | "comma" => Some(Self::Comma),
            "." | "point" => Some(Self::Point),
            "mixed" => Some(Self::Mixed),
            _ => None,
        }
    }

    /// How it is printed: `,`, `.` or `mixed`.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Comma => ",",
            Self::Point => ".",
            Self::Mixed => "mixed",
        }
    }
}

/// Most significant digits of a number: what a decimal of 96 bits holds.
const MAX_DIGITS: usize = 28;

/// More places than any number within a double's range and `MAX_DIGITS` can have.
const MAX_PLACES: i64 = 340;

/// A number as it stands in a cell, not yet understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Written<'a> {
    negative: bool,
    /// Digits and marks, up to the exponent.
    body: &'a str,
    /// Power of ten; very large ones are cut to the largest that fits.
    exponent: i64,
    /// What stands after the number, without blanks at its ends.
    pub(super) rest: &'a str,
}

/// An exact decimal string.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Exact {
    pub(super) text: String,
    /// It was nearer to zero than any normal double, and is given as zero.
    pub(super) underflow: bool,
}

/// Why a written number has no exact decimal string.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NumberFault {
    NotANumber,
    OutOfRange,
}

/// Digits before and after the decimal mark.
struct Digits {
    whole: String,
    fraction: String,
}

/// Takes a sign and a blank after it off the front; whether it is a minus.
pub(super) fn split_sign(text: &str) -> (bool, &str) {
    let mut chars = text.chars();
    let negative = match chars.next() {
        Some('+' | '\u{ff0b}') => false,
        Some('-' | '\u{2212}' | '\u{2013}' | '\u{2014}' | '\u{ff0d}') => true,
        _ => return (false, text),
    };
    (negative, chars.as_str().trim_start())
}

/// The number at the front of `text`, which has no blanks at its ends; `None` where it does not begin like one.
pub(super) fn scan(text: &str) -> Option<Written<'_>> {
    let (negative, text) = split_sign(text);
    let mut end = 0;
    let mut has_digit = false;
    let mut chars = text.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        let next_is_digit = chars.peek().is_some_and(|(_, next)| digit(*next).is_some());
        let belongs =
            digit(c).is_some() || matches!(c, '.' | ',') || (has_digit && is_thousands_mark(c) && next_is_digit);
        if !belongs {
            break;
        }
        has_digit |= digit(c).is_some();
        end = at + c.len_utf8();
    }
    if !has_digit {
        return None;
    }
    let (body, rest) = text.split_at(end);
    let (exponent, rest) = split_exponent(rest);
    Some(Written {
        negative,
        body,
        exponent,
        rest: rest.trim(),
    })
}

/// Takes `e`, an optional sign and digits off the front. Anything less is no exponent.
fn split_exponent(text: &str) -> (i64, &str) {
    let Some(after) = text.strip_prefix(['e', 'E']) else {
        return (0, text);
    };
    let (negative, digits) = split_sign(after);
    let signed = digits.len() != after.len();
    // No blank after the sign here: `1e- 5` is no number.
    if signed && after.chars().nth(1).is_some_and(char::is_whitespace) {
        return (0, text);
    }
    let mut value: i64 = 0;
    let mut rest = digits;
    while let Some(next) = rest.chars().next().and_then(|c| digit(c).map(|d| (d, c.len_utf8()))) {
        value = value.saturating_mul(10).saturating_add(i64::from(next.0));
        rest = &rest[next.1..];
    }
    if rest.len() == digits.len() {
        return (0, text);
    }
    // Half of the range at most, so that adding the places cannot overflow.
    let value = value.min(i64::MAX / 2);
    (if negative { -value } else { value }, rest)
}

/// ASCII and full-width digits.
fn digit(c: char) -> Option<u8> {
    let value = match c {
        '0'..='9' => u32::from(c) - u32::from('0'),
        '\u{ff10}'..='\u{ff19}' => u32::from(c) - 0xff10,
        _ => return None,
    };
    u8::try_from(value).ok()
}

/// Apostrophes, and blank, no-break, thin and narrow blank.
fn is_thousands_mark(c: char) -> bool {
    matches!(c, '\'' | '\u{2019}' | ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}')
}

impl Written<'_> {
    /// Whether this is a number where `mark` is the decimal mark.
    pub(super) fn reads_with(&self, mark: DecimalMark) -> bool {
        self.digits(mark).is_some()
    }

    /// Whether the number has this character in it.
    pub(super) fn has_mark(&self, mark: char) -> bool {
        self.body.contains(mark)
    }

    /// The exact decimal string: digits as written, thousands marks out, exponent worked out.
    pub(super) fn exact(&self, mark: DecimalMark) -> Result<Exact, NumberFault> {
        let digits = self.digits(mark).ok_or(NumberFault::NotANumber)?;
        exact(self.negative, &digits, self.exponent)
    }

    fn digits(&self, mark: DecimalMark) -> Option<Digits> {
        match mark {
            DecimalMark::Comma => under(self.body, ',', '.'),
            DecimalMark::Point => under(self.body, '.', ','),
            DecimalMark::Mixed => {
                // A number that could have been written with either mark has one mark, or none: it is its decimal mark.
                let by_comma = under(self.body, ',', '.');
                let by_point = under(self.body, '.', ',');
                if self.body.contains(',') {
                    by_comma.or(by_point)
                } else {
                    by_point.or(by_comma)
                }
            }
        }
    }
}

/// Digits of `body` where `mark` is the decimal mark and `other` may be a thousands mark.
fn under(body: &str, mark: char, other: char) -> Option<Digits> {
    let (whole, fraction) = body.split_once(mark).unwrap_or((body, ""));
    let fraction = plain_digits(fraction)?;
    let whole = match whole.chars().find(|c| digit(*c).is_none()) {
        None => plain_digits(whole)?,
        Some(thousands) if thousands == other || is_thousands_mark(thousands) => ungroup(whole, thousands)?,
        Some(_) => return None,
    };
    (!whole.is_empty() || !fraction.is_empty()).then_some(Digits { whole, fraction })
}

/// Groups of exactly three digits after a first group of one to three that does not begin with zero.
fn ungroup(whole: &str, thousands: char) -> Option<String> {
    let mut out = String::new();
    for (index, group) in whole.split(thousands).enumerate() {
        let group = plain_digits(group)?;
        let fits = if index == 0 {
            (1..=3).contains(&group.len()) && !group.starts_with('0')
        } else {
            group.len() == 3
        };
        if !fits {
            return None;
        }
        out.push_str(&group);
    }
    Some(out)
}

/// The digits in ASCII; `None` if there is anything else.
fn plain_digits(text: &str) -> Option<String> {
    text.chars().map(|c| digit(c).map(|d| char::from(b'0' + d))).collect()
}

/// Places the decimal point and checks the range.
fn exact(negative: bool, digits: &Digits, exponent: i64) -> Result<Exact, NumberFault> {
    let mut all = digits.whole.clone();
    all.push_str(&digits.fraction);
    let significant = all.trim_start_matches('0');
    let places = length(&digits.fraction).saturating_sub(exponent);
    if significant.is_empty() {
        return Ok(Exact {
            text: zero(places),
            underflow: false,
        });
    }
    if significant.len() > MAX_DIGITS {
        return Err(NumberFault::OutOfRange);
    }
    // The double is asked for its range only; the digits stay as written.
    let magnitude: f64 = format!("{significant}e{}", -places).parse().unwrap_or(f64::INFINITY);
    if magnitude.is_infinite() {
        return Err(NumberFault::OutOfRange);
    }
    if magnitude < f64::MIN_POSITIVE {
        return Ok(Exact {
            text: "0".to_owned(),
            underflow: true,
        });
    }
    let sign = if negative { "-" } else { "" };
    Ok(Exact {
        text: format!("{sign}{}", with_places(significant, places)),
        underflow: false,
    })
}

/// Zero with as many places as were written. An exponent far out says nothing of how finely zero was measured.
fn zero(places: i64) -> String {
    match usize::try_from(places) {
        Ok(count) if count > 0 && places <= MAX_PLACES => format!("0.{}", "0".repeat(count)),
        _ => "0".to_owned(),
    }
}

/// `digits` x 10^-`places`, written out. The range check has bounded both.
fn with_places(digits: &str, places: i64) -> String {
    let Ok(places) = usize::try_from(places) else {
        let zeros = usize::try_from(places.unsigned_abs()).unwrap_or(0);
        return format!("{digits}{}", "0".repeat(zeros));
    };
    match digits.len().checked_sub(places) {
        _ if places == 0 => digits.to_owned(),
        Some(whole) if whole > 0 => format!("{}.{}", &digits[..whole], &digits[whole..]),
        _ => format!("0.{digits:0>places$}"),
    }
}

fn length(text: &str) -> i64 {
    i64::try_from(text.len()).unwrap_or(i64::MAX / 2)
}
