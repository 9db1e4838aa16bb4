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

/// What the mark is made of, before it is divided by the whole: exact.
struct Parts {
    /// Points of the machine's parts out of the hundred, and the sum that earns all of them.
    machine: Decimal,
    whole: Decimal,
    measurement: Decimal,
    for_plate: Decimal,
    for_own_value: Decimal,
}

impl Parts {
    fn of(rules: &MarksRules, scored: &[Scored]) -> Self {
        let sums = Sums::of(scored);
        let parts = rules.measurement + rules.call_for_plate + rules.call_for_own_value;
        let by_hand: Decimal = rules.lines.iter().map(|l| l.points).sum();
        let machine = (Decimal::ONE_HUNDRED - by_hand).max(Decimal::ZERO);
        let earned = |weight: Decimal, sum: Decimal| machine * weight * sum;
        Self {
            machine,
            whole: parts * sums.weight,
            measurement: earned(rules.measurement, sums.measurement),
            for_plate: earned(rules.call_for_plate, sums.for_plate),
            for_own_value: earned(rules.call_for_own_value, sums.for_own_value),
        }
    }

    fn sum(&self) -> Decimal {
        self.measurement + self.for_plate + self.for_own_value
    }

    /// What so many per cent of the measurement part's maximum are.
    fn charge(&self, rules: &MarksRules, weight: Decimal, per_cent: Decimal) -> Decimal {
        self.machine * rules.measurement * weight * per_cent / Decimal::ONE_HUNDRED
    }
}

/// Scores after some of the stated faults are taken out, and what that costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// Scores of all established lines.
    pub scored: Vec<Scored>,
    /// For each fault: the reason, and the charge in per cent of the measurement part's maximum.
    pub charges: Vec<(String, Decimal)>,
}

/// The mark as reported with its lines. `hand` holds points of lines marked by hand, by name; lines without an entry
/// earn 0. `None` inside where no line is established or nothing has weight.
#[must_use]
pub fn total(rules: &MarksRules, scored: &[Scored], hand: &BTreeMap<String, Decimal>) -> Marks {
    total_with(rules, scored, hand, &[])
}

/// The mark with the best of the ways in which faults may be taken out, if one is better than none: nobody loses.
#[must_use]
pub fn total_with(rules: &MarksRules, scored: &[Scored], hand: &BTreeMap<String, Decimal>, ways: &[Followed]) -> Marks {
    let parts = Parts::of(rules, scored);
    if parts.whole <= Decimal::ZERO {
        return no_mark();
    }
    let weight: Decimal = scored.iter().map(|s| s.weight).sum();
    let gain = |way: &Followed| {
        let charges = way.charges.iter().map(|(_, c)| parts.charge(rules, weight, *c));
        Parts::of(rules, &way.scored).sum() - charges.sum::<Decimal>() - parts.sum()
    };
    let mut best: Option<(&Followed, Decimal)> = None;
    for way in ways {
        let gained = gain(way);
        if gained > best.map_or(Decimal::ZERO, |(_, g)| g) {
            best = Some((way, gained));
        }
    }
    let mut lines = part_lines(&parts, scored);
    let hand_points = hand_lines(rules, hand, &mut lines);
    let reported = parts.sum() + hand_points * parts.whole;
    let as_reported = round_quotient(reported, parts.whole);
    let mut mark = as_reported;
    if let Some((way, gained)) = best {
        mark = round_quotient(reported + gained, parts.whole);
        lines.extend(followed_lines(rules, &parts, weight, way));
    }
    Marks {
        as_reported: Some(as_reported),
        ..close(lines, mark)
    }
}

fn no_mark() -> Marks {
    Marks {
        as_reported: None,
        with_follow_through: None,
        r#final: None,
        lines: vec![Line {
            text: "No mark: no line of this plate is established".to_owned(),
            points: Decimal::ZERO,
        }],
    }
}

fn part_lines(parts: &Parts, scored: &[Scored]) -> Vec<Line> {
    let plate = format!("Call for the plate: {}", right(scored, |s| s.for_plate));
    let own = format!("Call for the own value: {}", right(scored, |s| s.for_own_value));
    vec![
        line(measurement_text(scored), parts.measurement, parts.whole),
        line(plate, parts.for_plate, parts.whole),
        line(own, parts.for_own_value, parts.whole),
    ]
}

fn hand_lines(rules: &MarksRules, hand: &BTreeMap<String, Decimal>, lines: &mut Vec<Line>) -> Decimal {
    let mut sum = Decimal::ZERO;
    for marked in &rules.lines {
        let points = hand.get(&marked.name).copied().unwrap_or_default();
        let text = format!(
            "By hand: {} ({} of {})",
            marked.name,
            points.normalize(),
            marked.points.normalize()
        );
        sum += points;
        lines.push(Line { text, points });
    }
    sum
}

/// What following through adds, and what each fault costs.
fn followed_lines(rules: &MarksRules, parts: &Parts, weight: Decimal, way: &Followed) -> Vec<Line> {
    let after = Parts::of(rules, &way.scored);
    let mut lines = Vec::new();
    let mut add = |text: String, points: Decimal| {
        if !points.is_zero() {
            lines.push(line(text, points, parts.whole));
        }
    };
    let count = |test: fn(&Scored) -> bool| way.scored.iter().filter(|s| test(s)).count();
    add(
        format!(
            "Followed through: {} of {} agree with the plate once the mistake is taken out",
            count(|s| s.measurement == Decimal::ONE),
            way.scored.len()
        ),
        after.measurement - parts.measurement,
    );
    add(
        "Followed through: calls right for the own value count for the plate".to_owned(),
        after.for_plate - parts.for_plate,
    );
    for (why, per_cent) in &way.charges {
        let text = format!(
            "Charged once: {why} ({} % of the measurement part)",
            per_cent.normalize()
        );
        add(text, -parts.charge(rules, weight, *per_cent));
    }
    lines
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
    fn following_through_adds_and_charges_exactly_and_never_takes() {
        let rules = MarksRules::default();
        let line = |measurement: &str, for_plate| Scored {
            weight: Decimal::ONE,
            measurement: decimal(measurement),
            for_plate,
            for_own_value: true,
        };
        let wrong: Vec<Scored> = (0..4).map(|i| line(if i < 1 { "1" } else { "0" }, i < 2)).collect();
        let way = |charge: &str| Followed {
            scored: (0..4).map(|_| line("1", true)).collect(),
            charges: vec![("origin off along X".to_owned(), decimal(charge))],
        };
        // As reported 60/4 + 25/2 + 15 = 42.5; followed through 100 less 15 per cent of 60 = 91.
        let marks = total_with(&rules, &wrong, &BTreeMap::new(), &[way("15")]);
        assert_eq!(
            (marks.as_reported, marks.r#final),
            (Some(decimal("42.5")), Some(decimal("91.0")))
        );
        assert_eq!(marks.with_follow_through, marks.r#final);
        assert_eq!(
            Some(marks.lines.iter().map(|l| l.points).sum::<Decimal>()),
            marks.r#final
        );
        assert!(
            marks
                .lines
                .iter()
                .any(|l| l.points == decimal("-9") && l.text.contains("origin off along X"))
        );
        // A charge beyond the gain: the mark stays, and no line speaks of it.
        let marks = total_with(&rules, &wrong, &BTreeMap::new(), &[way("120")]);
        assert_eq!(marks.r#final, Some(decimal("42.5")));
        assert!(!marks.lines.iter().any(|l| l.text.contains("ollowed")));
    }

    #[test]
    fn nothing_established_is_no_mark() {
        let marks = total(&MarksRules::default(), &[], &BTreeMap::new());
        assert_eq!(marks.r#final, None);
        assert!(marks.lines[0].text.contains("no line of this plate is established"));
    }
}
