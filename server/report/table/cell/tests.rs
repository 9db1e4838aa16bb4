use super::*;

/// What a cell comes to, in one short text: `12.031 mm`, `-` for nothing, the code of the fault.
fn show(cell: Cell) -> String {
    match cell {
        Cell::Nothing => "-".to_owned(),
        Cell::Fault(why) => why.as_str().to_owned(),
        Cell::Number(number) => {
            let unit = number.unit.map_or_else(String::new, |unit| format!(" {unit}"));
            let underflow = if number.underflow { " (underflow)" } else { "" };
            format!("{}{unit}{underflow}", number.text)
        }
    }
}

fn check_with(mark: DecimalMark, rows: &[(&str, &str)]) {
    for (text, expected) in rows {
        assert_eq!(show(read(text, mark)), *expected, "{text:?} with {mark:?}");
    }
}

fn check(rows: &[(&str, &str)]) {
    check_with(DecimalMark::Point, rows);
}

#[test]
fn digits_are_kept_as_written() {
    check(&[
        ("12", "12"),
        ("12.050", "12.050"),
        ("0.080", "0.080"),
        (".5", "0.5"),
        ("-.50", "-0.50"),
        ("12.", "12"),
        ("007.50", "7.50"),
        ("00", "0"),
        ("+8.104", "8.104"),
        ("-0", "0"),
        ("-0.00", "0.00"),
        ("1234567.5", "1234567.5"),
        ("１２.０３１", "12.031"),
        ("12.0312345678901234567890123", "12.0312345678901234567890123"),
    ]);
}

#[test]
fn signs() {
    check(&[
        ("\u{2212}0.021", "-0.021"),
        ("\u{2013}0.021", "-0.021"),
        ("\u{2014}0.021", "-0.021"),
        ("\u{ff0d}0.021", "-0.021"),
        ("\u{ff0b}0.021", "0.021"),
        ("- 0.004", "-0.004"),
        ("-\u{a0}0.004", "-0.004"),
        ("--5", "not_a_number"),
        ("+-5", "not_a_number"),
        ("5-", "not_a_number"),
        ("(5)", "not_a_number"),
        ("±0.05", "not_a_number"),
        ("- 5 mm", "-5 mm"),
    ]);
}

#[test]
fn plus_minus_before_a_tolerance() {
    let check = |text: &str, expected: &str| assert_eq!(show(read_tolerance(text, DecimalMark::Point)), expected);
    check("±0.05", "0.05");
    check(" ± 0.05 mm", "0.05 mm");
    check("0.05", "0.05");
    check("±", "-");
    check("±±0.05", "not_a_number");
}

#[test]
fn blanks_round_a_number() {
    check(&[
        ("\u{a0}0.004\u{202f}", "0.004"),
        ("\u{feff}\u{200b}0.004", "0.004"),
        ("\t12\n", "12"),
        ("12\u{200b}.031", "not_a_number"),
    ]);
}

#[test]
fn exponents() {
    check(&[
        ("1.2031E+01", "12.031"),
        ("1.2031e-2", "0.012031"),
        ("1.20E3", "1200"),
        ("1.2000E3", "1200.0"),
        ("12e0", "12"),
        ("5e-1", "0.5"),
        ("1.5e\u{2212}3", "0.0015"),
        ("2e1 mm", "20 mm"),
        ("0e5", "0"),
        ("0.00e1", "0.0"),
        ("0e-2", "0.00"),
        ("0e999999999999999999999", "0"),
        ("0e-999999999999999999999", "0"),
        ("1e5.5", "not_a_number"),
        ("1e- 5", "not_a_number"),
        ("1 e5", "not_a_number"),
        ("e5", "not_a_number"),
    ]);
}

#[test]
fn thousands_marks() {
    check(&[
        ("1,234.5", "1234.5"),
        ("1,000", "1000"),
        ("12,031", "12031"),
        ("1,234,567", "1234567"),
        ("1'234.5", "1234.5"),
        ("1\u{2019}234.5", "1234.5"),
        ("1 234.5", "1234.5"),
        ("1\u{a0}234.5", "1234.5"),
        ("1\u{2009}234.5", "1234.5"),
        ("1\u{202f}234.5", "1234.5"),
        ("-1\u{202f}250.25 mm", "-1250.25 mm"),
        // Not exactly three digits, a first group of more than three, one that begins with zero, two kinds in one.
        ("12 5", "not_a_number"),
        ("1,23.5", "not_a_number"),
        ("1234,567", "not_a_number"),
        ("0,123", "not_a_number"),
        ("012,345", "not_a_number"),
        ("1 234,567.5", "not_a_number"),
        ("1 234\u{a0}567", "not_a_number"),
        ("1'234\u{2019}567", "not_a_number"),
        ("1  234", "not_a_number"),
        // None after the decimal mark.
        ("12.031 500", "not_a_number"),
        ("12.031,5", "not_a_number"),
        ("12.031'5", "not_a_number"),
        ("1\u{2007}234", "not_a_number"),
        ("1,234,", "not_a_number"),
    ]);
    check_with(
        DecimalMark::Comma,
        &[
            ("1.234,5", "1234.5"),
            ("1.234.567", "1234567"),
            ("12.031", "12031"),
            ("12,031", "12.031"),
            ("0,050", "0.050"),
            (",5", "0.5"),
            ("1 250,2", "1250.2"),
            ("1'250,20", "1250.20"),
            ("12.03", "not_a_number"),
            ("0.050", "not_a_number"),
            ("1,234.5", "not_a_number"),
            ("1,5E+1", "15"),
        ],
    );
}

#[test]
fn each_number_by_its_own_mark() {
    check_with(
        DecimalMark::Mixed,
        &[
            ("12,03", "12.03"),
            ("12.03", "12.03"),
            ("12,031", "12.031"),
            ("12.031", "12.031"),
            ("1,234.5", "1234.5"),
            ("1.234,5", "1234.5"),
            ("1,234,567", "1234567"),
            ("1.234.567", "1234567"),
            ("1 234", "1234"),
            ("12,03,1", "not_a_number"),
        ],
    );
}

#[test]
fn no_value() {
    for text in [
        "",
        " ",
        "-",
        "--",
        "---",
        "\u{2013}",
        "\u{2014}",
        "\u{2212}",
        "\u{2013}\u{2013}",
        "n/a",
        "N/A",
        "\u{200b}",
    ] {
        assert_eq!(read(text, DecimalMark::Point), Cell::Nothing, "{text:?}");
    }
    check(&[
        ("----", "not_a_number"),
        ("na", "not_a_number"),
        ("#N/A", "not_a_number"),
        ("- mm", "not_a_number"),
    ]);
}

#[test]
fn units() {
    check(&[
        ("12.031 mm", "12.031 mm"),
        ("9.968mm", "9.968 mm"),
        ("12\u{a0}MM", "12 mm"),
        ("0.31496\"", "0.31496 inch"),
        ("0.31496''", "0.31496 inch"),
        ("0.31496\u{2033}", "0.31496 inch"),
        ("0.31906 in", "0.31906 inch"),
        ("1.5 Zoll", "1.5 inch"),
        ("90.31°", "90.31 deg"),
        ("90 degré", "90 deg"),
        ("18 \u{b5}m", "18 um"),
        ("18 \u{3bc}m", "18 um"),
        ("3.0012 cm", "3.0012 cm"),
        ("2 m", "2 m"),
        ("1.57 rad", "1.57 rad"),
        ("1e3mm", "1000 mm"),
        ("12. mm", "12 mm"),
        ("20.1 kg", "unknown_unit"),
        ("90 grad", "unknown_unit"),
        ("20 °C", "unknown_unit"),
        ("12 mm mm", "unknown_unit"),
        ("12 mm²", "unknown_unit"),
        ("12 mm2", "not_a_number"),
        ("12 %", "not_a_number"),
        ("12'", "not_a_number"),
        ("12°30'", "not_a_number"),
        ("mm 12", "not_a_number"),
        ("12.031.2 mm", "not_a_number"),
    ]);
}

#[test]
fn what_is_no_finite_number() {
    check(&[
        ("NaN", "not_finite"),
        ("-nan", "not_finite"),
        ("inf", "not_finite"),
        ("-Infinity", "not_finite"),
        ("+INF mm", "not_finite"),
        ("\u{221e}", "not_finite"),
        ("\u{2212}\u{221e}", "not_finite"),
        ("infinite", "not_a_number"),
        ("nano", "not_a_number"),
    ]);
}

#[test]
fn range() {
    check(&[
        ("1e400", "out_of_range"),
        ("-1e309", "out_of_range"),
        ("1e99999999999999999999", "out_of_range"),
        ("-1e-400", "0 (underflow)"),
        ("1e-99999999999999999999", "0 (underflow)"),
        // Source: IEEE 754, the largest double and the smallest normal one, to 17 digits.
        ("1.7976931348623159e308", "out_of_range"),
        ("2.2250738585072011e-308", "0 (underflow)"),
        // 28 significant digits are read, 29 are not, wherever the point stands.
        ("1234567890123456789012345678", "1234567890123456789012345678"),
        ("12345678901234567890123456789", "out_of_range"),
        ("0.00012345678901234567890123456789", "out_of_range"),
        (
            "0.0000000000000000000000000000000001",
            "0.0000000000000000000000000000000001",
        ),
    ]);
    let largest = show(read("1.7976931348623157e308", DecimalMark::Point));
    assert!(
        largest.starts_with("17976931348623157000") && largest.len() == 309,
        "{largest}"
    );
    let smallest = show(read("2.2250738585072014e-308", DecimalMark::Point));
    assert!(
        smallest.starts_with("0.000") && smallest.ends_with("22250738585072014"),
        "{smallest}"
    );
}

#[test]
fn formulas_and_other_text() {
    check(&[
        ("=6+6", "formula"),
        (" =6", "formula"),
        ("@8", "formula"),
        ("=", "formula"),
        ("+6+6", "not_a_number"),
        ("0x1F", "not_a_number"),
        ("12.031.2", "not_a_number"),
        ("1_000", "not_a_number"),
        ("#DIV/0!", "not_a_number"),
        ("abc", "not_a_number"),
        ("12:30", "not_a_number"),
        ("2025-12-24", "not_a_number"),
        ("~12", "not_a_number"),
        ("<0.01", "not_a_number"),
        ("Ø12", "not_a_number"),
        ("1/2", "not_a_number"),
        ("١٢", "not_a_number"),
        (".", "not_a_number"),
        ("-,", "not_a_number"),
        ("\0", "not_a_number"),
    ]);
}
