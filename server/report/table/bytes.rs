//! Bytes to text: which encoding they are in, and one kind of line end.

use std::borrow::Cow;

use encoding_rs::{UTF_16BE, UTF_16LE, WINDOWS_1252};
use serde::Serialize;

use super::refusal::Refusal;
use super::words;

/// Largest file that is read, in bytes.
pub const MAX_BYTES: usize = 8 * 1024 * 1024;

/// How many characters are looked at to tell a text from something else.
const SAMPLE_CHARS: usize = 4096;

/// Bytes that Windows-1252 gives no character to.
/// Source: the code page's table; the WHATWG Encoding Standard maps them to control characters, which is no text.
const UNASSIGNED_1252: [u8; 5] = [0x81, 0x8d, 0x8f, 0x90, 0x9d];

/// How files begin that are no text, however few of their bytes show it: PNG (RFC 2083), JPEG (ITU-T T.81, begin of image
/// and the next marker), PDF (ISO 32000-1, 7.5.2), ZIP (ISO/IEC 21320-1), in which spreadsheets of today are kept, and the
/// container of older ones (from memory, unconfirmed).
const NO_TEXT: [&[u8]; 5] = [
    b"\x89PNG\r\n\x1a\n",
    b"\xff\xd8\xff",
    b"%PDF-",
    b"PK\x03\x04",
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
];

/// Encoding of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Encoding {
    /// UTF-8, which includes ASCII.
    #[serde(rename = "utf-8")]
    Utf8,
    /// UTF-16, low byte first.
    #[serde(rename = "utf-16le")]
    Utf16Le,
    /// UTF-16, high byte first.
    #[serde(rename = "utf-16be")]
    Utf16Be,
    /// Windows-1252.
    #[serde(rename = "windows-1252")]
    Windows1252,
}

impl Encoding {
    /// The name that is printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Utf8 => "utf-8",
            Self::Utf16Le => "utf-16le",
            Self::Utf16Be => "utf-16be",
            Self::Windows1252 => "windows-1252",
        }
    }
}

/// A file as text. Every line end in it is LF.
pub(crate) struct Text<'b> {
    pub(crate) text: Cow<'b, str>,
    pub(crate) encoding: Encoding,
    pub(crate) bom: bool,
}

/// Finds the encoding, decodes, and refuses what is too large, empty or no text.
pub(crate) fn decode(bytes: &[u8]) -> Result<Text<'_>, Refusal> {
    if bytes.len() > MAX_BYTES {
        return Err(Refusal::FileTooLarge { bytes: bytes.len() });
    }
    if NO_TEXT.iter().any(|signature| bytes.starts_with(signature)) {
        return Err(Refusal::NotText);
    }
    let (encoding, bom, rest) = detect(bytes).ok_or(Refusal::NotText)?;
    let text = match encoding {
        Encoding::Utf8 => std::str::from_utf8(rest).ok().map(Cow::Borrowed),
        Encoding::Utf16Le => UTF_16LE.decode_without_bom_handling_and_without_replacement(rest),
        Encoding::Utf16Be => UTF_16BE.decode_without_bom_handling_and_without_replacement(rest),
        Encoding::Windows1252 => WINDOWS_1252.decode_without_bom_handling_and_without_replacement(rest),
    }
    .ok_or(Refusal::NotText)?;
    if has_many_controls(&text) {
        return Err(Refusal::NotText);
    }
    if words::is_blank(&text) {
        return Err(Refusal::EmptyFile);
    }
    Ok(Text {
        text: with_one_line_end(text),
        encoding,
        bom,
    })
}

/// Encoding, whether a byte-order mark says so, and the bytes after that mark.
fn detect(bytes: &[u8]) -> Option<(Encoding, bool, &[u8])> {
    let marks: [(&[u8], Encoding); 3] = [
        (b"\xef\xbb\xbf", Encoding::Utf8),
        (b"\xff\xfe", Encoding::Utf16Le),
        (b"\xfe\xff", Encoding::Utf16Be),
    ];
    for (mark, encoding) in marks {
        if let Some(rest) = bytes.strip_prefix(mark) {
            return Some((encoding, true, rest));
        }
    }
    let encoding = if let Some(encoding) = utf16_by_nul(bytes) {
        encoding
    } else if std::str::from_utf8(bytes).is_ok() {
        Encoding::Utf8
    } else if bytes.iter().all(|byte| !UNASSIGNED_1252.contains(byte)) {
        Encoding::Windows1252
    } else {
        return None;
    };
    Some((encoding, false, bytes))
}

/// UTF-16 without a mark: Latin text has a zero in every other byte, always on the same side.
fn utf16_by_nul(bytes: &[u8]) -> Option<Encoding> {
    let count = |parity: usize| bytes.iter().skip(parity).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (count(0), count(1));
    if (even + odd) * 4 < bytes.len() {
        return None;
    }
    match (even, odd) {
        (0, 0) => None,
        (0, _) => Some(Encoding::Utf16Le),
        (_, 0) => Some(Encoding::Utf16Be),
        _ => None,
    }
}

/// More than 2 per cent of control characters at the beginning, and more than four.
fn has_many_controls(text: &str) -> bool {
    let (mut all, mut controls) = (0_usize, 0_usize);
    for c in text.chars().take(SAMPLE_CHARS) {
        all += 1;
        if c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{c}') {
            controls += 1;
        }
    }
    controls > 4 && controls * 100 > all * 2
}

/// CR and CRLF become LF, inside quotes too, so that a line is counted once whatever ends it.
fn with_one_line_end(text: Cow<'_, str>) -> Cow<'_, str> {
    if !text.contains('\r') {
        return text;
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text.as_ref();
    while let Some((line, after)) = rest.split_once('\r') {
        out.push_str(line);
        out.push('\n');
        rest = after.strip_prefix('\n').unwrap_or(after);
    }
    out.push_str(rest);
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcome(bytes: &[u8]) -> Result<(Encoding, bool, String), &'static str> {
        decode(bytes)
            .map(|t| (t.encoding, t.bom, t.text.into_owned()))
            .map_err(|refusal| refusal.code())
    }

    fn utf16(text: &str, little: bool) -> Vec<u8> {
        text.encode_utf16()
            .flat_map(|unit| if little { unit.to_le_bytes() } else { unit.to_be_bytes() })
            .collect()
    }

    #[test]
    fn encodings() {
        let check = |bytes: &[u8], encoding: Encoding, bom: bool, text: &str| {
            assert_eq!(outcome(bytes), Ok((encoding, bom, text.to_owned())), "{bytes:?}");
        };
        check(b"no,value", Encoding::Utf8, false, "no,value");
        check(b"\xef\xbb\xbfno", Encoding::Utf8, true, "no");
        check(b"no \xb0", Encoding::Windows1252, false, "no °");
        check("Größe".as_bytes(), Encoding::Utf8, false, "Größe");
        check(&utf16("no;Größe", true), Encoding::Utf16Le, false, "no;Größe");
        check(&utf16("no;Größe", false), Encoding::Utf16Be, false, "no;Größe");
        check(&utf16("\u{feff}no", true), Encoding::Utf16Le, true, "no");
        check(&utf16("\u{feff}no", false), Encoding::Utf16Be, true, "no");
        // A stray NUL in plain text is no UTF-16: fewer than a quarter of the bytes.
        check(b"no,value\0", Encoding::Utf8, false, "no,value\0");
    }

    #[test]
    fn line_ends() {
        let check = |text: &str, expected: &str| assert_eq!(outcome(text.as_bytes()).unwrap().2, expected);
        check("a\rb\r\nc\nd", "a\nb\nc\nd");
        check("a\r\rb", "a\n\nb");
        check("a\n\rb", "a\n\nb");
        check("a\r\r\nb", "a\n\nb");
        check("a\r", "a\n");
    }

    #[test]
    fn refusals() {
        let check = |bytes: &[u8], code: &str| assert_eq!(outcome(bytes), Err(code), "{bytes:?}");
        check(b"", "empty_file");
        check(b"\xef\xbb\xbf", "empty_file");
        check("\u{feff}\u{200b}\u{a0}\r\n".as_bytes(), "empty_file");
        check(b" \n\t\n", "empty_file");
        check(&utf16("\u{feff} \n", true), "empty_file");
        // Neither UTF-8 nor Windows-1252.
        check(b"no,value\n1,\xff\x81\n", "not_text");
        // A mark that the bytes after it contradict.
        check(b"\xef\xbb\xbfno \xb0", "not_text");
        check(b"\xff\xfen\0o", "not_text");
        check(b"\xff\xfe\0\xd8a\0", "not_text");
        // UTF-32 has a NUL after every character of UTF-16.
        check(b"\xff\xfe\0\0n\0\0\0o\0\0\0,\0\0\0v\0\0\0a\0\0\0l\0\0\0", "not_text");
        check(b"\x01\x02\x03\x04\x05", "not_text");
        check(b"a\0\0bcdefghi\0\0\0", "not_text");
        check(&vec![b'a'; MAX_BYTES + 1], "file_too_large");
    }

    #[test]
    fn a_few_control_characters_are_no_reason_to_refuse() {
        assert!(outcome(b"a\x01b\x02c\x03d\x04").is_ok());
        let mut text = "a".repeat(245);
        text.push_str("\x01\x01\x01\x01\x01");
        // 5 of 250 are exactly 2 per cent.
        assert!(outcome(text.as_bytes()).is_ok());
        text.pop();
        text.pop();
        text.push_str("\x01\x01\x01");
        assert_eq!(outcome(text.as_bytes()), Err("not_text"));
    }
}
