//! Difficulty, correlations, alpha (L. J. Cronbach, Psychometrika 16, 1951, 297-334), KR-21 (G. F. Kuder and M. W.
//! Richardson, Psychometrika 2, 1937, 151-160), upper and lower 27 % (T. L. Kelley, Journal of Educational Psychology
//! 30, 1939, 17-24).

use crate::cohort::double2::{Double2, Steps};
use crate::cohort::{CohortError, count, finite};

/// The largest score that can be reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MostScores<'a> {
    /// The same for every item.
    Same(f64),
    /// One for each item.
    Each(&'a [f64]),
}

/// What is known of the items. `None` where the data do not define it: a correlation with what does not vary.
#[derive(Debug, Clone, PartialEq)]
pub struct ItemAnalysis {
    /// Number of persons or pairs.
    pub persons: usize,
    /// Number of items.
    pub items: usize,
    /// Mean score over the largest possible; with right or wrong the share of right answers.
    pub difficulty: Vec<f64>,
    /// Correlation with the total.
    pub with_total: Vec<Option<f64>>,
    /// Correlation with the total of the other items.
    pub with_rest: Vec<Option<f64>>,
    /// Mean of the totals.
    pub mean_total: f64,
    /// Variance of the totals, n - 1.
    pub variance_total: f64,
    /// Coefficient alpha; of right or wrong items the same as KR-20.
    pub alpha: Option<f64>,
    /// KR-21; only where every score is 0 or 1.
    pub kr21: Option<f64>,
    /// True where every score is 0 or 1 of 1.
    pub right_or_wrong: bool,
    /// Mean score share of the upper group less that of the lower.
    pub discrimination: Vec<f64>,
    /// Persons in the upper and in the lower group: 27 % of all, rounded half up.
    pub group_size: usize,
    /// Standard error of measurement of a total.
    pub standard_error: Option<f64>,
    /// Alpha without the item.
    pub alpha_without: Vec<Option<f64>>,
}

/// Analysis of `scores[person][item]`.
///
/// # Errors
/// Fewer than two persons, no item, rows of different lengths, a largest score that is not above zero.
pub fn item_analysis(scores: &[Vec<f64>], most: MostScores<'_>) -> Result<ItemAnalysis, CohortError> {
    let items = check(scores)?;
    let most = largest(most, items)?;
    let flat = scores.concat();
    let steps = Steps::typed(&flat);
    let rows: Vec<&[Double2]> = steps.steps.chunks(items).collect();
    let columns: Vec<Vec<Double2>> = (0..items).map(|i| rows.iter().map(|row| row[i]).collect()).collect();
    let totals: Vec<Double2> = rows.iter().map(|row| Double2::total(row.iter().copied())).collect();
    let spreads: Vec<Double2> = columns.iter().map(|c| about_mean(c, c)).collect();
    let spread_total = about_mean(&totals, &totals);
    let rest_of = |i: usize| -> Vec<Double2> { totals.iter().zip(&columns[i]).map(|(t, v)| t.minus(*v)).collect() };
    let rests: Vec<Vec<Double2>> = (0..items).map(rest_of).collect();
    let spread_rests: Vec<Double2> = rests.iter().map(|r| about_mean(r, r)).collect();
    let all_items = Double2::total(spreads.iter().copied());
    let alpha = alpha(items, all_items, spread_total);
    let persons = scores.len();
    // About-mean sums carry a factor of n: n sum xy - sum x sum y.
    let variance_total = steps
        .squared(spread_total.over(Double2::count(persons * (persons - 1))))
        .value();
    let share = |i: usize, of: &[usize]| of.iter().map(|p| scores[*p][i]).sum::<f64>() / count(of.len()) / most[i];
    let group_size = (27 * persons + 50) / 100;
    let (upper, lower) = groups(&totals, group_size);
    let mean_total = mean_total(&totals, &steps, items);
    let right_or_wrong = flat.iter().all(|v| is(*v, 0.0) || is(*v, 1.0)) && most.iter().all(|m| is(*m, 1.0));
    Ok(ItemAnalysis {
        persons,
        items,
        difficulty: (0..items)
            .map(|i| steps.place(Double2::total(columns[i].iter().copied()).over(Double2::count(persons))) / most[i])
            .collect(),
        with_total: (0..items)
            .map(|i| correlation(&columns[i], &totals, spreads[i], spread_total))
            .collect(),
        with_rest: (0..items)
            .map(|i| correlation(&columns[i], &rests[i], spreads[i], spread_rests[i]))
            .collect(),
        mean_total,
        variance_total,
        alpha,
        kr21: right_or_wrong
            .then(|| kr21(items, persons, mean_total, variance_total))
            .flatten(),
        right_or_wrong,
        discrimination: (0..items).map(|i| share(i, &upper) - share(i, &lower)).collect(),
        group_size,
        standard_error: alpha.map(|a| (variance_total * (1.0 - a).max(0.0)).sqrt()),
        alpha_without: (0..items)
            .map(|i| self::alpha(items - 1, all_items.minus(spreads[i]), spread_rests[i]))
            .collect(),
    })
}

fn check(scores: &[Vec<f64>]) -> Result<usize, CohortError> {
    if scores.len() < 2 {
        return Err(CohortError::TooFew {
            what: "persons",
            needed: 2,
            given: scores.len(),
        });
    }
    let items = scores[0].len();
    if items == 0 {
        return Err(CohortError::TooFew {
            what: "items",
            needed: 1,
            given: 0,
        });
    }
    for (at, row) in scores.iter().enumerate() {
        finite("score", row)?;
        if row.len() != items {
            return Err(CohortError::Uneven {
                what: "person",
                at: at + 1,
                given: row.len(),
                of: "scores",
                wanted: items,
            });
        }
    }
    Ok(items)
}

fn largest(most: MostScores<'_>, items: usize) -> Result<Vec<f64>, CohortError> {
    let most = match most {
        MostScores::Same(most) => vec![most; items],
        MostScores::Each(most) => most.to_vec(),
    };
    if most.len() != items {
        return Err(CohortError::WrongLayout(format!(
            "{} largest scores for {items} items: there must be one for each",
            most.len()
        )));
    }
    match most.iter().find(|m| !(m.is_finite() && **m > 0.0)) {
        None => Ok(most),
        Some(value) => Err(CohortError::OutOfRange {
            what: "the largest score",
            value: *value,
            wanted: "above zero",
        }),
    }
}

fn is(value: f64, wanted: f64) -> bool {
    (value - wanted).abs() <= 0.0
}

/// n sum xy - sum x sum y: n times the sum of products about the means.
fn about_mean(x: &[Double2], y: &[Double2]) -> Double2 {
    let products = Double2::total(x.iter().zip(y).map(|(a, b)| a.times(*b)));
    let sum = |v: &[Double2]| Double2::total(v.iter().copied());
    Double2::count(x.len()).times(products).minus(sum(x).times(sum(y)))
}

/// Pearson's; none where one of the two does not vary.
fn correlation(x: &[Double2], y: &[Double2], spread_x: Double2, spread_y: Double2) -> Option<f64> {
    if spread_x.is_zero() || spread_y.is_zero() {
        return None;
    }
    let r = about_mean(x, y).value() / (spread_x.value().sqrt() * spread_y.value().sqrt());
    Some(r.clamp(-1.0, 1.0)).filter(|r| r.is_finite())
}

/// k / (k - 1) (1 - sum of item variances / variance of totals).
fn alpha(items: usize, of_items: Double2, of_totals: Double2) -> Option<f64> {
    if items < 2 || of_totals.is_zero() {
        return None;
    }
    let missing = of_totals.minus(of_items).over(of_totals).value();
    Some(count(items) / count(items - 1) * missing)
}

/// k / (k - 1) (1 - M (k - M) / (k s^2)) with the variance over n.
fn kr21(items: usize, persons: usize, mean: f64, variance: f64) -> Option<f64> {
    let (k, n) = (count(items), count(persons));
    let variance = variance * (n - 1.0) / n;
    (items >= 2 && variance > 0.0).then(|| k / (k - 1.0) * (1.0 - mean * (k - mean) / (k * variance)))
}

/// The persons with the highest and the lowest totals; equal totals stay in their order.
fn groups(totals: &[Double2], size: usize) -> (Vec<usize>, Vec<usize>) {
    let mut order: Vec<usize> = (0..totals.len()).collect();
    order.sort_by(|a, b| totals[*b].minus(totals[*a]).value().total_cmp(&0.0));
    let lower = order.split_off(order.len() - size);
    order.truncate(size);
    (order, lower)
}

fn mean_total(totals: &[Double2], steps: &Steps, items: usize) -> f64 {
    let mean = Double2::total(totals.iter().copied()).over(Double2::count(totals.len()));
    Double2::new(steps.origin)
        .times(Double2::count(items))
        .plus(mean.over(Double2::new(steps.per_unit)))
        .value()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn totals_that_are_equal_in_decimals_do_not_vary() {
        // 0.1 + 0.2 and 0.3 + 0: equal totals, though not equal as doubles.
        let found = item_analysis(&[vec![0.1, 0.2], vec![0.3, 0.0]], MostScores::Same(1.0)).unwrap();
        assert_eq!((found.alpha, found.standard_error), (None, None));
        assert_eq!(found.with_total, [None, None]);
        assert_eq!(found.with_rest.len(), 2);
    }

    #[test]
    fn ties_stay_in_their_order() {
        let totals: Vec<Double2> = [3.0, 5.0, 3.0, 5.0, 1.0].map(Double2::new).to_vec();
        assert_eq!(groups(&totals, 1), (vec![1], vec![4]));
        assert_eq!(groups(&totals, 2), (vec![1, 3], vec![2, 4]));
    }

    #[test]
    fn what_is_no_table_is_refused() {
        let most = MostScores::Same(1.0);
        assert!(item_analysis(&[vec![1.0]], most).is_err());
        assert!(item_analysis(&[vec![], vec![]], most).is_err());
        assert!(item_analysis(&[vec![1.0], vec![1.0, 0.0]], most).is_err());
        assert!(item_analysis(&[vec![1.0], vec![f64::NAN]], most).is_err());
        assert!(item_analysis(&[vec![1.0], vec![0.0]], MostScores::Same(0.0)).is_err());
        assert!(item_analysis(&[vec![1.0], vec![0.0]], MostScores::Each(&[1.0, 1.0])).is_err());
        let one_item = item_analysis(&[vec![1.0], vec![0.0]], most).unwrap();
        assert_eq!(
            (one_item.alpha, one_item.kr21, one_item.with_rest),
            (None, None, vec![None])
        );
    }

    proptest! {
        /// Correlations and alpha do not see the order of persons nor the unit of the scores.
        #[test]
        fn reliability_does_not_see_order_or_unit(values in prop::collection::vec(0_i32..6, 24), turn in 0_usize..6) {
            let rows = |unit: f64| values.chunks(4).map(|r| r.iter().map(|v| f64::from(*v) * unit).collect()).collect::<Vec<Vec<f64>>>();
            let plain = item_analysis(&rows(1.0), MostScores::Same(5.0)).unwrap();
            let mut moved = rows(0.5);
            moved.rotate_left(turn);
            let other = item_analysis(&moved, MostScores::Same(2.5)).unwrap();
            let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
                (Some(a), Some(b)) => (a - b).abs() < 1e-12 * (1.0 + a.abs()),
                (a, b) => a.is_none() && b.is_none(),
            };
            prop_assert!(near(plain.alpha, other.alpha));
            for (a, b) in plain.with_rest.iter().zip(&other.with_rest) {
                prop_assert!(near(*a, *b));
            }
            for (a, b) in plain.difficulty.iter().zip(&other.difficulty) {
                prop_assert!((a - b).abs() < 1e-14);
            }
        }
    }
}
