//! From scores to the mark: totals worked by hand, and many random sheets against whole-number arithmetic.

use std::collections::BTreeMap;

use platemark::exercise::model::{MarksLine, MarksRules};
use platemark::grading::marks::{Scored, total};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn scored(weight: &str, measurement: &str, for_plate: bool, for_own_value: bool) -> Scored {
    Scored {
        weight: dec(weight),
        measurement: dec(measurement),
        for_plate,
        for_own_value,
    }
}

/// Rules with these weights of the three parts and these points of lines marked by hand.
fn rules(parts: [&str; 3], by_hand: &[&str]) -> MarksRules {
    let [measurement, call_for_plate, call_for_own_value] = parts.map(dec);
    let line = |(i, points): (usize, &&str)| MarksLine {
        name: format!("line {i}"),
        points: dec(points),
    };
    MarksRules {
        measurement,
        call_for_plate,
        call_for_own_value,
        lines: by_hand.iter().enumerate().map(line).collect(),
        ..MarksRules::default()
    }
}

fn check(rules: &MarksRules, sheet: &[Scored], hand: &[(&str, &str)], expected: &[&str], mark: &str) {
    let hand: BTreeMap<String, Decimal> = hand.iter().map(|(n, p)| ((*n).to_owned(), dec(p))).collect();
    let marks = total(rules, sheet, &hand);
    let points: Vec<String> = marks.lines.iter().map(|l| l.points.normalize().to_string()).collect();
    assert_eq!(points, expected, "{:?}", marks.lines);
    assert_eq!(marks.as_reported, Some(dec(mark)));
    assert_eq!(marks.lines.iter().map(|l| l.points).sum::<Decimal>(), dec(mark));
}

#[test]
fn totals_worked_by_hand() {
    let sheet = [
        scored("1.5", "0.880588", true, true),
        scored("1", "1", true, true),
        scored("1", "1", false, false),
        scored("1", "0", false, false),
    ];
    // 60 x 3.320882 / 4.5 = 44.278427, 25 x 2.5 / 4.5 = 13.888889, 15 x 2.5 / 4.5 = 8.333333: 66.500649.
    let usual = rules(["60", "25", "15"], &[]);
    check(&usual, &sheet, &[], &["44.278", "13.889", "8.333"], "66.5");
    // The measurement alone: 100 x 3.320882 / 4.5 = 73.797378.
    check(
        &rules(["1", "0", "0"], &[]),
        &sheet,
        &[],
        &["73.797", "0", "0", "0.003"],
        "73.8",
    );
    // Parts that add up to 8; 100 / 8 x (4 x 0.737974 + 3 x 5/9 + 1 x 5/9).
    let eighths = rules(["4", "3", "1"], &[]);
    check(&eighths, &sheet, &[], &["36.899", "20.833", "6.944", "0.024"], "64.7");
    // 20 points are taken out of the hundred: 0.8 x 66.500649 = 53.200519, and 7.5 + 0 of the lines by hand.
    let by_hand = rules(["60", "25", "15"], &["12.5", "7.5"]);
    let lines = ["35.423", "11.111", "6.667", "7.5", "0", "-0.001"];
    check(&by_hand, &sheet, &[("line 0", "7.5")], &lines, "60.7");
    // All by hand.
    let all = rules(["60", "25", "15"], &["60", "40"]);
    let given = [("line 0", "33.3"), ("line 1", "40")];
    check(&all, &sheet, &given, &["0", "0", "0", "33.3", "40"], "73.3");
}

#[test]
fn half_a_tenth_is_rounded_up() {
    let measured = |score: &str| [scored("1", score, false, false)];
    let whole = rules(["1", "0", "0"], &[]);
    check(&whole, &measured("0.6125"), &[], &["61.25", "0", "0", "0.05"], "61.3");
    check(
        &whole,
        &measured("0.612499"),
        &[],
        &["61.25", "0", "0", "-0.05"],
        "61.2",
    );
    check(&whole, &measured("0.0005"), &[], &["0.05", "0", "0", "0.05"], "0.1");
    check(
        &whole,
        &measured("0.999499"),
        &[],
        &["99.95", "0", "0", "-0.05"],
        "99.9",
    );
    check(&whole, &measured("0.9995"), &[], &["99.95", "0", "0", "0.05"], "100.0");
}

#[test]
fn without_a_line_or_without_weight_there_is_no_mark() {
    let nothing_weighs = [scored("0", "1", true, true)];
    for sheet in [&[][..], &nothing_weighs] {
        let marks = total(&rules(["60", "25", "15"], &["10"]), sheet, &BTreeMap::new());
        assert_eq!(
            (marks.as_reported, marks.with_follow_through, marks.r#final),
            (None, None, None)
        );
        assert!(marks.lines[0].text.starts_with("No mark"), "{:?}", marks.lines);
    }
}

/// A part that is worth nothing does not count, one line of weight zero does not either.
#[test]
fn weights_of_zero() {
    let sheet = [scored("0", "0", false, false), scored("2", "1", true, true)];
    check(&rules(["0", "1", "1"], &[]), &sheet, &[], &["0", "50", "50"], "100.0");
}

/// Weight in hundredths, score in millionths, call for the plate, call for the own value.
type Row = (i128, i128, bool, bool);
type Sheet = Vec<Row>;

fn whole(earned: bool) -> i128 {
    if earned { 1_000_000 } else { 0 }
}

/// The mark in tenths, half up, in whole numbers: parts and weights in hundredths, scores in millionths, points by hand
/// in hundredths.
fn tenths(parts: [i128; 3], sheet: &Sheet, lines: &[(i128, i128)]) -> i128 {
    let weights: i128 = sheet.iter().map(|l| l.0).sum();
    let sum = |of: fn(&Row) -> i128| sheet.iter().map(|l| l.0 * of(l)).sum::<i128>();
    let earned = parts[0] * sum(|l| l.1) + parts[1] * sum(|l| whole(l.2)) + parts[2] * sum(|l| whole(l.3));
    let machine = 10_000 - lines.iter().map(|l| l.0).sum::<i128>();
    let by_hand: i128 = lines.iter().map(|l| l.1).sum();
    // In hundredths of a point: machine x earned / divisor + by hand.
    let divisor = 1_000_000 * weights * parts.iter().sum::<i128>();
    let hundredths = machine * earned + by_hand * divisor;
    (hundredths + 5 * divisor).div_euclid(10 * divisor)
}

fn sheets() -> impl Strategy<Value = Sheet> {
    let score = prop_oneof![Just(0_i128), Just(1_000_000), 0_i128..=1_000_000];
    let weight = prop_oneof![Just(100_i128), 0_i128..1000];
    prop::collection::vec((weight, score, any::<bool>(), any::<bool>()), 1..40)
}

fn by_hand() -> impl Strategy<Value = Vec<(i128, i128)>> {
    let line = (1_i128..=2500).prop_flat_map(|points| (Just(points), 0..=points));
    prop::collection::vec(line, 0..4)
}

proptest! {
    #[test]
    fn lines_add_up_exactly_on_any_sheet(
        parts in prop::array::uniform3(0_i128..10_000), sheet in sheets(), lines in by_hand(),
    ) {
        prop_assume!(parts.iter().sum::<i128>() > 0 && sheet.iter().any(|l| l.0 > 0));
        let at = |number: i128, places: u32| Decimal::from_i128_with_scale(number, places);
        let rules = MarksRules {
            measurement: at(parts[0], 2),
            call_for_plate: at(parts[1], 2),
            call_for_own_value: at(parts[2], 2),
            lines: (0_u8..).zip(&lines).map(|(i, l)| MarksLine { name: i.to_string(), points: at(l.0, 2) }).collect(),
            ..MarksRules::default()
        };
        let hand = (0_u8..).zip(&lines).map(|(i, l)| (i.to_string(), at(l.1, 2))).collect();
        let scored: Vec<Scored> = sheet.iter().map(|l| Scored {
            weight: at(l.0, 2), measurement: at(l.1, 6), for_plate: l.2, for_own_value: l.3,
        }).collect();
        let marks = total(&rules, &scored, &hand);
        prop_assert_eq!(marks.as_reported, Some(at(tenths(parts, &sheet, &lines), 1)));
        prop_assert_eq!(Some(marks.lines.iter().map(|l| l.points).sum::<Decimal>()), marks.r#final);
        // Through JSON and back: still exactly.
        let back: platemark::grading::grade::Marks = serde_json::from_str(&serde_json::to_string(&marks).unwrap()).unwrap();
        prop_assert_eq!(Some(back.lines.iter().map(|l| l.points).sum::<Decimal>()), back.r#final);
    }
}
