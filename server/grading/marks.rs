//! From scores to the mark: exact decimal arithmetic, and lines that add up to the mark.

use std::collections::BTreeMap;

use rust_decimal::{Decimal, RoundingStrategy};

use super::grade::{Line, Marks};
use crate::exercise::model::MarksRules;

/// Scores of one established line of the sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scored {
    /// Weight of the characteristic.
    pub weight: Decimal,
    /// Measurement score, 0 to 1 in steps of 1e-6.
    pub measurement: Decimal,
    /// Call against the plate.
    pub for_plate: bool,
    /// Call against the pair's own number.
    pub for_own_value: bool,
}

/// Weighted sums over all established lines.
struct Sums {
    weight: Decimal,
    measurement: Decimal,
    for_plate: Decimal,
    for_own_value: Decimal,
}

impl Sums {
    fn of(scored: &[Scored]) -> Self {
        let mut sums = Self {
            weight: Decimal::ZERO,
            measurement: Decimal::ZERO,
            for_plate: Decimal::ZERO,
            for_own_value: Decimal::ZERO,
        };
        for line in scored {
            let when = |earned: bool| if earned { line.weight } else { Decimal::ZERO };
            sums.weight += line.weight;
            sums.measurement += line.weight * line.measurement;
            sums.for_plate += when(line.for_plate);
            sums.for_own_value += when(line.for_own_value);
        }
        sums
    }
}

/// The mark as reported with its lines. `hand` holds points of lines marked by hand, by name; lines without an entry
/// earn 0. `None` inside where no line is established or nothing has weight.
#[must_use]
pub fn total(rules: &MarksRules, scored: &[Scored], hand: &BTreeMap<String, Decimal>) -> Marks {
    let sums = Sums::of(scored);
    let parts = rules.measurement + rules.call_for_plate + rules.call_for_own_value;
    let whole = parts * sums.weight;
    if whole <= Decimal::ZERO {
        let text = "No mark: no line of this plate is established".to_owned();
        let lines = vec![Line {
            text,
            points: Decimal::ZERO,
        }];
        return Marks {
            as_reported: None,
            with_follow_through: None,
            r#final: None,
            lines,
        };
    }
    let by_hand: Decimal = rules.lines.iter().map(|l| l.points).sum();
    let machine = (Decimal::ONE_HUNDRED - by_hand).max(Decimal::ZERO);
    let earned = |weight: Decimal, sum: Decimal| machine * weight * sum;
    let measurement = earned(rules.measurement, sums.measurement);
    let for_plate = earned(rules.call_for_plate, sums.for_plate);
    let for_own = earned(rules.call_for_own_value, sums.for_own_value);
    let mut lines = vec![
        line(measurement_text(scored), measurement, whole),
        line(
            format!("Call for the plate: {}", right(scored, |s| s.for_plate)),
            for_plate,
            whole,
        ),
        line(
            format!("Call for the own value: {}", right(scored, |s| s.for_own_value)),
            for_own,
            whole,
        ),
    ];
    let mut hand_points = Decimal::ZERO;
    for marked in &rules.lines {
        let points = hand.get(&marked.name).copied().unwrap_or_default();
        let text = format!(
            "By hand: {} ({} of {})",
            marked.name,
            points.normalize(),
            marked.points.normalize()
        );
        hand_points += points;
        lines.push(Line { text, points });
    }
    let mark = round_quotient(measurement + for_plate + for_own + hand_points * whole, whole);
    close(lines, mark)
}

/// Adds the rounding line, if one is needed, and closes the account.
fn close(mut lines: Vec<Line>, mark: Decimal) -> Marks {
    let sum: Decimal = lines.iter().map(|l| l.points).sum();
    let rest = (mark - sum).normalize();
    if !rest.is_zero() {
        lines.push(Line {
            text: "Rounded to one decimal".to_owned(),
            points: rest,
        });
    }
    Marks {
        as_reported: Some(mark),
        with_follow_through: Some(mark),
        r#final: Some(mark),
        lines,
    }
}

fn line(text: String, points: Decimal, whole: Decimal) -> Line {
    let exact = points.checked_div(whole).unwrap_or_default();
    Line {
        text,
        points: exact
            .round_dp_with_strategy(3, RoundingStrategy::MidpointAwayFromZero)
            .normalize(),
    }
}

fn measurement_text(scored: &[Scored]) -> String {
    let count = |test: &dyn Fn(Decimal) -> bool| scored.iter().filter(|s| test(s.measurement)).count();
    let all = count(&|m| m == Decimal::ONE);
    let part = count(&|m| m > Decimal::ZERO && m < Decimal::ONE);
    match part {
        0 => format!("Measurement: {all} of {} agree with the plate", scored.len()),
        _ => format!(
            "Measurement: {all} of {} agree with the plate, {part} in part",
            scored.len()
        ),
    }
}

fn right(scored: &[Scored], test: impl Fn(&Scored) -> bool) -> String {
    format!(
        "{} of {} right",
        scored.iter().filter(|s| test(s)).count(),
        scored.len()
    )
}

/// `numerator / denominator` rounded half up to one decimal, decided exactly: the quotient itself may have no end.
#[must_use]
pub fn round_quotient(numerator: Decimal, denominator: Decimal) -> Decimal {
    let half = Decimal::new(5, 2);
    let step = Decimal::new(1, 1);
    let near = numerator.checked_div(denominator).unwrap_or_default();
    let mut mark = near.round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero);
    if (mark + half) * denominator <= numerator {
        mark += step;
    } else if (mark - half) * denominator > numerator {
        mark -= step;
    }
    mark.clamp(Decimal::ZERO, Decimal::ONE_HUNDRED).round_dp(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn quotients_round_half_up_exactly() {
        // Worked by hand: 61.25 -> 61.3; 2/3 of 100 -> 66.7; 1/8 of 0.4 = 0.05 -> 0.1; 0.0499... -> 0.0.
        for (n, d, mark) in [
            ("245", "4", "61.3"),
            ("200", "3", "66.7"),
            ("0.4", "8", "0.1"),
            ("0.39999999", "8", "0.0"),
            ("18375", "300", "61.3"),
            ("700", "7", "100.0"),
            ("0", "7", "0.0"),
        ] {
            assert_eq!(round_quotient(decimal(n), decimal(d)), decimal(mark), "{n}/{d}");
        }
    }

    #[test]
    fn lines_add_up_to_the_mark() {
        // Seven lines of equal weight: sevenths do not end in decimals, so a rounding line is needed.
        let rules = MarksRules::default();
        let scored: Vec<Scored> = (0..7)
            .map(|i| Scored {
                weight: Decimal::ONE,
                measurement: if i < 3 { Decimal::ONE } else { decimal("0.333333") },
                for_plate: i < 5,
                for_own_value: i != 6,
            })
            .collect();
        let marks = total(&rules, &scored, &BTreeMap::new());
        // 60 (3 + 4 x 0.333333) / 7 + 25 x 5/7 + 15 x 6/7 = 37.142845... + 17.857142... + 12.857142... = 67.857...
        assert_eq!(marks.r#final, Some(decimal("67.9")));
        let sum: Decimal = marks.lines.iter().map(|l| l.points).sum();
        assert_eq!(Some(sum), marks.r#final);
        assert_eq!(
            marks.lines.last().map(|l| l.text.as_str()),
            Some("Rounded to one decimal")
        );
    }

    #[test]
    fn nothing_established_is_no_mark() {
        let marks = total(&MarksRules::default(), &[], &BTreeMap::new());
        assert_eq!(marks.r#final, None);
        assert!(marks.lines[0].text.contains("no line of this plate is established"));
    }
}
