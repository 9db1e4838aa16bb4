//! The kind of a file, found by its content and never by its name.

/// What a file that was handed in looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// None of the others: a table in a text file, or nothing that is known.
    Table,
    /// An XML document, such as QIF results.
    Xml,
    /// A zip archive, such as a roster package or a spreadsheet's own file.
    Zip,
    /// DMIS statements.
    Dmis,
}

/// How many bytes are looked at.
const SAMPLE_BYTES: usize = 64 * 1024;

/// How many lines are looked at for statements.
const SAMPLE_LINES: usize = 50;

/// What a DMIS file begins with.
const DMIS_HEADS: [&str; 2] = ["DMISMN/", "FILNAM/"];

/// Other statements that stand near its beginning.
const DMIS_STATEMENTS: [&str; 6] = ["UNITS/", "OUTPUT/", "F(", "FA(", "T(", "TA("];

/// What the beginning of a file says of its kind.
pub fn kind_of(bytes: &[u8]) -> FileKind {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return FileKind::Zip;
    }
    let sample = bytes.get(..SAMPLE_BYTES).unwrap_or(bytes);
    // In UTF-16 every other byte of Latin text is zero: without them and the mark, the letters are left.
    let letters: Vec<u8> = sample
        .iter()
        .copied()
        .filter(|byte| byte.is_ascii() && *byte != 0)
        .collect();
    let text = String::from_utf8_lossy(&letters).to_ascii_uppercase();
    let text = text.trim_start();
    if ["<?XML", "<!DOCTYPE", "<QIFDOCUMENT"]
        .iter()
        .any(|start| text.starts_with(start))
    {
        return FileKind::Xml;
    }
    if is_dmis(text) { FileKind::Dmis } else { FileKind::Table }
}

/// A head of DMIS, or two of its statements among the first lines: one alone might be a title of a table.
fn is_dmis(text: &str) -> bool {
    // `$$` begins a comment.
    let lines = text
        .lines()
        .filter(|line| !line.trim().is_empty() && !line.trim_start().starts_with("$$"));
    let bare = |line: &str| line.chars().filter(|c| !c.is_whitespace()).collect::<String>();
    let begins =
        |line: &String, starts: &[&str]| starts.iter().any(|start| line.starts_with(start)) && line.contains('/');
    let lines: Vec<String> = lines.take(SAMPLE_LINES).map(bare).collect();
    lines.first().is_some_and(|line| begins(line, &DMIS_HEADS))
        || lines.iter().filter(|line| begins(line, &DMIS_STATEMENTS)).count() > 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds() {
        let check = |bytes: &[u8], expected: FileKind| assert_eq!(kind_of(bytes), expected, "{bytes:?}");
        check(b"no,measured\n1,2\n", FileKind::Table);
        check(b"", FileKind::Table);
        check(b"<b>D1</b>,2\n", FileKind::Table);
        check(b"T(1);value\n", FileKind::Table);
        check(b"Units/piece,12\nno,measured\n1,2\n", FileKind::Table);
        check(b"PK\x03\x04rest", FileKind::Zip);
        check(b"\xef\xbb\xbf <?xml version=\"1.0\"?>", FileKind::Xml);
        check(b"\xff\xfe<\0?\0x\0m\0l\0 \0", FileKind::Xml);
        check(b"<!DOCTYPE x>", FileKind::Xml);
        check(b"$$ comment\nfilnam/'PLATE', 05.2\n", FileKind::Dmis);
        check(b"UNITS/MM\nF( H1 ) = FEAT / CIRCLE,INNER\n", FileKind::Dmis);
    }
}
