//! From the computed mark to the one in the gradebook, in the one order that holds everywhere: computed, set by a
//! person, late rule, which attempt counts, individual adjustment, total of the class. Each step is a line with its
//! reason, and the lines add up to the mark exactly.

use rust_decimal::{Decimal, RoundingStrategy};

use super::attempts::{Counting, counting_mark};
use super::grade::{Line, Marks};
use super::late::LateRule;

/// A mark that a person set in place of the computed one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetMark {
    /// 0 to 100.
    pub mark: Decimal,
    /// Why.
    pub reason: String,
}

/// Points that one student of a pair has more or fewer than the pair.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Adjustment {
    /// More or fewer.
    pub points: Decimal,
    /// Why.
    pub reason: String,
}

/// A mark with what made it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settled {
    /// 0 to 100; none where there is no mark.
    pub mark: Option<Decimal>,
    /// They add up to it exactly.
    pub lines: Vec<Line>,
}

fn one_place(value: Decimal) -> Decimal {
    value.round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero)
}

fn line(text: impl Into<String>, points: Decimal) -> Line {
    Line {
        text: text.into(),
        points,
    }
}

/// One attempt: the computed marks, then what a person set, then the late rule.
pub fn attempt(marks: &mut Marks, set: Option<&SetMark>, late: &LateRule, minutes_late: u64) {
    if let Some(set) = set {
        let before = marks.r#final;
        if before.is_none() {
            marks.lines.clear();
        }
        let points = set.mark - before.unwrap_or_default();
        marks
            .lines
            .push(line(format!("Set to {} by a person: {}", set.mark, set.reason), points));
        marks.r#final = Some(set.mark);
    }
    late.apply(marks, minutes_late);
}

/// The mark of one attempt alone, for tables.
#[must_use]
pub fn attempt_mark(
    computed: Option<Decimal>,
    set: Option<Decimal>,
    late: &LateRule,
    minutes_late: u64,
) -> Option<Decimal> {
    let mut marks = Marks {
        as_reported: None,
        with_follow_through: None,
        r#final: set.or(computed),
        lines: Vec::new(),
    };
    late.apply(&mut marks, minutes_late);
    marks.r#final
}

/// The mark that counts of all attempts in order; `allowed` is how many attempts there are.
#[must_use]
pub fn of_attempts(rule: Counting, allowed: usize, marks: &[Option<Decimal>]) -> Settled {
    let mark = counting_mark(rule, allowed, marks);
    let Some(counted) = mark else {
        return Settled::default();
    };
    let which = |found: Option<usize>| found.map_or(1, |i| i + 1);
    let known = marks.iter().flatten().count();
    let text = match rule {
        Counting::Best if known > 1 => {
            let best = which(marks.iter().position(|m| *m == mark));
            format!("Attempt {best}, the best of {known}")
        }
        Counting::Last if known > 1 => format!("Attempt {}, the last", which(marks.iter().rposition(Option::is_some))),
        Counting::Mean if known > 1 => {
            let taken: Vec<String> = marks
                .iter()
                .flatten()
                .take(allowed.max(1))
                .map(Decimal::to_string)
                .collect();
            format!("Mean of {}", taken.join(" and "))
        }
        _ => format!("Attempt {}", which(marks.iter().position(Option::is_some))),
    };
    Settled {
        mark,
        lines: vec![line(text, counted)],
    }
}

/// The mark of one student: that of the pair, and what is particular to the student. It stays from 0 to 100. Without a
/// mark of the pair there is nothing to adjust.
pub fn adjust(settled: &mut Settled, adjustments: &[Adjustment]) {
    let Some(mark) = settled.mark else { return };
    let (exact, held) = adjusted(mark, adjustments);
    for adjustment in adjustments {
        settled.lines.push(line(
            format!("For this student: {}", adjustment.reason),
            adjustment.points,
        ));
    }
    if held != exact {
        settled.lines.push(line("A mark is from 0 to 100", held - exact));
    }
    settled.mark = Some(held);
}

/// A mark with what is particular to a student, and the same held from 0 to 100.
fn adjusted(mark: Decimal, adjustments: &[Adjustment]) -> (Decimal, Decimal) {
    let exact = mark + adjustments.iter().map(|a| a.points).sum::<Decimal>();
    (exact, exact.clamp(Decimal::ZERO, Decimal::ONE_HUNDRED))
}

/// The mark that counts of all attempts, with what is particular to a student: as [`of_attempts`] and [`adjust`] have it, without
/// their lines, for tables.
#[must_use]
pub fn settled_mark(
    rule: Counting,
    allowed: usize,
    marks: &[Option<Decimal>],
    adjustments: &[Adjustment],
) -> Option<Decimal> {
    counting_mark(rule, allowed, marks).map(|mark| adjusted(mark, adjustments).1)
}

/// How one assignment enters the total of a student.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Part {
    /// A mark.
    Mark(Decimal),
    /// Nothing was handed in in time: it counts as 0.
    Missing,
    /// Excused, not due yet, or without a mark: it does not count.
    LeftOut,
}

/// One assignment in a total.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry<'a> {
    /// Its title.
    pub title: &'a str,
    /// How much it counts; 0 does not.
    pub weight: Decimal,
    /// What came of it.
    pub part: Part,
}

/// A total, and which assignments were dropped for it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Total {
    /// 0 to 100; none where nothing counts.
    pub mark: Option<Decimal>,
    /// Positions of the entries that were dropped as the lowest.
    pub dropped: Vec<usize>,
}

/// What a total is made of.
#[derive(Debug, Default)]
struct Parts {
    /// Positions of what counts, each with its mark.
    counted: Vec<(usize, Decimal)>,
    dropped: Vec<usize>,
    /// Sum of the weights.
    weights: Decimal,
    mark: Option<Decimal>,
}

/// At least one mark always stays; of equal marks the later one goes, so that the answer does not hang on anything else.
fn parts(entries: &[Entry<'_>], drops: usize) -> Parts {
    let value = |e: &Entry<'_>| match e.part {
        Part::Mark(mark) if e.weight > Decimal::ZERO => Some(mark),
        Part::Missing if e.weight > Decimal::ZERO => Some(Decimal::ZERO),
        _ => None,
    };
    let mut counted: Vec<(usize, Decimal)> = entries
        .iter()
        .enumerate()
        .filter_map(|(i, e)| Some((i, value(e)?)))
        .collect();
    let mut dropped = Vec::new();
    let gone = drops.min(counted.len().saturating_sub(1));
    if gone > 0 {
        counted.sort_by(|(i, a), (j, b)| a.cmp(b).then(j.cmp(i)));
        dropped.extend(counted.drain(..gone).map(|(i, _)| i));
        dropped.sort_unstable();
        counted.sort_unstable_by_key(|(i, _)| *i);
    }
    let weights: Decimal = counted.iter().map(|(i, _)| entries[*i].weight).sum();
    let sum: Decimal = counted.iter().map(|(i, m)| entries[*i].weight * m).sum();
    Parts {
        mark: (weights > Decimal::ZERO).then(|| one_place(sum / weights)),
        counted,
        dropped,
        weights,
    }
}

/// The weighted mean of all that counts, less the lowest `drops` marks.
#[must_use]
pub fn total(entries: &[Entry<'_>], drops: usize) -> Total {
    let Parts { mark, dropped, .. } = parts(entries, drops);
    Total { mark, dropped }
}

/// What made [`total`]: lines that add up to it exactly.
#[must_use]
pub fn total_lines(entries: &[Entry<'_>], drops: usize) -> Vec<Line> {
    let Parts {
        counted,
        dropped,
        weights,
        mark: Some(mark),
    } = parts(entries, drops)
    else {
        return Vec::new();
    };
    let share = |(i, value): &(usize, Decimal)| {
        let entry = &entries[*i];
        let missing = if entry.part == Part::Missing { ", missing" } else { "" };
        let text = format!(
            "{}{missing}: {value} \u{d7} {} / {}",
            entry.title,
            entry.weight.normalize(),
            weights.normalize()
        );
        line(text, (entry.weight * value / weights).round_dp(4))
    };
    let mut lines: Vec<Line> = counted.iter().map(share).collect();
    lines.extend(dropped.iter().map(|i| {
        line(
            format!("{}: dropped as one of the lowest", entries[*i].title),
            Decimal::ZERO,
        )
    }));
    let left = mark - lines.iter().map(|l| l.points).sum::<Decimal>();
    if !left.is_zero() {
        lines.push(line("Rounding to one place", left));
    }
    lines
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap_or_default()
    }

    fn sum(lines: &[Line]) -> Decimal {
        lines.iter().map(|l| l.points).sum()
    }

    fn late() -> LateRule {
        LateRule {
            grace_minutes: 15,
            percent_per_day: Decimal::TEN,
            floor_percent: d("50"),
        }
    }

    #[test]
    fn a_set_mark_comes_before_the_late_rule() {
        // Computed, set, minutes late, final: by hand, 10 per cent for the day begun.
        for (computed, set, minutes, mark) in [
            (Some("61.2"), None, 0, Some("61.2")),
            (Some("61.2"), Some("80"), 0, Some("80")),
            (Some("61.2"), Some("80"), 16, Some("72.0")),
            (None, Some("40"), 0, Some("40")),
            (None, None, 16, None),
        ] {
            let mut marks = Marks {
                as_reported: computed.map(d),
                with_follow_through: computed.map(d),
                r#final: computed.map(d),
                lines: computed.map(|c| line("Measurement", d(c))).into_iter().collect(),
            };
            let set = set.map(|s| SetMark {
                mark: d(s),
                reason: "the probe was bent".to_owned(),
            });
            attempt(&mut marks, set.as_ref(), &late(), minutes);
            assert_eq!(marks.r#final, mark.map(d));
            assert_eq!(sum(&marks.lines), mark.map(d).unwrap_or_default());
            let alone = attempt_mark(computed.map(d), set.map(|s| s.mark), &late(), minutes);
            assert_eq!(alone, marks.r#final);
        }
    }

    #[test]
    fn attempts_and_the_adjustment_of_one_student() {
        let marks = [Some(d("61.0")), None, Some(d("84.5"))];
        for (rule, mark, text) in [
            (Counting::Best, "84.5", "Attempt 3, the best of 2"),
            (Counting::Last, "84.5", "Attempt 3, the last"),
            // (61.0 + 84.5) / 2 = 72.75, halves up.
            (Counting::Mean, "72.8", "Mean of 61.0 and 84.5"),
        ] {
            let settled = of_attempts(rule, 3, &marks);
            assert_eq!(settled.mark, Some(d(mark)));
            assert_eq!(settled.lines[0].text, text);
            assert_eq!(sum(&settled.lines), d(mark));
        }
        for (points, mark) in [("5", "89.5"), ("-90", "0"), ("30", "100")] {
            let mut settled = of_attempts(Counting::Best, 3, &marks);
            let points = [Adjustment {
                points: d(points),
                reason: "ran the machine alone".to_owned(),
            }];
            adjust(&mut settled, &points);
            assert_eq!(settled.mark, Some(d(mark)));
            assert_eq!(settled_mark(Counting::Best, 3, &marks, &points), Some(d(mark)));
            assert_eq!(sum(&settled.lines), d(mark));
        }
        let mut nothing = of_attempts(Counting::Best, 3, &[None]);
        adjust(
            &mut nothing,
            &[Adjustment {
                points: d("5"),
                reason: "x".to_owned(),
            }],
        );
        assert_eq!(nothing, Settled::default());
    }

    fn entry<'a>(title: &'a str, weight: &str, part: Part) -> Entry<'a> {
        Entry {
            title,
            weight: d(weight),
            part,
        }
    }

    #[test]
    fn totals_by_hand() {
        let entries = [
            entry("Step block", "2", Part::Mark(d("80.0"))),
            entry("Jig plate", "1", Part::Missing),
            entry("Pump cover", "1", Part::Mark(d("65.0"))),
            entry("Clamp plate", "3", Part::LeftOut),
            entry("Practice", "0", Part::Mark(d("20.0"))),
        ];
        // (2 x 80 + 0 + 65) / 4 = 56.25; without the missing one (160 + 65) / 3 = 75; without both lower ones 80.
        for (drops, mark, dropped) in [
            (0, "56.3", vec![]),
            (1, "75.0", vec![1]),
            (2, "80.0", vec![1, 2]),
            (9, "80.0", vec![1, 2]),
        ] {
            let found = total(&entries, drops);
            assert_eq!(found.mark, Some(d(mark)), "{drops}");
            assert_eq!(found.dropped, dropped);
            assert_eq!(sum(&total_lines(&entries, drops)), d(mark));
        }
        let left_out = [entry("Clamp plate", "3", Part::LeftOut)];
        assert_eq!(total(&left_out, 0), Total::default());
        assert!(total_lines(&left_out, 0).is_empty());
    }

    proptest! {
        #[test]
        fn lines_always_add_up_to_the_mark(marks in proptest::collection::vec((0_i64..=1000, 1_i64..40, 0_u8..4), 1..30), drops in 0_usize..4) {
            let titles: Vec<String> = (0..marks.len()).map(|i| format!("A{i}")).collect();
            let entries: Vec<Entry<'_>> = marks.iter().zip(&titles).map(|((mark, weight, kind), title)| Entry {
                title,
                weight: Decimal::new(*weight, 1),
                part: match kind {
                    0 => Part::Missing,
                    1 => Part::LeftOut,
                    _ => Part::Mark(Decimal::new(*mark, 1)),
                },
            }).collect();
            let found = total(&entries, drops);
            prop_assert_eq!(sum(&total_lines(&entries, drops)), found.mark.unwrap_or_default());
            if let Some(mark) = found.mark {
                prop_assert!(mark >= Decimal::ZERO && mark <= Decimal::ONE_HUNDRED);
            }
        }
    }
}
