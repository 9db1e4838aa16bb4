//! Rosters as they come, each with what is read from it.

use super::*;

fn names(bytes: &[u8]) -> Vec<(String, String)> {
    let roster = read(bytes, &RosterOptions::default()).unwrap();
    roster.people.into_iter().map(|p| (p.name, p.school_id)).collect()
}

fn pairs(list: &[(&str, &str)]) -> Vec<(String, String)> {
    list.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect()
}

fn utf16(text: &str) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xfe];
    bytes.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    bytes
}

#[test]
fn shapes_of_a_roster() {
    let check = |text: &str, expected: &[(&str, &str)]| {
        assert_eq!(names(text.as_bytes()), pairs(expected), "{text}");
    };
    let both = [("Ailbhe Corrowan", "D26-101"), ("Jun Takamori", "D26-102")];
    check("name,id\nAilbhe Corrowan,D26-101\nJun Takamori,D26-102\n", &both);
    // Semicolons, other columns, another order, blank lines, blank cells at the end.
    check(
        "Matrikelnummer;Nachname;Vorname;Klasse;\r\n\r\nD26-101;Corrowan;Ailbhe;M1;\r\nD26-102;Takamori;Jun;M1;\r\n",
        &both,
    );
    // `Name` beside `Vorname` is the family name.
    check(
        "Name;Vorname;Nr\nCorrowan;Ailbhe;D26-101\nTakamori;Jun;D26-102",
        &[("Ailbhe Corrowan", ""), ("Jun Takamori", "")],
    );
    // Tabs, a title above the table.
    check(
        "Tuesday group\nFull name\tStudent ID\nAilbhe Corrowan\tD26-101\nJun Takamori\tD26-102",
        &both,
    );
    // No heading row.
    check("D26-101,Ailbhe,Corrowan\nD26-102,Jun,Takamori", &both);
    check("Ailbhe Corrowan|D26-101\nJun Takamori|D26-102", &both);
    // Names alone, one to a line.
    check(
        "Ailbhe Corrowan\nJun Takamori\n",
        &[("Ailbhe Corrowan", ""), ("Jun Takamori", "")],
    );
    // Family and given name in one quoted cell stay as they are written.
    check(
        "name,id\n\"Corrowan, Ailbhe\",D26-101",
        &[("Corrowan, Ailbhe", "D26-101")],
    );
}

#[test]
fn names_of_any_script() {
    let text = "name,id\n谷瑞柏,1\nنورس الحلواني,2\nBríd Ní Sheanlaoich,3\nX. Ó,4\nگل\u{200c}نار,5\n\u{202e}Kofi\u{200b}  Asantreba\u{feff},6\n";
    assert_eq!(
        names(text.as_bytes()),
        pairs(&[
            ("谷瑞柏", "1"),
            ("نورس الحلواني", "2"),
            ("Bríd Ní Sheanlaoich", "3"),
            ("X. Ó", "4"),
            ("گل\u{200c}نار", "5"),
            ("Kofi Asantreba", "6"),
        ])
    );
    assert_eq!(
        names(&utf16("name;id\nŁukasz Żółć;7\n")),
        pairs(&[("Łukasz Żółć", "7")])
    );
    let windows: &[u8] = b"name;id\nJos\xe9 Mu\xf1oz;8\n";
    assert_eq!(names(windows), pairs(&[("José Muñoz", "8")]));
}

#[test]
fn what_cannot_be_used_is_named_with_its_line() {
    let text = "name,id,e-mail\nAnna Orr,1,anna@school.example\n,2,\nBela Orr,1,\nAnna Orr,3,\n\"Cora,4,\n";
    let roster = read(text.as_bytes(), &RosterOptions::default()).unwrap();
    let said: Vec<(u32, bool)> = roster.remarks.iter().map(|r| (r.line, r.left_out)).collect();
    assert_eq!(
        said,
        [(3, true), (4, true), (5, false), (6, true)],
        "{:?}",
        roster.remarks
    );
    assert!(roster.remarks[1].text.contains("line 2"), "{:?}", roster.remarks[1]);
    assert_eq!(roster.people.len(), 2);
    assert_eq!(roster.people[0].email, "anna@school.example");
}

#[test]
fn a_missing_column_is_asked_for_and_the_answer_counts() {
    let text = b"id,grade\nD1,5\nD2,4\n";
    let roster = read(text, &RosterOptions::default()).unwrap();
    assert!(!roster.has_names() && roster.people.is_empty());
    let said = RosterOptions {
        columns: Some(vec![Holds::Name, Holds::Nothing]),
        heading: Some(true),
    };
    let roster = read(text, &said).unwrap();
    assert_eq!(roster.people.len(), 2);
    assert_eq!(roster.people[0].name, "D1");
    // A heading row that is none, by the person's word.
    let said = RosterOptions {
        columns: Some(vec![Holds::Name]),
        heading: Some(false),
    };
    assert_eq!(read(b"Name\nAnna", &said).unwrap().people.len(), 2);
}

#[test]
fn what_is_no_roster() {
    let refused = |bytes: &[u8]| read(bytes, &RosterOptions::default()).unwrap_err().to_string();
    assert!(refused(b"").contains("empty"));
    assert!(refused(b"\x89PNG\r\n\x1a\n\0\0\0\0\x01\x02\x03\x81").contains("not a text file"));
    let many = "A name\n".repeat(MOST_PEOPLE + 1);
    assert!(refused(many.as_bytes()).contains("more than 2000"));
}

proptest::proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..400)) {
        if let Ok(roster) = read(&bytes, &RosterOptions::default()) {
            for person in roster.people {
                proptest::prop_assert!(!person.name.is_empty() && person.name == clean(&person.name));
            }
        }
    }
}
