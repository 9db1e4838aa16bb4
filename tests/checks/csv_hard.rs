//! Hard cases for each sentence of the CSV page. Source of all expectations: that page.

use platemark::report::table::{DecimalMark, Delimiter, ReadOptions, Role, Table, read};
use platemark::units::ValueUnit;
use serde_json::{Value, json};

use super::difference;

fn to_json(table: &Table) -> Value {
    serde_json::to_value(table).unwrap()
}

fn check_with(options: &ReadOptions, bytes: &[u8], expected: &Value) {
    let text = String::from_utf8_lossy(bytes);
    let actual = match read(bytes, options) {
        Ok(table) => to_json(&table),
        Err(refusal) => json!({"refused": refusal.code()}),
    };
    assert_eq!(difference(expected, &actual, ""), None, "{text:?}\n{actual:#}");
}

fn check(text: &str, expected: &Value) {
    check_with(&ReadOptions::default(), text.as_bytes(), expected);
}

/// Label, measured value and call of each row; `why` and `code` with their lines.
fn check_rows(text: &str, rows: &[(u32, &str, Option<&str>)], rejected: &[(u32, &str)], warnings: &[(u32, &str)]) {
    let rows: Vec<Value> = rows
        .iter()
        .map(|(l, label, m)| json!({"line": l, "label": label, "measured": m}))
        .collect();
    let rejected: Vec<Value> = rejected.iter().map(|(l, why)| json!({"line": l, "why": why})).collect();
    let warnings: Vec<Value> = warnings
        .iter()
        .map(|(l, code)| json!({"line": l, "code": code}))
        .collect();
    check(
        text,
        &json!({"format": "csv", "rows": rows, "rejected": rejected, "warnings": warnings, "must_ask": null}),
    );
}

#[test]
fn delimiters() {
    let detect = |text: &str, delimiter: &str, line: u32| {
        check(
            text,
            &json!({"detect": {"delimiter": delimiter, "header_line": line}, "must_ask": null}),
        );
    };
    detect("no;measured\n1;2", ";", 1);
    detect("no\tmeasured\n1\t2", "\t", 1);
    detect("no|measured\n1|2", "|", 1);
    detect("no,measured", ",", 1);
    // Commas in title lines and cells are no delimiter.
    detect("Report, pair 7, plate 3\nno;measured;comment\n1;12,5;a, b, c", ";", 2);
    // The heading row with most known headings wins.
    detect("no,measured;x\nno;measured;call\n1;2;ok", ";", 2);
    // Fifty records are looked at.
    detect(&format!("{}no,measured\n1,2", "title\n".repeat(49)), ",", 50);
    check(
        &format!("{}no,measured\n1,2", "title\n".repeat(50)),
        &json!({"must_ask": "columns"}),
    );
    check(
        &format!("{}no,measured\na,b", "title\n".repeat(50)),
        &json!({"refused": "no_table"}),
    );
}

#[test]
fn a_tie_of_delimiters_is_asked() {
    let text = "no,measured\nno;measured\n1;12,5\n";
    check(
        text,
        &json!({"format": "csv", "must_ask": "delimiter", "rows": [], "columns": [],
            "detect": {"delimiter": null, "decimal": null, "header_line": null},
            "readings": [{"delimiter": ";", "decimal": ",", "values": ["12.5"]}, {"delimiter": ",", "values": [null, "5"]}]}),
    );
    let options = ReadOptions {
        delimiter: Delimiter::new(';'),
        ..ReadOptions::default()
    };
    check_with(
        &options,
        text.as_bytes(),
        &json!({"must_ask": null, "rows": [{"label": "1", "measured": "12.5"}]}),
    );
}

#[test]
fn sep_line() {
    let rows = json!([{"line": 3, "label": "1", "measured": "2"}]);
    for first in ["sep=;", "SEP=;", "\"sep=;\"", "sep=; "] {
        check(
            &format!("{first}\nno;measured\n1;2\n"),
            &json!({"detect": {"delimiter": ";", "header_line": 2}, "rows": rows}),
        );
    }
    check(
        "sep=\t\r\nno\tmeasured\r\n1\t2\r\n",
        &json!({"detect": {"delimiter": "\t"}, "rows": rows}),
    );
    check(
        "sep=^\nno^measured\n1^2\n",
        &json!({"detect": {"delimiter": "^"}, "rows": rows}),
    );
    check(
        "sep=§\nno§measured\n1§2\n",
        &json!({"detect": {"delimiter": "§"}, "rows": rows}),
    );
    // It names the delimiter even where another would give a table.
    check("sep=;\nno,measured\n1,2\n", &json!({"refused": "no_table"}));
    // On the first line only, and only with one character.
    check(
        "\nsep=;\nno,measured\n1,2\n",
        &json!({"detect": {"delimiter": ",", "header_line": 3}}),
    );
    check(
        "sep=ab\nno,measured\n1,2\n",
        &json!({"detect": {"delimiter": ",", "header_line": 2}}),
    );
    let bom = [b"\xef\xbb\xbf".as_slice(), b"sep=;\nno;measured\n1;2\n"].concat();
    check_with(
        &ReadOptions::default(),
        &bom,
        &json!({"detect": {"bom": true, "delimiter": ";"}, "rows": rows}),
    );
}

#[test]
fn line_ends_and_quotes() {
    check_rows(
        "no,measured\r1,2\r2,3\r",
        &[(2, "1", Some("2")), (3, "2", Some("3"))],
        &[],
        &[],
    );
    check_rows(
        "no,measured\r\n1,2\n2,3\r3,4",
        &[(2, "1", Some("2")), (3, "2", Some("3")), (4, "3", Some("4"))],
        &[],
        &[],
    );
    check(
        "no,measured,comment\r\n1,2,\"a\r\nb\rc\"\r\n2,3,\n",
        &json!({"rows": [{"line": 2, "comment": "a\nb\nc"}, {"line": 5, "label": "2"}]}),
    );
    check(
        "no,measured,comment\n1,2,\"a\"b\n2,3, \"c\n3,4,d\"\"e\n4,5,\"\"\"f\"\"\"\n",
        &json!({"rows": [{"comment": "ab"}, {"comment": "\"c"}, {"comment": "d\"\"e"}, {"comment": "\"f\""}]}),
    );
    check_rows(
        "no,measured\n1,\"2\"\n\"2,3\n4,5\n",
        &[(2, "1", Some("2"))],
        &[(3, "unclosed_quote")],
        &[],
    );
    check_rows(
        "no,measured\n1,2\n\n2,\"3\n4,5\n",
        &[(2, "1", Some("2"))],
        &[(4, "unclosed_quote")],
        &[],
    );
    check(
        "\"Report of pair 7\nno,measured\n1,2\n",
        &json!({"refused": "no_table"}),
    );
    // The inch mark in a cell opens no quote.
    check(
        "no,measured\n1,0.5\"\n2,0.6\"\n",
        &json!({"rows": [{"unit": "inch"}, {"unit": "inch"}]}),
    );
}

#[test]
fn utf16_without_a_mark() {
    let text = "no;measured;comment\r\n1;12,5;größer\r\n";
    for (little, name) in [(true, "utf-16le"), (false, "utf-16be")] {
        let bytes: Vec<u8> = text
            .encode_utf16()
            .flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() })
            .collect();
        check_with(
            &ReadOptions::default(),
            &bytes,
            &json!({"detect": {"encoding": name, "bom": false, "delimiter": ";", "decimal": ","},
                "rows": [{"line": 2, "measured": "12.5", "comment": "größer"}]}),
        );
    }
}

#[test]
fn headings() {
    let columns = |headings: &str, expected: Value, warnings: Value| {
        check(headings, &json!({"columns": expected, "warnings": warnings}));
    };
    columns("No.:,MEASURED VALUE", json!(["label", "measured"]), json!([]));
    columns(
        "N°;Mesure\u{301};'Call'",
        json!(["label", "measured", "call"]),
        json!([]),
    );
    columns("measured,name,no", json!(["measured", "name", "label"]), json!([]));
    columns(
        "name,label,measured,actual,colour",
        json!(["label", null, "measured", null, null]),
        json!([{"line": 1, "code": "duplicate_column"}, {"code": "duplicate_column"}, {"code": "unknown_column"}]),
    );
    // A delimiter at the end of each line is no column.
    columns("no,measured,\n1,2,\n", json!(["label", "measured", null]), json!([]));
    columns(
        "no,measured,\n1,2,x\n",
        json!(["label", "measured", null]),
        json!([{"line": 1, "code": "unknown_column"}]),
    );
}

#[test]
fn cells_that_are_not_used_are_kept() {
    check(
        "no,colour,measured,actual\n1,red,2,3,4,,5\n2,,3,,\n",
        &json!({"rows": [
            {"line": 2, "measured": "2", "extra": [{"column": 2, "text": "red"}, {"column": 4, "text": "3"},
                {"column": 5, "text": "4"}, {"column": 7, "text": "5"}]},
            {"line": 3, "measured": "3", "extra": null}],
            "warnings": [{"code": "unknown_column"}, {"code": "duplicate_column"}, {"line": 2, "code": "extra_cells"}]}),
    );
    // A decimal comma in a file with commas: the rest of the row is seen to be off.
    check(
        "no,measured,call\n1,32,034,conforming\n",
        &json!({"rows": [{"measured": "32", "call": null, "extra": [{"column": 4, "text": "conforming"}]}],
            "warnings": [{"line": 2, "code": "extra_cells"}, {"line": 2, "code": "unknown_call"}]}),
    );
    check(
        "no,measured,call\n1\n2,3\n",
        &json!({"rows": [{"measured": null}, {"measured": "3", "call": null}]}),
    );
}

#[test]
fn rows_that_are_no_rows() {
    check_rows(
        "no,measured,call\n\n , ,\n\u{a0},\u{200b},\u{feff}\nNO.,Measured,Call,,\nEnd of report,,\nD9\n,12,\n,,pass\n1,2,ok\n",
        &[(7, "D9", None), (10, "1", Some("2"))],
        &[(6, "not_a_row"), (8, "no_label"), (9, "no_label")],
        &[(5, "repeated_header"), (7, "missing_value")],
    );
    // Text that is not under the label.
    check_rows("no,measured,comment\n,,Signed: pair 7\n", &[], &[(2, "not_a_row")], &[]);
    check_rows(
        "no,name,measured\n,Bore,12\n3,Bore of the part,\n",
        &[(3, "3", None)],
        &[(2, "no_label")],
        &[(3, "missing_value")],
    );
}

#[test]
fn a_row_of_units() {
    check(
        "no,nominal,measured,call\n,mm,[inch],\n1,12,0.5,ok\n2,12,12 mm,ok\n",
        &json!({"rows": [
            {"line": 3, "unit": "inch", "nominal_unit": "mm"}, {"line": 4, "unit": "mm", "nominal_unit": "mm"}],
            "rejected": [], "warnings": [{"line": 3, "code": "mixed_units"}]}),
    );
    // Directly under the headings only, and only units.
    check_rows(
        "no,measured\n1,2\n,mm\n",
        &[(2, "1", Some("2"))],
        &[(3, "no_label")],
        &[],
    );
    check_rows("no,measured,call\n,mm,ok\n", &[], &[(2, "no_label")], &[]);
    // Heading and row of units do not agree: the heading holds, and it is said.
    check(
        "no,measured (mm)\n,inch\n1,2\n",
        &json!({"rows": [{"unit": "mm"}], "warnings": [{"line": 2, "code": "mixed_units"}]}),
    );
    // The heading row again, and its units again.
    check(
        "no,measured\n,mm\n1,2\nno,measured\n,mm\n2,3\n",
        &json!({"rows": [{"unit": "mm"}, {"unit": "mm"}], "rejected": [], "warnings": [{"line": 4, "code": "repeated_header"}]}),
    );
}

#[test]
fn units() {
    let units = |text: &str, expected: Value, warnings: Value| {
        check(text, &json!({"rows": expected, "warnings": warnings, "rejected": []}));
    };
    // The cell's before the unit column's before the heading's.
    units(
        "no,measured [inch],unit\n1,2 mm,mm\n2,2,cm\n3,2,\n",
        json!([{"unit": "mm"}, {"unit": "cm"}, {"unit": "inch"}]),
        json!([]),
    );
    units(
        "no,measured,unit\n1,2 mm,inch\n",
        json!([{"unit": "mm"}]),
        json!([{"line": 2, "code": "mixed_units"}]),
    );
    units(
        "no,measured,nominal\n1,2 mm,0.1 in\n",
        json!([{"unit": "mm", "nominal_unit": "inch"}]),
        json!([{"code": "mixed_units"}]),
    );
    units(
        "no,measured,tol\n1,2 mm,±10 µm\n",
        json!([{"unit": "mm", "plus": "10", "plus_unit": "um"}]),
        json!([{"code": "mixed_units"}]),
    );
    units("no,measured\n1,2\n", json!([{"unit": null}]), json!([]));
    // A unit is never carried over from the row above.
    units(
        "no,measured,unit\n1,2,mm\n2,3,\n3,4,-\n",
        json!([{"unit": "mm"}, {"unit": null}, {"unit": null}]),
        json!([]),
    );
    units(
        "no,measured,unit\n1,,mm\n",
        json!([{"unit": "mm", "measured": null}]),
        json!([{"code": "missing_value"}]),
    );
    check(
        "no,measured,unit,nominal\n1,2,kg,\n2,,grad,\n3,20 kg,mm,\n4,2,mm,20 kg\n5,2,=A1,\n",
        &json!({"rows": [{"label": "4", "nominal": null}], "warnings": [{"line": 5, "code": "unread_cell"}],
            "rejected": [{"line": 2, "why": "unknown_unit"}, {"line": 3, "why": "unknown_unit"},
                {"line": 4, "why": "unknown_unit"}, {"line": 6, "why": "unknown_unit"}]}),
    );
}

#[test]
fn nominals_and_tolerances() {
    check(
        "no,nominal,minus,plus,measured\n1,x,-0.1,±0.1,2\n2,=A1,NaN,1e400,3\n3,-,n/a,,4\n4,1.0e1,-.1,1e-400,5\n",
        &json!({"rows": [
            {"nominal": null, "minus": "-0.1", "plus": "0.1", "measured": "2"},
            {"nominal": null, "minus": null, "plus": null, "measured": "3"},
            {"nominal": null, "minus": null, "plus": null, "measured": "4"},
            {"nominal": "10", "minus": "-0.1", "plus": "0", "measured": "5"}],
            "rejected": [],
            "warnings": [{"line": 2, "code": "unread_cell"}, {"line": 3, "code": "unread_cell"},
                {"line": 5, "code": "underflow_to_zero"}]}),
    );
    check(
        "no,tol,measured\n1,±0.05,2\n2,0.00,3\n3,-0.1,3\n4,,3\n5,?,3\n",
        &json!({"rows": [{"minus": "-0.05", "plus": "0.05"}, {"minus": "0.00", "plus": "0.00"},
            {"minus": "-0.1", "plus": "0.1"}, {"minus": null, "plus": null}, {"minus": null, "plus": null}],
            "warnings": [{"line": 6, "code": "unread_cell"}]}),
    );
    check(
        "no,minus,plus,tol,measured\n1,-0.2,,0.1,2\n",
        &json!({"rows": [{"minus": "-0.2", "plus": "0.1"}]}),
    );
}

#[test]
fn decimal_mark() {
    let file = |values: &[&str]| {
        let rows: Vec<String> = values.iter().enumerate().map(|(i, v)| format!("{i};{v}")).collect();
        format!("no;measured\n{}\n", rows.join("\n"))
    };
    let settled = |values: &[&str], mark: &str, expected: &[&str]| {
        let rows: Vec<Value> = expected.iter().map(|v| json!({"measured": v})).collect();
        check(
            &file(values),
            &json!({"detect": {"decimal": mark}, "rows": rows, "must_ask": null, "readings": []}),
        );
    };
    settled(&["12", "13"], ".", &["12", "13"]);
    settled(&["12.031"], ".", &["12.031"]);
    settled(&["12,031", "0,5"], ",", &["12.031", "0.5"]);
    settled(&["12,031", "0.5"], ".", &["12031", "0.5"]);
    settled(&["12.031", "0,5"], ",", &["12031", "0.5"]);
    settled(&["12.031", "1.234.567"], ",", &["12031", "1234567"]);
    let asked = |values: &[&str], readings: Value| {
        check(
            &file(values),
            &json!({"detect": {"decimal": null, "delimiter": ";", "header_line": 1}, "columns": ["label", "measured"],
                "rows": [], "must_ask": "decimal_mark", "readings": readings}),
        );
    };
    asked(
        &["12,031", "5", "x", "", "1.000"],
        json!([{"decimal": ",", "values": ["12.031", "5", null, null, "1000"]},
            {"decimal": ".", "values": ["12031", "5", null, null, "1.000"]}]),
    );
    asked(
        &["0,5", "0.5", "1,000"],
        json!([{"decimal": "mixed", "values": ["0.5", "0.5", "1.000"]}]),
    );
    // The answer settles it.
    for (mark, expected) in [
        (DecimalMark::Comma, "12.031"),
        (DecimalMark::Point, "12031"),
        (DecimalMark::Mixed, "12.031"),
    ] {
        let options = ReadOptions {
            decimal: Some(mark),
            ..ReadOptions::default()
        };
        check_with(
            &options,
            file(&["12,031"]).as_bytes(),
            &json!({"detect": {"decimal": mark.as_str()}, "must_ask": null, "rows": [{"measured": expected}]}),
        );
    }
}

#[test]
fn what_is_no_evidence_of_the_decimal_mark() {
    // Comments, labels, names, unknown columns, title lines; rows that are no rows.
    check(
        "Offset 0,5 mm\nno;name;measured;comment;temperature\n1,5;D 1,5;12.5;was 0,5;20,4\n;;;;\nPage 1,5 of 2,5\n",
        &json!({"detect": {"decimal": "."}, "must_ask": null, "rows": [{"label": "1,5", "measured": "12.5"}]}),
    );
    // Any value column is evidence, and a value without a label is one too.
    check(
        "no;plus;measured\n1;0,5;12,031\n",
        &json!({"detect": {"decimal": ","}, "rows": [{"measured": "12.031"}]}),
    );
    check(
        "no;measured\n1;12,031\n;0,5\n",
        &json!({"detect": {"decimal": ","}, "rejected": [{"line": 3, "why": "no_label"}]}),
    );
    // A broken row is none.
    check(
        "no;measured\n1;12.5\n2;0,5\0\n",
        &json!({"detect": {"decimal": "."}, "rejected": [{"line": 3, "why": "nul_byte"}]}),
    );
    // What is no row can be told while the mark is asked.
    check(
        "no;measured;colour\n1;12,031;\nThe end;;\n",
        &json!({"must_ask": "decimal_mark", "rows": [], "rejected": [{"line": 3, "why": "not_a_row"}],
            "warnings": [{"line": 1, "code": "unknown_column"}]}),
    );
}

#[test]
fn precedence_of_faults() {
    let long = "x".repeat(10_001);
    check_rows(
        &format!(
            "no,measured,unit,comment\n\0,abc,kg,{long}\n,abc,kg,{long}\nEnd of\0 report,,,\n,abc,kg,\n1,=A1,kg,\n2,1e400,kg,\n3,20 kg,kg,\n4,,kg,\n5,NaN,mm,\n{long},,,\n"
        ),
        &[],
        &[
            (2, "nul_byte"),
            (3, "cell_too_long"),
            (4, "nul_byte"),
            (5, "no_label"),
            (6, "formula"),
            (7, "out_of_range"),
            (8, "unknown_unit"),
            (9, "unknown_unit"),
            (10, "not_finite"),
            (11, "cell_too_long"),
        ],
        &[],
    );
}

#[test]
fn labels() {
    check_rows(
        "no,measured\n D1 ,1\n\u{200b}D\u{ad}1,2\nX\u{2011}1,3\n<b>D1</b>,4\n=SUM(A1),5\nd1,6\n",
        &[
            (2, "D1", Some("1")),
            (3, "D1", Some("2")),
            (4, "X-1", Some("3")),
            (5, "<b>D1</b>", Some("4")),
            (6, "=SUM(A1)", Some("5")),
            (7, "d1", Some("6")),
        ],
        &[],
        &[(3, "duplicate_label"), (6, "formula_like_text")],
    );
    // A row that was rejected has not had the label.
    check_rows(
        "no,measured\n1,abc\n1,2\n",
        &[(3, "1", Some("2"))],
        &[(2, "not_a_number")],
        &[],
    );
}

#[test]
fn one_warning_of_a_kind_for_a_row_in_the_order_of_the_page() {
    check(
        "no,name,nominal,measured,call,comment\n1,,,2,,\n1,=x,y,1e-400,maybe,@z,surplus\n-1,+a,,,0,-\n",
        &json!({"warnings": [
            {"line": 3, "code": "duplicate_label"}, {"line": 3, "code": "extra_cells"}, {"line": 3, "code": "unread_cell"},
            {"line": 3, "code": "unknown_call"}, {"line": 3, "code": "underflow_to_zero"},
            {"line": 3, "code": "formula_like_text"},
            {"line": 4, "code": "missing_value"}, {"line": 4, "code": "unknown_call"}, {"line": 4, "code": "formula_like_text"}]}),
    );
}

#[test]
fn columns_are_asked_and_answered() {
    check(
        "1;32,034;ok\n2;70,121;ok\n",
        &json!({"format": "csv", "must_ask": "columns", "rows": [], "readings": []}),
    );
    check("a;b\nc;d\n", &json!({"refused": "no_table"}));
    check("12.5\n13.5\n", &json!({"refused": "no_table"}));
    check(
        "Dear instructor,\non 3 May, we were ill, so the 12 values are missing.\n",
        &json!({"refused": "no_table"}),
    );
    let columns = Some(vec![Some(Role::Label), Some(Role::Measured), Some(Role::Call)]);
    let options = ReadOptions {
        columns: columns.clone(),
        decimal: Some(DecimalMark::Comma),
        ..ReadOptions::default()
    };
    check_with(
        &options,
        b"1;32,034;ok\n2;70,121;no\n",
        &json!({"must_ask": null, "detect": {"delimiter": ";", "header_line": null}, "columns": ["label", "measured", "call"],
            "rows": [{"line": 1, "label": "1", "measured": "32.034", "call": "conforming"},
                {"line": 2, "call": "nonconforming"}]}),
    );
    // A heading row that is there all the same is no row.
    let options = ReadOptions {
        columns,
        ..ReadOptions::default()
    };
    check_with(
        &options,
        b"no,measured,call\n1,2,ok\n",
        &json!({"rows": [{"line": 2}], "rejected": []}),
    );
    // Not enough to be a table: asked again.
    let options = ReadOptions {
        columns: Some(vec![Some(Role::Label), None]),
        ..ReadOptions::default()
    };
    check_with(&options, b"1,2\n", &json!({"must_ask": "columns"}));
}

#[test]
fn a_default_unit_fills_in_where_the_file_names_none() {
    let options = ReadOptions {
        unit: Some(ValueUnit::Inch),
        ..ReadOptions::default()
    };
    check_with(
        &options,
        b"no,measured\n1,2\n2,3 mm\n",
        &json!({"rows": [{"unit": "inch"}, {"unit": "mm"}]}),
    );
}

#[test]
fn points() {
    check(
        "k;j;i;Z;Y;X;Feature\n0;0;1;3,0;2;1,50;bore\n;;;3;2;1;A\n",
        &json!({"format": "points", "detect": {"decimal": ",", "delimiter": ";"},
            "columns": ["k", "j", "i", "z", "y", "x", "feature"],
            "points": [{"line": 2, "feature": "bore", "x": "1.50", "y": "2", "z": "3.0", "i": "1", "j": "0", "k": "0"},
                {"line": 3, "feature": "A", "i": null}],
            "warnings": [], "rejected": [], "must_ask": null}),
    );
    check(
        "feature,x,y,z\nA,1,2,\nA,,2,x\nA,1 mm,2,3\nA,1,2,3 kg\nA,=1,2,3\nA,inf,2,3\nA,1e400,2,3\n,1,2,3\nA\nThe end,,,\nA,1e-400,2,3\nA,1,2,3\n",
        &json!({"points": [{"line": 12, "x": "0"}, {"line": 13}], "warnings": [{"line": 12, "code": "underflow_to_zero"}],
            "rejected": [{"line": 2, "why": "missing_value"}, {"line": 3, "why": "missing_value"},
                {"line": 4, "why": "unit_in_cell"}, {"line": 5, "why": "unknown_unit"}, {"line": 6, "why": "formula"},
                {"line": 7, "why": "not_finite"}, {"line": 8, "why": "out_of_range"}, {"line": 9, "why": "no_label"},
                {"line": 10, "why": "missing_value"}, {"line": 11, "why": "not_a_row"}]}),
    );
    check(
        "feature,x,y,z,colour\nA,1,2,3,red,5\n=A,1,2,3,\n",
        &json!({"columns": ["feature", "x", "y", "z", null],
            "points": [{"extra": [{"column": 5, "text": "red"}, {"column": 6, "text": "5"}]}, {"feature": "=A"}],
            "warnings": [{"line": 1, "code": "unknown_column"}, {"line": 2, "code": "extra_cells"},
                {"line": 3, "code": "formula_like_text"}]}),
    );
}

#[test]
fn directions() {
    let code = |ijk: &str, expected: Option<&str>| {
        let warnings: Vec<Value> = expected.iter().map(|code| json!({"line": 2, "code": code})).collect();
        check(
            &format!("feature,x,y,z,i,j,k\nA,1,2,3,{ijk}\n"),
            &json!({"warnings": warnings, "rejected": []}),
        );
    };
    code("0,0,1", None);
    code(",,", None);
    code("0,0,", Some("part_of_direction"));
    code("0.6,0.8,0", None);
    code("0.5,0.5,0.5", Some("not_unit_length"));
    code("0,0,0", Some("not_unit_length"));
    // Off by 0.001 exactly is not more than that.
    code("0,0,0.999", None);
    code("0,0,1.001", None);
    code("0,0,0.9989", Some("not_unit_length"));
    code("0,0,-1.0011", Some("not_unit_length"));
    code("1e200,0,0", Some("not_unit_length"));
    code("0.577,0.577,0.577", None);
    check(
        "feature,x,y,z,i\nA,1,2,3,1\n",
        &json!({"points": [{"i": "1"}], "warnings": [{"code": "part_of_direction"}]}),
    );
    check(
        "feature,x,y,z,i,j,k\nA,1,2,3,a,0,0\n",
        &json!({"points": [], "rejected": [{"line": 2, "why": "not_a_number"}]}),
    );
}

#[test]
fn decimal_mark_of_points() {
    check(
        "feature;x;y;z\nA;12,031;5;1.000\n",
        &json!({"format": "points", "must_ask": "decimal_mark", "points": [],
            "readings": [{"decimal": ",", "values": ["12.031", "5", "1000"]}, {"decimal": ".", "values": ["12031", "5", "1.000"]}]}),
    );
    check(
        "feature;x;y;z;i;j;k\nA;12,031;5;1;0;0,6;0,8\n",
        &json!({"must_ask": null, "detect": {"decimal": ","}, "points": [{"x": "12.031", "j": "0.6"}]}),
    );
}
