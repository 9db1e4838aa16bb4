//! Limits of the CSV reader, any bytes at all, and what is written read back.

use std::time::{Duration, Instant};

use platemark::report::call::Call;
use platemark::report::table::{ReadOptions, Table, read};
use platemark::report::write_csv::{WrittenPoint, WrittenRow, cell_safe, points_csv, report_csv};
use proptest::prelude::*;

fn code(text: &str) -> String {
    match read(text.as_bytes(), &ReadOptions::default()) {
        Ok(table) => table
            .head()
            .must_ask
            .map_or("read".to_owned(), |ask| format!("{ask:?}")),
        Err(refusal) => refusal.code().to_owned(),
    }
}

#[test]
fn rows_and_columns() {
    let rows = |count: usize| format!("no,measured\n{}", "1,2\n".repeat(count));
    assert_eq!(code(&rows(20_000)), "read");
    assert_eq!(code(&rows(20_001)), "too_many_rows");
    // Rejected rows count, blank ones do not.
    assert_eq!(code(&format!("{}{}", rows(20_000), "\n,\n".repeat(100))), "read");
    assert_eq!(code(&format!("{}x,y\n", rows(20_000))), "too_many_rows");
    let columns = |count: usize| format!("no,measured{}\n1,2\n", ",x".repeat(count - 2));
    assert_eq!(code(&columns(200)), "read");
    assert_eq!(code(&columns(201)), "too_many_columns");
    assert_eq!(code(&columns(10_000)), "too_many_columns");
}

#[test]
fn cells() {
    let cell = |count: usize| format!("no,measured,comment\n1,2,{}\n2,3,\n", "ä".repeat(count));
    for (count, rejected) in [(10_000, 0), (10_001, 1)] {
        let table = read(cell(count).as_bytes(), &ReadOptions::default()).unwrap();
        assert_eq!(table.head().rejected.len(), rejected);
    }
}

/// Odd files of the largest size come to an end: a bound that only a reader beyond all bounds misses, since a busy
/// machine is slow. Without optimisation they are an eighth of that size.
#[test]
fn the_largest_odd_files() {
    const SIZE: usize = if cfg!(debug_assertions) { 1 << 20 } else { 8 << 20 };
    let fill = |head: &str, piece: &str| format!("{head}{}", piece.repeat((SIZE - head.len()) / piece.len()));
    let files = [
        fill("", ","),
        fill("", "\n"),
        fill("no,measured\n", "\n"),
        fill("no,measured\n", ","),
        fill("no,measured\n1,\"", "\""),
        fill("no,measured\n", "no,measured\n"),
        fill("no,measured\n1,", "9"),
        fill("no,measured\n", "\",\n"),
        fill("", "\"a\",\"b\"\n"),
        fill("", "1;2,3|4\t"),
        fill(
            &format!("no,measured{}\n", ",x".repeat(198)),
            &format!("1,2{}\n", ",y".repeat(198)),
        ),
    ];
    for file in files {
        let start = Instant::now();
        let outcome = code(&file);
        let took = start.elapsed();
        assert!(
            took < Duration::from_secs(300),
            "{took:?} for {:?}: {outcome}",
            &file[..40]
        );
    }
}

fn number() -> impl Strategy<Value = String> {
    "(0|-?[1-9][0-9]{0,5})(\\.[0-9]{1,6})?".prop_map(|text| {
        if text.trim_matches(['-', '0', '.']).is_empty() {
            text.replace('-', "")
        } else {
            text
        }
    })
}

fn call() -> impl Strategy<Value = Option<Call>> {
    prop::option::of(prop::sample::select(Call::ALL.to_vec()))
}

/// Pieces of which tables are made, good and bad.
fn soup() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "no", "measured", "call", "feature", "x", "y", "z", "unit", "tol", ",", ";", "\t", "|", "\n", "\r", "\"",
        "\"\"", "1", "12,031", "12.031", "0,5", "0.5", "1e9", "e-400", "-", "\u{2212}", "±", "mm", "kg", "=", "@",
        "\0", "\u{a0}", "\u{200b}", "NaN", "sep=", "'", " ", "ä", "\u{feff}", "(mm)", "pass",
    ]);
    prop::collection::vec(piece, 0..120).prop_map(|pieces| pieces.concat())
}

/// What must hold of any table: numbers are exact decimal strings, and no row is both read and rejected.
fn check_table(table: &Table) {
    let is_number = |text: &str| {
        let digits = text.strip_prefix('-').unwrap_or(text);
        digits.starts_with(|c: char| c.is_ascii_digit())
            && digits.ends_with(|c: char| c.is_ascii_digit())
            && digits.chars().all(|c| c.is_ascii_digit() || c == '.')
            && digits.matches('.').count() < 2
            && (text.starts_with('-') <= digits.contains(|c: char| ('1'..='9').contains(&c)))
    };
    let mut lines = Vec::new();
    match table {
        Table::Report(table) => {
            for row in &table.rows {
                lines.push(row.line);
                for value in [&row.measured, &row.nominal, &row.minus, &row.plus]
                    .into_iter()
                    .flatten()
                {
                    assert!(is_number(value), "{value}");
                }
                assert!(!row.label.is_empty());
            }
        }
        Table::Points(table) => {
            for row in &table.points {
                lines.push(row.line);
                for value in [&row.x, &row.y, &row.z] {
                    assert!(is_number(value), "{value}");
                }
            }
        }
    }
    let head = table.head();
    assert!(lines.is_empty() || head.must_ask.is_none());
    assert!(head.rejected.iter().all(|rejected| !lines.contains(&rejected.line)));
    assert!(head.warnings.is_sorted_by_key(|warning| warning.line) || head.must_ask.is_some());
    serde_json::to_string(table).unwrap();
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        if let Ok(table) = read(&bytes, &ReadOptions::default()) {
            check_table(&table);
        }
    }

    #[test]
    fn any_soup_is_read_or_refused(text in soup(), head in prop::sample::select(vec!["", "no,measured,unit\n", "x;y;z;feature;i\n"])) {
        if let Ok(table) = read(format!("{head}{text}").as_bytes(), &ReadOptions::default()) {
            check_table(&table);
        }
    }

    #[test]
    fn a_written_report_reads_back(rows in prop::collection::vec(
        ("[A-Za-z0-9][A-Za-z0-9.-]{0,11}", prop::option::of(number()), call()), 1..30)
    ) {
        // A row with a label alone would read back as one too, unless the label is all there is and has a blank in it.
        let written: Vec<WrittenRow<'_>> =
            rows.iter().map(|(no, measured, call)| WrittenRow { no, measured: measured.as_deref(), call: *call }).collect();
        let text = report_csv(&written).unwrap();
        let Ok(Table::Report(table)) = read(text.as_bytes(), &ReadOptions::default()) else { panic!("{text}") };
        let back: Vec<_> = table.rows.iter().map(|r| (r.label.clone(), r.measured.clone(), r.call)).collect();
        prop_assert_eq!(back, rows);
        prop_assert!(table.head.rejected.is_empty());
        prop_assert_eq!(table.head.must_ask, None);
    }

    #[test]
    fn written_points_read_back(rows in prop::collection::vec(("[a-z][a-z0-9-]{0,9}", number(), number(), number()), 1..30)) {
        let written: Vec<WrittenPoint<'_>> = rows
            .iter()
            .map(|(feature, x, y, z)| WrittenPoint { feature, xyz: [x, y, z], ijk: Some(["0", "-1", "0"]) })
            .collect();
        let text = points_csv(&written).unwrap();
        let Ok(Table::Points(table)) = read(text.as_bytes(), &ReadOptions::default()) else { panic!("{text}") };
        let back: Vec<_> =
            table.points.into_iter().map(|p| (p.feature, p.x, p.y, p.z)).collect();
        prop_assert_eq!(back, rows);
        prop_assert!(table.head.warnings.is_empty());
    }

    #[test]
    fn no_text_begins_a_formula_wherever_a_spreadsheet_splits_it(text in "[=+@;|,\"a1. \\-\\t\\r\\n]{0,40}") {
        let safe = cell_safe(&text);
        for piece in safe.split([';', '\t', '|', '\r', '\n']) {
            let bare = piece.trim_start_matches([' ', '"']);
            let is_number = piece.trim().parse::<f64>().is_ok();
            prop_assert!(is_number || !bare.starts_with(['=', '+', '-', '@']), "{:?} in {:?}", piece, safe);
        }
        prop_assert_eq!(cell_safe(&safe), safe.clone());
    }
}
